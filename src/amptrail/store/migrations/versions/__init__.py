"""One file a version, oldest first."""
