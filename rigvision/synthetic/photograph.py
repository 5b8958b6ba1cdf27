"""A photo with its truth: rendered, developed, packed as JPEG; written without half files."""

from __future__ import annotations

import json
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from rigvision.synthetic.camera import PhoneCamera
from rigvision.synthetic.development import develop, jpeg
from rigvision.synthetic.picture import SAMPLES, render
from rigvision.synthetic.scene import Scene
from rigvision.synthetic.truth import truth_of
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge


@dataclass(frozen=True, slots=True)
class Photograph:
    """A JPEG file's bytes and what is true of it (schema ``rigvision.truth/1``)."""

    jpeg: bytes
    truth: dict[str, Any]


def make_photo(
    scene: Scene,
    camera: PhoneCamera,
    gauge: Gauge,
    frame: Frame,
    *,
    seed: int,
    samples: int = SAMPLES,
) -> Photograph:
    """Photograph a scene. The same arguments give the same bytes.

    ``samples`` is the number of rays in each quarter of a pixel near an edge.
    """
    rng = np.random.default_rng(seed)
    linear = render(scene, camera, gauge, frame, rng, samples)
    encoded = develop(linear, camera, rng)
    tint = float(rng.normal(-6.0, 4.0)), float(rng.normal(3.0, 3.0))
    file = jpeg(encoded, camera, seed % 100_000, tint)
    return Photograph(file, truth_of(scene, camera, gauge, frame))


def write_photo(path: Path, photograph: Photograph) -> None:
    """Write ``path`` and, beside it, its truth as ``NAME.truth.json``."""
    truth = json.dumps(photograph.truth, indent=1).encode()
    _write(path, photograph.jpeg)
    _write(path.with_suffix(".truth.json"), truth)


def _write(path: Path, content: bytes) -> None:
    part = path.with_name(path.name + ".part")
    part.write_bytes(content)
    os.replace(part, path)
