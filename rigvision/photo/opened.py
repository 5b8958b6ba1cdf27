"""A file's bytes as an image whose header is checked and of which nothing is decoded yet."""

from __future__ import annotations

import io
import warnings

from PIL import Image, UnidentifiedImageError

from rigvision.ground.errors import PhotoError
from rigvision.photo.limits import LIMITS
from rigvision.photo.png import check_png

#: Decoders that untrusted files may reach. Many phones' JPEGs are really MPO, which the
#: JPEG decoder recognises by itself; only their first picture is read.
FORMATS = ("JPEG", "PNG", "TIFF", "WEBP")
#: As people call them, by Pillow's names.
CONTAINERS = {
    "JPEG": "JPEG",
    "MPO": "JPEG",
    "PNG": "PNG",
    "TIFF": "TIFF",
    "WEBP": "WebP",
    "HEIF": "HEIC",
}
#: How a TIFF may be packed: without loss, by decoders that notice damage. The others, JPEG and
#: fax among them, are for scanners, and say nothing when they have to guess.
TIFF_PACKINGS = ("raw", "packbits", "tiff_lzw", "tiff_adobe_deflate", "tiff_deflate")
_WHAT_LIBRARIES_RAISE = (OSError, ValueError, SyntaxError, ArithmeticError, EOFError, TypeError)


def opened(data: bytes, name: str) -> Image.Image:
    """The image, not yet decoded.

    Raises PhotoError: ``not-a-photo``, ``too-many-pixels``, ``too-small``, ``moving-picture``,
    ``strange-pixels``, ``damaged``.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # size is checked below, before any decoding
            image = Image.open(io.BytesIO(data), formats=_decoders(data))
    except Image.DecompressionBombError as error:
        raise _too_many_pixels(name, "more than 178 million pixels") from error
    except (UnidentifiedImageError, *_WHAT_LIBRARIES_RAISE) as error:
        raise PhotoError(
            "not-a-photo",
            f"{name} is not a photo in JPEG, HEIC, PNG, TIFF or WebP.",
            "Give the picture as the phone's camera wrote it.",
        ) from error
    width, height = image.size
    if width * height > LIMITS.pixels:
        raise _too_many_pixels(name, f"{width} x {height} pixels")
    if min(width, height) < LIMITS.shorter_side_px:
        raise PhotoError(
            "too-small",
            f"{name} has only {width} x {height} pixels; at least {LIMITS.shorter_side_px} a side.",
            "Send the original picture instead of a thumbnail.",
        )
    if image.format in ("PNG", "WEBP") and getattr(image, "is_animated", False):
        raise PhotoError(
            "moving-picture",
            f"{name} is a moving picture of {getattr(image, 'n_frames', 2)} frames.",
            "Give a single photo as the phone's camera wrote it.",
        )
    _check_container(image, data, name)
    return image


def damaged(name: str, error: Exception) -> PhotoError:
    return PhotoError(
        "damaged",
        f"{name} is damaged or incomplete: {_one_line(error)}.",
        "Copy or send the photo again; check that the transfer finished.",
    )


def _one_line(error: Exception) -> str:
    """A library's own words, fit to be shown."""
    words = "".join(c if c.isprintable() else " " for c in str(error)).strip().rstrip(".")
    return words[:200] or "its decoder gave up"


def _check_container(image: Image.Image, data: bytes, name: str) -> None:
    """What decoders do not look at. JPEG is checked as it is decoded, HEIC by its library."""
    try:
        if image.format == "PNG":
            check_png(data)
        elif image.format == "WEBP":
            _check_webp(data)
        elif image.format == "TIFF":
            _check_tiff(image, name)
        if len(image.info.get("exif") or b"") > LIMITS.exif_bytes:
            raise ValueError("its EXIF is too large")
        if len(image.info.get("icc_profile") or b"") > LIMITS.profile_bytes:
            raise ValueError("its colour profile is too large")
    except ValueError as error:
        raise damaged(name, error) from error


def _check_webp(data: bytes) -> None:
    """A RIFF file states its length behind its first eight bytes."""
    if int.from_bytes(data[4:8], "little") + 8 > len(data):
        raise ValueError("its end is missing")


def _check_tiff(image: Image.Image, name: str) -> None:
    packing = image.info.get("compression", "raw")
    if packing not in TIFF_PACKINGS:
        raise PhotoError(
            "strange-pixels",
            f"{name} is a TIFF packed as no camera packs a photo.",
            "Give the picture as the phone's camera wrote it, or save it as PNG.",
        )
    if len(getattr(image, "tag_v2", ())) > LIMITS.tiff_tags:
        raise ValueError("it has too many entries")


def _too_many_pixels(name: str, found: str) -> PhotoError:
    return PhotoError(
        "too-many-pixels",
        f"{name} is too large to open ({found}); at most {LIMITS.pixels // 1_000_000} megapixels.",
        "Set the phone to 12 to 50 megapixels.",
    )


def _decoders(data: bytes) -> tuple[str, ...]:
    """The decoders that this file may reach. HEIC's is a plug-in, loaded for its container only."""
    if data[4:8] != b"ftyp":
        return FORMATS
    if "HEIF" not in Image.OPEN:
        from pillow_heif import register_heif_opener

        register_heif_opener(thumbnails=False, depth_images=False, aux_images=False)
    return ("HEIF",)
