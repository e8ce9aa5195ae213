"""The night drain as a job of its own: the fuse box on one page, who keeps whom awake, hours until flat."""
