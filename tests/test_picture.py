"""A file into pixels: upright once, whole or refused, in full precision, in linear light."""

from __future__ import annotations

import hashlib
import io
import struct
import zlib

import cv2
import numpy as np
import pillow_heif
import pytest
from PIL import Image

from rigvision.ground.errors import PhotoError
from rigvision.photo.picture import read_colour, read_picture, safe_name


def scene_rgb(width: int = 320, height: int = 250) -> np.ndarray:
    """No symmetry in it: a slope, a corner patch, an L and a stripe, all grey."""
    y, x = np.mgrid[:height, :width]
    grey = (40 + 0.30 * x + 0.15 * y).astype(np.uint8)
    grey[10:60, 12:90] = 230
    grey[100:220, 200:215] = 15
    grey[205:220, 200:290] = 15
    grey[:, 150:153] = 180
    return np.repeat(grey[:, :, None], 3, axis=2)


def saved(image: Image.Image, kind: str, **options: object) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


#: How a camera stores an upright picture for each EXIF orientation (EXIF 2.32, tag 0x0112:
#: where the stored row 0 and column 0 lie in the upright picture).
STORED = {
    1: lambda a: a,  # top, left
    2: lambda a: a[:, ::-1],  # top, right
    3: lambda a: a[::-1, ::-1],  # bottom, right
    4: lambda a: a[::-1],  # bottom, left
    5: lambda a: a.transpose(1, 0, 2),  # left, top
    6: lambda a: a[:, ::-1].transpose(1, 0, 2),  # right, top
    7: lambda a: a[::-1, ::-1].transpose(1, 0, 2),  # right, bottom
    8: lambda a: a[::-1].transpose(1, 0, 2),  # left, bottom
}


def oriented(orientation: int) -> tuple[Image.Image, Image.Exif]:
    exif = Image.Exif()
    exif[0x0112] = orientation
    return Image.fromarray(np.ascontiguousarray(STORED[orientation](scene_rgb()))), exif


@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_orientation_gives_the_same_upright_picture(tmp_path, orientation):
    path = tmp_path / "o.png"
    image, exif = oriented(orientation)
    path.write_bytes(saved(image, "PNG", exif=exif))
    picture = read_picture(path)
    assert (picture.width_px, picture.height_px) == (320, 250)
    np.testing.assert_array_equal(picture.luma, scene_rgb()[:, :, 0])
    np.testing.assert_array_equal(np.asarray(read_colour(path)), scene_rgb())


@pytest.mark.parametrize("orientation", [3, 6, 7])
def test_an_oriented_jpeg_stands_upright_too(tmp_path, orientation):
    """JPEG at quality 98 keeps grey codes within 6 (common practice, no source)."""
    path = tmp_path / "o.jpg"
    image, exif = oriented(orientation)
    path.write_bytes(saved(image, "JPEG", quality=98, subsampling=0, exif=exif))
    apart = read_picture(path).luma.astype(int) - scene_rgb()[:, :, 0]
    assert np.abs(apart).max() <= 6


def test_luma_is_that_of_opencv_s_own_jpeg_decoder(tmp_path):
    """Two builds of the inverse cosine transform: one code (IEEE 1180 allows it)."""
    path = tmp_path / "grey.jpg"
    path.write_bytes(saved(Image.fromarray(scene_rgb()), "JPEG", quality=90))
    expected = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE).astype(int)
    assert np.abs(read_picture(path).luma - expected).max() <= 1


@pytest.mark.parametrize("progressive", [False, True])
def test_a_truncated_jpeg_is_refused_though_opencv_takes_it(tmp_path, progressive, capfd):
    rng = np.random.default_rng(2)
    noisy = np.clip(scene_rgb(800, 600) + rng.normal(0, 12, (600, 800, 1)), 0, 255)
    whole = saved(
        Image.fromarray(noisy.astype(np.uint8)), "JPEG", quality=90, progressive=progressive
    )
    cut = whole[: len(whole) * 2 // 3]
    path = tmp_path / "cut.jpg"
    path.write_bytes(cut)
    taken = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    assert taken is not None
    assert taken.shape == (600, 800)
    assert "JPEG" in capfd.readouterr().err  # libjpeg's whisper is all that OpenCV gives
    with pytest.raises(PhotoError) as caught:
        read_picture(path)
    assert caught.value.code == "damaged"
    assert "cut.jpg" in caught.value.text
    assert "again" in caught.value.remedy


@pytest.mark.parametrize("kind", ["PNG", "TIFF", "WEBP"])
def test_other_formats_cut_to_two_thirds_are_refused(tmp_path, kind):
    rng = np.random.default_rng(3)
    noise = Image.fromarray(rng.integers(0, 255, (300, 320, 3), dtype=np.uint8))
    whole = saved(noise, kind)
    path = tmp_path / f"cut.{kind.lower()}"
    path.write_bytes(whole[: len(whole) * 2 // 3])
    with pytest.raises(PhotoError, match="cut"):
        read_picture(path)


def deep_png(codes: np.ndarray) -> bytes:
    """A 16-bit grey PNG written by hand (PNG specification, 11.2: IHDR, IDAT, IEND)."""
    height, width = codes.shape
    rows = b"".join(b"\0" + row.astype(">u2").tobytes() for row in codes)

    def chunk(kind: bytes, body: bytes) -> bytes:
        return (
            struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        )

    header = struct.pack(">IIBBBBB", width, height, 16, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", header)
        + chunk(b"IDAT", zlib.compress(rows))
        + chunk(b"IEND", b"")
    )


def test_a_16_bit_png_keeps_every_code(tmp_path):
    codes = (np.arange(256 * 256, dtype=np.uint16)).reshape(256, 256)
    path = tmp_path / "deep.png"
    path.write_bytes(deep_png(codes))
    picture = read_picture(path)
    np.testing.assert_array_equal(picture.luma, codes)
    light = picture.linear(0, 0, 256, 256).ravel()
    # 8 bit would make stairs of 256 equal codes; float32 keeps all but the darkest apart.
    assert len(np.unique(light)) > 60_000
    assert (np.diff(light) >= 0).all()


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_heic_is_read_and_turned_only_once(tmp_path, orientation):
    """A phone stores the turn twice, as ``irot`` and in EXIF; both mean the same turn.

    The encoder's loss on flat grey is a few codes; a second turn would swap width and height
    or put the bright patch elsewhere.
    """
    image, exif = oriented(orientation)
    path = tmp_path / "photo.heic"
    heif = pillow_heif.from_pillow(image)
    heif.save(path, quality=95, exif=exif.tobytes())
    picture = read_picture(path)
    assert (picture.width_px, picture.height_px) == (320, 250)
    inner = picture.luma[20:50, 25:80].astype(int)
    assert np.abs(inner - 230).max() <= 8
    assert np.abs(picture.luma[120:200, 204:211].astype(int) - 15).max() <= 12


@pytest.mark.parametrize(
    ("code", "light"),
    [
        # IEC 61966-2-1:1999, 5.2: x <= 0.04045: x / 12.92, else ((x + 0.055) / 1.055) ** 2.4
        # (recomputed with 30 digits)
        (0, 0.0),
        (10, 0.0030352698),
        (11, 0.0033465358),
        (55, 0.0382043860),
        (118, 0.1811642442),
        (128, 0.2158605001),
        (188, 0.5028864580),
        (255, 1.0),
    ],
)
def test_linear_light_is_that_of_srgb(tmp_path, code, light):
    path = tmp_path / "flat.png"
    path.write_bytes(saved(Image.new("L", (250, 260), code), "PNG"))
    box = read_picture(path).linear(3, 5, 10, 9)
    assert box.shape == (4, 7)
    np.testing.assert_allclose(box, light, rtol=0, atol=1e-7)


def test_16_bit_light_is_that_of_8_bit_at_the_same_fraction(tmp_path):
    """65535 = 257 * 255: code 257 n stands for the same light as code n."""
    path = tmp_path / "deep.png"
    path.write_bytes(deep_png(np.full((250, 250), 257 * 128, np.uint16)))
    light = read_picture(path).linear(0, 0, 2, 2)
    np.testing.assert_allclose(light, 0.2158605001, rtol=0, atol=1e-7)


def test_hash_is_sha_256_of_the_file_as_it_lies_there(tmp_path):
    """Against hashlib's, which FIPS 180-4's "abc" vouches for."""
    vector = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert hashlib.sha256(b"abc").hexdigest() == vector
    content = saved(Image.fromarray(scene_rgb()), "PNG")
    path = tmp_path / "a.png"
    path.write_bytes(content)
    assert read_picture(path).sha256 == hashlib.sha256(content).hexdigest()
    path.write_bytes(content + b"\0")  # readers ignore what follows the end; the hash does not
    assert read_picture(path).sha256 == hashlib.sha256(content + b"\0").hexdigest()


def test_the_original_is_not_touched(tmp_path):
    path = tmp_path / "a.jpg"
    path.write_bytes(saved(Image.fromarray(scene_rgb()), "JPEG"))
    before = path.read_bytes(), path.stat().st_mtime_ns
    path.chmod(0o444)
    read_picture(path)
    read_colour(path)
    assert (path.read_bytes(), path.stat().st_mtime_ns) == before
    assert [p.name for p in tmp_path.iterdir()] == ["a.jpg"]


@pytest.mark.parametrize("mode", ["RGBA", "LA", "P", "CMYK", "1", "YCbCr"])
def test_every_colour_mode_becomes_luma(tmp_path, mode):
    kind = "JPEG" if mode in ("CMYK", "YCbCr") else "PNG"
    path = tmp_path / "m.img"
    path.write_bytes(saved(Image.fromarray(scene_rgb()).convert(mode), kind))
    luma = read_picture(path).luma
    assert luma.shape == (250, 320)
    assert luma[35, 50] > luma[150, 207] + 100  # patch bright, L dark


def test_a_picture_with_transparency_is_seen_over_nothing_but_itself(tmp_path):
    """A half-transparent pixel keeps its own brightness."""
    rgba = np.dstack([scene_rgb(), np.full((250, 320), 128, np.uint8)])
    path = tmp_path / "t.png"
    path.write_bytes(saved(Image.fromarray(rgba), "PNG"))
    apart = read_picture(path).luma.astype(int) - scene_rgb()[:, :, 0]
    assert np.abs(apart).max() <= 1


@pytest.mark.parametrize("character", ["\n", "\r", "\x1b", "\u202e", "\x00", "\u200f"])
def test_names_are_shown_on_one_line_without_control_characters(character):
    shown = safe_name(f"door{character}3.jpg")
    assert character not in shown
    assert shown.startswith("door")
    assert shown.endswith("3.jpg")


def test_long_names_keep_their_beginning_and_end():
    shown = safe_name("x" * 300 + "-door-3.jpg")
    assert len(shown) <= 80
    assert shown.endswith("-door-3.jpg")


def test_a_folder_without_a_name_is_called_by_its_path(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(PhotoError) as raised:
        read_picture(".")
    assert raised.value.text == ". is a folder."
