"""Tags that rigvision, OpenCV and the AprilTag library find in the same picture."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any

import cv2
import numpy as np

from boards.picture_set import PictureSet
from rigvision.ground.conventions import FloatArray
from rigvision.photo.picture import Picture
from rigvision.vision.sighting import find_all_tags

FAMILY = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
RIGVISION = "rigvision"

#: Id and corners (4, 2) px of every tag that one detector finds.
Found = list[tuple[int, FloatArray]]


@dataclass(frozen=True)
class Tag:
    """One tag in the picture, and which detectors found it."""

    tag_id: int
    centre_px: FloatArray
    side_px: float
    by: frozenset[str]
    true: bool  # as far as the set's ids tell


@dataclass(frozen=True)
class Sighted:
    """All tags that any detector found in one picture."""

    set_name: str
    picture: str
    tags: tuple[Tag, ...]

    def found(self, detector: str) -> int:
        return sum(t.true and detector in t.by for t in self.tags)

    def false(self, detector: str) -> int:
        return sum(not t.true and detector in t.by for t in self.tags)


def sight(picture: Picture, shown: PictureSet) -> Sighted:
    """Run every detector; equal ids within half a tag's side are the same tag."""
    assert shown.tag_ids is not None
    groups: list[tuple[int, list[tuple[str, FloatArray]]]] = []
    for detector, find in DETECTORS.items():
        for tag_id, corners in find(picture):
            _join(groups, detector, tag_id, corners)
    most = Counter[int]()
    for tag_id, members in groups:
        most[tag_id] = max(most[tag_id], len(members))
    tags, taken = [], set[int]()
    for tag_id, members in groups:
        # Of two places of an id that is there once, the one that more detectors agree on.
        true = tag_id in shown.tag_ids
        if shown.once and true:
            true = tag_id not in taken and len(members) == most[tag_id]
            taken |= {tag_id} if true else set()
        tags.append(_tag(tag_id, members, true))
    return Sighted(shown.name, picture.name, tuple(tags))


def _join(
    groups: list[tuple[int, list[tuple[str, FloatArray]]]],
    detector: str,
    tag_id: int,
    corners: FloatArray,
) -> None:
    """Put a detection to the tag it belongs to; a detector finds each tag once."""
    for known_id, members in groups:
        apart = np.linalg.norm(corners.mean(axis=0) - members[0][1].mean(axis=0))
        if known_id == tag_id and apart < 0.5 * _side_px(members[0][1]):
            if detector not in {d for d, _ in members}:
                members.append((detector, corners))
            return
    groups.append((tag_id, [(detector, corners)]))


def _tag(tag_id: int, members: list[tuple[str, FloatArray]], true: bool) -> Tag:
    corners = np.mean([c for _, c in members], axis=0)
    by = frozenset(d for d, _ in members)
    side_px = float(np.median([_side_px(c) for _, c in members]))
    return Tag(tag_id, corners.mean(axis=0), side_px, by, true)


def _side_px(corners: FloatArray) -> float:
    return float(np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).mean())


def codes_8bit(picture: Picture) -> np.ndarray[Any, np.dtype[np.uint8]]:
    """The picture's luma as the other detectors take it."""
    luma = picture.luma if picture.luma.dtype == np.uint8 else picture.luma >> 8
    return np.ascontiguousarray(luma.astype(np.uint8))


def _rigvision(picture: Picture) -> Found:
    return [(s.mark_id, s.corners_px) for s in find_all_tags(picture)]


def _opencv(refinement: int) -> Callable[[Picture], Found]:
    def find(picture: Picture) -> Found:
        parameters = cv2.aruco.DetectorParameters()
        parameters.cornerRefinementMethod = refinement
        detector = cv2.aruco.ArucoDetector(FAMILY, parameters)
        corners, ids, _ = detector.detectMarkers(codes_8bit(picture))
        quads = np.asarray(corners, dtype=float).reshape(-1, 4, 2)
        return list(zip(np.ravel(ids).tolist() if ids is not None else [], quads, strict=True))

    return find


def _april(decimate: float) -> Callable[[Picture], Found]:
    def find(picture: Picture) -> Found:
        detector = _april_detector()
        detector.tag_detector_ptr.contents.quad_decimate = decimate
        seen = detector.detect(codes_8bit(picture))
        return [(d.tag_id, np.asarray(d.corners) - 0.5) for d in seen]

    return find


@cache
def _april_detector() -> Any:
    """One for all settings: a second one in a process crashes it at its end."""
    from pupil_apriltags import Detector

    return Detector(families="tag36h11")


DETECTORS: dict[str, Callable[[Picture], Found]] = {
    RIGVISION: _rigvision,
    "cv2.aruco": _opencv(cv2.aruco.CORNER_REFINE_NONE),
    "cv2.aruco, APRILTAG": _opencv(cv2.aruco.CORNER_REFINE_APRILTAG),
    "pupil, decimate 1": _april(1.0),
    "pupil, decimate 2": _april(2.0),
}
