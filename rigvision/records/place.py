"""Where the ledger of signed records is kept."""

from __future__ import annotations

import os
from pathlib import Path

from platformdirs import user_data_path

#: Environment variable with the path of the ledger's file.
VARIABLE = "RIGVISION_LEDGER"
FILE_NAME = "ledger.sqlite3"


def ledger_path() -> Path:
    """``RIGVISION_LEDGER`` where set, else a file among the user's own data.

    Nothing is made or opened. On Linux that is ``~/.local/share/rigvision/ledger.sqlite3``.
    """
    chosen = os.environ.get(VARIABLE)
    if chosen:
        return Path(chosen)
    return user_data_path("rigvision", appauthor=False) / FILE_NAME
