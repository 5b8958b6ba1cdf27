"""The pictures of a shot as files of a page set, and where they lie on each other."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import TypeAdapter, ValidationError

from rigvision.ground.errors import PhotoError, RigvisionError
from rigvision.training.page_set import PageFolder
from rigvision.training.shot import Shot

if TYPE_CHECKING:
    from rigvision.ground.conventions import FloatArray
    from rigvision.photo.colour_codes import ColourCodes
    from rigvision.report.picture_layers import Layer, PictureLayers
    from rigvision.report.plate_view import PlateView
    from rigvision.world.gauge import Gauge
    from rigvision.world.model import AnyTable

#: Part of what a file was made from: another way of making them gets another number.
MAKING = "1"
FOLDER = "pictures"


@dataclass(frozen=True, slots=True)
class ShownLayer:
    """A picture's file in the set, its pixels, and its matrix as SVG writes it."""

    file: str
    width_px: int
    height_px: int
    matrix: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class ShownPictures:
    """All that a page shows of a photo. Lengths are px of the photo.

    ``overlay_aligned``: the analysed image lies on the photo, else it is shown by itself.
    ``light`` is mean, spread and warmth (``picture_layers.Light``).
    """

    width: float
    height: float
    base: ShownLayer
    gap: ShownLayer | None
    overlay: ShownLayer | None
    overlay_aligned: bool
    gap_box: tuple[float, float, float, float] | None
    stations: tuple[tuple[float, float], ...]
    thumb: str
    light: tuple[float, float, float]
    complaint: str = ""


@dataclass(frozen=True, slots=True)
class NoPictures:
    """Why there are none, in a sentence."""

    why: str


Pictures = ShownPictures | NoPictures


def pictures_of(shot: Shot, folder: PageFolder) -> Pictures:
    """Write a shot's pictures, unless an earlier build made them of the same files.

    A photo that is missing, changed or damaged leaves a sentence in its place.
    """
    if shot.files.photo is None:
        return NoPictures("No photo is kept with this result.")
    kept = kept_pictures(shot, folder)
    if kept is not None:
        return kept
    try:
        layers, complaint = _layers(shot, shot.files.photo)
    except RigvisionError as error:
        return NoPictures(error.text)
    return _written(shot.key, layers, folder, complaint)


def noted(shot: Shot, pictures: ShownPictures) -> str:
    """What the set notes of a shot's pictures, so that the next build need not make them."""
    return json.dumps({"of": _source(shot), "pictures": asdict(pictures)})


def kept_pictures(shot: Shot, folder: PageFolder) -> ShownPictures | None:
    """Those of an earlier build, where all is there and was made from the same."""
    try:
        plain = json.loads(folder.made.get(f"{FOLDER}/{shot.key}", "null"))
        if not isinstance(plain, dict) or plain.get("of") != _source(shot):
            return None
        shown: ShownPictures = TypeAdapter(ShownPictures).validate_python(plain.get("pictures"))
    except (ValueError, ValidationError, RecursionError):
        return None
    layers = [layer.file for layer in (shown.base, shown.gap, shown.overlay) if layer]
    ours = all(name.startswith(f"{FOLDER}/{shot.key}-") for name in (*layers, shown.thumb))
    there = ours and all((folder.path / name).is_file() for name in (*layers, shown.thumb))
    return shown if there else None


def _source(shot: Shot) -> str:
    """One word for all that the pictures are made from."""
    marks = sorted(shot.likeness.marks_px.items()) if shot.likeness else []
    facts = [MAKING, shot.result.photo.sha256, _stamp(shot), repr(marks)]
    facts += [str(shot.files.gauge), str(shot.files.frame), repr(shot.result.gap)]
    return sha256("\n".join(facts).encode()).hexdigest()


def _stamp(shot: Shot) -> str:
    """The analysed image by its hash; one that lies about, by when it was written."""
    if shot.files.image is None or shot.files.image_sha256:
        return shot.files.image_sha256 or ""
    try:
        return str(shot.files.image.stat().st_mtime_ns)
    except OSError:
        return ""


def _layers(shot: Shot, path: Path) -> tuple[PictureLayers, str]:
    """Layers, and a complaint about what is missing of them. Raises PhotoError."""
    from rigvision.report.picture_layers import picture_layers

    photo = _codes(path, shot.result.photo.sha256, shot.files.guarded)
    image, complaint = None, ""
    if shot.files.image is None:
        complaint = "No analysed image is kept with this photo."
    else:
        try:
            image = _codes(shot.files.image, shot.files.image_sha256, guarded=False)
        except PhotoError as error:
            complaint = f"The analysed image is not shown: {error.text}"
    gauge = _gauge(shot)
    return picture_layers(photo, image, _view(shot, gauge), gauge, _gap_mm(shot)), complaint


def _codes(path: Path, sha256_hex: str | None, guarded: bool) -> ColourCodes:
    """A picture that has the hash it must have. Raises PhotoError."""
    from rigvision.photo.colour_codes import colour_codes_of, read_colour_codes
    from rigvision.photo.file_bytes import file_bytes

    data = file_bytes(path, "the photo")
    if sha256_hex is not None and sha256(data).hexdigest() != sha256_hex:
        raise PhotoError(
            "photo-changed",
            "The picture that was kept is no longer what it was.",
            "Put it back from a backup.",
        )
    return read_colour_codes(path, guarded=True) if guarded else colour_codes_of(path, data)


def _gauge(shot: Shot) -> Gauge | None:
    from rigvision.world.gauge import Gauge

    return _model(shot.files.gauge, Gauge)


def _model(path: Path | None, kind: type[AnyTable]) -> AnyTable | None:
    """None for one that this version cannot read: the photo is then shown as it is."""
    from rigvision.world.model import read_model

    try:
        return None if path is None else read_model(path, kind)
    except RigvisionError:
        return None


def _view(shot: Shot, gauge: Gauge | None) -> PlateView | None:
    from rigvision.report.plate_view import plate_view

    if gauge is None or shot.likeness is None:
        return None
    return plate_view(shot.likeness.marks_px, gauge, shot.likeness.camera_mm)


def _gap_mm(shot: Shot) -> FloatArray | None:
    """Middles of the gap at its stations (N, 3): where the drawing puts the sill, as wide as it
    was read."""
    import numpy as np

    from rigvision.vision.slot_profiles import edge_plane_z_mm
    from rigvision.world.frame import Frame

    frame, gap = _model(shot.files.frame, Frame), shot.result.gap
    if frame is None:
        return None
    read = {s.x_mm: s.gap_mm for s in gap.stations if s.gap_mm is not None} if gap else {}
    middles = [
        (x, frame.sill.edge_y_mm + read.get(x, frame.gap.nominal_mm) / 2.0, edge_plane_z_mm(frame))
        for x in frame.gap.stations_x_mm
    ]
    return np.array(middles)


def _written(key: str, layers: PictureLayers, folder: PageFolder, complaint: str) -> ShownPictures:
    def put(name: str, content: bytes) -> str:
        file = f"{FOLDER}/{key}-{name}.jpg"
        folder.write(file, content)
        return file

    def placed(name: str, layer: Layer | None) -> Any:
        if layer is None:
            return None
        matrix = tuple(round(v, 5) for v in layer.matrix)
        return ShownLayer(put(name, layer.jpeg), layer.width_px, layer.height_px, matrix)

    light = layers.light
    return ShownPictures(
        round(layers.width, 2),
        round(layers.height, 2),
        placed("photo", layers.base),
        placed("gap", layers.gap),
        placed("analysed", layers.overlay),
        layers.aligned,
        layers.gap_box,
        tuple((round(x, 2), round(y, 2)) for x, y in layers.stations),
        put("small", layers.thumb),
        (light.mean, light.spread, light.warmth),
        complaint,
    )
