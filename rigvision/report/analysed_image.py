"""The analysed image: the photo with what was found, made for a phone and for print.

From top to bottom: verdict, what to do and why; the photo around the gauge, turned level;
the key to its lines; the gap magnified, beside the figures; origin and caution; under it all,
where the check is recorded, its record. Its width is fixed, so that text has the same size
whatever photo it came from: shown 6 cm wide on a phone, the station values are as high as
print of 6 points.

The file is made from pixels alone: nothing of the photo's own metadata travels with it.
"""

from __future__ import annotations

import os
import secrets
from io import BytesIO
from itertools import count
from pathlib import Path

import cv2
import numpy as np
from PIL import ExifTags, Image

from rigvision.decision.result import CheckResult
from rigvision.evidence import Evidence
from rigvision.ground.errors import UsageError
from rigvision.ground.ordinary_file import read_ordinary
from rigvision.photo.picture import read_colour
from rigvision.report.banner import draw_banner
from rigvision.report.canvas import Canvas
from rigvision.report.framing import Framing, Pixels, around_gauge, whole_photo
from rigvision.report.gap_labels import draw_gap_labels
from rigvision.report.inset import draw_inset
from rigvision.report.overlay import (
    draw_edges,
    draw_marks,
    draw_scale_bar,
    draw_socket,
    draw_yoke,
)
from rigvision.report.seal import Seal, seal_code
from rigvision.report.seal_panel import draw_seal
from rigvision.report.strip import draw_figures, draw_key, draw_strip

WIDTH_PX = 2000
HIGHEST_PX = 3000
PHOTO_HIGHEST_PX = 1560
DETAIL_HEIGHT_PX = 560
FIGURES_WIDTH_PX = 990
PAD_PX = 40
JPEG_QUALITY = 88

_NOT_FOR_FILE_NAMES = '<>:"/\\|?*'
#: Names that are devices on Windows, whatever follows a dot.
_DEVICES = {"CON", "PRN", "AUX", "NUL"} | {f"{d}{n}" for d in ("COM", "LPT") for n in range(1, 10)}
#: No analysed image is larger.
MOST_BYTES = 50_000_000


def draw(result: CheckResult, seal: Seal | None = None) -> Image.Image:
    """The analysed image of a result that still carries its evidence, with its record's seal.

    Raises UsageError without evidence, PhotoError if the photo can no longer be read.
    """
    whole = unsealed(result)
    return Image.fromarray(_sealed(whole, seal) if seal else whole)


def unsealed(result: CheckResult) -> Pixels:
    """The image without its record, RGB (H, W, 3): nearly all of the work. Raises as ``draw``."""
    evidence = result.evidence
    if not isinstance(evidence, Evidence):
        raise UsageError(
            "no-evidence",
            f"The result of {result.photo.name} carries nothing to draw.",
            "Check the photo again.",
        )
    photo = np.asarray(_colours(evidence))
    parts = [
        draw_banner(result, WIDTH_PX),
        _photo_part(photo, result, evidence),
        draw_key(result, evidence, WIDTH_PX),
        _detail_part(photo, result, evidence),
        draw_strip(result, WIDTH_PX),
    ]
    return _stacked([part for part in parts if part is not None])


def _sealed(whole: Pixels, seal: Seal) -> Pixels:
    """The image with its record under it, drawn at its width: a code's pixels stay sharp."""
    return np.concatenate([whole, draw_seal(seal, whole.shape[1]).pixels])


def _colours(evidence: Evidence) -> Image.Image:
    """The photo to draw on, decoded as carefully as it was for the check."""
    if not evidence.guarded:
        return read_colour(evidence.photo_path)
    from rigvision.photo.guarded_picture import read_colour_guarded

    return read_colour_guarded(evidence.photo_path)


def as_jpeg(result: CheckResult, seal: Seal | None = None) -> bytes:
    """The analysed image as it is written to a file: what is hashed, kept and signed."""
    return jpeg_of(unsealed(result), result, seal)


def jpeg_of(whole: Pixels, result: CheckResult, seal: Seal | None) -> bytes:
    """An image that is drawn already, with its record under it, as it is written to a file."""
    content = BytesIO()
    labels = _labels(result, seal)
    image = Image.fromarray(_sealed(whole, seal) if seal else whole)
    image.save(content, "JPEG", quality=JPEG_QUALITY, subsampling=0, exif=labels)
    return content.getvalue()


def write(result: CheckResult, folder: str | os.PathLike[str], seal: Seal | None = None) -> Path:
    """Write ``NAME.checked.jpg`` into the folder, which is made if need be.

    An earlier image of the same photo is replaced. A name taken by anything else stays as
    it is, the photo itself above all: the new file then gets -2, -3 and so on. A
    half-written file never carries the final name, and no link is followed to write.
    """
    content = as_jpeg(result, seal)
    target = Path(folder)
    target.mkdir(parents=True, exist_ok=True)
    stem = _file_stem(result.photo.name)
    part = target / f".{secrets.token_hex(8)}.part"
    try:
        with part.open("xb") as file:  # fails where anything has that name, a link too
            file.write(content)
        return _named(part, target, stem, _description(result, seal))
    finally:
        part.unlink(missing_ok=True)


def _labels(result: CheckResult, seal: Seal | None) -> Image.Exif:
    """All the metadata there is: what made the image, from which photo, of which record."""
    exif = Image.Exif()
    exif[ExifTags.Base.Software] = f"rigvision {result.version}"
    exif[ExifTags.Base.ImageDescription] = _description(result, seal)
    return exif


def _description(result: CheckResult, seal: Seal | None) -> str:
    photo = f"photo sha256 {result.photo.sha256}"
    return f"{photo}, record {seal_code(seal)}" if seal else photo


def _named(part: Path, folder: Path, stem: str, description: str) -> Path:
    """Give the written file the first name that is free or holds an image of the same photo."""
    for number in count(1):
        name = folder / f"{stem}{f'-{number}' if number > 1 else ''}.checked.jpg"
        if _is_image_of(name, description):
            os.replace(part, name)
            return name
        if _moved(part, name):
            return name
    raise AssertionError("count() does not end")


def _moved(part: Path, name: Path) -> bool:
    """Move a file to a name that nothing has; False where something has it."""
    try:
        os.link(part, name)  # unlike a renaming, it takes no name away from another program
        return True
    except FileExistsError:
        return False
    except OSError:  # file systems of memory cards have no links
        if os.path.lexists(name):
            return False
        os.replace(part, name)
        return True


def _is_image_of(path: Path, description: str) -> bool:
    """Whether a file is an earlier image of this photo and record: its label stands in its head.

    A text in EXIF ends with a zero byte: an image without a record never takes a recorded one's
    place.
    """
    try:
        head = read_ordinary(path, MOST_BYTES)[:4096]
    except OSError:
        return False
    return head.startswith(b"\xff\xd8") and description.encode() + b"\0" in head


def _file_stem(name: str) -> str:
    """A photo's name without its ending, safe as a file name on any system."""
    stem = Path(name).stem
    safe = "".join(c if c.isprintable() and c not in _NOT_FOR_FILE_NAMES else "_" for c in stem)
    # File systems count bytes, most up to 255; some signs take four.
    short = safe.strip(". ")[:80].encode()[:200].decode(errors="ignore").rstrip(". ")
    device = short.partition(".")[0].strip().upper() in _DEVICES
    return f"_{short}" if device else short or "photo"


def _photo_part(photo: Pixels, result: CheckResult, evidence: Evidence) -> Canvas:
    """The photo around the gauge with everything found; all of it where no view was solved."""
    if evidence.pose is None or evidence.gauge is None:
        framing = whole_photo(photo, WIDTH_PX, PHOTO_HIGHEST_PX)
    else:
        view = evidence.pose.view
        framing = around_gauge(view, evidence.gauge, WIDTH_PX, PHOTO_HIGHEST_PX)
    canvas = Canvas(framing.width_px, framing.height_px)
    canvas.paste(framing.cut(photo), 0, 0)
    draw_marks(canvas, framing, result, evidence)
    _draw_found(canvas, framing, result, evidence)
    return canvas


def _draw_found(canvas: Canvas, framing: Framing, result: CheckResult, evidence: Evidence) -> None:
    """What stands on a solved view: scale, yoke, socket, edges and their values."""
    gauge, frame, pose, yoke = evidence.gauge, evidence.frame, evidence.pose, evidence.yoke
    if gauge is None or pose is None:
        return
    draw_scale_bar(canvas, framing, gauge, pose.view)
    if yoke and yoke.socket and frame and frame.socket:
        axis_z_mm = gauge.yoke.face_z_mm if gauge.yoke else frame.socket.axis_z_mm
        draw_socket(canvas, framing, yoke.socket, frame.socket, pose.view, axis_z_mm)
    if yoke and yoke.yoke and gauge.yoke:
        draw_yoke(canvas, framing, yoke.yoke, gauge.yoke, pose.view)
    if evidence.slot:
        draw_edges(canvas, framing, evidence.slot, pose.view)
        draw_gap_labels(canvas, framing, result, evidence.slot, pose.view)


def _detail_part(photo: Pixels, result: CheckResult, evidence: Evidence) -> Canvas | None:
    """The magnified gap and, beside it, the figures; None where nothing was measured."""
    if evidence.pose is None:
        return None
    canvas = Canvas(WIDTH_PX, DETAIL_HEIGHT_PX + 30)
    figures = draw_figures(result, FIGURES_WIDTH_PX, DETAIL_HEIGHT_PX)
    canvas.paste(figures.pixels, WIDTH_PX - FIGURES_WIDTH_PX, 0)
    if evidence.slot:
        width_px = WIDTH_PX - FIGURES_WIDTH_PX - 2 * PAD_PX
        view = evidence.pose.view
        inset = draw_inset(photo, result, evidence.slot, view, width_px, DETAIL_HEIGHT_PX)
        if inset:
            canvas.paste(inset.pixels, PAD_PX, 0)
    return canvas


def _stacked(parts: list[Canvas]) -> Pixels:
    whole = Canvas(WIDTH_PX, sum(part.height_px for part in parts))
    top = 0
    for part in parts:
        whole.paste(part.pixels, 0, top)
        top += part.height_px
    shrink = min(1.0, HIGHEST_PX / whole.height_px)
    return np.asarray(cv2.resize(whole.pixels, None, None, shrink, shrink, cv2.INTER_AREA))
