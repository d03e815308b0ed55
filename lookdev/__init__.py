"""Look development on scout stills."""

__version__ = "0.1.0"
