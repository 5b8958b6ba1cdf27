"""Passphrases from the terminal, a file or the environment. They are never printed or kept."""

from __future__ import annotations

import os
import sys
from getpass import getpass
from pathlib import Path

from rigvision.ground.errors import PersonKeyError, UsageError
from rigvision.ground.ordinary_file import read_ordinary
from rigvision.ground.shown import one_line
from rigvision.records.person_key import readable_by_others

VARIABLE = "RIGVISION_PASSPHRASE"
MAX_BYTES = 4096


def passphrase(file: Path | None, whose: str, *, twice: bool = False) -> str:
    """``file``'s first line, else RIGVISION_PASSPHRASE, else asked for, ``twice`` for a new one.

    Raises PersonKeyError, UsageError where nobody can be asked.
    """
    if file is not None:
        return _from_file(file)
    if VARIABLE in os.environ:
        return os.environ[VARIABLE]
    if not sys.stdin.isatty():
        raise UsageError(
            "no-passphrase",
            "There is no terminal to ask for the passphrase.",
            f"Give --passphrase-file FILE, or set {VARIABLE}.",
        )
    first = getpass(f"Passphrase for the key of {one_line(whose, 80)}: ")
    if twice and getpass("The same again: ") != first:
        raise PersonKeyError(
            "passphrases-differ",
            "The two passphrases are not the same.",
            "Start again; nothing was made.",
        )
    return first


def warn_if_open(path: Path, what: str) -> None:
    """On standard error: a secret that others on this machine can read."""
    if readable_by_others(path):
        name = one_line(str(path), 200)
        print(
            f"rigvision: Warning: others can read {what} {name}. Take their rights away: "
            f"chmod 600 {name}",
            file=sys.stderr,
        )


def _from_file(path: Path) -> str:
    try:
        content = read_ordinary(path, MAX_BYTES).decode("utf-8")
        warn_if_open(path, "the passphrase in")
    except UnicodeDecodeError as error:
        raise _unread(path, "it is not UTF-8 text") from error
    except OSError as error:
        raise _unread(path, error.strerror or str(error)) from error
    lines = content.splitlines()
    return lines[0] if lines else ""


def _unread(path: Path, cause: str) -> PersonKeyError:
    return PersonKeyError(
        "passphrase-unreadable",
        f"The passphrase cannot be read from {one_line(str(path), 200)}: {cause}.",
        "Give a file whose first line is the passphrase.",
    )
