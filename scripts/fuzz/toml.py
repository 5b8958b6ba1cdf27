"""The text of a model file, as each of the three kinds."""

import tempfile
from contextlib import suppress
from functools import cache
from pathlib import Path

from rigvision.ground.errors import ModelError
from rigvision.world.camera import Camera
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge
from rigvision.world.model import read_model

WATCHED = ("rigvision.world", "tomllib")


@cache
def _file() -> Path:
    return Path(tempfile.mkdtemp(prefix="fuzz-")) / "model.toml"


def try_bytes(data: bytes) -> None:
    _file().write_bytes(data)
    for kind in (Gauge, Frame, Camera):
        with suppress(ModelError):
            read_model(_file(), kind)
