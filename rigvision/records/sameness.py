"""How alike two photos' set-ups are, and what that says of them.

Three kinds of evidence, each as a likelihood ratio in decades (log10), for being the same against
being another of its kind: texture of the faces (these parts or others), figures (this set-up or
another of doors rigged alike), place of the camera (one exposure or another held by hand).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import log10
from typing import Literal

import numpy as np

from rigvision.ground.chi_squared import chi_squared_tail
from rigvision.ground.conventions import FloatArray, fold_deg
from rigvision.records.bodies import Likeness
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
    # A second photo held by hand stands so far off the first, along each axis. No source.
    hand_mm: float = 40.0
    # Correlations of other parts scatter by at least this: shadows fall alike on all.
    stray_correlation: float = 0.05
    hidden: float = 0.3  # probability that a face of the same parts shows nothing of it
    most_decades: float = 6.0  # that one face or figure may say
    contradiction: float = 0.001  # probability below which figures or places are not the same
    parts_decades: float = 3.0  # of texture alone, before a set-up counts as the same
    camera_decades: float = 2.0  # of the camera's place alone, before an exposure does
    enough_decades: float = 6.0  # in all: one in ten among 100 000 earlier records, by chance


@dataclass(frozen=True, slots=True)
class Sameness:
    """``why`` says what speaks for it, in words; the decades are those of the three evidences."""

    kind: SamenessKind
    why: str = ""
    texture_decades: float = 0.0
    figure_decades: float = 0.0
    camera_decades: float = 0.0


def compare(one: Likeness, other: Likeness, tuning: SamenessTuning | None = None) -> Sameness:
    """How alike two likenesses are. Symmetric; of two gauges nothing is said."""
    t = tuning or SamenessTuning()
    if one.gauge != other.gauge:
        return Sameness("unknown", "they show different gauges")
    faces, figures = _faces(one, other), _differences(one, other)
    place = _camera(one, other, t)
    texture = sum(_texture_decades(match, t) for match in faces.values())
    setup = sum(_figure_decades(d, name, t) for name, d in figures.items())
    kind = _kind(texture, setup, _agree(figures, t), place, t)
    return Sameness(kind, _why(kind, faces, figures, place), texture, setup, place.decades)


@dataclass(frozen=True, slots=True)
class _Difference:
    """Of a figure, with its standard uncertainty."""

    value: float
    uncertainty: float


@dataclass(frozen=True, slots=True)
class _Camera:
    distance_mm: float
    fits: bool
    decades: float
    chance: float  # that a photo held by hand comes as near


def _kind(
    texture: float, setup: float, agree: bool, camera: _Camera, t: SamenessTuning
) -> SamenessKind:
    # Texture that JPEG has wiped away may be missing, but must not contradict.
    placed = camera.fits and camera.decades >= t.camera_decades and texture > -1.0
    if placed and agree and texture + setup + camera.decades >= t.enough_decades:
        return "same-photo"
    if texture >= t.parts_decades:
        return "same-setup" if agree and texture + setup >= t.enough_decades else "same-parts"
    return "different" if texture <= -1.0 else "unknown"


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


def _differences(one: Likeness, other: Likeness) -> dict[str, _Difference]:
    differences = {}
    for name in sorted(one.figures.keys() & other.figures.keys()):
        (a, u), (b, v) = one.figures[name], other.figures[name]
        apart = fold_deg(a - b, one.clock_period_deg) if name == "clock_deg" else a - b
        differences[name] = _Difference(apart, float(np.hypot(u, v)))
    return differences


def _figure_decades(difference: _Difference, name: str, t: SamenessTuning) -> float:
    if name not in t.spread or difference.uncertainty <= 0.0:
        return 0.0
    same = difference.uncertainty**2
    others = same + 2.0 * t.spread[name] ** 2
    square = difference.value**2
    decades = 0.5 * log10(others / same) - (square / same - square / others) / (2.0 * np.log(10.0))
    return float(np.clip(decades, -t.most_decades, t.most_decades))


def _agree(figures: Mapping[str, _Difference], t: SamenessTuning) -> bool:
    usable = [d for d in figures.values() if d.uncertainty > 0.0]
    if not usable:
        return True
    chi_squared = sum((d.value / d.uncertainty) ** 2 for d in usable)
    return chi_squared_tail(chi_squared, len(usable)) >= t.contradiction


def _camera(one: Likeness, other: Likeness, t: SamenessTuning) -> _Camera:
    """The exposures' places: both uncertainties against those and a hand's."""
    apart = np.asarray(one.camera_mm) - np.asarray(other.camera_mm)
    distance = float(np.linalg.norm(apart))
    same = _covariance(one) + _covariance(other)
    others = same + np.eye(3) * t.hand_mm**2
    square = float(apart @ np.linalg.solve(same, apart))
    far = float(apart @ np.linalg.solve(others, apart))
    narrowing = 0.5 * float(np.linalg.slogdet(others)[1] - np.linalg.slogdet(same)[1])
    decades = (narrowing - 0.5 * (square - far)) / np.log(10.0)
    # Volume of the ellipsoid that is let pass, in the density of hand-held places at their middle.
    volume = 4.0 / 3.0 * np.pi * _LET_PASS**1.5 / (2.0 * np.pi) ** 1.5
    chance = min(volume * np.exp(-narrowing), 1.0)
    fits = chi_squared_tail(square, 3) >= t.contradiction
    return _Camera(distance, fits, max(float(decades), -99.0), float(chance))


#: Chi-squared of three degrees of freedom that is exceeded by chance once in a thousand
#: (NIST/SEMATECH e-Handbook, 1.3.6.7.4).
_LET_PASS = 16.266


def _covariance(likeness: Likeness) -> FloatArray:
    (xy, xz, yz), deviation = likeness.camera_correlation, likeness.camera_uncertainty_mm
    correlation = np.array([[1.0, xy, xz], [xy, 1.0, yz], [xz, yz, 1.0]])
    # A hair more keeps rounded correlations near one from turning it inside out.
    return np.asarray(correlation * np.outer(deviation, deviation) + np.eye(3) * _FLOOR_MM**2)


#: Below this no camera's place is known: the entrance pupil of a phone's lens moves as it focuses.
_FLOOR_MM = 0.1

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
    camera: _Camera,
) -> str:
    """What speaks for a kind that is flagged; nothing for the others."""
    if kind not in ("same-photo", "same-setup"):
        return ""
    said = []
    if kind == "same-photo":
        said.append(
            f"the camera stood in one place ({camera.distance_mm:.1f} mm apart, within the "
            f"uncertainty; by hand once in {1.0 / camera.chance:,.0f} photos)"
        )
    names = [word for name, word in _FIGURE_NAMES.items() if name in figures]
    if names:
        said.append(f"{_listed(names)} {'agree' if len(names) > 1 else 'agrees'}")
    alike = [f"{name} {m.correlation:.0%}" for name, m in faces.items() if m.correlation > 0.1]
    if alike:
        said.append(f"scratches and dirt are alike ({_listed(alike)})")
    return "; ".join(said)


def _listed(words: list[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)
