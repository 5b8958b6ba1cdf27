"""A record's JSON, as it comes back: read, and everything in it looked at."""

from contextlib import suppress

from rigvision.records.examine_record import examine
from rigvision.records.record_export import parse_record

WATCHED = ("rigvision.records", "json")


def try_bytes(data: bytes) -> None:
    with suppress(ValueError):
        export = parse_record(data)
        faults = examine(export).faults
        assert all(isinstance(fault, str) for fault in faults)
