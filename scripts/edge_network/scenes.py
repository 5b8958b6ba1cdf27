"""Random cross-sections of a slot: two broken edges, their surfaces, the light around them.

All lengths are in radii of the broken edge. Section axes: v across the slot (towards the
other edge), w out of the face; u runs along the edge and nothing changes with it. The edge
to be read belongs to the body v < 0, whose tangent plane is v = 0 and whose outer face is
w = 0; the other body begins at v = gap.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

F32 = npt.NDArray[np.float32]

LOBES = 14  #: lamps and bright parts of the surroundings
#: A material: base colour, metallic part, roughness along u and across it (GGX alpha).
BASE, METALLIC, ALPHA_U, ALPHA_V = range(4)


@dataclass(frozen=True)
class Sections:
    """N cross-sections; every array's first axis is N."""

    slope: F32  # (N,) dv/dw of the line of sight; positive: it runs down towards the body
    slope_u: F32  # (N,) du/dw of the line of sight
    gap: F32
    depth: F32  # (N, 2) thickness of the two bodies
    step: F32  # (N,) how far the other body's face stands out
    window: F32  # (N, 4) lower and upper border of the plate's window, its back and front
    materials: F32  # (N, 2, 3, 4): body; face, worn band, slot face; BASE..ALPHA_V
    bands: F32  # (N, 2, 5): wear from, to, softness, amount; where the slot's surface begins
    stains: F32  # (N, 2, 3, 3): amplitude, frequency, phase of the base colour along the section
    ambient: F32  # (N, 4) level, then its slope along u, v, w
    lobes: F32  # (N, LOBES, 5) direction u, v, w; concentration; strength
    body_shade: F32  # (N, 2) how dark whoever takes the picture is, and how sharply
    plate: F32  # (N, 2) light of the plate's back and of its window's rim
    duct: F32  # (N,) light of the duct

    def __len__(self) -> int:
        return len(self.gap)


def draw_sections(rng: np.random.Generator, count: int) -> Sections:
    """Draw cross-sections as different from each other as engines, phones and hangars are."""
    tilt = np.radians(50.0) * np.sqrt(rng.uniform(0, 1, count))
    azimuth = rng.uniform(0, 2 * np.pi, count)
    slope, slope_u = np.tan(tilt) * np.sin(azimuth), np.tan(tilt) * np.cos(azimuth)
    sections = Sections(
        slope=slope,
        slope_u=slope_u,
        gap=np.exp(rng.uniform(np.log(0.45), np.log(18.0), count)),
        depth=np.exp(rng.uniform(np.log(5.0), np.log(30.0), (count, 2))),
        step=rng.normal(0, 0.25, count),
        window=_windows(rng, count),
        materials=_materials(rng, count),
        bands=_bands(rng, count),
        stains=_stains(rng, count),
        ambient=_ambient(rng, count),
        lobes=_lobes(rng, slope, slope_u),
        body_shade=np.stack(
            [rng.uniform(0, 1, count), np.exp(rng.uniform(np.log(2), np.log(30), count))], -1
        ),
        plate=np.stack([rng.uniform(0, 0.25, count), rng.uniform(0, 0.6, count)], -1),
        duct=np.where(rng.random(count) < 0.5, 0.0, rng.uniform(0, 0.05, count)),
    )
    return Sections(**{k: np.asarray(v, np.float32) for k, v in vars(sections).items()})


def _windows(rng: np.random.Generator, count: int) -> F32:
    back = rng.uniform(3, 20, count)
    return np.stack(
        [
            np.exp(rng.uniform(np.log(10), np.log(120), count)),
            np.exp(rng.uniform(np.log(10), np.log(120), count)),
            back,
            back + rng.uniform(6, 30, count),
        ],
        -1,
    )


def _metal(rng: np.random.Generator, shape: tuple[int, ...]) -> F32:
    along = np.exp(rng.uniform(np.log(0.03), np.log(0.5), shape))
    across = along * np.exp(rng.normal(0, 0.5, shape))
    return np.stack(
        [
            rng.uniform(0.3, 0.85, shape),
            np.ones(shape),
            np.clip(along, 0.02, 0.7),
            np.clip(across, 0.02, 0.7),
        ],
        -1,
    )


def _coat(rng: np.random.Generator, shape: tuple[int, ...], darkest: float) -> F32:
    alpha = np.exp(rng.uniform(np.log(0.04), np.log(0.7), shape))
    base = np.exp(rng.uniform(np.log(darkest), np.log(0.75), shape))
    return np.stack([base, np.zeros(shape), alpha, alpha], -1)


def _mixed(rng: np.random.Generator, count: int, metal_part: float, darkest: float) -> F32:
    """Bare metal, a coat, or something between (dirt on metal), (N, 2, 4)."""
    shape = (count, 2)
    kind = rng.random(shape)[..., None]
    between = rng.uniform(0, 1, shape)[..., None]
    metal, coat = _metal(rng, shape), _coat(rng, shape, darkest)
    blend = between * metal + (1 - between) * coat
    chosen = np.where(kind < metal_part, metal, np.where(kind < 0.85, coat, blend))
    return np.asarray(chosen)


def _materials(rng: np.random.Generator, count: int) -> F32:
    """Face, worn band and slot face of both bodies."""
    face = _mixed(rng, count, 0.45, 0.03)
    worn = _mixed(rng, count, 0.65, 0.02)
    slot = _mixed(rng, count, 0.3, 0.015)
    # Often one and the same surface runs around the edge.
    same = rng.random((count, 2, 1)) < 0.35
    return np.stack([face, worn, np.where(same, face, slot)], axis=2)


def _bands(rng: np.random.Generator, count: int) -> F32:
    shape = (count, 2)
    start = np.where(
        rng.random(shape) < 0.5, rng.uniform(-14, 0, shape), rng.uniform(-3, 1.2, shape)
    )
    return np.stack(
        [
            start,
            start + np.exp(rng.uniform(np.log(0.3), np.log(20.0), shape)),
            np.exp(rng.uniform(np.log(0.05), np.log(4.0), shape)),
            np.where(rng.random(shape) < 0.5, 0.0, rng.uniform(0, 1, shape)),
            rng.uniform(0.9, 2.2, shape),
        ],
        -1,
    )


def _stains(rng: np.random.Generator, count: int) -> F32:
    shape = (count, 2, 3)
    return np.stack(
        [
            np.abs(rng.normal(0, 0.08, shape)),
            np.exp(rng.uniform(np.log(0.15), np.log(3.0), shape)),
            rng.uniform(0, 2 * np.pi, shape),
        ],
        -1,
    )


def _ambient(rng: np.random.Generator, count: int) -> F32:
    level = np.exp(rng.normal(-1.8, 1.2, count))[:, None]
    slope = rng.normal(0, 0.35, (count, 3)) * level
    return np.concatenate([level, slope], axis=1)


def _lobes(rng: np.random.Generator, slope: F32, slope_u: F32) -> F32:
    """Lamps and bright places: none, one that rules, or many; often a torch beside the camera."""
    count = len(slope)
    d = rng.normal(0, 1, (count, LOBES, 3))
    d[..., 2] = np.abs(d[..., 2]) * np.where(rng.random((count, LOBES)) < 0.9, 1, -1)
    concentration = np.exp(rng.uniform(np.log(1.5), np.log(400), (count, LOBES)))
    lit = rng.random((count, LOBES)) < rng.choice([0.0, 0.06, 0.15, 0.4, 0.9], count)[:, None]
    # Windows, walls and floors differ by more than an order of magnitude.
    light = np.exp(rng.normal(-0.5, rng.choice([0.8, 1.8], (count, 1)), (count, LOBES))) * lit
    torch = rng.random(count) < 0.35
    beside = np.stack([slope_u, slope, np.ones(count)], -1) + rng.normal(0, 0.22, (count, 3))
    d[torch, 0] = beside[torch]
    light[torch, 0] = np.exp(rng.normal(0.6, 1.0, count))[torch]
    concentration[torch, 0] = np.exp(rng.uniform(np.log(40), np.log(600), count))[torch]
    # A small lamp gives as much light as a wide window: strength is radiance.
    strength = light * concentration / 12.0
    d = d / np.linalg.norm(d, axis=-1, keepdims=True)
    return np.concatenate([d, concentration[..., None], strength[..., None]], axis=-1)
