"""Files to stills and back: formats, profiles, EXIF, raw."""

from __future__ import annotations

from lookdev.stills.still import Metadata, Still
from lookdev.stills.summary import camera_line, summary

__all__ = ["Metadata", "Still", "camera_line", "summary"]
