"""Tags seen in the picture: found on a pyramid, and once more in copies with their contrast evened.

Detection gives identity and a rough place; corners are measured later, at full resolution.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from rigvision.ground.conventions import FloatArray
from rigvision.photo.picture import Picture

Codes = npt.NDArray[np.uint8]
#: Tags are looked for on copies whose longer side is about this long, then finer.
COARSE_SIDE_PX = 1000
#: Side of a tag on such a copy below which it is left to a finer one: at 1.5 pixels a module
#: one in three cannot be decoded any more.
SMALLEST_TAG_PX = 12.0
#: A picture with no more pixels than this is searched once more, enlarged twice: below two pixels
#: a module the threshold joins modules.
SMALL_PICTURE_PX = 2_000_000
#: The same for a search that leaves nothing out: an outline of a module a pixel.
LEAST_TAG_PX = 8.0
#: A picture with no more pixels than this is enlarged twice more by such a search.
TINY_PICTURE_PX = 300_000
#: So many different tags end the search: the gauge's others are then looked for in their places.
ENOUGH_TAGS = 4
#: Two sightings of one id nearer than this part of their size are one tag.
SAME_PLACE = 0.5

#: Contrast-limited equalisation: how far a tile's contrast is raised at most, and tiles a side.
#: Tiles have the size of a tag or two, so that a shadow's border does not matter to either side.
EVENED_LIMIT, EVENED_TILES = 6.0, 12
#: Exponents of the codes that spread what is nearly white, and what is nearly black.
SPREAD_EXPONENTS = (3.0, 0.4)


@dataclass(frozen=True, slots=True)
class Sighting:
    """A tag seen: its id and rough corners (4, 2) px, in the order of ``CORNER_SIGNS``.

    Side i runs from corner i to the next; ``shown`` says from where to where each is not covered
    (4, 2), as parts of its length, both 0 for one that is hidden; None where nothing is.
    """

    mark_id: int
    corners_px: FloatArray
    shown: FloatArray | None = None

    @property
    def size_px(self) -> float:
        """Mean length of its sides."""
        sides = self.corners_px - np.roll(self.corners_px, 1, axis=0)
        return float(np.linalg.norm(sides, axis=1).mean())


def find_tags(picture: Picture) -> list[Sighting]:
    """All AprilTags of family 36h11 in the picture, rough corners; ids may repeat.

    Coarse to fine: a finer level is searched only while fewer than four tags are known, and
    copies with evened or spread contrast only where that was not enough either.
    """
    longest = max(picture.width_px, picture.height_px)
    steps = sorted({max(1, round(longest / COARSE_SIDE_PX / k)) for k in (1, 2, 4)}, reverse=True)
    found: list[Sighting] = []
    for step in steps:
        found = joined(found, detect(reduced(eight_bit(picture.luma), step), step))
        if _enough(found):
            return found
    if picture.width_px * picture.height_px <= SMALL_PICTURE_PX:
        found = joined(found, detect(enlarged(eight_bit(picture.luma)), ENLARGED))
        if _enough(found):
            return found
    for step in steps[:2]:
        for codes in evened(reduced(eight_bit(picture.luma), step)):
            found = joined(found, detect(codes, step))
            if _enough(found):
                return found
    return found


def find_all_tags(picture: Picture) -> list[Sighting]:
    """All tags that can be found at all, however many and small: at every size, down to the

    picture's own and beyond it. Takes several times as long as ``find_tags``.
    """
    codes, found = eight_bit(picture.luma), list[Sighting]()
    for step in (4, 2, 1):
        if max(codes.shape) >= COARSE_SIDE_PX * step / 2 or step == 1:
            found = joined(found, detect(reduced(codes, step), step, LEAST_TAG_PX))
    if codes.size <= SMALL_PICTURE_PX:
        twice = enlarged(codes)
        found = joined(found, detect(twice, ENLARGED, LEAST_TAG_PX))
        if codes.size <= TINY_PICTURE_PX:
            found = joined(found, detect(enlarged(twice), ENLARGED**2, LEAST_TAG_PX))
        for other in evened(twice):
            found = joined(found, detect(other, ENLARGED, LEAST_TAG_PX))
    return found


def _enough(found: list[Sighting]) -> bool:
    return len({s.mark_id for s in found}) >= ENOUGH_TAGS


def joined(known: list[Sighting], more: list[Sighting]) -> list[Sighting]:
    """Both, a tag that was seen twice but once: as it was seen last, on the finer copy."""
    kept = [k for k in known if not any(_same(k, m) for m in more)]
    return kept + more


def _same(a: Sighting, b: Sighting) -> bool:
    apart = np.linalg.norm(a.corners_px.mean(axis=0) - b.corners_px.mean(axis=0))
    return a.mark_id == b.mark_id and float(apart) < SAME_PLACE * max(a.size_px, b.size_px)


def evened(codes: Codes) -> Iterator[Codes]:
    """The same picture with what hides in glare, shade or haze brought out, one way each."""
    tiles = cv2.createCLAHE(EVENED_LIMIT, (EVENED_TILES, EVENED_TILES))
    yield np.asarray(tiles.apply(codes))
    for exponent in SPREAD_EXPONENTS:
        table = np.round(255.0 * (np.arange(256) / 255.0) ** exponent).astype(np.uint8)
        yield np.asarray(cv2.LUT(codes, table))


def eight_bit(luma: np.ndarray) -> Codes:
    """Luma codes (H, W) in 8 bits."""
    return luma if luma.dtype == np.uint8 else (luma >> 8).astype(np.uint8)


#: The step of a copy enlarged twice.
ENLARGED = 0.5


def enlarged(codes: Codes) -> Codes:
    """Twice the size."""
    return np.asarray(cv2.resize(codes, None, fx=2.0, fy=2.0, interpolation=cv2.INTER_CUBIC))


def detect(codes: Codes, step: float = 1, smallest_px: float = SMALLEST_TAG_PX) -> list[Sighting]:
    """Tags in codes (H, W) that were reduced ``step`` times; corners in the full picture's px."""
    detector = cv2.aruco.ArucoDetector(
        cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11),
        _parameters(max(codes.shape), smallest_px),
    )
    corners, ids, _ = detector.detectMarkers(np.ascontiguousarray(codes))
    if ids is None:
        return []
    # An area-reduced pixel's centre lies in the middle of the pixels it was made from.
    return [
        Sighting(int(i), (np.asarray(c, dtype=np.float64).reshape(4, 2) + 0.5) * step - 0.5)
        for i, c in zip(np.asarray(ids).ravel(), corners, strict=True)
    ]


def reduced(codes: Codes, step: int) -> Codes:
    """Means of squares of ``step`` x ``step`` codes."""
    while step > 1:
        # Halving is OpenCV's fast case: twice by 2 takes 0.4 ms of 12 MP, once by 4 takes 1.9.
        factor = 2 if step % 2 == 0 else step
        size = (codes.shape[1] // factor, codes.shape[0] // factor)
        whole = codes[: size[1] * factor, : size[0] * factor]
        codes = np.asarray(cv2.resize(whole, size, interpolation=cv2.INTER_AREA))
        step //= factor
    return codes


def _parameters(longest_px: int, smallest_px: float) -> cv2.aruco.DetectorParameters:
    """For a picture whose longer side has so many pixels."""
    parameters = cv2.aruco.DetectorParameters()
    # Looking at smaller outlines took a third of the search's time, and found nothing.
    parameters.minMarkerPerimeterRate = 4.0 * smallest_px / longest_px
    # Rough corners only: the sides are fitted later. SUBPIX halves the search's reach.
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    parameters.adaptiveThreshWinSizeMin = 5
    parameters.adaptiveThreshWinSizeMax = 25
    parameters.adaptiveThreshWinSizeStep = 20
    return parameters
