"""The command line: arguments in, one JSON object or tables for a person out."""
