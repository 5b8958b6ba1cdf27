"""From codes to light by what a profile says, against values worked out by hand."""

from __future__ import annotations

import struct

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageCms

from rigvision.photo.tone_curve import light_table, profile_curve, srgb_light

CODES = np.array([0.0, 0.02, 0.25, 0.5, 0.75, 1.0])


def profile(tag: bytes, body: bytes) -> bytes:
    """A profile of one tag (ICC.1, 7.2 and 7.3); nothing else in it is read."""
    return bytes(128) + struct.pack(">I4sII", 1, tag, 144, len(body)) + body


def para(form: int, *numbers: float) -> bytes:
    fixed = [round(n * 65536) for n in numbers]
    return b"para" + bytes(4) + struct.pack(f">HH{len(fixed)}i", form, 0, *fixed)


@pytest.mark.parametrize(
    ("body", "light"),
    [
        pytest.param(b"curv" + bytes(8), CODES, id="no value: linear"),
        pytest.param(b"curv" + struct.pack(">4xIH", 1, 512), CODES**2, id="one value: a power"),
        pytest.param(
            b"curv" + struct.pack(">4xI3H", 3, 0, 16384, 65535),
            # two straight lines that meet at (0.5, 0.25)
            [0.0, 0.01, 0.125, 0.25, 0.625, 1.0],
            id="a table",
        ),
        pytest.param(para(0, 2.0), CODES**2, id="form 0"),
        # (x / 2 + 1/2)^2 above -1: everywhere
        pytest.param(para(1, 2, 0.5, 0.5), (CODES / 2 + 0.5) ** 2, id="form 1, never cut"),
        # (2 x - 1)^2 from 1/2 on
        pytest.param(para(1, 2, 2, -1), [0, 0, 0, 0, 0.25, 1], id="form 1"),
        pytest.param(para(2, 2, 1, -0.5, 0.1), [0.1, 0.1, 0.1, 0.1, 0.1625, 0.35], id="form 2"),
        pytest.param(para(3, 2, 1, 0, 0.5, 0.4), [0, 0.01, 0.125, 0.25, 0.5625, 1], id="form 3"),
        pytest.param(
            para(4, 2, 1, 0, 0.5, 0.4, 0.1, 0.2), [0.2, 0.21, 0.325, 0.35, 0.6625, 1.1], id="form 4"
        ),
    ],
)
@pytest.mark.parametrize("tag", [b"gTRC", b"kTRC"])
def test_each_form_of_curve_is_read(tag, body, light):
    np.testing.assert_allclose(profile_curve(profile(tag, body))(CODES), light, rtol=0, atol=4e-5)


def test_the_usual_profile_s_curve_is_srgb_s():
    """LittleCMS writes IEC 61966-2-1's parameters."""
    usual = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    codes = np.linspace(0, 1, 256)
    np.testing.assert_allclose(profile_curve(usual)(codes), srgb_light(codes), rtol=0, atol=2e-4)


def with_info(**info: object) -> Image.Image:
    image = Image.new("L", (8, 8))
    image.info.update(info)
    return image


def test_falling_or_endless_curves_count_as_none():
    falling = profile(b"gTRC", b"curv" + struct.pack(">4xI2H", 2, 65535, 0))
    flat = profile(b"gTRC", b"curv" + struct.pack(">4xI2H", 2, 0, 0))
    endless = profile(b"gTRC", para(0, -1.0))
    for strange in (falling, flat, endless):
        assert light_table(with_info(icc_profile=strange), 256) is None


def test_gamma_without_profile_counts_unless_it_stands_for_srgb():
    assert light_table(with_info(gamma=0.45455), 256) is None
    assert light_table(with_info(gamma=1.0, srgb=0), 256) is None
    np.testing.assert_allclose(
        light_table(with_info(gamma=1.0), 256), np.arange(256) / 255, rtol=0, atol=1e-6
    )


@pytest.mark.parametrize(
    ("transfer", "code", "light"),
    [
        (13, 0.5, None),  # sRGB
        (1, 0.5, None),  # BT.709, which screens show as sRGB
        (8, 0.5, 0.5),  # linear
        # BT.2100: HLG reaches 1/12 at the half; PQ's 0.5 is 92.25 cd/m2 of 1000
        (18, 0.5, 1 / 12),
        (16, 0.5, 0.09225),
    ],
)
def test_coded_curves_of_heic(transfer, code, light):
    table = light_table(with_info(nclx_profile={"transfer_characteristics": transfer}), 65536)
    if light is None:
        assert table is None
    else:
        assert table[round(code * 65535)] == pytest.approx(light, abs=2e-5)


@given(st.binary(max_size=400))
def test_no_profile_stops_a_photo_or_gives_light_that_is_none(content):
    for head in (b"", profile(b"gTRC", b"para"), profile(b"gTRC", b"curv")):
        table = light_table(with_info(icc_profile=head + content), 256)
        if table is not None:
            assert np.isfinite(table).all()
            assert 0.0 <= table.min() <= table.max() <= 1.0
            assert (np.diff(table) >= 0).all()
