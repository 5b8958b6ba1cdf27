"""A record's JSON, as it comes back: read, and everything in it looked at.

Nearly all changed bytes leave the canonical form, so each input is tried in that form too: faults
do not keep ``examine`` from going on to the last entry.
"""

import json
from contextlib import suppress

from rigvision.records.canonical import canonical
from rigvision.records.examine_record import examine
from rigvision.records.record_export import parse_record

WATCHED = ("rigvision.records", "json")


def try_bytes(data: bytes) -> None:
    _try(data)
    with suppress(ValueError, RecursionError):
        _try(canonical(json.loads(data)))


def _try(data: bytes) -> None:
    with suppress(ValueError):
        faults = examine(parse_record(data)).faults
        assert all(isinstance(fault, str) for fault in faults)
