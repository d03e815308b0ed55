"""``python -m lookdev``."""

from lookdev.cli.main import main

main()
