"""A saved result, as ``--json`` prints it."""

from contextlib import suppress

from rigvision.ground.errors import SavedResultError
from rigvision.report.saved_result import parse_saved

WATCHED = ("rigvision.report.saved_result", "json")


def try_bytes(data: bytes) -> None:
    with suppress(SavedResultError):
        parse_saved(data)
