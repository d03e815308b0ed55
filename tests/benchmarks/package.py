"""How large a whole scout's handoff is, and what of it takes the room: megabytes in the zip, by folder.

python tests/benchmarks/package.py [LOOK.toml]      # default: looks/slack_water.toml; some two minutes
"""

from __future__ import annotations

import sys
import tempfile
import zipfile
from collections import Counter
from pathlib import Path, PurePosixPath

import lookdev

HERE = Path(__file__).parents[2]


def main() -> None:
    look = Path(sys.argv[1]) if len(sys.argv) > 1 else HERE / "looks" / "slack_water.toml"
    scout = lookdev.open_scout(HERE / "sample_frames")
    (opened,) = lookdev.open_looks([look])
    ends = [lookdev.get_encoding(name) for name in ("ACEScct", "BT.709")]
    with tempfile.TemporaryDirectory() as folder:
        made = lookdev.handoff(lookdev.HandoffRequest(scout, opened, *ends, Path(folder) / "package"))
        sizes, counts = Counter[str](), Counter[str]()
        for entry in zipfile.ZipFile(made.archive).infolist():
            path = PurePosixPath(*PurePosixPath(entry.filename).parts[1:])
            kind = f"{path.parent} {'65-point ' if '.65.' in path.name else ''}{path.suffix}"
            sizes[kind] += entry.compress_size
            counts[kind] += 1
        for kind, size in sizes.most_common():
            print(f"{size / 1e6:7.2f} MB  {counts[kind]:3d}  {kind}")
        total = made.archive.stat().st_size
        print(
            f"{total / 1e6:7.2f} MB  in all, {len(made.stills)} stills, {len(made.cubes)} .cube; goal 40 MB"
        )


if __name__ == "__main__":
    main()
