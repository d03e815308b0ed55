"""Pages that people look at."""
