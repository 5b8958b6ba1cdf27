"""Boards with known proportions: their marks' places as a gauge's drawing, and how they are seen.

What counts as a mark is whatever dark square stands on light ground: a tag, a marker of another
family, a checker's black square. OpenCV or ``find_tags`` says roughly where each is; rigvision
measures it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np

from boards.detection import codes_8bit
from rigvision.ground.conventions import CORNER_SIGNS, FloatArray
from rigvision.photo.picture import Picture
from rigvision.vision.missing_marks import apply_homography
from rigvision.vision.sighting import Sighting, find_tags
from rigvision.world.catalogue import load
from rigvision.world.gauge import Gauge

#: A board's unit as the solver sees it: its steps of derivatives are made for such sizes.
UNIT_MM = 30.0
#: Standard uncertainty of where a printer puts a mark, in pitches: 0.06 mm in 30 mm, an office
#: printer's or a mounted board's. Common practice, no source.
PRINTED = 0.002
#: A monitor's grid is exact, but each side lies on a whole screen pixel of some 50 to 70 a pitch.
SHOWN = 0.29 / 60.0


@dataclass(frozen=True)
class Board:
    """A board's marks, x right and y up as the marks stand, in its own unit."""

    set_name: str
    unit: str
    size: float  # of a mark's side
    centres: dict[int, tuple[float, float]]
    uncertainty: float  # standard, of a mark's place on the board
    sightings: Callable[[Picture], list[Sighting]]
    known: str  # what of its proportions is known, and from where
    phone: bool = False  # a phone's picture: its EXIF tells the focal length

    def corners(self, mark_id: int) -> FloatArray:
        """Corners (4, 2) of one mark, in the order of ``CORNER_SIGNS``."""
        return np.asarray(self.centres[mark_id]) + CORNER_SIGNS * self.size / 2

    def gauge(self) -> Gauge:
        """The board as rigvision knows gauges."""
        own = load(Gauge, "RG-10")
        marks = own.marks.model_copy(
            update={
                "size_mm": self.size * UNIT_MM,
                "centres_mm": {i: (x * UNIT_MM, y * UNIT_MM) for i, (x, y) in self.centres.items()},
                "position_uncertainty_mm": self.uncertainty * UNIT_MM,
            }
        )
        return own.model_copy(update={"marks": marks, "yoke": None})


def _grid(columns: int, rows: int, step_y: float = 1.0) -> dict[int, tuple[float, float]]:
    """Centres of cells numbered row by row from the top left, 1 apart along a row."""
    return {
        row * columns + column: (
            column - (columns - 1) / 2,
            step_y * ((rows - 1) / 2 - row),
        )
        for row in range(rows)
        for column in range(columns)
    }


def _upside_down(centres: dict[int, tuple[float, float]]) -> dict[int, tuple[float, float]]:
    """The AprilTag project's own drawings stand upside down for OpenCV's dictionary."""
    return {i: (-x, -y) for i, (x, y) in centres.items()}


def _markers(picture: Picture) -> list[Sighting]:
    """Markers of OpenCV's own family, by OpenCV."""
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_6X6_250)
    detector = cv2.aruco.ArucoDetector(family, parameters)
    corners, ids, _ = detector.detectMarkers(codes_8bit(picture))
    if ids is None:
        return []
    quads = np.asarray(corners, dtype=float).reshape(-1, 4, 2)
    return [Sighting(int(i), q) for i, q in zip(np.ravel(ids), quads, strict=True)]


def _squares(columns: int, rows: int) -> Callable[[Picture], list[Sighting]]:
    """A checker's black squares between its inner corners, which OpenCV finds.

    Ids count the cells row by row; [] where not all inner corners are in the picture.
    """

    def find(picture: Picture) -> list[Sighting]:
        codes = codes_8bit(picture)
        seen, corners = cv2.findChessboardCornersSB(codes, (columns, rows))
        if not seen:
            return []
        inner = np.asarray(corners, dtype=float).reshape(rows, columns, 2)
        around = [inner[:-1, :-1], inner[:-1, 1:], inner[1:, 1:], inner[1:, :-1]]
        quads = np.stack(around, axis=2).reshape(-1, 4, 2)
        middle = np.rint(quads.mean(axis=1)).astype(int)
        code = codes[middle[:, 1], middle[:, 0]]
        parity = np.add.outer(np.arange(rows - 1), np.arange(columns - 1)).ravel() % 2
        black = int(np.median(code[parity == 1]) < np.median(code[parity == 0]))
        return [Sighting(int(i), quads[i]) for i in np.flatnonzero(parity == black)]

    return find


def _shown_tags(picture: Picture) -> list[Sighting]:
    """Outer borders of the monitor's tags, laid over the middles of those that are found.

    Their black borders are two modules wide, twice the family's, and detectors take a quad
    somewhere inside them.
    """
    tags = [t for t in find_tags(picture) if t.mark_id in SCREEN.centres]
    if len(tags) < 4:
        return []
    centres = np.array([SCREEN.centres[t.mark_id] for t in tags])
    middles = np.array([t.corners_px.mean(axis=0) for t in tags])
    homography, _ = cv2.findHomography(centres, middles, cv2.RANSAC, 6.0)
    if homography is None:
        return []
    homography = np.asarray(homography, dtype=np.float64)
    found = [Sighting(i, apply_homography(homography, SCREEN.corners(i))) for i in SCREEN.centres]
    size = np.array([picture.width_px, picture.height_px])
    return [s for s in found if (s.corners_px > 0).all() and (s.corners_px < size).all()]


#: The white squares of a checker with black corners, numbered along its rows.
_WHITE = [cell for row in range(7) for cell in range(5 * row, 5 * row + 5) if (cell % 5 + row) % 2]

CHARUCO = Board(
    "charuco",
    "square",
    0.5,
    {marker: _grid(5, 7)[cell] for marker, cell in enumerate(_WHITE)},
    PRINTED,
    _markers,
    "OpenCV's tutorial: squares of 0.04, markers of 0.02",
)
SHEET = Board(
    "sheet",
    "pitch",
    0.657,
    _upside_down(_grid(5, 6, 1.088)),
    PRINTED,
    find_tags,
    "even pitches; the tag's size and the rows' pitch are fitted to these very pictures",
)
STEREO = Board("stereo", "square", 1.0, _grid(8, 5), PRINTED, _squares(9, 6), "squares are equal")
BENCH = Board("bench", "square", 1.0, _grid(10, 6), PRINTED, _squares(11, 7), "squares are equal")
WALL = Board("wall", "square", 1.0, _grid(6, 4), PRINTED, _squares(7, 5), "squares are equal")
SCREEN = Board(
    "screen",
    "pitch",
    1.0 / 1.3,
    {i: (2.5 - i % 6, 2.5 - i // 6) for i in range(36)},
    SHOWN,
    _shown_tags,
    "the package's drawing: gaps of 0.3 of a tag",
    phone=True,
)
BOARDS = (SCREEN, SHEET, CHARUCO, STEREO, BENCH, WALL)
