"""Training: sections and phones into features, features into four small networks."""

from __future__ import annotations

import itertools
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import jax
import jax.numpy as jnp
import numpy as np

from rigvision.vision.edge_features import edge_features

from .photographs import draw_phones, photographed
from .scenes import F32, Sections

MEMBERS = 4
DECAY = 3e-4  #: of weights, AdamW's
HIDDEN = (224, 224, 96)
CHUNK = 2000
#: Blur of ``scripts/render_sections``: the renderer's pixel filter and pixels and the sampling
#: between them, 0.64 of its pixels, of which a radius has about five.
OWN_BLUR_RADII = 0.13


@dataclass(frozen=True)
class TracedSections:
    """Path-traced cross-sections as ``scripts/render_sections`` writes them."""

    scene: F32
    light: F32
    slope: F32
    gap: F32
    depth: F32

    def __len__(self) -> int:
        return len(self.gap)

    def part(self, index: Any) -> TracedSections:
        return TracedSections(**{k: v[index] for k, v in vars(self).items()})


def read_traced(paths: list[Path]) -> TracedSections:
    """All sections of several files."""
    files = [np.load(path) for path in paths]
    names = ("scene", "light", "slope", "gap", "depth")
    return TracedSections(
        **{n: np.concatenate([f[n].astype(np.float32) for f in files]) for n in names}
    )


def training_set(
    sections: Sections | TracedSections, light: F32, photos_each: int, seed: int, workers: int
) -> tuple[F32, F32]:
    """Features (N, F) and where the tangent plane lies from the start (N,), in radii.

    Photos of one section stand ``len(sections)`` apart, within each chunk.
    """
    kind = type(sections)
    parts = [
        (
            kind(**{k: v[i : i + CHUNK] for k, v in vars(sections).items()}),
            light[i : i + CHUNK],
            seed + i,
        )
        for i in range(0, len(sections), CHUNK)
    ]
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        done = list(pool.map(partial(_features_of, photos_each=photos_each), parts))
    return np.concatenate([f for f, _ in done]), np.concatenate([t for _, t in done])


def _features_of(
    part: tuple[Sections | TracedSections, F32, int], photos_each: int
) -> tuple[F32, F32]:
    sections, light, seed = part
    rng = np.random.default_rng(seed)
    features, targets = [], []
    for _ in range(photos_each):
        phones = draw_phones(rng, len(sections))
        own_blur = OWN_BLUR_RADII if isinstance(sections, TracedSections) else 0.0
        profiles = photographed(light, sections, phones, rng, own_blur)
        other_error = 0.3 * rng.standard_normal(len(sections))
        for i, profile in enumerate(profiles):
            start = phones.jitter[i : i + 1]
            other = sections.gap[i : i + 1] + other_error[i]
            features.append(edge_features(profile, start, other)[0].astype(np.float32))
        targets.append(-phones.jitter)
    return np.array(features), np.concatenate(targets).astype(np.float32)


@dataclass(frozen=True)
class Stage:
    """On which samples, how often, how fast."""

    samples: Any  # indices
    epochs: int
    rate: float
    batch: int


def train(
    features: F32,
    targets: F32,
    test: Any,
    stage: Stage,
    seed: int,
    known: dict[str, F32] | None = None,
) -> tuple[dict[str, F32], list[str]]:
    """Arrays of the trained networks, and the log. ``test`` indexes what the stage has not.

    ``known`` are the arrays of networks to go on from.
    """
    rng = np.random.default_rng(seed)
    if known:
        mean, scale = known["mean"], known["scale"]
    else:
        shown = features[stage.samples]
        mean, scale = shown.mean(0), shown.std(0) + 1e-3
    x = jnp.asarray(np.clip((features - mean) / scale, -8, 8))
    y = jnp.asarray(targets)
    parameters = _known(known) if known else _start(jax.random.key(seed), features.shape[1])
    log, began = [], time.perf_counter()
    steps = len(stage.samples) // stage.batch
    run = _epoch_runner(x, y, stage.epochs * steps, stage.rate)
    state: Any = (parameters, _zeros(parameters), _zeros(parameters), 0)
    for epoch in range(stage.epochs):
        picks = np.stack([rng.permutation(stage.samples) for _ in range(MEMBERS)])
        picks = picks[:, : steps * stage.batch].reshape(MEMBERS, steps, stage.batch)
        state, loss = run(state, jnp.asarray(np.swapaxes(picks, 0, 1)))
        if epoch % 5 == 4 or epoch == stage.epochs - 1:
            out = _forward(state[0], x[test])
            log.append(
                f"epoch {epoch + 1}: loss {float(loss):.4f}, held out "
                f"{_summary(out, y[test])}, {time.perf_counter() - began:.0f} s"
            )
            print(log[-1], flush=True)
    parameters = state[0]
    arrays = {"mean": mean.astype(np.float32), "scale": scale.astype(np.float32)}
    for k, (weight, bias) in enumerate(parameters):
        arrays[f"weight{k}"] = np.asarray(weight, np.float16)
        arrays[f"bias{k}"] = np.asarray(bias, np.float16)
    return arrays, log


def _known(arrays: dict[str, F32]) -> list[tuple[Any, Any]]:
    layers = sum(name.startswith("weight") for name in arrays)
    return [
        tuple(jnp.asarray(arrays[f"{kind}{k}"], jnp.float32) for kind in ("weight", "bias"))
        for k in range(layers)
    ]


def _start(key: Any, inputs: int) -> list[tuple[Any, Any]]:
    sizes = (inputs, *HIDDEN, 2)
    layers = []
    for n_in, n_out in itertools.pairwise(sizes):
        key, one = jax.random.split(key)
        weight = jax.random.normal(one, (MEMBERS, n_in, n_out)) * np.sqrt(1.5 / n_in)
        layers.append((weight, jnp.zeros((MEMBERS, n_out))))
    return layers


def _forward(parameters: Any, x: Any) -> Any:
    """Outputs (M, N, 2) for shared (N, F) or own (M, N, F) inputs."""
    for k, (weight, bias) in enumerate(parameters):
        x = x @ weight + bias[:, None]
        if k + 1 < len(parameters):
            x = jax.nn.silu(x)
    return x


def _loss(parameters: Any, x: Any, y: Any) -> Any:
    """Student's t with 5 degrees of freedom: a few hopeless profiles must not rule."""
    out = _forward(parameters, x)
    log_sigma = jnp.clip(out[..., 1], -6.0, 2.0)
    z = (y - out[..., 0]) * jnp.exp(-log_sigma)
    return jnp.mean(log_sigma + 3.0 * jnp.log1p(z * z / 5.0))


def _zeros(parameters: Any) -> Any:
    return jax.tree.map(jnp.zeros_like, parameters)


def _epoch_runner(x: Any, y: Any, steps: int, fastest: float) -> Any:
    """AdamW (Loshchilov and Hutter 2019) with a cosine schedule, one epoch a call."""

    def step(state: Any, picks: Any) -> Any:
        parameters, first, second, count = state
        loss, slope = jax.value_and_grad(_loss)(parameters, x[picks], y[picks])
        count = count + 1
        part = count / steps
        rate = fastest * jnp.minimum(1.0, part * 30) * 0.5 * (1 + jnp.cos(np.pi * part)) + 1e-6
        first = jax.tree.map(lambda m, g: 0.9 * m + 0.1 * g, first, slope)
        second = jax.tree.map(lambda v, g: 0.999 * v + 0.001 * g * g, second, slope)
        bias1, bias2 = 1 - 0.9**count, 1 - 0.999**count

        def moved(p: Any, m: Any, v: Any) -> Any:
            return p - rate * (m / bias1 / (jnp.sqrt(v / bias2) + 1e-8) + DECAY * p)

        return (jax.tree.map(moved, parameters, first, second), first, second, count), loss

    @jax.jit
    def run(state: Any, picks: Any) -> Any:
        state, losses = jax.lax.scan(step, state, picks)
        return state, losses[-20:].mean()

    return run


def _summary(out: Any, y: Any) -> str:
    place = out[..., 0].mean(0)
    variance = jnp.exp(2 * jnp.clip(out[..., 1], -6, 2)).mean(0) + out[..., 0].var(0)
    error = place - y
    z = error / jnp.sqrt(variance)
    best = jnp.sqrt(variance) < jnp.median(jnp.sqrt(variance))
    return (
        f"RMS {float(jnp.sqrt(jnp.mean(error**2))):.4f}, "
        f"median {float(jnp.median(jnp.abs(error))):.4f} radii, "
        f"surer half RMS {float(jnp.sqrt(jnp.mean(jnp.where(best, error**2, 0)) * 2)):.4f}, "
        f"error / sigma {float(jnp.sqrt(jnp.mean(z**2))):.3f}, "
        f"within 2 sigma {float(jnp.mean(jnp.abs(z) < 2)):.3f}"
    )
