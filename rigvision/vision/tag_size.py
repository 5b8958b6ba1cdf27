"""How large the yoke's tag looks: what tells the camera's distance where the marks do not.

All marks lie in one plane. Seen squarely, a plane twice as far away by twice the focal length
looks the same, and what lies behind it is misplaced by whatever the file says of the lens. The
yoke's tag lies in another plane: that it comes out as large as it is drawn holds at one distance.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.vision.marks import Mark
from rigvision.vision.outward import outward_shift
from rigvision.vision.view import on_plane_many
from rigvision.world.gauge import Gauge


@dataclass(frozen=True, slots=True)
class TagSizeTuning:
    #: What borders fitted to the tag may err beyond their own statistics, px, and by how much more
    #: all four may lie outside than those of the plate's marks do (as ``PoseTuning`` has them).
    corner_floor_px: float = 0.03
    own_shift_px: float = 0.05
    #: Standard uncertainty of the tag's drawn size, as its print may be off: common practice, no
    #: source.
    print_mm: float = 0.01
    #: A tag that is no square, by chi-squared of four coordinates beyond one of a thousand, is
    #: misread or not in its plane.
    square_chi2: float = 18.5


@dataclass(frozen=True, slots=True)
class TagSize:
    """The yoke's tag as it was measured, and how large it is drawn."""

    corners_px: FloatArray  # (4, 2)
    outward: FloatArray  # (4, 2) how its corners move when its borders move out by a pixel
    drawn_mm: float  # root of the sum of its corners' squared distances from its middle
    z_mm: float
    relative_uncertainty: float

    def residuals(self, parameters: FloatArray, rotations: FloatArray) -> FloatArray:
        """Logarithm of seen over drawn size for views (B, 11), in standard uncertainties (B,).

        ``rotations`` (B, 3, 3) are those of the views.
        """
        corrected = self.corners_px.T - parameters[:, 10:11, None] * self.outward.T
        seen = on_plane_many(parameters, rotations, corrected, self.z_mm)
        # The sum of squared distances from the middle is that of squares less the middle's.
        middle = seen.sum(axis=2)
        square = np.einsum("bij,bij->b", seen, seen) - np.einsum("bi,bi->b", middle, middle) / 4.0
        # Views that nothing could have, as a search may try, have no size.
        ratio = np.clip(np.nan_to_num(square, nan=np.inf) / self.drawn_mm**2, 1.0 / _NONE, _NONE)
        return np.asarray(np.log(ratio) / (2.0 * self.relative_uncertainty))


#: The square of a size that no tag has, over that which it has.
_NONE = 1e6


def find_tag_size(
    mark: Mark | None, plate: list[Mark], gauge: Gauge, tuning: TagSizeTuning | None = None
) -> TagSize | None:
    """The size of the yoke's tag; None where there is none, or a side is hidden or misread."""
    tuning = tuning or TagSizeTuning()
    yoke = gauge.yoke
    drawn_mm = yoke.tag_corners_mm() if yoke else None
    if mark is None or yoke is None or drawn_mm is None or not mark.whole or yoke.face_z_mm == 0.0:
        return None
    outward = outward_shift(mark.corners_px)
    covariance = mark.covariance_px2 + np.eye(8) * tuning.corner_floor_px**2
    if not _is_square(mark, covariance, plate, gauge, drawn_mm, tuning):
        return None
    covariance = covariance + np.outer(outward, outward) * tuning.own_shift_px**2
    out_px = mark.corners_px - mark.corners_px.mean(axis=0)
    pull = out_px.ravel() / np.sum(out_px**2)  # of the logarithm of the size, by each coordinate
    by_print = tuning.print_mm / (yoke.tag_size_mm or np.inf)
    return TagSize(
        mark.corners_px,
        outward,
        float(np.linalg.norm(drawn_mm - drawn_mm.mean(axis=0))),
        yoke.face_z_mm,
        float(np.sqrt(pull @ covariance @ pull + by_print**2)),
    )


def _is_square(
    mark: Mark,
    covariance: FloatArray,
    plate: list[Mark],
    gauge: Gauge,
    drawn_mm: FloatArray,
    tuning: TagSizeTuning,
) -> bool:
    """Whether the drawing, moved, turned and scaled as the plate is seen, fits the corners."""
    source = np.concatenate([gauge.marks.corners_mm(m.mark_id)[:, :2] for m in plate])
    target = np.concatenate([m.corners_px for m in plate])
    plane, _ = cv2.findHomography(source, target, 0)
    if plane is None:
        return False
    lifted = np.column_stack([mark.corners_px, np.ones(4)]) @ np.linalg.inv(plane).T
    seen_mm = lifted[:, :2] / lifted[:, 2:]
    out_mm = drawn_mm - drawn_mm.mean(axis=0)
    turned = np.column_stack([-out_mm[:, 1], out_mm[:, 0]])
    ways = [np.tile([1.0, 0.0], 4), np.tile([0.0, 1.0], 4), out_mm.ravel(), turned.ravel()]
    to_px = _derivative(np.asarray(plane), seen_mm.mean(axis=0))
    design = np.stack([(np.reshape(way, (4, 2)) @ to_px.T).ravel() for way in ways], axis=1)
    weight = np.linalg.inv(covariance)
    rest = (mark.corners_px - mark.corners_px.mean(axis=0)).ravel()
    # What lies off the middle of the tag is seen a little larger or smaller than its derivative.
    bent = (seen_mm - seen_mm.mean(axis=0)) @ to_px.T - rest.reshape(4, 2)
    rest = rest + bent.ravel()
    solved = np.linalg.solve(design.T @ weight @ design, design.T @ weight @ rest)
    rest = rest - design @ solved
    return float(rest @ weight @ rest) < tuning.square_chi2


def _derivative(plane: FloatArray, at_mm: FloatArray) -> FloatArray:
    """Of pixels by millimetres (2, 2) of a homography (3, 3) at a point (2,)."""
    top = plane[:2, :2] @ at_mm + plane[:2, 2]
    below = float(plane[2, :2] @ at_mm + plane[2, 2])
    return np.asarray((plane[:2, :2] - np.outer(top / below, plane[2, :2])) / below)
