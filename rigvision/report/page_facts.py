"""What a record's page says, gathered by whoever keeps the record."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from rigvision.report.saved_result import SavedResult
from rigvision.report.seal import Seal

#: How far a record has come. Only an accepted one may be relied on.
Standing = Literal["recorded", "measured", "accepted", "rejected", "corrected"]


@dataclass(frozen=True, slots=True)
class PageJob:
    work_order: str
    engine: str
    frame: str
    position: str


@dataclass(frozen=True, slots=True)
class PageModel:
    """A gauge, frame, camera or network that was measured with."""

    kind: str
    name: str
    sha256: str
    calibration_due: str | None = None


@dataclass(frozen=True, slots=True)
class PageSignature:
    """Who signed what, when. Times are UTC, ``2026-01-31T23:59:59.000000Z``."""

    person: str
    role: str
    decision: Literal["measured", "accepted", "rejected"]
    signed_at: str
    fingerprint: str
    remark: str = ""


@dataclass(frozen=True, slots=True)
class PageFlag:
    text: str
    record: str | None = None


@dataclass(frozen=True, slots=True)
class PageCorrection:
    cause: str
    corrected_by: str
    corrected_at: str
    replaced_by: str | None = None


@dataclass(frozen=True, slots=True)
class PageFacts:
    """``seal`` carries the ledger's head when the page is made, ``image_jpeg`` the analysed image
    as it was signed, byte for byte, ``record_json`` what is attached.
    """

    seal: Seal
    job: PageJob
    recorded_at: str
    result: SavedResult
    image_jpeg: bytes
    record_json: bytes
    models: tuple[PageModel, ...] = ()
    signatures: tuple[PageSignature, ...] = ()
    flags: tuple[PageFlag, ...] = ()
    corrections: tuple[PageCorrection, ...] = ()

    @property
    def standing(self) -> Standing:
        """A correction outweighs every signature, a rejection every acceptance."""
        if self.corrections:
            return "corrected"
        decisions = {signature.decision for signature in self.signatures}
        for decision in ("rejected", "accepted", "measured"):
            if decision in decisions:
                return decision
        return "recorded"

    @property
    def is_void(self) -> bool:
        """Whether the verdict may no longer be relied on, whatever it was."""
        return self.standing in ("rejected", "corrected")

    @property
    def as_of(self) -> str:
        """When the newest of these facts came about: the page says nothing of what came later."""
        times = [self.recorded_at]
        times += [signature.signed_at for signature in self.signatures]
        times += [correction.corrected_at for correction in self.corrections]
        return max(times)
