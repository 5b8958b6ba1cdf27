"""Quantisation tables: what encoders write passes, a step that damage changed does not."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image, JpegPresets

from rigvision.ground.errors import PhotoError
from rigvision.photo.picture import read_picture
from rigvision.photo.quantisation import check_steps
from tests.test_picture import saved, scene_rgb


def usual(quality: int, **options: object) -> tuple[int, ...]:
    """The luma's table that Pillow's encoder writes at a quality."""
    out = io.BytesIO()
    Image.new("L", (16, 16)).save(out, "JPEG", quality=quality, **options)
    with Image.open(out) as image:
        return tuple(image.quantization[0])


def changed(steps: tuple[int, ...], place: int, step: int) -> tuple[int, ...]:
    return (*steps[:place], step, *steps[place + 1 :])


def smooth(low: float, high: float, shape: float) -> tuple[int, ...]:
    """A table as phones' own encoders have: rising evenly with frequency."""
    row, column = np.mgrid[:8, :8] / 7.0
    return tuple(int(s) for s in np.round(low + (high - low) * ((row + column) / 2) ** shape).flat)


#: From memory of mozjpeg's jcparam.c: ImageMagick's table by N. Robidoux, which mozjpeg takes by
#: default, at 50; and the flat one.
ROBIDOUX = (
    *(16, 16, 16, 18, 25, 37, 56, 85, 16, 17, 20, 27, 34, 40, 53, 75),
    *(16, 20, 24, 31, 43, 62, 91, 135, 18, 27, 31, 40, 53, 74, 106, 156),
    *(25, 34, 43, 53, 69, 94, 131, 189, 37, 40, 62, 74, 94, 124, 169, 238),
    *(56, 53, 91, 106, 131, 169, 226, 311, 85, 75, 135, 156, 189, 238, 311, 418),
)


@pytest.mark.parametrize("quality", range(1, 101))
def test_the_usual_encoder_s_tables_pass(quality):
    check_steps(usual(quality))


@pytest.mark.parametrize("preset", JpegPresets.presets)
def test_presets_of_an_editor_pass(preset):
    for steps in JpegPresets.presets[preset]["quantization"]:
        check_steps(tuple(steps))


@pytest.mark.parametrize("percent", [3, 10, 37, 100, 250, 1000])
@pytest.mark.parametrize("largest", [255, 32767])
def test_other_encoders_tables_pass_at_any_scale(percent, largest):
    for table in (ROBIDOUX, (16,) * 64):
        scaled = (np.array(table) * percent + 50) // 100
        check_steps(tuple(int(s) for s in np.clip(scaled, 1, largest)))


@pytest.mark.parametrize(("low", "high", "shape"), [(1, 3, 1.0), (2, 40, 1.5), (10, 90, 0.7)])
def test_a_phone_s_own_smooth_table_passes(low, high, shape):
    check_steps(smooth(low, high, shape))


def test_a_mean_kept_finer_than_the_rest_passes():
    check_steps(changed(usual(75), 0, 2))


@pytest.mark.parametrize("quality", [75, 90, 96])
def test_a_step_half_as_large_again_as_the_usual_table_s_is_refused(quality):
    """Anywhere but at the mean; three steps at least, as encoders round in their own ways."""
    steps = usual(quality)
    for place in range(1, 64):
        with pytest.raises(ValueError, match="no encoder"):
            check_steps(changed(steps, place, max(steps[place] + 3, 3 * steps[place] // 2 + 1)))


@pytest.mark.parametrize("step", [1, 255])
def test_a_step_that_sticks_out_of_a_smooth_table_is_refused(step):
    for place in (3, 18, 36, 63):
        with pytest.raises(ValueError, match="no encoder"):
            check_steps(changed(smooth(18, 40, 1.0), place, step))


@pytest.mark.parametrize("step", [0, 40000])
def test_a_step_that_no_file_may_hold_is_refused(step):
    with pytest.raises(ValueError, match="step is"):
        check_steps(changed((20,) * 64, 9, step))


def test_a_file_with_a_changed_step_is_damaged_and_without_it_is_not(tmp_path):
    """The 12th byte of the luma's table: decoders make a picture of it without a word."""
    content = bytearray(saved(Image.fromarray(scene_rgb(400, 300)), "JPEG", quality=90))
    (tmp_path / "whole.jpg").write_bytes(content)
    read_picture(tmp_path / "whole.jpg")
    table = content.index(b"\xff\xdb") + 5
    content[table + 12] = 200
    (tmp_path / "changed.jpg").write_bytes(content)
    Image.open(tmp_path / "changed.jpg").load()
    with pytest.raises(PhotoError, match="no encoder writes") as caught:
        read_picture(tmp_path / "changed.jpg")
    assert caught.value.code == "damaged"
