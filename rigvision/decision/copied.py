"""Is the file a copy that lost what was to be read? Blamed only where something could not be."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from rigvision.decision.cause import Cause
from rigvision.decision.sight import PhotoLimits

if TYPE_CHECKING:
    from rigvision.photo.stored import Stored

#: Refusals that a picture's lost detail brings about. A picture without a gauge shows none.
_BY_LOST_DETAIL = frozenset(
    {
        "too-few-marks",
        "marks-disagree",
        "ambiguous-view",
        "edge-hidden",
        "yoke-hidden",
        "uncertainty-too-large",
    }
)
#: And by figures that are off for it, though more often by what they say.
_BY_WRONG_DETAIL = frozenset({"gauge-not-seated", "clock-contradicts-gap"})


def copy_to_blame(
    stored: Stored | None, codes: Sequence[str], limits: PhotoLimits
) -> tuple[int, Cause] | None:
    """That the file is a copy, where that explains one of the codes, and before which to say it."""
    explained = [i for i, code in enumerate(codes) if code in _BY_LOST_DETAIL]
    if not explained and not _BY_WRONG_DETAIL.intersection(codes):
        return None
    what = list(_lost(stored, limits)) if stored else []
    if not what:
        return None
    place = explained[0] if explained else len(codes)
    return place, ("recompressed", {"what": " and ".join(what)})


def _lost(stored: Stored, limits: PhotoLimits) -> Iterator[str]:
    if stored.jpeg_quality is not None and stored.jpeg_quality < limits.copy_quality:
        yield f"it has JPEG quality {stored.jpeg_quality}, at least {limits.copy_quality}"
    if not stored.by_camera and stored.longer_px < limits.copy_longer_px:
        yield (
            f"it is {stored.longer_px} px long without a word of the camera, "
            f"at least {limits.copy_longer_px} px"
        )
