"""A record's page, as it comes back: the attached record found, whatever else is in the file."""

from contextlib import suppress

from rigvision.records.page_file import parse_page, signature_holds

WATCHED = ("rigvision.records",)
PUBLIC_KEY = "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a"


def try_bytes(data: bytes) -> None:
    with suppress(ValueError):
        signature_holds(parse_page(data), PUBLIC_KEY)
