"""A record leaves the house: as analysed image, as page, or as bundle with all its evidence.

What is exported is verified as any reader would before it gets its name, and its hash is entered
into the ledger, so that a ledger knows every byte that it ever gave away.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from typing import Literal

from rigvision.ground.errors import ExportError
from rigvision.ground.shown import one_line
from rigvision.records.bodies import CheckRecorded, Exported
from rigvision.records.bundle import write_bundle
from rigvision.records.canonical import sha256_of
from rigvision.records.examine_record import Examined, examine, examine_entries
from rigvision.records.ledger import Ledger
from rigvision.records.ledger_lookup import entries_about
from rigvision.records.page_file import sign_page
from rigvision.records.record_export import parse_record, record_json
from rigvision.records.safe_file import name_new, sync_folder, written_beside
from rigvision.records.verify_file import verify_bytes

Form = Literal["image", "page", "bundle"]
ENDINGS: dict[Form, str] = {"image": "checked.jpg", "page": "page.pdf", "bundle": "bundle.zip"}


@dataclass(frozen=True, slots=True)
class _Leaving:
    """A record on its way out: what the ledger says of it at one moment."""

    record: str
    found: Examined
    check: CheckRecorded
    content: bytes  # the record's JSON


def export(ledger: Ledger, record: str, form: Form, folder: Path) -> Path:
    """Write a record into a folder, which is made where missing; gives the file's path.

    No file is ever overwritten: a name that is taken gets a number. Raises ExportError where the
    record is not whole or the file cannot be written, LedgerError for the ledger and its evidence.
    """
    leaving = _leaving(ledger, record)
    content = _MAKE[form](ledger, leaving)
    _refuse_unproven(ledger, leaving, form, content)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with written_beside(folder / f"{record}.{ENDINGS[form]}", content, mode=0o644) as part:
            with ledger.writing() as writing:
                writing.append(Exported(record, form, sha256_of(content), len(content)))
            path = _named(part, folder, record, ENDINGS[form])
        sync_folder(folder)
    except OSError as error:
        raise ExportError(
            "not-written",
            f"Record {record} cannot be written into {one_line(str(folder), 200)}: "
            f"{error.strerror or error}.",
            "Give a folder that you may write to and that has room.",
        ) from error
    return path


def export_json(ledger: Ledger, record: str) -> bytes:
    """The record's JSON with the ledger as it is now (``record_export``). Raises as ``export``."""
    return _leaving(ledger, record).content


def _leaving(ledger: Ledger, record: str) -> _Leaving:
    head = ledger.head()
    # What others append meanwhile comes after the head, and belongs to the next export.
    entries = [e for e in entries_about(ledger, record) if e.sequence <= head.count]
    found = examine_entries(record, head, entries)
    if found.faults or found.check is None:
        raise _not_whole(record, found.faults[0])
    content = record_json(record, head, entries, ledger.signature)
    return _Leaving(record, examine(parse_record(content)), found.check, content)


def _image(ledger: Ledger, leaving: _Leaving) -> bytes:
    return ledger.evidence.read(leaving.check.image.sha256)


def _page(ledger: Ledger, leaving: _Leaving) -> bytes:
    from rigvision.records.page_of_record import page_of_record

    pdf = page_of_record(leaving.found, leaving.content, _image(ledger, leaving))
    return sign_page(pdf, ledger.signature)


def _bundle(ledger: Ledger, leaving: _Leaving) -> bytes:
    page = _page(ledger, leaving)
    return write_bundle(
        leaving.content, leaving.check, ledger.evidence.read, ledger.signature, page
    )


_MAKE: dict[Form, Callable[[Ledger, _Leaving], bytes]] = {
    "image": _image,
    "page": _page,
    "bundle": _bundle,
}


def _refuse_unproven(ledger: Ledger, leaving: _Leaving, form: Form, content: bytes) -> None:
    """Nothing leaves that does not verify: by itself, or for an image by the ledger."""
    name = f"the {form} of {leaving.record}"
    verified = verify_bytes(content, name, ledger if form == "image" else None)
    if verified.outcome != "intact":
        raise _not_whole(leaving.record, verified.sentence)


def _named(part: Path, folder: Path, record: str, ending: str) -> Path:
    """Give the finished file the first name that is free."""
    for number in count(1):
        path = folder / (f"{record}.{ending}" if number == 1 else f"{record}-{number}.{ending}")
        try:
            name_new(part, path)
        except FileExistsError:
            continue
        return path
    raise AssertionError("there is always another number")


def _not_whole(record: str, fault: str) -> ExportError:
    return ExportError(
        "record-not-whole",
        f"Record {record} is not exported, as it is not whole: {one_line(fault, 200)}.",
        "Run 'rigvision verify' on the ledger and restore the newest backup.",
    )
