"""The places of the sample scout, one a file."""
