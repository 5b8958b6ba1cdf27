"""A small trained network from ``models/networks``: layers of numbers, nothing executable."""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from zipfile import BadZipFile, is_zipfile

import numpy as np
import numpy.typing as npt

from rigvision.ground.conventions import FloatArray
from rigvision.ground.errors import ModelError
from rigvision.world.catalogue import shipped_models_folder

MAX_BYTES = 8_000_000
#: What numpy and zipfile raise where a file is missing, cut off or damaged.
READ_ERRORS = (OSError, EOFError, ValueError, KeyError, RuntimeError, BadZipFile, zlib.error)
#: Features this many standard deviations from training's mean, and further, count alike.
MOST_SCALES = np.float32(8.0)
SingleArray = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Network:
    """M like networks, trained apart, whose spread is a part of the doubt.

    Each is a chain of layers ``x @ weight + bias``, with SiLU between them. ``weights[k]``
    (M, in, out) and ``biases[k]`` (M, 1, out) are layer k of all.
    """

    mean: SingleArray  # (F,) of the features in training
    scale: SingleArray  # (F,)
    weights: tuple[SingleArray, ...]
    biases: tuple[SingleArray, ...]

    def __call__(self, features: FloatArray) -> FloatArray:
        """Outputs (M, N, out) for features (N, F)."""
        scaled = (features.astype(np.float32) - self.mean) / self.scale
        x = np.clip(scaled, -MOST_SCALES, MOST_SCALES)[None]
        for index, (weight, bias) in enumerate(zip(self.weights, self.biases, strict=True)):
            x = x @ weight + bias
            if index + 1 < len(self.weights):
                x = x * (0.5 + 0.5 * np.tanh(0.5 * x))  # x times its logistic function
        return np.asarray(x, dtype=np.float64)


@lru_cache(maxsize=4)
def load_network(name: str) -> Network:
    """The network of that name, always the one that came with the program.

    Raises ModelError for a file that is missing or not whole.
    """
    return read_network(shipped_models_folder() / "networks" / f"{name}.npz")


def read_network(path: Path) -> Network:
    """The network in one file: arrays ``mean``, ``scale``, ``weight0``, ``bias0`` and so on.

    Raises ModelError for a file that is missing, not whole, or not a chain of layers.
    """
    try:
        return _read(path)
    except READ_ERRORS as error:
        raise ModelError(
            "network-unreadable",
            f"The network {path.name} in {path.parent} cannot be read: {error}.",
            "Install rigvision again.",
        ) from error


def _read(path: Path) -> Network:
    if path.stat().st_size > MAX_BYTES:
        raise ValueError(f"it has more than {MAX_BYTES} bytes")
    if not is_zipfile(path):
        raise ValueError("it is no archive of arrays")
    # Opened here, as numpy leaves a file open that it cannot read.
    with path.open("rb") as stream, np.load(stream, allow_pickle=False) as file:
        count = sum(name.startswith("weight") for name in file.files)
        arrays = {name: np.asarray(file[name], dtype=np.float32) for name in file.files}
    if not all(np.isfinite(a).all() for a in arrays.values()):
        raise ValueError("it holds numbers that are not finite")
    mean, scale = arrays["mean"], arrays["scale"]
    weights = tuple(arrays[f"weight{k}"] for k in range(count))
    biases = tuple(arrays[f"bias{k}"] for k in range(count))
    if not _fit(mean, scale, weights, biases):
        raise ValueError("its layers do not fit together")
    return Network(mean, scale, weights, tuple(bias[:, None, :] for bias in biases))


def _fit(
    mean: SingleArray,
    scale: SingleArray,
    weights: tuple[SingleArray, ...],
    biases: tuple[SingleArray, ...],
) -> bool:
    """Whether each layer takes what the one before it gives, for the same number of members."""
    if not weights or mean.ndim != 1 or mean.shape != scale.shape or not (scale > 0).all():
        return False
    members, width = weights[0].shape[0] if weights[0].ndim else 0, len(mean)
    for weight, bias in zip(weights, biases, strict=True):
        if weight.ndim != 3 or weight.shape[:2] != (members, width):
            return False
        width = weight.shape[2]
        if bias.shape != (members, width):
            return False
    return True
