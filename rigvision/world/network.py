"""A small trained network from ``models/networks``: layers of numbers, nothing executable."""

from __future__ import annotations

import io
import math
import zlib
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from zipfile import BadZipFile, ZipFile

import numpy as np
import numpy.typing as npt

from rigvision.ground.conventions import FloatArray
from rigvision.ground.errors import ModelError
from rigvision.ground.ordinary_file import read_ordinary
from rigvision.ground.shown import one_line
from rigvision.world.catalogue import shipped_models_folder

MAX_BYTES = 8_000_000
#: Of the arrays unpacked; they are 16-bit floats that hardly shrink.
MAX_UNPACKED_BYTES = 16_000_000
MAX_ARRAYS = 64
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
    content: bytes = b""  # of the file, so that what was measured with can be kept

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
            f"The network {path.name} in {path.parent} cannot be read: {one_line(_cause(error))}.",
            "Install rigvision again.",
        ) from error


def _read(path: Path) -> Network:
    content = read_ordinary(path, MAX_BYTES)
    arrays = _arrays(content)
    count = sum(name.startswith("weight") for name in arrays)
    if not all(np.isfinite(a).all() for a in arrays.values()):
        raise ValueError("it holds numbers that are not finite")
    mean, scale = arrays["mean"], arrays["scale"]
    weights = tuple(arrays[f"weight{k}"] for k in range(count))
    biases = tuple(arrays[f"bias{k}"] for k in range(count))
    if not _fit(mean, scale, weights, biases):
        raise ValueError("its layers do not fit together")
    return Network(mean, scale, weights, tuple(bias[:, None, :] for bias in biases), content)


def _arrays(content: bytes) -> dict[str, SingleArray]:
    """The arrays of an .npz; how much they unpack to is known before any of them is."""
    try:
        archive = ZipFile(io.BytesIO(content))
    except BadZipFile as error:
        raise ValueError("it is no archive of arrays") from error
    with archive:
        members = archive.infolist()
        if len(members) > MAX_ARRAYS or sum(m.file_size for m in members) > MAX_UNPACKED_BYTES:
            raise ValueError("it unpacks to more than a network")
        # ZipFile gives no more of a member than the size that was added up, and checks its sum.
        return {m.filename.removesuffix(".npy"): _array(archive.read(m)) for m in members}


def _array(content: bytes) -> SingleArray:
    """One .npy of floats. numpy's own reader takes what memory the header claims."""
    stream = io.BytesIO(content)
    if np.lib.format.read_magic(stream) != (1, 0):
        raise ValueError("it holds an array in an unusual form")
    shape, by_columns, kind = np.lib.format.read_array_header_1_0(stream)
    if kind.kind != "f":
        raise ValueError(f"it holds {kind}, not numbers")
    rest = stream.read()
    if len(rest) != math.prod(shape) * kind.itemsize:
        raise ValueError("it holds an array of another size than it says")
    codes = np.frombuffer(rest, kind).reshape(shape, order="F" if by_columns else "C")
    return np.ascontiguousarray(codes, dtype=np.float32)


def _cause(error: Exception) -> str:
    return (error.strerror if isinstance(error, OSError) else None) or str(error)


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
