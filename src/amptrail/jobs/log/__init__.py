"""Jobs as they are kept: entries, files, minutes, people, comebacks, lessons of closed jobs."""
