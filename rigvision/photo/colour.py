"""Colours as every viewer takes them: sRGB, whatever space the file's own profile names."""

from __future__ import annotations

import io

import numpy as np
from PIL import Image

from rigvision.photo.tone_curve import has_curve


def needs_conversion(image: Image.Image) -> bool:
    """Whether the codes are no encoded light: inks, Lab, or a profile made of tables."""
    profile = image.info.get("icc_profile")
    return image.mode in ("CMYK", "LAB") or bool(profile and not has_curve(profile))


def in_srgb(image: Image.Image) -> Image.Image:
    """The decoded image in RGB, sRGB's; a profile that does not fit it counts as none.

    Transparency is dropped: a pixel keeps its own colour, as nothing lies behind a photo.
    """
    image.load()
    if image.mode.startswith("I;16"):
        image = Image.fromarray((np.asarray(image) >> 8).astype(np.uint8))
    profile = image.info.get("icc_profile")
    plain = image if image.mode in ("RGB", "L", "CMYK", "LAB") else image.convert("RGB")
    if profile:
        from PIL import ImageCms

        try:
            converted = ImageCms.profileToProfile(
                plain,
                ImageCms.ImageCmsProfile(io.BytesIO(profile)),
                ImageCms.createProfile("sRGB"),
                outputMode="RGB",
            )
            return converted if converted is not None else plain.convert("RGB")
        except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
            return plain.convert("RGB")
    return plain.convert("RGB")
