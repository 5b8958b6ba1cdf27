"""EXIF: what is read of it, and that whatever is wrong in it counts as absent."""

from __future__ import annotations

import io
import math
import struct
import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from rigvision.photo.exif import Exif, read_exif

#: Tags by name (EXIF 2.32, tables 4 and 7), and the IFD they stand in.
DETAIL = {
    "taken": 0x9003,
    "zone": 0x9011,
    "focal_mm": 0x920A,
    "width": 0xA002,
    "height": 0xA003,
    "rendered": 0xA401,
    "zoom": 0xA404,
    "focal": 0xA405,
}
MAIN = {"model": 0x0110, "orientation": 0x0112}


def read_back(exif: Image.Exif | bytes) -> Exif:
    """Through a JPEG and Pillow, as in a photo."""
    out = io.BytesIO()
    Image.fromarray(np.full((300, 400), 90, np.uint8)).save(out, "JPEG", exif=exif)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # Pillow looks for the resolution in it, as it opens
        image = Image.open(out)
    return read_exif(image)


def exif_of(**tags: object) -> Exif:
    exif = Image.Exif()
    detail = exif.get_ifd(0x8769)
    for name, value in tags.items():
        if name in DETAIL:
            detail[DETAIL[name]] = value
        else:
            exif[MAIN[name]] = value
    return read_back(exif)


def by_hand(tag: int, kind: int, value: bytes) -> bytes:
    """EXIF with a single tag in its detail IFD (TIFF 6.0, section 2): types Pillow would mend."""
    where = 8 + 18 + 18
    count = {3: 2, 5: 8, 2: 1}[kind]
    field = value.ljust(4, b"\0") if len(value) <= 4 else struct.pack(">I", where)
    head = b"Exif\0\0MM\0*" + struct.pack(">IHHHIII", 8, 1, 0x8769, 4, 1, 26, 0)
    detail = struct.pack(">HHHI", 1, tag, kind, len(value) // count) + field + bytes(4)
    return head + detail + value


def test_focal_length_refers_to_the_diagonal():
    """26 mm of 43.2666 mm, 400 x 300 px with a diagonal of 500 px: 300.463 px (recomputed)."""
    assert exif_of(focal=26).focal_px(400, 300) == pytest.approx(300.463, abs=1e-3)


@pytest.mark.parametrize("focal", [0, 1, 999])
def test_an_absurd_focal_length_counts_as_none(focal):
    assert exif_of(focal=focal).focal_px(400, 300) is None


def test_time_and_zone_are_iso_8601():
    found = exif_of(taken="2026:03:02 08:15:30", zone="+02:00")
    assert found.taken_at == "2026-03-02T08:15:30+02:00"
    assert exif_of(taken="0000:00:00").taken_at is None


def test_a_camera_name_with_control_characters_is_cleaned():
    assert exif_of(model="Lumora\x1b[31m F5").camera_name == "Lumora[31m F5"


def test_damaged_exif_counts_as_absent():
    junk = b"Exif\0\0" + b"MM\0*\0\0\0\x08\xff\xff" + b"\xff" * 64
    assert read_back(junk) == Exif()


@pytest.mark.parametrize("orientation", [0, 9, 65535])
def test_an_orientation_that_does_not_exist_is_none(orientation):
    assert exif_of(orientation=orientation).orientation == 1


def test_what_is_said_of_the_lens_is_kept_unweighed():
    tags = exif_of(focal=26, focal_mm=5.4, zoom=2.0, width=4000, height=3000, rendered=8).lens_tags
    assert (tags.focal_35mm, tags.focal_mm, tags.zoom_ratio) == (26.0, pytest.approx(5.4), 2.0)
    assert (tags.recorded_px, tags.rendering) == ((4000, 3000), "portrait")
    assert exif_of(rendered=6).lens_tags.rendering == "panorama"
    assert exif_of(rendered=1).lens_tags.rendering is None


FOCAL, ZOOM, WIDTH = DETAIL["focal"], DETAIL["zoom"], DETAIL["width"]


@pytest.mark.parametrize(
    ("tag", "kind", "value"),
    [
        pytest.param(FOCAL, 3, b"\0\x1a\0\x1a", id="two shorts"),
        pytest.param(FOCAL, 5, struct.pack(">II", 26, 0), id="denominator 0"),
        pytest.param(FOCAL, 2, b"wide\0", id="text"),
        pytest.param(FOCAL, 5, struct.pack(">II", 0xFFFFFFFF, 1), id="4 million km"),
    ],
)
def test_a_focal_length_that_is_no_number_is_not_believed(tag, kind, value):
    found = read_back(by_hand(tag, kind, value))
    assert found.focal_35mm is None
    assert not 10 <= found.lens_tags.focal_35mm <= 240


def test_zero_over_zero_says_nothing_of_zoom():
    """EXIF 2.32: a numerator of 0 means that there was no zoom."""
    assert math.isnan(read_back(by_hand(ZOOM, 5, bytes(8))).lens_tags.zoom_ratio)
    assert read_back(by_hand(ZOOM, 5, struct.pack(">II", 0, 100))).lens_tags.zoom_ratio == 0.0


@pytest.mark.parametrize(("width", "height"), [(0, 3000), (4000, None), (4_000_000, 3000)])
def test_a_recorded_size_that_no_picture_has_counts_as_absent(width, height):
    tags = {k: v for k, v in {"width": width, "height": height}.items() if v is not None}
    assert exif_of(**tags).lens_tags.recorded_px is None


@given(st.binary(max_size=300))
def test_whatever_stands_in_exif_gives_facts_or_nothing(content):
    """Damaged EXIF must never stop a photo from being read, nor bring a warning."""
    found = read_back(b"Exif\0\0II*\0\x08\0\0\0" + content)
    assert found.orientation in range(1, 9)


@given(st.sampled_from(sorted(DETAIL.values())), st.sampled_from([2, 3, 5]), st.binary(max_size=24))
def test_whatever_stands_in_a_tag_gives_facts_or_nothing(tag, kind, value):
    size = {2: 1, 3: 2, 5: 8}[kind]
    found = read_back(by_hand(tag, kind, value[: len(value) // size * size]))
    assert found.focal_35mm is None or 10 <= found.focal_35mm <= 240
