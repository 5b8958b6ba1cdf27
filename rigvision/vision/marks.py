"""The gauge's marks in the picture: found on a pyramid, corners from lines fitted to the sides.

Detection needs only identity and a rough place, and is done on a small copy. Each side's
border is then fitted at full resolution to the original pixels, in linear light, with no
interpolation: every sample is one pixel at its own distance from the line.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from rigvision.ground.conventions import CORNER_SIGNS, FloatArray
from rigvision.photo.picture import Picture
from rigvision.vision.edge_spread import StepPixels
from rigvision.vision.side import fit_sides
from rigvision.world.gauge import Gauge

#: Marks are looked for on copies whose longer side is about this long, then finer.
COARSE_SIDE_PX = 1000
#: Side of a tag on such a copy below which it is left to a finer one: at 1.5 pixels a module
#: one in three cannot be decoded any more.
SMALLEST_TAG_PX = 12.0


@dataclass(frozen=True, slots=True)
class Sighting:
    """A tag seen: its id and rough corners (4, 2) px, in the order of ``CORNER_SIGNS``."""

    mark_id: int
    corners_px: FloatArray


@dataclass(frozen=True, slots=True)
class Mark:
    """A tag measured: corners (4, 2) px where its fitted sides meet, and how well known."""

    mark_id: int
    corners_px: FloatArray
    covariance_px2: FloatArray  # (8, 8), x and y of each corner in turn
    blur_px: float  # sigma of the border's edge-spread function


@dataclass(frozen=True, slots=True)
class Marks:
    """Everything found of one gauge. ``unreadable`` decoded, but a side could not be fitted."""

    measured: tuple[Mark, ...]
    unreadable: tuple[int, ...]
    borders: tuple[StepPixels, ...]  # pixels of the measured sides

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


def find_tags(picture: Picture) -> list[Sighting]:
    """All AprilTags of family 36h11 in the picture, rough corners; ids may repeat.

    Coarse to fine: a finer level is searched only while fewer than four tags are known.
    """
    longest = max(picture.width_px, picture.height_px)
    steps = sorted({max(1, round(longest / COARSE_SIDE_PX / k)) for k in (1, 2, 4)}, reverse=True)
    found: list[Sighting] = []
    for step in steps:
        found = max(found, _detect(picture.luma, step), key=len)
        if len({s.mark_id for s in found}) >= 4:
            break
    return found


def find_missing(picture: Picture, expected_px: dict[int, FloatArray]) -> list[Sighting]:
    """Tags that the coarse search missed, looked for at full resolution where they must be.

    ``expected_px`` gives the rough corners (4, 2) of the area to search, by id: the tag's own,
    or of a slide along which it may be anywhere.
    """
    found = []
    for mark_id, corners_px in expected_px.items():
        # The shorter side of the area is about as long as the tag.
        sides_px = np.linalg.norm(corners_px - np.roll(corners_px, 1, axis=0), axis=1)
        margin = 0.5 * float(sides_px.min())
        left, top = np.floor(corners_px.min(axis=0) - margin).astype(int).clip(min=0)
        right, bottom = np.ceil(corners_px.max(axis=0) + margin).astype(int).clip(min=0)
        crop = picture.luma[top:bottom, left:right]
        if min(crop.shape) < 24:
            continue
        step = max(1, round(float(sides_px.min()) / 80.0))
        for sighting in _detect(crop, step):
            if sighting.mark_id == mark_id:
                found.append(Sighting(mark_id, sighting.corners_px + np.array([left, top])))
                break
    return found


def measure_marks(picture: Picture, sightings: list[Sighting]) -> Marks:
    """Corners of tags to a few hundredths of a pixel, from lines fitted to their four sides."""
    return _together([_fit(picture, sightings)])


def read_marks(picture: Picture, tags: list[Sighting], gauge: Gauge) -> Marks:
    """The gauge's marks measured, those too that the coarse search missed."""
    own: dict[int, Sighting] = {}
    for tag in tags:
        if tag.mark_id in gauge.tag_ids:
            own.setdefault(tag.mark_id, tag)
    for tag in find_missing(picture, _expected_missing(own, gauge)):
        own[tag.mark_id] = tag
    fits = [_fit(picture, list(own.values()))]
    # On the coarse copy a small tag's corners may be too rough to start from.
    closer = find_missing(picture, {i: own[i].corners_px for i in fits[0].unreadable})
    if closer:
        fits.append(_fit(picture, closer))
    return _together(fits)


def _expected_missing(own: dict[int, Sighting], gauge: Gauge) -> dict[int, FloatArray]:
    """Where unseen marks of the plate must be, and the yoke's tag wherever it may slide."""
    drawn = {i: gauge.marks.corners_mm(i) for i in gauge.marks.centres_mm}
    homography = rough_homography(list(own.values()), drawn)
    if homography is None:
        return {}
    expected = {
        i: apply_homography(homography, corners[:, :2])
        for i, corners in drawn.items()
        if i not in own
    }
    yoke = gauge.yoke
    if yoke and yoke.tag_id is not None and yoke.tag_id not in own:
        low, high = gauge.windows.yoke_x_mm
        y = yoke.axis_y_mm + CORNER_SIGNS[:, 1] * (yoke.tag_pad_mm or yoke.body_width_mm) / 2
        slide = np.column_stack([np.array([low, high, high, low]), y])
        expected[yoke.tag_id] = apply_homography(homography, slide)
    return expected


def rough_homography(
    sightings: list[Sighting], corners_mm: dict[int, FloatArray]
) -> FloatArray | None:
    """px_from_gauge-plane homography (3, 3) from rough corners; None if it cannot be had."""
    known = [s for s in sightings if s.mark_id in corners_mm]
    if len(known) < 2:
        return None
    source = np.concatenate([corners_mm[s.mark_id][:, :2] for s in known])
    target = np.concatenate([s.corners_px for s in known])
    homography, _ = cv2.findHomography(source, target, cv2.RANSAC, 6.0)
    return None if homography is None else np.asarray(homography, dtype=np.float64)


def apply_homography(homography: FloatArray, points: FloatArray) -> FloatArray:
    """Map points (N, 2)."""
    mapped = np.column_stack([points, np.ones(len(points))]) @ homography.T
    return np.asarray(mapped[:, :2] / mapped[:, 2:3])


def _detect(luma: np.ndarray, step: int) -> list[Sighting]:
    """Tags in luma codes (H, W) reduced ``step`` times; corners in the full picture's px."""
    small = luma if luma.dtype == np.uint8 else (luma >> 8).astype(np.uint8)
    small = _reduced(small, step)
    detector = cv2.aruco.ArucoDetector(
        cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11),
        _parameters(max(small.shape)),
    )
    corners, ids, _ = detector.detectMarkers(np.ascontiguousarray(small))
    if ids is None:
        return []
    # An area-reduced pixel's centre lies in the middle of the pixels it was made from.
    return [
        Sighting(int(i), (np.asarray(c, dtype=np.float64).reshape(4, 2) + 0.5) * step - 0.5)
        for i, c in zip(np.asarray(ids).ravel(), corners, strict=True)
    ]


def _reduced(codes: np.ndarray, step: int) -> np.ndarray:
    """Means of squares of ``step`` x ``step`` codes."""
    while step > 1:
        # Halving is OpenCV's fast case: twice by 2 takes 0.4 ms of 12 MP, once by 4 takes 1.9.
        factor = 2 if step % 2 == 0 else step
        size = (codes.shape[1] // factor, codes.shape[0] // factor)
        whole = codes[: size[1] * factor, : size[0] * factor]
        codes = np.asarray(cv2.resize(whole, size, interpolation=cv2.INTER_AREA))
        step //= factor
    return codes


def _parameters(longest_px: int) -> cv2.aruco.DetectorParameters:
    """For a picture whose longer side has so many pixels."""
    parameters = cv2.aruco.DetectorParameters()
    # Looking at smaller outlines took a third of the search's time, and found nothing.
    parameters.minMarkerPerimeterRate = 4.0 * SMALLEST_TAG_PX / longest_px
    # Rough corners only: the sides are fitted later. SUBPIX halves the search's reach.
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    parameters.adaptiveThreshWinSizeMin = 5
    parameters.adaptiveThreshWinSizeMax = 25
    parameters.adaptiveThreshWinSizeStep = 20
    return parameters


def _fit(picture: Picture, sightings: list[Sighting]) -> _Fit:
    """Fit all sides of some tags."""
    quads_px = np.array([s.corners_px for s in sightings]).reshape(-1, 4, 2)
    fits = fit_sides(picture, quads_px)
    whole = fits.usable.reshape(-1, 4).all(axis=1)
    corners, covariances = _corners(
        fits.normal.reshape(-1, 4, 2)[whole],
        fits.distance_px.reshape(-1, 4)[whole],
        fits.covariance.reshape(-1, 4, 2, 2)[whole],
    )
    blurs = np.median(fits.blur_px.reshape(-1, 4)[whole], axis=1)
    ids = np.array([s.mark_id for s in sightings], dtype=int)
    measured = (
        Mark(int(i), *rest)
        for i, *rest in zip(ids[whole], corners, covariances, blurs.tolist(), strict=True)
    )
    return _Fit(tuple(measured), tuple(int(i) for i in ids[~whole]), fits.pixels)


def _together(fits: list[_Fit]) -> Marks:
    """One gauge's marks; unreadable is what could not be measured in any of the fits."""
    measured = tuple(mark for fit in fits for mark in fit.measured)
    read = {mark.mark_id for mark in measured}
    unreadable = dict.fromkeys(i for fit in fits for i in fit.unreadable if i not in read)
    return Marks(measured, tuple(unreadable), tuple(fit.pixels for fit in fits))


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
