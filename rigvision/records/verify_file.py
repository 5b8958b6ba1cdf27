"""A file that came back, or a ledger: what is intact, signed by whom, or changed where."""

from __future__ import annotations

import re
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from rigvision.ground.errors import ExportError
from rigvision.ground.ordinary_file import ordinary_parts, read_ordinary
from rigvision.ground.shown import one_line
from rigvision.records.bundle import bundle_faults, parse_bundle
from rigvision.records.canonical import sha256_of
from rigvision.records.examine_record import Examined, examine, examine_entries
from rigvision.records.ledger import Ledger
from rigvision.records.ledger_error import LedgerError
from rigvision.records.ledger_lookup import KnownFile, differing, entries_about, files_known_as
from rigvision.records.page_file import parse_page, signature_holds
from rigvision.records.record_export import RecordExport, parse_record
from rigvision.records.stored_zip import MAX_BYTES as MAX_FILE_BYTES
from rigvision.records.verification import (
    Verification,
    What,
    changed,
    in_short,
    intact,
    unproven,
)
from rigvision.report.seal import FORMAT, SealCode, read_seal

SQLITE = b"SQLite format 3\0"
#: How files begin that carry a record.
_ZIP, _PDF, _JSON = b"PK", b"%PDF-", b"{"
#: Where an analysed image says in clear which record it belongs to: in the EXIF at its beginning.
_CODE = re.compile(rb"%b [0-9A-Z -]{20,200}" % FORMAT.encode())
_LABEL_BYTES = 65_536

#: Stands many times in whatever carries a record, so that damage does not take it away.
_OURS = b"rigvision"


def is_ledger(path: Path) -> bool:
    """Whether a file begins as SQLite's do. Raises ExportError where it cannot be read."""
    try:
        with closing(ordinary_parts(path)) as pieces:
            return next(pieces, b"").startswith(SQLITE)
    except OSError as error:
        raise _unreadable(path, error) from error


def verify_file(path: Path, ledger: Ledger | None = None) -> Verification:
    """Verify a file that is no ledger, by itself and, where one is given, by a ledger.

    Raises ExportError where it cannot be read or is a stranger's, LedgerError for the ledger.
    """
    try:
        content = read_ordinary(path, MAX_FILE_BYTES + (1 << 20))
    except OSError as error:
        raise _unreadable(path, error) from error
    return verify_bytes(content, one_line(path.name, 80), ledger)


def verify_bytes(content: bytes, name: str, ledger: Ledger | None = None) -> Verification:
    """As ``verify_file``; ``name`` is what the sentences call it."""
    verify = next((v for start, v in _KINDS if content.startswith(start)), _verify_other)
    return verify(content, name, ledger)


def _verify_record(content: bytes, name: str, ledger: Ledger | None) -> Verification:
    try:
        export = parse_record(content)
    except ValueError as error:
        return _unlike_ours(content, name, ledger, "record", error)
    found = examine(export)
    if found.faults:
        return changed("record", _was_changed(f"The record in {name}", found), found.faults)
    sentence = f"Record {export.record} is intact: {in_short(found)}."
    return _by_ledger(intact("record", sentence, found, []), export, found, ledger)


def _verify_bundle(content: bytes, name: str, ledger: Ledger | None) -> Verification:
    try:
        bundle = parse_bundle(content)
    except ValueError as error:
        return _unlike_ours(content, name, ledger, "bundle", error)
    found = examine(bundle.export)
    faults = found.faults + bundle_faults(bundle, found.check)
    if faults:
        return changed("bundle", _was_changed(f"The bundle {name}", found, faults), faults)
    sentence = (
        f"Bundle and record {bundle.export.record} are intact, to the last byte: {in_short(found)}."
    )
    files = f"{len(bundle.files)} files: {', '.join(sorted(bundle.files))}"
    return _by_ledger(intact("bundle", sentence, found, [files]), bundle.export, found, ledger)


def _verify_page(content: bytes, name: str, ledger: Ledger | None) -> Verification:
    try:
        page = parse_page(content)
        export = parse_record(page.record)
    except ValueError as error:
        return _unlike_ours(content, name, ledger, "page", error)
    found = examine(export)
    if found.faults:
        return changed("page", _was_changed(f"The record in {name}", found), found.faults)
    if not signature_holds(page, export.head.public_key):
        return changed(
            "page",
            f"The page {name} was changed after the ledger signed it; the record {export.record} "
            f"that is attached to it is intact: {in_short(found)}.",
            ["do not trust what the page shows: read the attached record, or export it again"],
            export.record,
        )
    sentence = f"Page and record {export.record} are intact, to the last byte: {in_short(found)}."
    return _by_ledger(intact("page", sentence, found, []), export, found, ledger)


def _unlike_ours(
    content: bytes, name: str, ledger: Ledger | None, what: What, error: ValueError
) -> Verification:
    """Of a form that rigvision does not write: damaged where it once was ours, else a stranger's
    file, which at most a ledger knows. Raises ExportError."""
    if _OURS in content:
        return changed(what, f"{name} is damaged or was changed: {error}.", [])
    if ledger is not None and files_known_as(ledger, sha256_of(content)):
        return _verify_other(content, name, ledger)
    raise ExportError(
        "not-ours",
        f"{name} is no {what} that rigvision wrote: {error}.",
        "Give a ledger, or a file that rigvision exported. Nothing in it was unpacked.",
    )


def _verify_other(content: bytes, name: str, ledger: Ledger | None) -> Verification:
    """A photo, an analysed image, a model: only a ledger knows it, by its hash."""
    sha256, code = sha256_of(content), _code_in(content)
    about = _says(code) if code else []
    if ledger is None:
        return unproven(
            "file",
            f"{name} cannot be proven by itself: only the ledger that it comes from knows it.",
            [*about, f"Its SHA-256 is {sha256}", "Give the ledger: --ledger FILE"],
            code.record if code else None,
        )
    known = files_known_as(ledger, sha256)
    if known:
        return _known(known, name, ledger)
    if code and code.ledger == ledger.identity and _has_core(ledger, code):
        return changed(
            "file",
            f"{name} was changed: it says that it belongs to record {code.record}, but no file "
            "of that record has its bytes.",
            [f"its SHA-256 is {sha256}"],
            code.record,
        )
    return unproven(
        "file",
        f"{name} is unknown to the ledger {ledger.identity}: it is of another, or was changed.",
        [*about, f"Its SHA-256 is {sha256}"],
        code.record if code else None,
    )


def _known(known: list[KnownFile], name: str, ledger: Ledger) -> Verification:
    """A file that an entry of the ledger names: as true as what the ledger says of the record."""
    first = known[0]
    found = examine_entries(first.record, ledger.head(), entries_about(ledger, first.record))
    if found.faults:
        sentence = f"{name} is known to the ledger, but what the ledger says of it was changed."
        return changed("file", sentence, found.faults, first.record)
    part = first.part.removeprefix("exported ")
    sentence = (
        f"{name} is intact: it is the {_PARTS.get(part, part)} of record {first.record}, "
        f"{in_short(found)}."
    )
    also = [
        f"Also the {_PARTS.get(k.part, k.part)} of {k.record}, entry {k.entry.sequence}"
        for k in known[1:6]
        if k.record != first.record
    ]
    return intact("file", sentence, found, [*also, _ONLY_ITS_ENTRIES])


def _by_ledger(
    alone: Verification, export: RecordExport, found: Examined, ledger: Ledger | None
) -> Verification:
    """The same, compared with the ledger where there is one: is it this ledger's, and what has
    been said since."""
    if ledger is None:
        return alone
    if (export.head.ledger, export.head.public_key) != (ledger.identity, ledger.public_key):
        return unproven(
            alone.what,
            f"Record {export.record} holds by itself, but is of ledger {export.head.ledger}, not "
            f"of {ledger.identity}.",
            list(alone.details),
            export.record,
        )
    other = differing(ledger, export.entries)
    anchor = ledger.entry(export.head.count)
    if anchor is None or anchor.hash != export.head.hash:
        other.append(export.head.count)
    if other:
        faults = [f"entry {number} is another in the ledger, or missing" for number in other]
        sentence = f"Record {export.record} holds by itself, but the ledger says otherwise."
        return changed(alone.what, sentence, faults, export.record)
    return _with_news(alone, export, found, ledger)


def _with_news(
    alone: Verification, export: RecordExport, found: Examined, ledger: Ledger
) -> Verification:
    head = ledger.head()
    now = examine_entries(export.record, head, entries_about(ledger, export.record))
    if now.faults:
        sentence = f"Record {export.record} holds by itself, but the ledger was changed since."
        return changed(alone.what, sentence, now.faults, export.record)
    more = [f"The ledger has the same entries, and {head.count - export.head.count} since"]
    if in_short(now) != in_short(found):
        more.append(f"Since it was exported: {in_short(now)}")
    sentence = alone.sentence.replace(in_short(found), in_short(now))
    files = [line for line in alone.details if " files: " in line]
    return intact(alone.what, sentence, now, [*files, *more, _ONLY_ITS_ENTRIES])


def _was_changed(subject: str, found: Examined, faults: list[str] | None = None) -> str:
    first = (faults or found.faults)[0]
    return f"{subject} is damaged or was changed: {one_line(first, 200)}."


def _has_core(ledger: Ledger, code: SealCode) -> bool:
    try:
        found = examine_entries(code.record, ledger.head(), entries_about(ledger, code.record))
    except LedgerError:
        return False
    return found.check is not None and found.check.core_sha256 == code.core_sha256


def _code_in(content: bytes) -> SealCode | None:
    """Which record an analysed image says it belongs to; nothing proves that it tells the truth."""
    found = _CODE.search(content[:_LABEL_BYTES])
    return read_seal(found[0].decode("ascii")) if found else None


def _says(code: SealCode) -> list[str]:
    return [
        f"It says that it belongs to record {code.record} of ledger {code.ledger}",
        f"It says that the record's hash is {code.core_sha256}",
        f"It says that the ledger had {code.count} entries then, head {code.head_hash_start}…",
    ]


def _unreadable(path: Path, error: OSError) -> ExportError:
    return ExportError(
        "unreadable",
        f"{one_line(str(path), 200)} cannot be read: {error.strerror or error}.",
        "Give a ledger, or a file that rigvision exported.",
    )


_ONLY_ITS_ENTRIES = (
    "Of the ledger only the entries about this record were looked at; 'rigvision verify LEDGER' "
    "looks at all"
)
_PARTS = {"image": "analysed image", "photo": "photo"}
_KINDS: tuple[tuple[bytes, Callable[[bytes, str, Ledger | None], Verification]], ...] = (
    (_ZIP, _verify_bundle),
    (_PDF, _verify_page),
    (_JSON, _verify_record),
)
