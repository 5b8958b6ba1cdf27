"""Marks that the search misses: half covered, dirty, out of the picture, and why they are lost."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from PIL import Image

from rigvision.photo.picture import read_picture
from rigvision.synthetic import ideal_scene
from rigvision.vision.camera_prior import camera_prior
from rigvision.vision.marks import read_marks
from rigvision.vision.missing_marks import expected_places
from rigvision.vision.pose import solve_pose
from rigvision.vision.sighting import Sighting, find_tags
from rigvision.world.camera import Camera
from rigvision.world.catalogue import load
from tests.photos import CLEAN, camera_at


@pytest.fixture(scope="module")
def shot(shoot, gauge, frame):
    return shoot(ideal_scene(gauge, frame), camera_at(development=CLEAN))


def picture_of(shot, path, paint=None, box=None):
    """The shot with something painted over its marks, or cut to a box."""
    with Image.open(shot.path) as original:
        codes = np.array(original.convert("L"))
    if paint:
        for mark_id, corners in shot.truth["marks"].items():
            paint(codes, int(mark_id), np.array(corners))
    Image.fromarray(codes).crop(box or (0, 0, codes.shape[1], codes.shape[0])).save(path)
    return read_picture(path)


def cover(codes, corners, part: float, shade: int) -> None:
    """Cover a part of a mark from its left."""
    across, down = corners[1] - corners[0], corners[3] - corners[0]
    left, right = corners[0] - 0.3 * across - 0.3 * down, corners[0] + part * across - 0.3 * down
    quad = np.array([left, right, right + 1.6 * down, left + 1.6 * down])
    cv2.fillConvexPoly(codes, np.round(quad).astype(np.int32), shade)


def off_px(mark, shot, shift=(0.0, 0.0)) -> np.ndarray:
    true = np.array(shot.truth["marks"][str(mark.mark_id)]) - shift
    return np.abs(mark.across_sides() @ (mark.corners_px - true).ravel())


def test_half_covered_marks_count_with_the_sides_that_show(shot, tmp_path, gauge):
    """Five of eight, two fifths of each: no decoder reads them, and none of their three sides

    errs by 0.15 px.
    """
    hurt = (100, 101, 104, 105, 107)

    def paint(codes, mark_id, corners):
        if mark_id in hurt:
            cover(codes, corners, 0.4, 100)

    picture = picture_of(shot, tmp_path / "half.png", paint)
    tags = find_tags(picture)
    assert not {t.mark_id for t in tags} & set(hurt)
    marks = read_marks(picture, tags, gauge)
    assert set(marks.ids) == gauge.tag_ids
    for mark_id in hurt:
        mark = marks.by_id(mark_id)
        assert mark.sides == (True, True, True, False)
        assert off_px(mark, shot).max() < 0.15
    pose = solve_pose(marks, gauge, camera_prior(load(Camera, "generic-phone"), picture))
    assert pose.hidden_sides == 5
    assert pose.refused == ()


def test_one_tag_finds_the_others(shot, gauge, tmp_path):
    """From a corner of the plate, eight tags' widths from the opposite one."""
    picture = picture_of(shot, tmp_path / "whole.png")
    only = [Sighting(100, np.array(shot.truth["marks"]["100"]))]
    assert set(read_marks(picture, only, gauge).ids) == gauge.tag_ids


def test_a_tag_seen_where_the_gauge_has_none_is_not_its(shot, gauge, tmp_path):
    picture = picture_of(shot, tmp_path / "whole.png")
    stray = Sighting(104, np.array(shot.truth["marks"]["104"]) + np.array([200.0, 90.0]))
    tags = [t for t in find_tags(picture) if t.mark_id != 104]
    marks = read_marks(picture, [stray, *tags], gauge)
    assert off_px(marks.by_id(104), shot).max() < 0.1


def test_lost_marks_say_where_they_are_and_why(shot, gauge, tmp_path):
    """One cut off by the picture's border, one blown out, one black, one under a rag."""
    look = {101: 255, 103: 0, 106: 90}

    def paint(codes, mark_id, corners):
        if mark_id in look:
            cover(codes, corners, 1.3, look[mark_id])

    right = np.array(shot.truth["marks"]["104"])[:, 0].mean()
    picture = picture_of(shot, tmp_path / "lost.png", paint, (0, 0, int(right), 1500))
    marks = read_marks(picture, find_tags(picture), gauge)
    causes = {lost.mark_id: lost.cause for lost in marks.lost}
    assert causes[101] == "bright"
    assert causes[103] == "dark"
    assert causes[106] == "hidden"
    outside = {i for i, cause in causes.items() if cause == "outside"}
    assert outside <= {102, 104, 107}
    assert outside
    for lost in marks.lost:
        true = np.array(shot.truth["marks"][str(lost.mark_id)])
        assert np.abs(lost.corners_px - true).max() < 6.0


def test_places_are_told_by_any_mark(gauge, shot):
    seen = [Sighting(i, np.array(shot.truth["marks"][str(i)])) for i in (100, 106)]
    places = expected_places(seen, gauge)
    true = np.array(shot.truth["marks"]["104"])
    assert np.abs(places[104] - true).max() < 3.0
    assert expected_places([], gauge) == {}
