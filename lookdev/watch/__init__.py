"""The live page: stills in a look that is being written, redrawn as its file changes."""
