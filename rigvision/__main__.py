"""``python -m rigvision`` is the same as the command ``rigvision``."""

from rigvision.cli.main import main

main()
