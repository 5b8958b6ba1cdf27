"""Whether every gauge, frame, camera and network that a check may load can be read."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

from rigvision.doctor.finding import Fact, Finding
from rigvision.ground.errors import ModelError
from rigvision.world.camera import Camera
from rigvision.world.catalogue import (
    DEFAULT_CAMERA,
    load,
    models_folder,
    names,
    shipped_models_folder,
)
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge
from rigvision.world.model import Table
from rigvision.world.network import read_network

_KINDS: dict[str, type[Table]] = {"gauge": Gauge, "frame": Frame, "camera": Camera}


def findings() -> list[Finding]:
    """One line where all are right, else one for each that is not."""
    folder = models_folder()
    networks = sorted((shipped_models_folder() / "networks").glob("*.npz"))
    read: dict[str, list[str]] = {kind: names(table) for kind, table in _KINDS.items()}
    wrong = [*_empty(folder, read, networks), *_unreadable(networks), *_strays()]
    if wrong:
        return wrong
    counts = [f"{len(found)} {_plural(kind, len(found))}" for kind, found in read.items()]
    whose = "the program's own" if folder == shipped_models_folder() else "RIGVISION_MODELS"
    text = f"{', '.join(counts)} and {len(networks)} {_plural('network', len(networks))} read; "
    text += f"{whose}, {folder}"
    facts: dict[str, Fact] = {"folder": str(folder), "shipped": folder == shipped_models_folder()}
    return [Finding("models", "Models", "ok", text, facts=facts | {**read})]


def _plural(word: str, count: int) -> str:
    return word if count == 1 else f"{word}s"


def _empty(folder: Path, read: dict[str, list[str]], networks: list[Path]) -> Iterator[Finding]:
    """A folder that is not there, or in which a check finds nothing to check with."""
    if not folder.is_dir():
        yield _failed(
            f"The models folder {folder} does not exist.",
            "Set RIGVISION_MODELS to a folder with gauges, frames and cameras, or unset it.",
        )
        return
    for kind in ("gauge", "frame"):
        if not read[kind]:
            yield _failed(f"There is no {kind} in {folder / f'{kind}s'}.", "Put its file there.")
    if DEFAULT_CAMERA not in read["camera"]:
        yield _failed(
            f"There is no camera {DEFAULT_CAMERA} in {folder / 'cameras'}.",
            f"Copy it from {shipped_models_folder() / 'cameras'}.",
        )
    if not networks:
        yield _failed(
            f"There is no network in {shipped_models_folder() / 'networks'}.",
            "Install rigvision again, from where it came.",
        )


def _unreadable(networks: list[Path]) -> Iterator[Finding]:
    readers: list[tuple[Callable[..., object], tuple[object, ...]]] = [
        (load, (table, name)) for table in _KINDS.values() for name in names(table)
    ]
    readers += [(read_network, (path,)) for path in networks]
    for reader, arguments in readers:
        try:
            reader(*arguments)
        except ModelError as error:
            yield _failed(error.text, error.remedy)


def _strays() -> Iterator[Finding]:
    """Frames that name a gauge which is not there."""
    gauges = names(Gauge)
    for name in names(Frame):
        try:
            frame = load(Frame, name)
        except ModelError:
            continue  # named already
        missing = [gauge for gauge in frame.gauges if gauge not in gauges]
        if missing:
            yield Finding(
                "models",
                "Models",
                "warning",
                f"Frame {name} takes gauge {', '.join(missing)}, of which there is no file in "
                f"{models_folder() / 'gauges'}.",
                "Put the gauge's file there, or take its name out of the frame's.",
            )


def _failed(text: str, remedy: str) -> Finding:
    return Finding("models", "Models", "failure", text, remedy)
