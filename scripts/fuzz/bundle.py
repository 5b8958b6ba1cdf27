"""A record's bundle, as it comes back. What is read without a fault must be written just so."""

from contextlib import suppress

from rigvision.records.bundle import bundle_faults, parse_bundle
from rigvision.records.examine_record import examine
from rigvision.records.stored_zip import write_zip

WATCHED = ("rigvision.records", "json")


def try_bytes(data: bytes) -> None:
    with suppress(ValueError):
        bundle = parse_bundle(data)
        assert write_zip(bundle.files) == data
        bundle_faults(bundle, examine(bundle.export).check)
