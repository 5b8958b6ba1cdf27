"""A small trained network from ``models/networks``: layers of numbers, nothing executable."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
import numpy.typing as npt

from rigvision.ground.conventions import FloatArray
from rigvision.ground.errors import ModelError
from rigvision.world.catalogue import shipped_models_folder

MAX_BYTES = 8_000_000
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
    path = shipped_models_folder() / "networks" / f"{name}.npz"
    try:
        return _read(path)
    except (OSError, ValueError, KeyError) as error:
        raise ModelError(
            "network-unreadable",
            f"The network {path.name} in {path.parent} cannot be read: {error}.",
            "Install rigvision again.",
        ) from error


def _read(path: Path) -> Network:
    if path.stat().st_size > MAX_BYTES:
        raise ValueError(f"it has more than {MAX_BYTES} bytes")
    with np.load(path, allow_pickle=False) as file:
        count = sum(name.startswith("weight") for name in file.files)
        arrays = {name: np.asarray(file[name], dtype=np.float32) for name in file.files}
    if not all(np.isfinite(a).all() for a in arrays.values()):
        raise ValueError("it holds numbers that are not finite")
    network = Network(
        arrays["mean"],
        arrays["scale"],
        tuple(arrays[f"weight{k}"] for k in range(count)),
        tuple(arrays[f"bias{k}"][:, None, :] for k in range(count)),
    )
    if count == 0 or network.weights[0].shape[1] != len(network.mean):
        raise ValueError("its layers do not fit together")
    return network
