"""The socket's face in profiles made by hand: sharp or broken edges, dark or bright, shoulders."""

from __future__ import annotations

import numpy as np
import pytest

from rigvision.vision.socket_face import place_face

DRAWN_MM = 4.0
BLUR_MM = 0.05
X_MM = np.arange(3.1, 5.1, 0.04)


def bands(face_mm, broken_mm=0.0, broken_share=0.0, seed=2, shoulder_mm=None):
    """Light (S, 6): pocket (or yoke and slot), broken edge, barrel; each band lit on its own."""
    rng = np.random.default_rng(seed)
    fine = np.arange(2.0, 6.0, 0.002)
    kernel = np.exp(-0.5 * (np.arange(-150, 151) * 0.002 / BLUR_MM) ** 2)
    columns = []
    for barrel in (0.15, 0.25, 0.5, 0.8, 0.4, 0.2):
        dark = 0.04 * (1.0 + 0.2 * (fine - 4.0))
        light = np.where(fine < face_mm, dark, barrel * (1.0 + 0.1 * (fine - 4.0)))
        edge = (fine >= face_mm) & (fine < face_mm + broken_mm)
        light = np.where(edge, dark + broken_share * (barrel - dark), light)
        if shoulder_mm is not None:
            light = np.where(fine < shoulder_mm, 0.35, light)
            light = np.where((fine >= shoulder_mm - 0.12) & (fine < shoulder_mm), 0.6, light)
        soft = np.convolve(np.pad(light, 150, mode="edge"), kernel, "valid") / kernel.sum()
        columns.append(np.interp(X_MM, fine, soft) * (1 + 0.01 * rng.standard_normal(len(X_MM))))
    return np.stack(columns, axis=1)


@pytest.mark.parametrize("face_mm", [3.9, 4.0, 4.08])
@pytest.mark.parametrize(
    ("broken_mm", "share"), [(0.0, 0.0), (0.08, 0.0), (0.08, 0.5), (0.08, 1.0), (0.05, 0.3)]
)
def test_the_face_is_found_whatever_its_edge_looks_like(face_mm, broken_mm, share):
    """A sharp edge may be the far end of a dark broken one, and nearer the drawing: 0.08 mm."""
    place = place_face(X_MM, bands(face_mm, broken_mm, share), BLUR_MM, DRAWN_MM)
    assert place.x_mm == pytest.approx(face_mm, abs=0.08)
    assert abs(place.x_mm - face_mm) < 2.0 * place.u_mm
    assert place.u_mm < 0.05


def test_an_edge_seen_in_part_narrows_what_a_dark_one_leaves_open():
    """Half as bright as the barrel, the broken edge shows its own width."""
    dark = place_face(X_MM, bands(4.0, 0.08, 0.0), BLUR_MM, DRAWN_MM)
    half = place_face(X_MM, bands(4.0, 0.08, 0.5), BLUR_MM, DRAWN_MM)
    assert half.u_mm < dark.u_mm


@pytest.mark.parametrize("seat_mm", [0.1, 0.2, 0.35])
def test_a_shoulder_close_by_is_not_taken_for_the_face(seat_mm):
    shoulder_mm = 4.02 - seat_mm
    x = X_MM[shoulder_mm - 0.2 < X_MM]
    light = bands(4.02, shoulder_mm=shoulder_mm)[shoulder_mm - 0.2 < X_MM]
    place = place_face(x, light, BLUR_MM, DRAWN_MM, shoulder_mm)
    assert place.x_mm == pytest.approx(4.02, abs=0.05)


def test_where_nothing_shows_the_drawing_is_left():
    flat = np.full((len(X_MM), 6), 0.2)
    flat = flat * (1 + 0.01 * np.random.default_rng(3).standard_normal(flat.shape))
    place = place_face(X_MM, flat, BLUR_MM, DRAWN_MM)
    assert place.x_mm == pytest.approx(DRAWN_MM, abs=0.04)
    assert place.u_mm > 0.06


def test_bands_that_are_wholly_black_leave_the_drawing():
    """Underexposed to code 0: no place, no NaN, and the doubt that was there before."""
    black = place_face(X_MM, np.zeros((len(X_MM), 6)), BLUR_MM, DRAWN_MM)
    assert black.x_mm == pytest.approx(DRAWN_MM, abs=0.04)
    assert black.u_mm > 0.06
