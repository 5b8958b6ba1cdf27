"""The measurement's own model by Monte Carlo, against its linear budget (JCGM 101:2008).

Every input is drawn from its distribution and carried through the model as it is, curved where
it is curved: the view from its whole covariance, edges as pixels back onto their planes. Where
the figures' linear intervals agree with what comes out, the budget is validated (clause 8).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import floor, inf, log10

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.ground.errors import UsageError
from rigvision.ground.measured import Measured
from rigvision.ground.propagation import Model, Source, propagate
from rigvision.metrology.gap import GapModel
from rigvision.metrology.yoke import CLOCK, LATERAL, SEAT, TILT, YokeModel
from rigvision.vision.pose import Pose
from rigvision.vision.slot import SlotEdges
from rigvision.vision.yoke import YokeFeatures
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge

#: Fewer say nothing of tails of 2.5 %; more, nothing that anybody needs.
LEAST_DRAWS, MOST_DRAWS = 10_000, 1_000_000

#: Same photo, same figures.
SEED = 1

COVERAGE = 0.95

_CHUNK = 10_000  # draws at a time: some megabytes, and a step of the progress shown

Progress = Callable[[float], None]


@dataclass(frozen=True, slots=True)
class Comparison:
    """One figure both ways; intervals for a coverage of 95 %.

    ``validated``: the ends agree to two digits of the standard uncertainty, that is within
    ``tolerance`` (JCGM 101:2008, 8.1.3); None where the draws are too few to tell.
    ``validated_to_one_digit`` says the same of one digit.
    """

    quantity: str
    unit: str
    value: float
    standard_uncertainty: float
    interval: tuple[float, float]
    drawn_value: float
    drawn_standard_uncertainty: float
    drawn_interval: tuple[float, float]  # the shortest
    tolerance: float
    validated: bool | None
    validated_to_one_digit: bool | None


@dataclass(frozen=True, slots=True)
class MonteCarlo:
    draws: int
    seed: int
    comparisons: tuple[Comparison, ...]


def check_draws(draws: int) -> None:
    """Raises UsageError for a number of draws that makes no sense."""
    if not LEAST_DRAWS <= draws <= MOST_DRAWS:
        raise UsageError(
            "draws-out-of-range",
            f"{draws} Monte Carlo draws cannot be used.",
            f"Give between {LEAST_DRAWS} and {MOST_DRAWS}: fewer do not reach the tails, more "
            "take long and tell nothing new.",
        )


def repropagate(
    slot: SlotEdges | None,
    yoke: YokeFeatures | None,
    pose: Pose,
    gauge: Gauge,
    frame: Frame,
    draws: int,
    seed: int = SEED,
    progress: Progress | None = None,
) -> MonteCarlo:
    """Gap, taper and yoke as far as they were measured, by ``draws`` draws.

    ``progress`` is called with the part done, 0 to 1. Raises UsageError for a number of draws
    out of range.
    """
    check_draws(draws)
    jobs: list[tuple[Model, tuple[Source, ...], dict[int, tuple[str, str]]]] = []
    if slot and len(slot.stations) > 1:
        gap = GapModel(slot, pose, gauge, frame)
        taper = {1: ("taper", "mm")} if gap.taper_known else {}
        jobs.append((gap, gap.sources, {0: ("gap", "mm")} | taper))
    if yoke and yoke.socket and frame.socket:
        model = YokeModel(yoke.yoke, yoke.socket, pose, frame.socket)
        jobs.append((model, model.sources, {k: _YOKE_FIGURES[k] for k in model.known}))
    comparisons: list[Comparison] = []
    for done, (model_, sources, figures) in enumerate(jobs):
        step = _part_of(progress, done, len(jobs))
        columns = list(figures)
        linear = propagate(model_, sources)
        # A stream of its own for each model: what one needs does not shift the other's draws.
        drawn = draw(model_, sources, draws, (seed, done), columns, step)
        comparisons += [compare(*figures[k], linear[k], drawn[:, i]) for i, k in enumerate(columns)]
    return MonteCarlo(draws, seed, tuple(comparisons))


_YOKE_FIGURES = {
    LATERAL: ("lateral_offset", "mm"),
    TILT: ("tilt", "deg"),
    SEAT: ("seat_gap", "mm"),
    CLOCK: ("clock", "deg"),
}


def _part_of(progress: Progress | None, index: int, jobs: int) -> Progress | None:
    if progress is None:
        return None
    return lambda part: progress((index + part) / jobs)


def draw(
    model: Model,
    sources: tuple[Source, ...],
    draws: int,
    seed: int | tuple[int, ...],
    columns: list[int] | None = None,
    progress: Progress | None = None,
) -> FloatArray:
    """The model's results (draws, Q), or those ``columns`` of them, for inputs drawn at random."""
    rng = np.random.default_rng(seed)
    parts = []
    for start in range(0, draws, _CHUNK):
        count = min(_CHUNK, draws - start)
        results = model({s.name: _deviations(s, count, rng) for s in sources})
        parts.append(results if columns is None else results[:, columns])
        if progress:
            progress((start + count) / draws)
    return np.concatenate(parts)


def _deviations(source: Source, count: int, rng: np.random.Generator) -> FloatArray:
    """Deviations (count, n) of a source's inputs (JCGM 101:2008, 6.4).

    With finite degrees of freedom all inputs of a source share one scale, as their
    uncertainties were found together: Student's t in several variables.
    """
    size = (count, source.root.shape[1])
    if source.shape == "rectangular":
        return np.asarray(rng.uniform(-np.sqrt(3.0), np.sqrt(3.0), size) @ source.root.T)
    z = rng.standard_normal(size)
    freedom = source.degrees_of_freedom
    if freedom < inf:
        z *= np.sqrt(freedom / rng.chisquare(freedom, (count, 1)))
    return np.asarray(z @ source.root.T)


def compare(quantity: str, unit: str, linear: Measured, drawn: FloatArray) -> Comparison:
    """One figure's linear budget against its draws (N,), by JCGM 101:2008, 8.1.

    The ends compared are those of the interval with equal tails, as the linear one has; the
    shortest, which is stated, has ends that wander with the draws.
    """
    expanded = linear.expanded_uncertainty
    interval = (linear.value - expanded, linear.value + expanded)
    tolerances = [numerical_tolerance(linear.standard_uncertainty, digits) for digits in (2, 1)]
    values = np.sort(drawn)
    return Comparison(
        quantity,
        unit,
        linear.value,
        linear.standard_uncertainty,
        interval,
        float(np.mean(values)),
        float(np.std(values, ddof=1)),
        shortest_interval(values),
        tolerances[0],
        *(_agrees(interval, values, tolerance) for tolerance in tolerances),
    )


def _agrees(interval: tuple[float, float], values: FloatArray, tolerance: float) -> bool | None:
    """Whether both ends agree; None where an end's own standard deviation leaves that open."""
    verdicts: list[bool | None] = []
    for end, probability in zip(interval, (0.5 - COVERAGE / 2, 0.5 + COVERAGE / 2), strict=True):
        scatter = np.sqrt(probability * (1.0 - probability) / len(values))
        low, at, high = np.quantile(values, probability + scatter * np.array([-1.0, 0.0, 1.0]))
        apart, error = abs(at - end), (high - low) / 2
        verdicts.append(None if abs(apart - tolerance) < error else bool(apart <= tolerance))
    if False in verdicts:
        return False
    return None if None in verdicts else True


def numerical_tolerance(u: float, digits: int) -> float:
    """Half a unit in the last place of u rounded to so many digits (JCGM 101:2008, 7.9.2)."""
    if u <= 0.0:
        return 0.0
    leading = floor(log10(u))
    # 0.0996 to two digits is 0.10: one place further left.
    if round(u / 10.0 ** (leading - digits + 1)) >= 10**digits:
        leading += 1
    return 0.5 * 10.0 ** (leading - digits + 1)


def shortest_interval(values: FloatArray) -> tuple[float, float]:
    """Shortest interval that holds 95 % of sorted values (N,) (JCGM 101:2008, 7.7)."""
    held = int(COVERAGE * len(values) + 0.5)
    widths = values[held:] - values[: len(values) - held]
    low = int(np.argmin(widths))
    return float(values[low]), float(values[low + held])
