"""Which Python runs a script: one that has rigvision, else the checkout's own ``.venv``."""

from __future__ import annotations

import os
import sys
from importlib.util import find_spec
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent


def ensure_rigvision() -> None:
    """Start the script again with ``.venv`` where this Python lacks rigvision."""
    if find_spec("rigvision") and find_spec("rich"):
        return
    python = ROOT / ".venv" / "bin" / "python"
    if not python.exists() or Path(sys.prefix) == python.parent.parent:
        sys.exit("rigvision is not installed here; ./scripts/demo installs it into .venv.")
    os.execv(python, [str(python), *sys.argv])
