"""The page as a file: the ledger's signature over every byte of it, and the record inside it.

The signature stands in a comment line just before ``startxref``, where a PDF may have comments
and no offset changes; it is over all bytes but that line. The record is the one file embedded in
the page. Only what fpdf2 writes is read: one ordinary embedded stream, plain or deflated. A page
that another program saved again does not hold to its signature, whatever it shows.
"""

from __future__ import annotations

import re
import zlib
from collections.abc import Callable
from dataclasses import dataclass

from rigvision.records.canonical import sha256_of
from rigvision.records.record_export import MAX_BYTES as MAX_RECORD_BYTES
from rigvision.records.signature import holds

DOMAIN = b"rigvision.page/1\n"
MAX_BYTES = 128_000_000

_LINE = re.compile(rb"%rigvision\.page/1 ([0-9a-f]{128})\n")
_ANY_LINE = b"%rigvision.page/"
_END = re.compile(rb"startxref\r?\n\d{1,12}\r?\n%%EOF\r?\n?\Z")
_EMBEDDED = re.compile(rb"/Type\s*/EmbeddedFile\b")
_OBJECT = re.compile(rb"\d+ 0 obj\b")
_STREAM = re.compile(rb"\bstream\r?\n")
_LENGTH = re.compile(rb"/Length (\d{1,9})(?! \d+ R)\b")
#: Between an object's start and its stream: a dictionary of some 300 bytes.
_LONGEST_DICTIONARY = 2000


@dataclass(frozen=True, slots=True)
class PageFile:
    """``record`` is the attached JSON. ``signature`` is None where the line is not as we write
    it; ``signed`` are the bytes that it is over."""

    record: bytes
    signature: str | None
    signed: bytes


def sign_page(pdf: bytes, sign: Callable[[bytes], str]) -> bytes:
    """A PDF with the ledger's signature in it. Raises ValueError for what is no finished PDF, or
    is signed already."""
    end = _END.search(pdf, max(0, len(pdf) - 64))
    if end is None or not pdf.startswith(b"%PDF-"):
        raise ValueError("it is no finished PDF")
    if _ANY_LINE in pdf:
        raise ValueError("it is signed already")
    line = f"%rigvision.page/1 {sign(_to_sign(pdf))}\n".encode()
    return pdf[: end.start()] + line + pdf[end.start() :]


def parse_page(content: bytes) -> PageFile:
    """A page's record and signature. Raises ValueError where no record of ours is attached."""
    if len(content) > MAX_BYTES:
        raise ValueError(f"it has more than {MAX_BYTES // 1_000_000} MB")
    if not content.startswith(b"%PDF-"):
        raise ValueError("it is no PDF")
    lines = list(_LINE.finditer(content))
    end = _END.search(content, max(0, len(content) - 64))
    record = _attachment(content)
    if len(lines) != 1 or end is None or lines[0].end() != end.start():
        return PageFile(record, None, content)
    line = lines[0]
    return PageFile(record, line[1].decode(), content[: line.start()] + content[line.end() :])


def signature_holds(page: PageFile, public_key: str) -> bool:
    """Whether this ledger's key signed the page as it is."""
    return page.signature is not None and holds(public_key, page.signature, _to_sign(page.signed))


def _to_sign(pdf: bytes) -> bytes:
    return DOMAIN + sha256_of(pdf).encode()


def _attachment(content: bytes) -> bytes:
    """The one embedded file. Raises ValueError where there is none, or another than we write."""
    places = list(_EMBEDDED.finditer(content))
    if len(places) != 1:
        raise ValueError(f"it has {len(places) or 'no'} attached files, not one")
    at = places[0].start()
    starts = list(_OBJECT.finditer(content, max(0, at - _LONGEST_DICTIONARY), at))
    stream = _STREAM.search(content, at, at + _LONGEST_DICTIONARY)
    if not starts or stream is None:
        raise ValueError("its attached file cannot be found")
    dictionary = content[starts[-1].end() : stream.start()]
    length = _LENGTH.search(dictionary)
    if length is None:
        raise ValueError("its attached file does not say how long it is")
    data = content[stream.end() : stream.end() + int(length[1])]
    if not re.match(rb"\r?\n?endstream\b", content[stream.end() + len(data) :][:16]):
        raise ValueError("its attached file is longer or shorter than it says")
    return _inflated(data) if b"/FlateDecode" in dictionary else data


def _inflated(data: bytes) -> bytes:
    """Decompressed, but not beyond what a record may have. Raises ValueError."""
    inflating = zlib.decompressobj()
    try:
        content = inflating.decompress(data, MAX_RECORD_BYTES + 1)
    except zlib.error as error:
        raise ValueError("its attached file is damaged") from error
    if len(content) > MAX_RECORD_BYTES:
        raise ValueError(f"its attached file has more than {MAX_RECORD_BYTES // 1_000_000} MB")
    if not inflating.eof or inflating.unused_data:
        raise ValueError("its attached file is damaged")
    return content
