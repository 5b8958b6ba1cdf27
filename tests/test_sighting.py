"""The search that leaves nothing out, against the quick one that stops at a gauge's four tags."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from rigvision.photo.picture import read_picture
from rigvision.vision.sighting import ENOUGH_TAGS, find_all_tags, find_tags

FAMILY = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
COLUMNS, ROWS = 6, 4


def board(tag_px: int, path, size_px: tuple[int, int], blur_px: float = 0.6):
    """Tags 0 to 23 in rows on grey, each ``tag_px`` wide with a white rim of a quarter of that."""
    width, height = size_px
    codes = np.full((height, width), 150, np.uint8)
    pitch = tag_px * 3 // 2
    for number in range(COLUMNS * ROWS):
        row, column = divmod(number, COLUMNS)
        top, left = 20 + row * pitch, 23 + column * pitch
        rim = tag_px // 4
        codes[top - rim : top + tag_px + rim, left - rim : left + tag_px + rim] = 235
        tag = cv2.aruco.generateImageMarker(FAMILY, number, 10 * tag_px)
        small = cv2.resize(tag, (tag_px, tag_px), interpolation=cv2.INTER_AREA)
        codes[top : top + tag_px, left : left + tag_px] = np.round(20 + 0.84 * small)
    cv2.imwrite(str(path), cv2.GaussianBlur(codes, (0, 0), blur_px))
    return read_picture(path)


@pytest.mark.parametrize(
    ("tag_px", "size_px"), [(16, (320, 240)), (40, (800, 600)), (60, (2400, 1800))]
)
def test_every_tag_of_a_board_is_found_where_it_is(tmp_path, tag_px, size_px):
    found = find_all_tags(board(tag_px, tmp_path / "b.png", size_px))
    assert sorted(s.mark_id for s in found) == list(range(COLUMNS * ROWS))
    for sighting in found:
        row, column = divmod(sighting.mark_id, COLUMNS)
        middle = np.array([23 + column * (tag_px * 3 // 2), 20 + row * (tag_px * 3 // 2)])
        off = sighting.corners_px.mean(axis=0) - (middle + (tag_px - 1) / 2)
        assert np.linalg.norm(off) < 0.1 * tag_px


def test_the_quick_search_is_content_with_a_gauge_s_four(tmp_path):
    """Of a board's many the coarse copy shows some; it looks no further."""
    picture = board(60, tmp_path / "b.png", (2400, 1800))
    assert ENOUGH_TAGS <= len({s.mark_id for s in find_tags(picture)}) <= COLUMNS * ROWS


def test_nothing_is_found_in_noise(tmp_path):
    codes = np.random.default_rng(5).integers(0, 256, (300, 400), dtype=np.uint8)
    cv2.imwrite(str(tmp_path / "n.png"), cv2.GaussianBlur(codes, (0, 0), 1.0))
    assert find_all_tags(read_picture(tmp_path / "n.png")) == []
