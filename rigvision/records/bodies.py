"""What the kinds of entries hold. These are also the JSON that is hashed and signed.

Nothing here is ever renamed or taken away, as old ledgers stay readable; fields are only added,
with a default.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

Role = Literal["mechanic", "inspector"]
Position = Literal["ordinary", "master"]
Stage = Literal["before", "after"]
Decision = Literal["measured", "accepted", "rejected"]
#: What a trainer says a photo should have been called.
RulingWord = Literal["pass", "adjust", "retake"]


@dataclass(frozen=True, slots=True)
class LedgerOpened:
    """The first entry. ``ledger`` is 16 random hexadecimal digits; the key is Ed25519."""

    ledger: str
    public_key: str
    version: str  # of rigvision


@dataclass(frozen=True, slots=True)
class PersonEnrolled:
    """From here on this key signs for this person. ``fingerprint`` is what people compare."""

    person: str
    role: Role
    public_key: str
    fingerprint: str


@dataclass(frozen=True, slots=True)
class PersonWithdrawn:
    """From here on this key signs nothing more; what it has signed stays."""

    fingerprint: str
    cause: str


@dataclass(frozen=True, slots=True)
class JobOpened:
    """Work on one door. ``job`` is the reference that checks are recorded under."""

    job: str
    work_order: str
    engine: str
    frame: str
    door: int
    position: Position
    opened_by: str
    remark: str = ""


@dataclass(frozen=True, slots=True)
class JobClosed:
    job: str
    closed_by: str
    remark: str = ""


@dataclass(frozen=True, slots=True)
class FileFacts:
    """A file in the evidence folder, named there by its SHA-256."""

    sha256: str
    size_bytes: int
    media_type: str
    name: str  # as shown, never used as a path


@dataclass(frozen=True, slots=True)
class Definition:
    """A model that was measured with, kept whole in the evidence folder.

    ``kind`` is gauge, frame, camera or network; ``calibration_due`` a date, where it says one.
    """

    kind: Literal["gauge", "frame", "camera", "network"]
    name: str
    sha256: str
    calibration_due: str | None = None


@dataclass(frozen=True, slots=True)
class CheckCore:
    """All that a check rests on, known before its image is drawn: its hash stands in the image.

    ``record`` is what people call the check by (``records.record_id``). ``result_sha256`` is over
    the canonical result. ``follows_count`` and ``follows_hash`` are the ledger's head just before:
    an anchor that the printed image carries away.
    """

    schema: Literal["rigvision.record/1"]
    ledger: str
    record: str
    job: str
    stage: Stage | None
    recorded_at: str
    taken_at: str | None
    photo: FileFacts
    result_sha256: str
    definitions: tuple[Definition, ...]
    settings: dict[str, Any]  # door, guarded: what check() was called with
    versions: dict[str, str]  # of rigvision, Python and the libraries that measure
    follows_count: int
    follows_hash: str


@dataclass(frozen=True, slots=True)
class Flag:
    """Something that an inspector must look at before signing.

    ``code`` is one of ``records.flags``; ``record`` the earlier check that it points to.
    """

    code: str
    text: str
    record: str | None = None
    remedy: str = ""


@dataclass(frozen=True, slots=True)
class Likeness:
    """What a photo's set-up looked like, small enough to be compared with all others.

    Camera and figures come from the solved view, in gauge axes. ``patches`` are small grey pictures
    of the faces around the gap, as the gauge's axes see them, base64 of bytes
    (``records.packed_patch``). ``marks_px`` are the middles of the plate's whole marks in the
    picture, by their ids. ``figures`` are value and standard uncertainty, under names that end in
    their unit; what was not measured is not among them; a clock comes again after
    ``clock_period_deg``. ``sketches`` are 256 signs of a patch, hexadecimal, by which the like of
    it is found among many.
    """

    schema: Literal["rigvision.likeness/1"]
    gauge: str
    camera_mm: tuple[float, float, float]
    camera_uncertainty_mm: tuple[float, float, float]
    patches: dict[str, str]
    frame: str = ""
    marks_px: dict[str, tuple[float, float]] = field(default_factory=dict)
    figures: dict[str, tuple[float, float]] = field(default_factory=dict)
    clock_period_deg: float = 360.0
    sketches: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Statement:
    """What a person signs. It stands by itself: no ledger is needed to know what is meant.

    A mechanic states *measured*; an inspector *accepted* or *rejected*.
    """

    schema: Literal["rigvision.statement/1"]
    ledger: str
    record: str
    core_sha256: str
    photo_sha256: str
    image_sha256: str
    result_sha256: str
    role: Role
    decision: Decision
    remark: str
    person: str
    fingerprint: str
    signed_at: str


@dataclass(frozen=True, slots=True)
class Signed:
    """A statement with its Ed25519 signature and the public key, hexadecimal."""

    statement: Statement
    public_key: str
    signature: str


@dataclass(frozen=True, slots=True)
class CheckRecorded:
    """One check of one photo. ``result`` is what ``--json`` prints.

    ``measured`` is the mechanic's signature where it was given at once; else it comes as an entry
    of its own.
    """

    core: CheckCore
    core_sha256: str
    image: FileFacts
    result: dict[str, Any]
    likeness: Likeness | None
    flags: tuple[Flag, ...]
    measured: Signed | None = None


@dataclass(frozen=True, slots=True)
class CheckSigned:
    record: str
    signed: Signed


@dataclass(frozen=True, slots=True)
class CheckCorrected:
    """What was wrong with a record; ``replaced_by`` takes its place, if anything does.

    A corrected check is superseded: it can no longer be signed.
    """

    record: str
    cause: str
    corrected_by: str
    replaced_by: str | None = None


@dataclass(frozen=True, slots=True)
class Exported:
    """A file that left the house, so that every byte of it can be checked when it comes back."""

    record: str
    form: Literal["image", "page", "bundle"]
    sha256: str
    size_bytes: int


@dataclass(frozen=True, slots=True)
class Noted:
    """A remark on a record; ``kind`` says of what sort. A *ruling* carries its word as well: it
    teaches, and changes nothing of the record's verdict."""

    record: str
    kind: str
    text: str
    noted_by: str
    ruling: RulingWord | None = None


Body = (
    LedgerOpened
    | PersonEnrolled
    | PersonWithdrawn
    | JobOpened
    | JobClosed
    | CheckRecorded
    | CheckSigned
    | CheckCorrected
    | Exported
    | Noted
)
