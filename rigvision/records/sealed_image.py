"""The analysed image of a record: drawn first, its seal set under it once the record is known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rigvision.decision.result import CheckResult
from rigvision.records.bodies import CheckCore, JobOpened
from rigvision.report.seal import Seal


@dataclass(frozen=True, slots=True)
class UnsealedImage:
    """RGB pixels (H, W, 3) of an analysed image that bears no record yet."""

    result: CheckResult
    pixels: npt.NDArray[np.uint8]

    def sealed(self, core: CheckCore, core_hash: str, job: JobOpened) -> bytes:
        """The image as JPEG with the record's seal: what is hashed, kept and signed."""
        from rigvision.report.analysed_image import jpeg_of

        seal = Seal(
            core.ledger,
            core.record,
            core_hash,
            core.follows_count,
            core.follows_hash,
            core.job,
            job.door,
            core.stage,
        )
        return jpeg_of(self.pixels, self.result, seal)


def unsealed_image(result: CheckResult) -> UnsealedImage:
    """Draw it; the result carries its evidence. Raises PhotoError where the photo is gone."""
    from rigvision.report.analysed_image import unsealed

    return UnsealedImage(result, unsealed(result))
