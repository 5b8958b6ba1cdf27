"""Photo and analysed image on each other, from pictures whose place is known by construction."""

from __future__ import annotations

from io import BytesIO

import cv2
import numpy as np
import pytest
from PIL import Image

from rigvision.photo.colour_codes import ColourCodes, colour_codes_of
from rigvision.report.analysed_image import WIDTH_PX
from rigvision.report.framing import around_gauge
from rigvision.report.picture_layers import picture_layers
from rigvision.report.plate_view import PlateView, plate_view

#: A camera 300 mm away, 40 mm to the right and 25 mm up, turned by 12 degrees about its axis.
FOCAL_PX, CAMERA_MM, TURN_DEG = 1400.0, np.array([40.0, 25.0, 300.0]), 12.0
SIZE_PX = (1500, 1100)


def projected(points_mm) -> np.ndarray:
    """By hand: a pinhole that looks along -z, its picture's y down."""
    away = np.asarray(points_mm, dtype=float).reshape(-1, 3) - CAMERA_MM
    x, y = FOCAL_PX * away[:, 0] / -away[:, 2], -FOCAL_PX * away[:, 1] / -away[:, 2]
    c, s = np.cos(np.radians(TURN_DEG)), np.sin(np.radians(TURN_DEG))
    # The gauge lies to the lower left of where the camera looks: shifted back into the middle.
    middle = np.array(SIZE_PX) / 2.0 + np.array([210.0, -80.0])
    return np.column_stack([c * x - s * y, s * x + c * y]) + middle


@pytest.fixture
def marks_px(gauge):
    centres = gauge.marks.centres_mm
    at = projected([(*c, 0.0) for c in centres.values()])
    return {str(i): (float(x), float(y)) for i, (x, y) in zip(centres, at, strict=True)}


@pytest.fixture
def view(gauge, marks_px) -> PlateView:
    found = plate_view(marks_px, gauge, tuple(CAMERA_MM))
    assert found is not None
    return found


@pytest.fixture(scope="module")
def photo() -> ColourCodes:
    """Smooth noise, different everywhere, in no way symmetric."""
    noise = np.random.default_rng(3).integers(0, 255, (110, 150, 3), dtype=np.uint8)
    return ColourCodes(np.asarray(cv2.resize(noise, SIZE_PX, interpolation=cv2.INTER_CUBIC)))


def test_marks_tell_where_points_on_and_behind_the_plate_appear(view):
    on_plate = np.array([[-30.0, 20.0, 0.0], [31.0, -8.0, 0.0]])
    assert view.project(on_plate) == pytest.approx(projected(on_plate), abs=1e-4)
    behind = np.array([[-36.0, 12.4, -6.25], [36.0, 12.4, -6.25]])
    assert view.project_behind(behind) == pytest.approx(projected(behind), abs=1e-4)


@pytest.mark.parametrize("bad", ["three marks", "one elsewhere", "no marks of this gauge"])
def test_marks_that_fit_no_plate_give_no_view(gauge, marks_px, bad):
    if bad == "three marks":
        marks_px = dict(list(marks_px.items())[:3])
    elif bad == "one elsewhere":
        first = next(iter(marks_px))
        marks_px[first] = (marks_px[first][0] + 90.0, marks_px[first][1])
    else:
        marks_px = {f"{i}9999": at for i, at in marks_px.items()} | {"-1": (0.0, 0.0)}
    assert plate_view(marks_px, gauge) is None


@pytest.mark.parametrize("shrink", [1.0, 0.93])
@pytest.mark.parametrize("banner_px", [418, 655])
def test_the_analysed_image_is_laid_on_the_photo(photo, view, gauge, banner_px, shrink):
    """Drawn as the report draws it: a banner of some height, the framed photo, more below."""
    framing = around_gauge(view, gauge, WIDTH_PX, 1560)
    drawn = framing.cut(photo.codes).copy()
    cv2.line(drawn, (0, 700), (2000, 700), (240, 228, 66), 10)
    blank = np.full((banner_px, WIDTH_PX, 3), 30, np.uint8)
    whole = np.concatenate([blank, drawn, np.full((900, WIDTH_PX, 3), 30, np.uint8)])
    whole = np.asarray(cv2.resize(whole, None, None, shrink, shrink, cv2.INTER_AREA))
    layers = picture_layers(photo, ColourCodes(whole), view, gauge)
    assert layers.aligned
    assert layers.overlay is not None
    # Where a place of the photo lies in the frame, by either layer, in px of the photo.
    place = projected([[10.0, 12.0, 0.0]])
    in_analysed = (framing.shown(place)[0] + 0.5 + np.array([0.0, banner_px])) * shrink
    a, b, c, d, e, f = layers.overlay.matrix
    first_row = round(banner_px * shrink)
    from_overlay = (a * in_analysed[0] + e, d * (in_analysed[1] - first_row) + f)
    assert (b, c) == (0.0, 0.0)
    assert from_overlay == pytest.approx(shown_by_gap(layers, photo, place[0]), abs=0.6)


def shown_by_gap(layers, photo, place_px) -> tuple[float, float]:
    """By the layer of the gap, whose first pixel is found by its colours."""
    a, b, c, d, e, f = layers.gap.matrix
    pixels = decoded(layers.gap.jpeg)
    score = cv2.matchTemplate(photo.codes, pixels, cv2.TM_SQDIFF)
    left, top = cv2.minMaxLoc(score)[2]
    x, y = place_px[0] + 0.5 - left, place_px[1] + 0.5 - top
    return a * x + c * y + e, b * x + d * y + f


def test_the_gaps_pixels_are_the_photos_own(photo, view, gauge):
    layers = picture_layers(photo, None, view, gauge)
    assert layers.gap is not None
    pixels = decoded(layers.gap.jpeg).astype(int)
    left, top = cv2.minMaxLoc(
        cv2.matchTemplate(photo.codes, pixels.astype(np.uint8), cv2.TM_SQDIFF)
    )[2]
    own = photo.codes[top : top + pixels.shape[0], left : left + pixels.shape[1]].astype(int)
    assert np.abs(own - pixels).mean() < 3.0  # of 255: what JPEG leaves at this quality
    a, b, c, d, *_ = layers.gap.matrix
    assert (a * a + b * b, a * d - b * c) == pytest.approx((1.0, 1.0), abs=1e-9)


def test_the_stations_lie_in_the_frame_where_they_were_photographed(photo, view, gauge):
    gap_mm = np.array([[-36.0, 12.4, -6.25], [0.0, 12.4, -6.25], [36.0, 12.4, -6.25]])
    layers = picture_layers(photo, None, view, gauge, gap_mm)
    expected = [shown_by_gap(layers, photo, px) for px in projected(gap_mm)]
    assert len(layers.stations) == 3
    for found, wanted in zip(layers.stations, expected, strict=True):
        assert found == pytest.approx(wanted, abs=0.01)


def test_another_analysed_image_is_shown_by_itself(photo, view, gauge):
    other = np.random.default_rng(9).integers(0, 255, (300, 200, 3), dtype=np.uint8)
    stranger = ColourCodes(np.asarray(cv2.resize(other, (2000, 3000))))
    layers = picture_layers(photo, stranger, view, gauge)
    assert not layers.aligned
    assert layers.overlay is not None


def test_without_a_view_the_photo_is_shown_whole(photo):
    layers = picture_layers(photo, None, None, None)
    assert (layers.gap, layers.gap_box, layers.stations, layers.overlay) == (None, None, (), None)
    assert layers.width / layers.height == pytest.approx(SIZE_PX[0] / SIZE_PX[1], rel=0.01)


def test_a_turned_jpeg_is_upright_and_carries_no_metadata(photo):
    """EXIF orientation 6: the camera was turned clockwise; the stored top is the right side."""
    stored = Image.fromarray(np.rot90(photo.codes).copy())
    exif = Image.Exif()
    exif[0x0112], exif[0x010F] = 6, "Maker"
    stream = BytesIO()
    stored.save(stream, "JPEG", quality=95, subsampling=0, exif=exif)
    codes = colour_codes_of(_path(), stream.getvalue())
    assert codes.codes.shape == photo.codes.shape
    assert np.abs(codes.codes.astype(int) - photo.codes).mean() < 3.0
    jpeg = picture_layers(codes, None, None, None).base.jpeg
    assert b"Exif" not in jpeg
    assert b"Maker" not in jpeg


def _path():
    from pathlib import Path

    return Path("photo.jpg")


def decoded(jpeg: bytes) -> np.ndarray:
    with Image.open(BytesIO(jpeg)) as image:
        return np.asarray(image.convert("RGB"))
