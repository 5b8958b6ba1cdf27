"""From the command line's choices to finished files: picture and truth."""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from .disturbances import disturbed_shots
from .engine import Quality, render_linear
from .phone import develop, jpeg_bytes, write_beside
from .rig import Rig
from .samples import sample_shots
from .shots import Shot, random_shot, scaled_to
from .truth import truth_of

FULL_SIZE = (4000, 3000)


def choose_shots(rig: Rig, options: argparse.Namespace) -> list[Shot]:
    """Return the shots asked for; raises SystemExit for a name that is no sample."""
    width, height = map(int, options.size.split("x")) if options.size else FULL_SIZE
    size_px = (width, height)
    if options.disturbed is not None:
        numbers = range(options.first, options.first + options.disturbed)
        return disturbed_shots(numbers, options.seed, rig, size_px, options.only)
    if options.random is not None:
        numbers = range(options.first, options.first + options.random)
        return [random_shot(n, options.seed, rig, size_px, options.zone) for n in numbers]
    shots = sample_shots(rig)
    if options.only:
        unknown = set(options.only) - {shot.name for shot in shots}
        if unknown:
            raise SystemExit(f"no sample named {', '.join(sorted(unknown))}; see --list")
        shots = [shot for shot in shots if shot.name in options.only]
    return [scaled_to(shot, options.width) for shot in shots] if options.width else shots


@dataclass(frozen=True)
class Studio:
    """Takes shots as the command line says."""

    rig: Rig
    options: argparse.Namespace

    def take(self, shot: Shot) -> dict[str, object]:
        """Render one shot, write picture and truth, return the truth."""
        truth = truth_of(self.rig, shot)
        linear = self._linear(shot)
        out = self.options.out
        if self.options.clean:
            np.save(out / f"{shot.name}.clean.npy", linear)
        else:
            pixels = develop(linear, shot, pad_level(linear, truth))
            write_beside(out / f"{shot.name}.jpg", jpeg_bytes(pixels, shot))
        text = json.dumps(truth, indent=1, ensure_ascii=False) + "\n"
        write_beside(out / f"{shot.name}.truth.json", text.encode())
        return truth

    def _linear(self, shot: Shot) -> NDArray[np.float32]:
        """Return the linear render, from the store where there is one."""
        options = self.options
        kept: Path | None = options.linear and options.linear / f"{shot.name}.npy"
        if kept and kept.exists():
            return np.load(kept).astype(np.float32)
        quality = Quality(
            options.samples,
            options.device,
            denoise=not options.clean,
            depth_of_field=not options.clean,
        )
        linear = render_linear(self.rig, shot, quality)
        if kept:
            kept.parent.mkdir(parents=True, exist_ok=True)
            np.save(kept, linear.astype(np.float16))
        return linear


def pad_level(linear: NDArray[np.float32], truth: dict) -> float:
    """Return the light of the white pads: bright end of a ring around each mark."""
    height, width = linear.shape[:2]
    levels = []
    for corners in truth["marks"].values():
        ring = np.array(corners)
        ring = ring.mean(axis=0) + (ring - ring.mean(axis=0)) * 1.12
        for a, b in zip(ring, np.roll(ring, -1, axis=0), strict=True):
            for t in np.linspace(0, 1, 12):
                x, y = np.round(a + t * (b - a)).astype(int)
                if 0 <= x < width and 0 <= y < height:
                    levels.append(float(linear[y, x].mean()))
    return float(np.percentile(levels, 85))
