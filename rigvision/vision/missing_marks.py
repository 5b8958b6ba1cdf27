"""A gauge's marks that the search over the whole picture missed, looked for where they must be.

Any seen mark says roughly where the others are, the better the more there are; so what is found is
used to look further, until a round brings nothing new. A mark is taken where its own id decodes
in a copy of its surroundings, plain or with evened contrast, or else where its known grid
agrees with the picture. A false one would have to pass three gates: an agreement that no place
without the mark came to (``MissingMarksTuning.nearby``; a clean mark gives 1), a border's step
along its sides, and the common pose of all the others.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np

from rigvision.ground.conventions import CORNER_SIGNS, FloatArray
from rigvision.photo.picture import Picture
from rigvision.vision.mark_code import match_code
from rigvision.vision.sighting import (
    ENLARGED,
    Codes,
    Sighting,
    detect,
    eight_bit,
    enlarged,
    evened,
    reduced,
)
from rigvision.world.gauge import Gauge

#: Why a mark was not measured: cut off by the picture's border, blown out, black, or none of these.
LossCause = Literal["outside", "bright", "dark", "hidden", "contradicts"]


@dataclass(frozen=True, slots=True)
class MissingMarksTuning:
    """Every free choice of the search."""

    margin: float = 0.5  # around the expected place, parts of a mark's side
    tag_px: float = 80.0  # side of a mark on the copy that is searched
    other_tag_px: tuple[float, ...] = (40.0, 24.0)  # on the next copies, where that was not enough
    #: How far a mark may be from its place, cells, and what agreement of its grid is asked for: of
    #: 4475 places in photographs without the mark none came to 0.43 at the wider reach, of 1920 in
    #: noise of any coarseness none to 0.46 and 0.68.
    nearby: tuple[tuple[float, float], ...] = ((0.5, 0.5), (1.5, 0.7))
    small_tag_px: float = 40.0  # side of a mark whose surroundings are enlarged
    bright: float = 0.8  # linear light of a lost mark's darkest fifth: blown out
    dark: float = 0.02  # linear light of its brightest fifth: black


@dataclass(frozen=True, slots=True)
class LostMark:
    """A mark of the plate that was not measured, where it must be, and what is wrong there."""

    mark_id: int
    corners_px: FloatArray | None  # (4, 2) expected; None where no other mark tells
    cause: LossCause


def find_missing(
    picture: Picture, expected_px: dict[int, FloatArray], tuning: MissingMarksTuning | None = None
) -> list[Sighting]:
    """Tags that the coarse search missed, looked for at full resolution where they must be.

    ``expected_px`` gives the rough corners (4, 2) of the area to search, by id: the tag's own,
    or of a slide along which it may be anywhere.
    """
    tuning = tuning or MissingMarksTuning()
    found = (_decoded(picture, i, corners, tuning) for i, corners in expected_px.items())
    return [sighting for sighting in found if sighting]


def match_missing(
    picture: Picture, expected_px: dict[int, FloatArray], tuning: MissingMarksTuning | None = None
) -> list[Sighting]:
    """Marks whose known grid agrees with the picture near where they must be, decoded or not.

    Each with the parts of its sides that show.
    """
    tuning = tuning or MissingMarksTuning()
    codes, found = eight_bit(picture.luma), []
    for mark_id, corners_px in expected_px.items():
        if not _inside(corners_px, picture).any():
            continue
        for reach_cells, least in tuning.nearby:
            match = match_code(codes, corners_px, mark_id, reach_cells)
            if match.agreement >= least:
                found.append(Sighting(mark_id, match.corners_px, match.shown))
                break
    return found


def lost_marks(
    picture: Picture,
    missing: list[int],
    expected_px: dict[int, FloatArray],
    tuning: MissingMarksTuning | None = None,
) -> tuple[LostMark, ...]:
    """Marks not measured, each with the likely cause, as the light in its place tells."""
    tuning = tuning or MissingMarksTuning()
    return tuple(
        LostMark(i, expected_px.get(i), _cause(picture, expected_px.get(i), tuning))
        for i in missing
    )


def _decoded(
    picture: Picture, mark_id: int, corners_px: FloatArray, tuning: MissingMarksTuning
) -> Sighting | None:
    # The shorter side of the area is about as long as the tag.
    sides_px = np.linalg.norm(corners_px - np.roll(corners_px, 1, axis=0), axis=1)
    tag_px = float(sides_px.min())
    left, top = _bound(np.floor(corners_px.min(axis=0) - tuning.margin * tag_px), picture)
    right, bottom = _bound(np.ceil(corners_px.max(axis=0) + tuning.margin * tag_px), picture)
    crop = eight_bit(picture.luma[top:bottom, left:right])
    if min(crop.shape) < 24:
        return None
    for codes, step in _copies(crop, tag_px, tuning):
        for sighting in detect(codes, step):
            if sighting.mark_id == mark_id:
                return Sighting(mark_id, sighting.corners_px + np.array([left, top]))
    return None


def _copies(
    crop: Codes, tag_px: float, tuning: MissingMarksTuning
) -> Iterator[tuple[Codes, float]]:
    """The crop at some sizes, then with its contrast evened, each with how much it is reduced."""
    if tag_px < tuning.small_tag_px:
        yield enlarged(crop), ENLARGED
    sizes = (tuning.tag_px, *tuning.other_tag_px)
    steps = sorted({max(1, round(tag_px / size)) for size in sizes})
    for step in steps:
        if min(crop.shape) >= 24 * step:
            yield reduced(crop, step), step
    for codes in evened(reduced(crop, steps[0])):
        yield codes, steps[0]


def _bound(corner_px: FloatArray, picture: Picture) -> tuple[int, int]:
    x, y = corner_px.astype(int)
    return int(np.clip(x, 0, picture.width_px)), int(np.clip(y, 0, picture.height_px))


def _inside(corners_px: FloatArray, picture: Picture) -> np.ndarray:
    """Which corners (N,) lie in the picture."""
    last = np.array([picture.width_px - 1, picture.height_px - 1])
    return np.asarray(((corners_px >= 0.0) & (corners_px <= last)).all(axis=1))


def _cause(
    picture: Picture, corners_px: FloatArray | None, tuning: MissingMarksTuning
) -> LossCause:
    if corners_px is None:
        return "hidden"
    if not _inside(corners_px, picture).all():
        return "outside"
    left, top = np.floor(corners_px.min(axis=0)).astype(int)
    right, bottom = np.ceil(corners_px.max(axis=0)).astype(int) + 1
    light = picture.linear(int(left), int(top), int(right), int(bottom))
    darkest, brightest = np.quantile(light, (0.2, 0.8))
    if darkest > tuning.bright:
        return "bright"
    return "dark" if brightest < tuning.dark else "hidden"


# Where the marks must be


def expected_places(seen: list[Sighting], gauge: Gauge) -> dict[int, FloatArray]:
    """Where all marks of the plate must be, by those seen; empty where none was."""
    drawn = {i: gauge.marks.corners_mm(i) for i in gauge.marks.centres_mm}
    homography = rough_homography(seen, drawn)
    if homography is None:
        return {}
    return {i: apply_homography(homography, corners[:, :2]) for i, corners in drawn.items()}


def yoke_slide(seen: list[Sighting], gauge: Gauge) -> dict[int, FloatArray]:
    """The area along which the yoke's tag may be; empty where there is none to look for."""
    yoke = gauge.yoke
    drawn = {i: gauge.marks.corners_mm(i) for i in gauge.marks.centres_mm}
    homography = rough_homography(seen, drawn)
    if homography is None or yoke is None or yoke.tag_id is None:
        return {}
    low, high = gauge.windows.yoke_x_mm
    y = yoke.axis_y_mm + CORNER_SIGNS[:, 1] * (yoke.tag_pad_mm or yoke.body_width_mm) / 2
    slide = np.column_stack([np.array([low, high, high, low]), y])
    return {yoke.tag_id: apply_homography(homography, slide)}


def rough_homography(
    sightings: list[Sighting], corners_mm: dict[int, FloatArray]
) -> FloatArray | None:
    """px_from_gauge-plane homography (3, 3) from rough corners; None if it cannot be had.

    One mark alone gives a hint good for its neighbours, no more.
    """
    known = [s for s in sightings if s.mark_id in corners_mm]
    if not known:
        return None
    source = np.concatenate([corners_mm[s.mark_id][:, :2] for s in known])
    target = np.concatenate([s.corners_px for s in known])
    homography, _ = cv2.findHomography(source, target, cv2.RANSAC, 6.0)
    return None if homography is None else np.asarray(homography, dtype=np.float64)


def apply_homography(homography: FloatArray, points: FloatArray) -> FloatArray:
    """Map points (N, 2)."""
    mapped = np.column_stack([points, np.ones(len(points))]) @ homography.T
    return np.asarray(mapped[:, :2] / mapped[:, 2:3])
