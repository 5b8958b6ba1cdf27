"""Blur at one depth from the blur of marks at others."""

from __future__ import annotations

import numpy as np
import pytest

from rigvision.vision.focus import find_focus
from tests.hand_made import view_at

CENTRES_MM = np.array(
    [[-56.0, 44, 0], [0, 44, 0], [56, 44, 0], [-56, 0, 0], [56, 0, 0], [-56, -44, 0], [56, -44, 0]]
)
STATIONS_MM = np.column_stack([[-36.0, 0.0, 36.0], np.full(3, 12.0), np.full(3, -6.25)])


def depths_mm(view, points_mm):
    return (points_mm @ view.rotation.T + view.translation_mm)[:, 2]


def thin_lens_px(view, points_mm, in_focus_mm: float, own_px: float = 0.6) -> np.ndarray:
    """Blur of a lens in focus at one depth: 0.6 px of its own, the rest grows with the difference
    of inverse depths, by the order of what a phone's lens does at full opening (invented).
    """
    out_of_focus = 900.0 * (1.0 / depths_mm(view, points_mm) - 1.0 / in_focus_mm)
    return np.hypot(own_px, out_of_focus)


@pytest.mark.parametrize("in_focus_mm", [215.0, 235.0, 250.0])
def test_a_tilted_view_tells_the_blur_at_the_edges(in_focus_mm):
    view = view_at()
    blur_px = thin_lens_px(view, CENTRES_MM, in_focus_mm)
    assert np.ptp(blur_px) > 0.05  # else the marks tell nothing
    found = find_focus(view, CENTRES_MM, blur_px).blur_px(view, STATIONS_MM)
    # 0.06 px: the parabola is drawn to the level by its prior.
    expected = thin_lens_px(view, STATIONS_MM, in_focus_mm)
    np.testing.assert_allclose(found, expected, rtol=0, atol=0.06)


def test_marks_that_are_blurred_alike_say_that_everything_is():
    view = view_at()
    focus = find_focus(view, CENTRES_MM, np.full(len(CENTRES_MM), 0.8))
    np.testing.assert_allclose(focus.blur_px(view, STATIONS_MM), 0.8, rtol=0, atol=1e-3)


def test_one_smeared_mark_does_not_blur_the_edges():
    view = view_at()
    blur_px = np.full(len(CENTRES_MM), 0.7)
    blur_px[3] = 2.5
    found = find_focus(view, CENTRES_MM, blur_px).blur_px(view, STATIONS_MM)
    np.testing.assert_allclose(found, 0.7, rtol=0, atol=0.08)


def test_nothing_is_believed_much_sharper_or_more_blurred_than_the_marks():
    view = view_at()
    blur_px = thin_lens_px(view, CENTRES_MM, 120.0)
    far = STATIONS_MM + np.array([0.0, 0.0, 100.0])
    found = find_focus(view, CENTRES_MM, blur_px).blur_px(view, far)
    assert (found <= blur_px.max() + 1e-9).all()
    assert (found >= 0.6 * blur_px.min() - 1e-9).all()
