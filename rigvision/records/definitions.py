"""What a check was measured with: model files as they were read, versions of what ran."""

from __future__ import annotations

import platform
import tomllib
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version
from typing import Literal

import rigvision
from rigvision.evidence import Evidence
from rigvision.records.bodies import Definition
from rigvision.records.canonical import sha256_of
from rigvision.vision.broken_edge import NETWORK
from rigvision.world.camera import Camera
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge
from rigvision.world.network import load_network

Model = Gauge | Frame | Camera
ModelKind = Literal["gauge", "frame", "camera", "network"]

#: Packages whose version may change a figure, by the name they are installed under. OpenCV is
#: installed under several, and asked itself.
MEASURING = ("numpy", "pillow", "pillow-heif", "scikit-image", "simplejpeg")
TOML, NPZ = "application/toml", "application/x-npz"


@dataclass(frozen=True, slots=True)
class KeptDefinition:
    """A model's file, whole, and what the record says of it."""

    definition: Definition
    content: bytes
    media_type: str

    @property
    def file_name(self) -> str:
        ending = "npz" if self.media_type == NPZ else "toml"
        return f"{self.definition.name}.{ending}"


def definitions_of(seen: Evidence) -> tuple[KeptDefinition, ...]:
    """Gauge, frame, camera and network of a check, as far as they were known.

    What was named is kept also where the picture does not show it. Raises ValueError for a model
    that no longer says what its file said.
    """
    models: list[tuple[ModelKind, Model | None]] = [
        ("gauge", seen.gauge or seen.asked_gauge),
        ("frame", seen.frame or seen.asked_frame),
        ("camera", seen.camera),
    ]
    return (*(_model(kind, model) for kind, model in models if model), _network())


def _model(kind: ModelKind, model: Model) -> KeptDefinition:
    content = model.content
    if type(model).model_validate(tomllib.loads(content.decode("utf-8-sig"))) != model:
        raise ValueError(f"the {kind} in use is not the one that was read from its file")
    due = model.calibration.due_on if isinstance(model, Gauge) and model.calibration else None
    due_on = due.isoformat() if due else None
    return KeptDefinition(Definition(kind, model.name, sha256_of(content), due_on), content, TOML)


def _network() -> KeptDefinition:
    content = load_network(NETWORK).content
    return KeptDefinition(Definition("network", NETWORK, sha256_of(content)), content, NPZ)


def versions() -> dict[str, str]:
    """Of rigvision, Python and every library that measures, and the kind of machine."""
    import cv2

    system = platform.uname()
    return {
        "rigvision": rigvision.__version__,
        "python": f"{platform.python_implementation()} {platform.python_version()}",
        "opencv-python": cv2.__version__,
        **{name: _version(name) for name in MEASURING},
        "platform": f"{system.system} {system.release} {system.machine}",
    }


def _version(package: str) -> str:
    try:
        return version(package)
    except PackageNotFoundError:
        return "unknown"
