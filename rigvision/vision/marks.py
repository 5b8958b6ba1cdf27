"""The gauge's marks measured: corners from lines fitted to the sides that show.

Each side's border is fitted at full resolution to the original pixels, in linear light, with no
interpolation: every sample is one pixel at its own distance from the line. A mark of which one
or two sides are hidden still has its others: a side places both its ends across itself, and what
nothing shows has a variance beyond any use.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from rigvision.ground.conventions import FloatArray
from rigvision.photo.picture import Picture
from rigvision.vision.edge_spread import StepPixels
from rigvision.vision.missing_marks import (
    LostMark,
    expected_places,
    find_missing,
    lost_marks,
    match_missing,
    yoke_slide,
)
from rigvision.vision.side import fit_sides
from rigvision.vision.sighting import Sighting
from rigvision.world.gauge import Gauge

#: Of a mark: top, right, bottom, left, where it stands upright.
Sides = tuple[bool, bool, bool, bool]
ALL_SIDES: Sides = (True, True, True, True)

WHOLE = np.array([[0.0, 1.0]] * 4)  #: of all sides, from one end to the other

#: A mark with fewer sides is no more than a line somewhere.
LEAST_SIDES = 2
#: Each round looks for missing marks from the places of those known by then.
ROUNDS = 4
#: A tag further from where the others put it, in sides of its own, is not the gauge's.
ASTRAY = 1.0
#: Standard deviation, px, of a hidden side's place: any.
ANYWHERE_PX = 100.0


@dataclass(frozen=True, slots=True)
class Mark:
    """A tag measured: corners (4, 2) px where its fitted sides meet, and how well known.

    A hidden side runs roughly where it must be; corners are known only across their known sides.
    """

    mark_id: int
    corners_px: FloatArray
    covariance_px2: FloatArray  # (8, 8), x and y of each corner in turn
    blur_px: float  # sigma of the border's edge-spread function
    sides: Sides = ALL_SIDES  # known; side i runs from corner i to the next

    @property
    def whole(self) -> bool:
        return all(self.sides)

    def without(self, side: int) -> Mark:
        """The same mark with one side more hidden."""
        sides = list(self.sides)
        sides[side] = False
        return replace(self, sides=(sides[0], sides[1], sides[2], sides[3]))

    def across_sides(self) -> FloatArray:
        """The map (2 K, 8) from displacements of the corners to those of the K known sides' ends,

        across the side and outward: start and end of each in turn.
        """
        along = np.roll(self.corners_px, -1, axis=0) - self.corners_px
        along /= np.linalg.norm(along, axis=1, keepdims=True)
        rows = []
        for side in np.flatnonzero(self.sides):
            for corner in (side, (side + 1) % 4):
                row = np.zeros((4, 2))
                row[corner] = along[side, 1], -along[side, 0]
                rows.append(row.ravel())
        return np.array(rows)


@dataclass(frozen=True, slots=True)
class Marks:
    """Everything found of one gauge. ``unreadable`` were seen, but too few sides were fitted."""

    measured: tuple[Mark, ...]
    unreadable: tuple[int, ...]
    borders: tuple[StepPixels, ...]  # pixels of the measured sides
    lost: tuple[LostMark, ...] = ()  # marks of the plate that are not among the measured

    def by_id(self, mark_id: int | None) -> Mark | None:
        return next((m for m in self.measured if m.mark_id == mark_id), None)

    @property
    def ids(self) -> tuple[int, ...]:
        return tuple(sorted(m.mark_id for m in self.measured))


@dataclass(frozen=True, slots=True)
class _Fit:
    """Some tags measured, and the pixels of their borders."""

    measured: tuple[Mark, ...]
    unreadable: tuple[int, ...]
    pixels: StepPixels


def measure_marks(picture: Picture, sightings: list[Sighting]) -> Marks:
    """Corners of tags to a few hundredths of a pixel, from lines fitted to their four sides."""
    return _together([_fit(picture, sightings)])


def read_marks(picture: Picture, tags: list[Sighting], gauge: Gauge) -> Marks:
    """The gauge's marks measured, those too that the coarse search missed."""
    known = _own(tags, gauge)
    fits = [_fit(picture, list(known.values()))]
    # On the coarse copy a small tag's corners may be too rough to start from, or it is covered.
    broken = [s for i, s in known.items() if i not in _whole(fits)]
    if broken:
        rough = {s.mark_id: s.corners_px for s in broken}
        fits.append(_fit(picture, find_missing(picture, rough)))
        fits.append(_fit(picture, match_missing(picture, rough)))
    for _ in range(ROUNDS):
        new = _found_nearby(picture, known, _whole(fits), gauge)
        if not new:
            break
        known |= new
        fits.append(_fit(picture, list(new.values())))
    return _with_lost(_together(fits), picture, gauge)


def _whole(fits: list[_Fit]) -> dict[int, Sighting]:
    """Marks measured with all their sides, where they are."""
    return {
        m.mark_id: Sighting(m.mark_id, m.corners_px) for f in fits for m in f.measured if m.whole
    }


def _own(tags: list[Sighting], gauge: Gauge) -> dict[int, Sighting]:
    """The gauge's own tags by id, each once: where others tell, the one in its place."""
    own = [t for t in tags if t.mark_id in gauge.tag_ids]
    first = {t.mark_id: t for t in reversed(own)}
    if len(own) == len(first) and len(own) < 3:
        return first
    places = expected_places(own, gauge)

    def astray(tag: Sighting) -> float:
        place = places.get(tag.mark_id)
        if place is None:
            return 0.0
        away = np.linalg.norm(tag.corners_px.mean(axis=0) - place.mean(axis=0))
        return float(away) / tag.size_px

    nearest = {i: min((t for t in own if t.mark_id == i), key=astray) for i in first}
    return {i: t for i, t in nearest.items() if len(own) < 3 or astray(t) < ASTRAY}


def _found_nearby(
    picture: Picture, known: dict[int, Sighting], whole: dict[int, Sighting], gauge: Gauge
) -> dict[int, Sighting]:
    """Tags of the gauge not known yet, found where those measured, or else seen, put them."""
    if not gauge.tag_ids - known.keys():
        return {}
    plate = gauge.marks.centres_mm.keys()
    seen = [s for i, s in whole.items() if i in plate] or list(known.values())
    places = {i: p for i, p in expected_places(seen, gauge).items() if i not in known}
    slide = {i: p for i, p in yoke_slide(seen, gauge).items() if i not in known}
    found = {s.mark_id: s for s in find_missing(picture, places | slide)}
    rest = {i: p for i, p in places.items() if i not in found}
    return found | {s.mark_id: s for s in match_missing(picture, rest)}


def _with_lost(marks: Marks, picture: Picture, gauge: Gauge) -> Marks:
    """Says of the plate's other marks where they must be, and why they may be lost."""
    missing = sorted(gauge.marks.centres_mm.keys() - {m.mark_id for m in marks.measured})
    if not missing:
        return marks
    places = expected_places([Sighting(m.mark_id, m.corners_px) for m in marks.measured], gauge)
    return replace(marks, lost=lost_marks(picture, missing, places))


def _fit(picture: Picture, sightings: list[Sighting]) -> _Fit:
    """Fit all visible sides of some tags."""
    quads_px = np.array([s.corners_px for s in sightings]).reshape(-1, 4, 2)
    shown = np.array([WHOLE if s.shown is None else s.shown for s in sightings]).reshape(-1, 4, 2)
    fits = fit_sides(picture, quads_px, shown.reshape(-1, 2))
    known = fits.usable.reshape(-1, 4)
    # Hidden sides' lines are the rough ones.
    covariance = np.where(known[:, :, None, None], fits.covariance.reshape(-1, 4, 2, 2), np.eye(2))
    covariance[~known] *= ANYWHERE_PX**2
    corners, covariances = _corners(
        fits.normal.reshape(-1, 4, 2), fits.distance_px.reshape(-1, 4), covariance
    )
    blurs = fits.blur_px.reshape(-1, 4)
    # Only what agrees with the mark's grid is a part of it: a cover's edge is a border as well.
    compared = np.array([s.shown is not None for s in sightings], dtype=bool)
    read = known.all(axis=1) | (compared & (known.sum(axis=1) >= LEAST_SIDES))
    ids = np.array([s.mark_id for s in sightings], dtype=int)
    measured = tuple(
        Mark(
            int(ids[k]),
            corners[k],
            covariances[k],
            float(np.median(blurs[k, known[k]])),
            _sides(known[k]),
        )
        for k in np.flatnonzero(read)
    )
    return _Fit(measured, tuple(int(i) for i in ids[~read]), fits.pixels)


def _sides(known: npt.NDArray[np.bool_]) -> Sides:
    top, right, bottom, left = known.tolist()
    return top, right, bottom, left


def _together(fits: list[_Fit]) -> Marks:
    """One gauge's marks, each from the fit that knows most of its sides.

    Unreadable is what could not be measured in any of the fits.
    """
    measured: dict[int, Mark] = {}
    for mark in (mark for fit in fits for mark in fit.measured):
        other = measured.get(mark.mark_id)
        if other is None or sum(mark.sides) > sum(other.sides):
            measured[mark.mark_id] = mark
    unreadable = dict.fromkeys(i for fit in fits for i in fit.unreadable if i not in measured)
    return Marks(tuple(measured.values()), tuple(unreadable), tuple(fit.pixels for fit in fits))


def _corners(
    normal: FloatArray, distance_px: FloatArray, covariance: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Corners (M, 4, 2) where neighbouring sides meet, with their covariance (M, 8, 8).

    The sides: normals (M, 4, 2), distances (M, 4), and the covariance (M, 4, 2, 2) of each
    one's offset and turn.
    """
    # At corner i side i - 1 ends and side i starts.
    pairs = np.stack([np.roll(normal, 1, axis=1), normal], axis=2)
    inverse = np.linalg.inv(pairs)
    met = np.stack([np.roll(distance_px, 1, axis=1), distance_px], axis=2)
    corners = (inverse @ met[..., None])[..., 0]
    jacobian = np.zeros((len(normal), 4, 2, 4, 2))  # corner, x and y; by side, offset and turn
    for corner in range(4):
        for meeting, (side, end) in enumerate((((corner - 1) % 4, 1.0), (corner, -1.0))):
            jacobian[:, corner, :, side, 0] = inverse[:, corner, :, meeting]
            jacobian[:, corner, :, side, 1] = inverse[:, corner, :, meeting] * end
    by_side = jacobian.reshape(len(normal), 8, 4, 2)
    return corners, np.einsum("masi,msij,mbsj->mab", by_side, covariance, by_side)
