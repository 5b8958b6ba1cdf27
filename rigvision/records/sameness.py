"""How alike two photos' set-ups are, and what that says of them.

Three kinds of evidence, each as a likelihood ratio in decades (log10), for being the same against
being another of its kind: texture of the faces (these parts or others), figures (this set-up or
another of doors rigged alike), the figure of the marks (one exposure or another held by hand).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from math import log10
from typing import Literal

import numpy as np

from rigvision.ground.chi_squared import chi_squared_tail
from rigvision.ground.conventions import FloatArray, fold_deg
from rigvision.records.bodies import Likeness
from rigvision.records.exposure_match import ExposureMatch, match_exposures
from rigvision.records.packed_patch import unpacked
from rigvision.records.patch_match import PatchMatch, match_patches

#: ``same-photo``: copies of one exposure. ``same-setup``: two photos of a set-up in which nothing
#: was moved. ``same-parts``: sill and door are the same, but something was moved. ``different``:
#: other parts. ``unknown``: too little to tell.
SamenessKind = Literal["same-photo", "same-setup", "same-parts", "different", "unknown"]


@dataclass(frozen=True, slots=True)
class SamenessTuning:
    """What unrelated photos are like, and how much evidence is enough."""

    # Standard deviations among doors rigged alike: the hardest to tell apart. Trade facts, no
    # source.
    spread: Mapping[str, float] = field(
        default_factory=lambda: {
            "gap_mm": 0.1,
            "taper_mm": 0.07,
            "lateral_mm": 0.2,
            "tilt_deg": 0.5,
            "seat_mm": 0.2,
            "clock_deg": 3.0,
        }
    )
    # Correlations of other parts scatter by at least this: shadows fall alike on all.
    stray_correlation: float = 0.05
    hidden: float = 0.3  # probability that a face of the same parts shows nothing of it
    most_decades: float = 6.0  # that one face or figure may say
    contradiction: float = 0.001  # probability below which figures are not the same
    # Part of a figure's uncertainty that two photos do not share: what both misjudge alike, such as
    # the edges' roundness, cancels. On 51 pairs of synthetic photos of one set-up the RMS of the
    # differences was 0.34, 0.52, 0.68, 0.57, 0.20 and 0.55 of the combined uncertainty.
    apart: Mapping[str, float] = field(
        default_factory=lambda: {
            "gap_mm": 0.6,
            "taper_mm": 0.7,
            "lateral_mm": 0.8,
            "tilt_deg": 0.8,
            "seat_mm": 0.6,
            "clock_deg": 0.7,
        }
    )
    # Standard uncertainties of the difference by which a single figure may differ. A flat turned
    # leaves the clock as it is, and moves the gap by 6 or more.
    reach: float = 4.0
    # The same for all but gap and taper between copies: one whose focal length and middle are lost
    # is measured a little wrong.
    copy_reach: float = 8.0
    parts_decades: float = 3.0  # of texture alone, before a set-up counts as the same
    exposure_decades: float = 2.0  # of the marks' figure alone, before an exposure does
    enough_decades: float = 6.0  # in all: one in ten among 100 000 earlier records, by chance


@dataclass(frozen=True, slots=True)
class Sameness:
    """``why`` says what speaks for it, in words; the decades are those of the three evidences."""

    kind: SamenessKind
    why: str = ""
    texture_decades: float = 0.0
    figure_decades: float = 0.0
    exposure_decades: float = 0.0


def compare(one: Likeness, other: Likeness, tuning: SamenessTuning | None = None) -> Sameness:
    """How alike two likenesses are. Symmetric; of two gauges nothing is said."""
    t = tuning or SamenessTuning()
    if one.gauge != other.gauge:
        return Sameness("unknown", "they show different gauges")
    if not (_possible(one) and _possible(other)):
        return Sameness("unknown", "a likeness holds impossible numbers")
    faces, figures = _faces(one, other), _differences(one, other, t)
    exposure = match_exposures(one, other)
    texture = sum(_texture_decades(match, t) for match in faces.values())
    setup = sum(_figure_decades(d, name, t) for name, d in figures.items())
    kind = _kind(texture, setup, figures, exposure, t)
    why = _why(kind, faces, figures, exposure)
    return Sameness(kind, why, texture, setup, exposure.decades if exposure else 0.0)


@dataclass(frozen=True, slots=True)
class _Difference:
    """Of a figure, with its standard uncertainty."""

    value: float
    uncertainty: float


def _kind(
    texture: float,
    setup: float,
    figures: Mapping[str, _Difference],
    exposure: ExposureMatch | None,
    t: SamenessTuning,
) -> SamenessKind:
    # Texture that JPEG has wiped away may be missing, but must not contradict.
    if exposure and exposure.fits and texture > -1.0 and _may_be_copies(figures, t):
        alone = exposure.decades >= t.exposure_decades
        if alone and texture + max(setup, 0.0) + exposure.decades >= t.enough_decades:
            return "same-photo"
    if texture >= t.parts_decades:
        untouched = _agree(figures, t) and texture + setup >= t.enough_decades
        return "same-setup" if figures and untouched else "same-parts"
    return "different" if texture <= -1.0 else "unknown"


def _possible(likeness: Likeness) -> bool:
    """Whether its numbers are such as photos have: a ledger may have been changed."""
    numbers = [likeness.clock_period_deg, *likeness.camera_mm, *likeness.camera_uncertainty_mm]
    pairs = [*likeness.figures.values(), *likeness.marks_px.values()]
    uncertainties = [u for _, u in likeness.figures.values()]
    small = all(abs(n) < 1e6 for n in (*numbers, *(n for pair in pairs for n in pair)))
    return small and any(likeness.camera_mm) and min([*uncertainties, numbers[0]]) > 0.0


def _faces(one: Likeness, other: Likeness) -> dict[str, PatchMatch]:
    matches = {}
    for name in sorted(one.patches.keys() & other.patches.keys()):
        match = match_patches(_patch(one, name), _patch(other, name))
        if match:
            matches[name] = match
    return matches


def _patch(likeness: Likeness, name: str) -> FloatArray:
    """A patch that cannot be read shows nothing: ``verify`` is there to find it."""
    try:
        return unpacked(likeness.patches[name])
    except ValueError:
        return np.full((1, 1), np.nan)


def _texture_decades(match: PatchMatch, t: SamenessTuning) -> float:
    """Correlation of the same parts may have any value; of others it scatters about zero."""
    spread = float(np.hypot(match.background, t.stray_correlation))
    score = match.correlation / spread
    # The best of several places, and the density at it.
    others = match.places * np.exp(-0.5 * score**2) / (spread * np.sqrt(2.0 * np.pi))
    same = 1.0 if match.correlation > 0.0 else 0.0
    ratio = t.hidden + (1.0 - t.hidden) * same / max(others, 1e-30)
    return min(log10(ratio), t.most_decades)


def _differences(one: Likeness, other: Likeness, t: SamenessTuning) -> dict[str, _Difference]:
    differences = {}
    for name in sorted(one.figures.keys() & other.figures.keys()):
        (a, u), (b, v) = one.figures[name], other.figures[name]
        apart = fold_deg(a - b, one.clock_period_deg) if name == "clock_deg" else a - b
        differences[name] = _Difference(apart, t.apart.get(name, 1.0) * float(np.hypot(u, v)))
    return differences


def _figure_decades(difference: _Difference, name: str, t: SamenessTuning) -> float:
    if name not in t.spread:
        return 0.0
    same = difference.uncertainty**2
    others = same + 2.0 * t.spread[name] ** 2
    square = difference.value**2
    decades = 0.5 * log10(others / same) - (square / same - square / others) / (2.0 * np.log(10.0))
    return float(np.clip(decades, -t.most_decades, t.most_decades))


def _agree(figures: Mapping[str, _Difference], t: SamenessTuning) -> bool:
    if not figures:
        return True
    if _reach(figures.values()) > t.reach:
        return False
    chi_squared = sum((d.value / d.uncertainty) ** 2 for d in figures.values())
    return chi_squared_tail(chi_squared, len(figures)) >= t.contradiction


def _may_be_copies(figures: Mapping[str, _Difference], t: SamenessTuning) -> bool:
    edges = [d for name, d in figures.items() if name in ("gap_mm", "taper_mm")]
    return _reach(edges) <= t.reach and _reach(figures.values()) <= t.copy_reach


def _reach(figures: Iterable[_Difference]) -> float:
    """Standard uncertainties of the figure that differs by most."""
    return max((abs(d.value) / d.uncertainty for d in figures), default=0.0)


_FIGURE_NAMES = {
    "gap_mm": "gap",
    "taper_mm": "taper",
    "lateral_mm": "offset",
    "tilt_deg": "tilt",
    "seat_mm": "seat",
    "clock_deg": "clock",
}


def _why(
    kind: SamenessKind,
    faces: Mapping[str, PatchMatch],
    figures: Mapping[str, _Difference],
    exposure: ExposureMatch | None,
) -> str:
    """What speaks for a kind that is flagged; nothing for the others."""
    if kind not in ("same-photo", "same-setup"):
        return ""
    said = []
    if kind == "same-photo" and exposure:
        said.append(
            "the marks form the same figure, as they do from one place alone (by hand once in "
            f"{1.0 / exposure.chance:,.0f} photos)"
        )
    near = [name for name, d in figures.items() if abs(d.value) <= 3.0 * d.uncertainty]
    names = [word for name, word in _FIGURE_NAMES.items() if name in near]
    if names:
        said.append(f"{_listed(names)} {'agree' if len(names) > 1 else 'agrees'}")
    alike = [f"{name} {m.correlation:.0%}" for name, m in faces.items() if m.correlation > 0.1]
    if alike:
        said.append(f"scratches and dirt are alike ({_listed(alike)})")
    return "; ".join(said)


def _listed(words: list[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)
