"""Where gauges, frames and cameras are found: the shipped models, or a file of the user's."""

from __future__ import annotations

import os
from functools import lru_cache
from pathlib import Path

from rigvision.ground.errors import ModelError, UsageError
from rigvision.ground.shown import one_line
from rigvision.world.camera import Camera
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge
from rigvision.world.model import AnyTable, Table, read_model

_KINDS: dict[type, str] = {Gauge: "gauges", Frame: "frames", Camera: "cameras"}
DEFAULT_CAMERA = "generic-phone"


def models_folder() -> Path:
    """``RIGVISION_MODELS`` where set, else the models in the wheel or the checkout."""
    chosen = os.environ.get("RIGVISION_MODELS")
    return Path(chosen) if chosen else shipped_models_folder()


def shipped_models_folder() -> Path:
    """The models in the wheel or the checkout."""
    package = Path(__file__).resolve().parent.parent
    inside_wheel = package / "models"
    return inside_wheel if inside_wheel.is_dir() else package.parent / "models"


def names(kind: type[AnyTable]) -> list[str]:
    """Names of the shipped models of one kind, sorted."""
    return sorted(p.stem for p in (models_folder() / _KINDS[kind]).glob("*.toml"))


def load(kind: type[AnyTable], name_or_file: str) -> AnyTable:
    """A model by its name in the models folder, or by the path of a ``.toml`` file.

    Raises UsageError for a name that does not exist, ModelError for a wrong file.
    """
    if name_or_file.endswith(".toml"):
        return _read(Path(name_or_file), kind)
    _check_folder()
    known = names(kind)
    if name_or_file not in known:
        raise UsageError(
            f"unknown-{_KINDS[kind][:-1]}",
            f"There is no {_KINDS[kind][:-1]} named {one_line(name_or_file, 80)!r}.",
            f"Known here: {one_line(', '.join(known), 300) or 'none'}; "
            "or give the path of a .toml file.",
        )
    return _read(models_folder() / _KINDS[kind] / f"{name_or_file}.toml", kind)


def load_all(kind: type[AnyTable]) -> list[AnyTable]:
    """All shipped models of one kind, by name."""
    _check_folder()
    return [load(kind, name) for name in names(kind)]


def _check_folder() -> None:
    """Raises ModelError where there is no folder: what is to be measured is then unknown."""
    folder = models_folder()
    if not folder.is_dir():
        raise ModelError(
            "no-models-folder",
            f"RIGVISION_MODELS is {one_line(str(folder), 300)}, which is no folder.",
            "Set it to a folder with gauges, frames and cameras in it, or leave it unset.",
        )


def _read(path: Path, kind: type[AnyTable]) -> AnyTable:
    model = _read_once(path, kind, _stamp(path))
    assert isinstance(model, kind)
    return model


def _stamp(path: Path) -> int:
    """Makes the cache notice an edited file; a missing one is reported by the reader."""
    try:
        return path.stat().st_mtime_ns
    except (OSError, ValueError):
        return 0


@lru_cache(maxsize=64)
def _read_once(path: Path, kind: type[Table], _mtime_ns: int) -> Table:
    return read_model(path, kind)
