"""What is said about a still: for summary.json and for sheets."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from lookdev.stills.still import Metadata, Still
from lookdev.text import numbers


def summary(still: Still) -> dict[str, Any]:
    """Plain values for ``summary.json``; nothing that tells a place or a serial number."""
    meta = still.metadata
    height, width = still.full_size
    return {
        "name": Path(still.path).name.encode("utf-8", "backslashreplace").decode(),
        "width": width,
        "height": height,
        "panorama": still.is_panorama,
        "encoding": still.encoding.name,
        "encoding_from": still.encoding_origin,
        "image_state": still.encoding.state,
        "camera": meta.camera,
        "lens": meta.lens,
        "exposure_time_s": meta.exposure_time_s,
        "f_number": meta.f_number,
        "iso": meta.iso,
        "focal_length_mm": meta.focal_length_mm,
        "date": meta.date,
        "white_balance": meta.white_balance,
        "light_source": meta.light_source,
        "camera_balance_k": meta.camera_balance_k,
        "camera_balance_xy": None if meta.camera_balance_xy is None else list(meta.camera_balance_xy),
        "settings_from": dict(sorted(meta.origins.items())),
        "warnings": list(still.warnings),
        "notes": list(still.notes),
    }


def camera_line(metadata: Metadata) -> str:
    """Exposure settings in one line, as photographers write them; empty if none are known.

    >>> camera_line(Metadata(exposure_time_s=0.02, f_number=4.0, iso=800, focal_length_mm=24))
    '1/50 s · f/4 · ISO 800 · 24 mm'
    """
    parts = []
    if metadata.exposure_time_s is not None:
        parts.append(exposure_time_text(metadata.exposure_time_s))
    if metadata.f_number is not None:
        parts.append(f"f/{metadata.f_number:.3g}")
    if metadata.iso is not None:
        parts.append(f"ISO {metadata.iso:.0f}")
    if metadata.focal_length_mm is not None:
        parts.append(f"{metadata.focal_length_mm:.3g} mm")
    return " · ".join(parts)


def exposure_time_text(seconds: float) -> str:
    """``1/50 s``, ``1/2 s``, ``2.5 s``.

    >>> exposure_time_text(1 / 8000), exposure_time_text(2.5)
    ('1/8000 s', '2.5 s')
    """
    return numbers.seconds(seconds)
