"""Files as phones, messengers and editors make them: upright, whole, in the right light.

One scene, written in every way; what is read must be that scene.
"""

from __future__ import annotations

import io

import cv2
import numpy as np
import pillow_heif
import pytest
from PIL import Image, ImageCms

import rigvision
from rigvision.ground.errors import PhotoError
from rigvision.photo.picture import read_colour, read_picture
from rigvision.synthetic import ideal_scene
from tests.photos import camera_at
from tests.test_picture import STORED, oriented, saved, scene_rgb

GREY = scene_rgb()[:, :, 0].astype(int)


def apart(path) -> int:
    """Largest difference of codes from the scene, luma and colours."""
    picture, colours = read_picture(path), np.asarray(read_colour(path)).astype(int)
    eight = picture.luma if picture.luma.dtype == np.uint8 else picture.luma >> 8
    return max(np.abs(eight - GREY).max(), np.abs(colours - scene_rgb()).max())


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize(
    ("kind", "options", "within"),
    [("TIFF", {}, 0), ("WEBP", {"lossless": True}, 0), ("JPEG", {"quality": 98}, 6)],
)
def test_each_orientation_stands_upright_in_each_format(
    tmp_path, orientation, kind, options, within
):
    image, exif = oriented(orientation)
    (tmp_path / "o").write_bytes(saved(image, kind, exif=exif, **options))
    assert apart(tmp_path / "o") <= within


# ------------------------------------------------------------------------------------------- HEIC

#: EXIF's orientation entry, big-endian: tag 0x0112, SHORT, one of them, and its value.
ENTRY = b"\x01\x12\x00\x03\x00\x00\x00\x01\x00"


def heic(codes: np.ndarray, orientation: int = 1, **options: object) -> bytes:
    """Boxes ``irot`` and ``imir`` as EXIF says; both by the encoder."""
    exif = Image.Exif()
    exif.endian = ">"
    exif[0x0112] = orientation
    out = io.BytesIO()
    image = Image.fromarray(np.ascontiguousarray(codes))
    pillow_heif.from_pillow(image).save(out, quality=-1, chroma=444, exif=exif.tobytes(), **options)
    return out.getvalue()


def with_exif_orientation(content: bytes, orientation: int) -> bytes:
    """The same file, its boxes untouched, with another value in EXIF."""
    place = content.index(ENTRY) + len(ENTRY)
    return content[:place] + bytes([orientation]) + content[place + 1 :]


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("in_exif", ["the same", "1", "8"])
def test_heic_stands_as_its_boxes_say_whatever_exif_says(tmp_path, orientation, in_exif):
    """ISO/IEC 23008-12: irot and imir are part of the picture, EXIF's orientation is not."""
    stored = STORED[orientation](scene_rgb())
    content = heic(stored, orientation)
    assert (b"irot" in content or b"imir" in content) == (orientation != 1)
    if in_exif != "the same":
        content = with_exif_orientation(content, int(in_exif))
    (tmp_path / "p.heic").write_bytes(content)
    assert apart(tmp_path / "p.heic") <= 2


def test_heic_of_10_bits_keeps_them(tmp_path):
    codes = (np.add.outer(np.arange(250), np.arange(320)) % 1024).astype(np.uint16) << 6
    out = io.BytesIO()
    deep = np.ascontiguousarray(np.repeat(codes[:, :, None], 3, axis=2))
    pillow_heif.from_bytes("RGB;16", (320, 250), deep.tobytes()).save(out, quality=-1, chroma=444)
    (tmp_path / "deep.heic").write_bytes(out.getvalue())
    picture = read_picture(tmp_path / "deep.heic")
    assert (picture.container, picture.bits_per_channel) == ("HEIC", 10)
    assert picture.luma.dtype == np.uint16
    assert np.abs(picture.luma.astype(int) - codes).max() <= 128  # two steps of 10 bits, in 16


def test_only_the_primary_picture_of_a_heic_counts(tmp_path):
    several = pillow_heif.from_pillow(Image.fromarray(255 - scene_rgb()))
    several.add_from_pillow(Image.fromarray(scene_rgb()))
    several.add_from_pillow(Image.fromarray(scene_rgb()[::-1].copy()))
    several.save(tmp_path / "burst.heic", primary_index=1, quality=-1, chroma=444)
    assert apart(tmp_path / "burst.heic") <= 2


@pytest.mark.parametrize("part", [0.2, 0.6, 0.99])
def test_a_truncated_heic_is_refused(tmp_path, part):
    content = heic(scene_rgb())
    (tmp_path / "cut.heic").write_bytes(content[: int(len(content) * part)])
    with pytest.raises(PhotoError):
        read_picture(tmp_path / "cut.heic")


# ------------------------------------------------------------------- other ways to write a picture


def test_of_an_mpo_only_the_first_picture_is_read(tmp_path):
    first, second = Image.fromarray(scene_rgb()), Image.fromarray(255 - scene_rgb())
    first.save(tmp_path / "a.jpg", "MPO", save_all=True, append_images=[second], quality=98)
    assert read_picture(tmp_path / "a.jpg").container == "JPEG"
    assert apart(tmp_path / "a.jpg") <= 6


def test_of_a_tiff_only_the_first_page_is_read(tmp_path):
    first, second = Image.fromarray(scene_rgb()), Image.fromarray(255 - scene_rgb())
    first.save(tmp_path / "a.tif", save_all=True, append_images=[second])
    assert apart(tmp_path / "a.tif") == 0


@pytest.mark.parametrize("kind", ["PNG", "WEBP"])
def test_a_moving_picture_is_refused(tmp_path, kind):
    frames = [Image.fromarray(scene_rgb()), Image.fromarray(255 - scene_rgb())]
    frames[0].save(tmp_path / "m", kind, save_all=True, append_images=frames[1:])
    with pytest.raises(PhotoError) as caught:
        read_picture(tmp_path / "m")
    assert caught.value.code == "moving-picture"
    assert "2 frames" in caught.value.text


@pytest.mark.parametrize("kind", [np.float32, np.int32])
def test_numbers_of_32_bits_are_refused_by_name(tmp_path, kind):
    Image.fromarray(np.full((250, 320), 5, kind)).save(tmp_path / "f.tif")
    with pytest.raises(PhotoError, match="32-bit") as caught:
        read_picture(tmp_path / "f.tif")
    assert caught.value.code == "strange-pixels"


@pytest.mark.parametrize("packing", ["raw", "packbits", "tiff_lzw", "tiff_adobe_deflate"])
def test_tiffs_packed_without_loss_are_read(tmp_path, packing):
    Image.fromarray(scene_rgb()).save(tmp_path / "t.tif", compression=packing)
    assert apart(tmp_path / "t.tif") == 0


def test_a_tiff_packed_by_a_decoder_that_hides_damage_is_refused(tmp_path):
    Image.fromarray(scene_rgb()).save(tmp_path / "t.tif", compression="jpeg")
    with pytest.raises(PhotoError, match="packed"):
        read_picture(tmp_path / "t.tif")


def test_a_grey_tiff_of_16_bits_keeps_them(tmp_path):
    codes = np.arange(80_000, dtype=np.uint16).reshape(250, 320)
    cv2.imwrite(str(tmp_path / "d.tif"), codes)
    picture = read_picture(tmp_path / "d.tif")
    np.testing.assert_array_equal(picture.luma, codes)
    assert picture.bits_per_channel == 16


def test_cmyk_jpeg_is_not_read_as_its_negative(tmp_path):
    """Editors store inks inverted; black ink only, converted without a profile."""
    (tmp_path / "c.jpg").write_bytes(
        saved(Image.fromarray(scene_rgb()).convert("CMYK"), "JPEG", quality=98)
    )
    assert apart(tmp_path / "c.jpg") <= 6


# ------------------------------------------------------------------------------- light and colours


def srgb_icc() -> bytes:
    return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


def with_power(profile: bytes, exponent: float) -> bytes:
    """The profile with a plain power as each of its curves (ICC.1, 10.6: ``curv`` of one value)."""
    curve = b"curv" + bytes(4) + (1).to_bytes(4, "big") + int(exponent * 256).to_bytes(2, "big")
    changed = bytearray(profile)
    for i in range(int.from_bytes(profile[128:132], "big")):
        entry = 132 + 12 * i
        if profile[entry : entry + 4] in (b"rTRC", b"gTRC", b"bTRC"):
            start = int.from_bytes(profile[entry + 4 : entry + 8], "big")
            changed[start : start + len(curve)] = curve
    return bytes(changed)


def test_the_common_profile_changes_nothing(tmp_path):
    (tmp_path / "s.png").write_bytes(
        saved(Image.fromarray(scene_rgb()), "PNG", icc_profile=srgb_icc())
    )
    assert read_picture(tmp_path / "s.png").light is None
    assert apart(tmp_path / "s.png") <= 1


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "TIFF", "WEBP"])
@pytest.mark.parametrize("exponent", [1.0, 1.8])
def test_light_is_undone_by_the_file_s_own_curve(tmp_path, kind, exponent):
    """Code 128 of 255 to the power of 1.8 is 0.28920; linearly it is 0.50196 (recomputed)."""
    light = {1.0: 0.50196, 1.8: 0.28920}[exponent]
    options = {"lossless": True} if kind == "WEBP" else {}
    image = Image.new("RGB", (320, 250), (128, 128, 128))
    profile = with_power(srgb_icc(), exponent)
    (tmp_path / "p").write_bytes(saved(image, kind, icc_profile=profile, **options))
    picture = read_picture(tmp_path / "p")
    # 1.8 is written as 460 / 256 = 1.796875: 0.4 % of the light
    np.testing.assert_allclose(picture.linear(0, 0, 5, 4), light, rtol=0, atol=2e-3)
    place = np.array([3]), np.array([7])
    np.testing.assert_allclose(picture.linear_at(*place), light, rtol=0, atol=2e-3)
    # On an sRGB screen the same light has another code.
    shown = np.asarray(read_colour(tmp_path / "p"))[5, 5]
    expected = {1.0: 188, 1.8: 147}[exponent]  # 1.055 L^(1/2.4) - 0.055
    assert np.abs(shown.astype(int) - expected).max() <= 2


def test_a_profile_of_rubbish_counts_as_none(tmp_path):
    rubbish = b"\xff" * 400
    (tmp_path / "r.png").write_bytes(
        saved(Image.fromarray(scene_rgb()), "PNG", icc_profile=rubbish)
    )
    assert read_picture(tmp_path / "r.png").light is None
    assert apart(tmp_path / "r.png") == 0


# -------------------------------------------------------------------------- through the whole chain


@pytest.fixture(scope="module")
def original(shoot, gauge, frame):
    return shoot(ideal_scene(gauge, frame), camera_at())


def rewritten(image: Image.Image, kind: str, exif: bytes) -> bytes:
    if kind == "HEIC":
        out = io.BytesIO()
        pillow_heif.from_pillow(image).save(out, quality=95, chroma=444, exif=exif)
        return out.getvalue()
    if kind == "CMYK":
        return saved(image.convert("CMYK"), "JPEG", quality=95, exif=exif)
    options = {
        "JPEG": {"quality": 95, "progressive": True},
        "WEBP": {"quality": 95},
        "MPO": {"quality": 95, "save_all": True, "append_images": [image.resize((500, 375))]},
    }
    return saved(image, kind, exif=exif, **options.get(kind, {}))


@pytest.mark.parametrize("kind", ["HEIC", "PNG", "TIFF", "WEBP", "JPEG", "MPO", "CMYK"])
def test_each_format_gives_the_same_figures(tmp_path, original, kind):
    """Within the stated uncertainty: what is left of it is compression."""
    expected = rigvision.check(original.path)
    with Image.open(original.path) as image:
        exif = image.getexif().tobytes()
        (tmp_path / "p").write_bytes(rewritten(image.convert("RGB"), kind, exif))
    found = rigvision.check(tmp_path / "p")
    assert found.gap.mean_mm == pytest.approx(
        expected.gap.mean_mm, abs=expected.gap.expanded_uncertainty_mm
    )
    assert found.yoke.lateral_offset_mm == pytest.approx(
        expected.yoke.lateral_offset_mm, abs=expected.yoke.lateral_offset_expanded_uncertainty_mm
    )
    assert found.gap.expanded_uncertainty_mm == pytest.approx(
        expected.gap.expanded_uncertainty_mm, rel=0.3
    )
    assert (found.photo.width_px, found.photo.taken_at) == (2000, expected.photo.taken_at)
