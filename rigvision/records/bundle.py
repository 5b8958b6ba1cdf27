"""A record with all its files in one zip file, that verifies alone and to its last byte.

``manifest.json`` lists every other file by its SHA-256 and is signed by the ledger's key;
``record.json`` is the record (``record_export``); photo, analysed image and models are those that
it names. The zip file has one form only (``stored_zip``).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal

from rigvision.records.bodies import CheckRecorded
from rigvision.records.canonical import canonical, parsed, sha256_of
from rigvision.records.record_export import RecordExport, parse_record
from rigvision.records.signature import holds
from rigvision.records.stored_zip import read_zip, write_zip
from rigvision.records.strict_json import plain_of, read_exactly

SCHEMA: Final = "rigvision.bundle/1"
DOMAIN = SCHEMA.encode() + b"\n"
MANIFEST, RECORD, IMAGE, PAGE, EXPLANATION = (
    "manifest.json",
    "record.json",
    "analysed.jpg",
    "page.pdf",
    "readme.txt",
)
_ENDINGS = {
    "image/jpeg": "jpg",
    "image/png": "png",
    "image/tiff": "tif",
    "image/webp": "webp",
    "image/heic": "heic",
}
#: For whoever has no rigvision: how to check it all by other means.
HOW_TO_CHECK = """\
This is the record of one check of a door, with its evidence. 'rigvision verify' checks it.
By other means:

1. Every file but manifest.json has the SHA-256 that manifest.json gives for it.
2. record.json holds the entries of the ledger that concern the record. The field "hash" of an
   entry is the SHA-256 of the line "rigvision.entry/1", a line feed, and the RFC 8785 form of
   {body, kind, previous, recorded_at, sequence}.
3. photo, image and models have the SHA-256 that the entry "check-recorded" gives for them.
4. A signature under a statement is Ed25519 over the line "rigvision.statement/1", a line feed,
   and the RFC 8785 form of the statement, by the public key beside it. The key belongs to the
   person whose entry "person-enrolled" has it.
5. The signatures of manifest.json and record.json are the ledger's, over the line that "schema"
   says, a line feed, and the RFC 8785 form of the rest without "signature"; its key is in the
   first entry. Ask whoever keeps the ledger for the key's fingerprint: the first 32 digits of
   the SHA-256 of its 32 bytes.
"""


@dataclass(frozen=True, slots=True)
class ListedFile:
    name: str
    sha256: str
    size_bytes: int


@dataclass(frozen=True, slots=True)
class Manifest:
    schema: Literal["rigvision.bundle/1"]
    ledger: str
    record: str
    files: tuple[ListedFile, ...]
    public_key: str
    signature: str


@dataclass(frozen=True, slots=True)
class Bundle:
    """A bundle's files by name; ``export`` is its record, read."""

    files: dict[str, bytes]
    manifest: Manifest
    export: RecordExport


def member_names(check: CheckRecorded) -> dict[str, str]:
    """Under which name each file that a check rests on lies in its bundle, with its SHA-256."""
    ending = _ENDINGS.get(check.core.photo.media_type, "bin")
    names = {f"photo.{ending}": check.core.photo.sha256, IMAGE: check.image.sha256}
    for number, definition in enumerate(check.core.definitions, 1):
        kind = "npz" if definition.kind == "network" else "toml"
        names[f"models/{number}-{definition.kind}.{kind}"] = definition.sha256
    return names


def write_bundle(
    record: bytes,
    check: CheckRecorded,
    read_evidence: Callable[[str], bytes],
    sign: Callable[[bytes], str],
    page: bytes | None = None,
) -> bytes:
    """The bundle of a record, whose JSON is ``record``, as a zip file.

    ``read_evidence`` gives the bytes that have a SHA-256, ``sign`` the ledger's signature. Raises
    ValueError for what no bundle holds, and whatever ``read_evidence`` does.
    """
    export = parse_record(record)
    files = {name: read_evidence(sha256) for name, sha256 in member_names(check).items()}
    files |= {RECORD: record, EXPLANATION: HOW_TO_CHECK.encode()}
    if page is not None:
        files[PAGE] = page
    return write_zip(files | {MANIFEST: _manifest(export, files, sign)})


def parse_bundle(content: bytes) -> Bundle:
    """A bundle in form, its record read. ``bundle_faults`` says whether it is true.

    Raises ValueError, in words, for any bytes that ``write_bundle`` does not write.
    """
    files = read_zip(content)
    for name in (MANIFEST, RECORD):
        if name not in files:
            raise ValueError(f"{name} is missing in it")
    try:
        manifest: Manifest = read_exactly(Manifest, parsed(files[MANIFEST]))
    except ValueError as error:
        raise ValueError(f"{MANIFEST}: {error}") from error
    try:
        export = parse_record(files[RECORD])
    except ValueError as error:
        raise ValueError(f"{RECORD}: {error}") from error
    return Bundle(files, manifest, export)


def bundle_faults(bundle: Bundle, check: CheckRecorded | None) -> list[str]:
    """What is wrong with a bundle beside its record: the manifest, and the files that both name.

    ``check`` is what the record turned out to be about, None where that is wrong itself.
    """
    manifest, head = bundle.manifest, bundle.export.head
    faults = []
    if manifest.public_key != head.public_key:
        faults.append("the manifest is signed by another key than the record")
    if not holds(manifest.public_key, manifest.signature, _to_sign(plain_of(manifest))):
        faults.append("the signature under the manifest does not hold")
    if (manifest.ledger, manifest.record) != (head.ledger, bundle.export.record):
        faults.append("the manifest is that of another record")
    listed = tuple(_listed(bundle.files))
    if manifest.files != listed:
        faults.append(f"{_first_difference(manifest.files, listed)} is not as the manifest says")
    for name, sha256 in (member_names(check) if check else {}).items():
        if sha256_of(bundle.files.get(name, b"")) != sha256:
            faults.append(f"{name} is not the file that the record names")
    return faults


def _manifest(
    export: RecordExport, files: Mapping[str, bytes], sign: Callable[[bytes], str]
) -> bytes:
    plain: dict[str, Any] = {
        "schema": SCHEMA,
        "ledger": export.head.ledger,
        "record": export.record,
        "files": [plain_of(file) for file in _listed(files)],
        "public_key": export.head.public_key,
    }
    return canonical(plain | {"signature": sign(_to_sign(plain))})


def _to_sign(plain: dict[str, Any]) -> bytes:
    return DOMAIN + canonical({k: v for k, v in plain.items() if k != "signature"})


def _listed(files: Mapping[str, bytes]) -> list[ListedFile]:
    return [
        ListedFile(name, sha256_of(content), len(content))
        for name, content in sorted(files.items())
        if name != MANIFEST
    ]


def _first_difference(said: tuple[ListedFile, ...], found: tuple[ListedFile, ...]) -> str:
    """The name of a file that one list has otherwise than the other."""
    return min(file.name for file in set(said) ^ set(found)) if set(said) ^ set(found) else MANIFEST
