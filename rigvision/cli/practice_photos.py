"""Photos for practice: scenes drawn by a level's row, photographed, and read by the tool.

Here because only commands may reach the photo maker.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

import rigvision.chain
from rigvision.ground.errors import UsageError
from rigvision.synthetic import Grime, Photograph, make_photo, random_case
from rigvision.synthetic.case import Case, even_light, with_marks_in_view
from rigvision.synthetic.disturbance import disturbed_photo
from rigvision.synthetic.truth import truth_of
from rigvision.training.known import Known, Truth, known_of
from rigvision.training.practice import Drawn
from rigvision.training.practice_level import SPOILT_BY, Level
from rigvision.training.quiz_shots import limits_in_words
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge

#: Scenes looked at until one is as near to its limit as the level wants; one in six is, at worst.
_TRIES = 2000
#: Scenes by the drive alone are far off; those near a limit are drawn from a zone of their own.
_FAR_OFF = 1.0
_SERIES = 57


@dataclass(frozen=True, slots=True)
class PracticePhotos:
    """Of one rig. ``width_px`` is that of a landscape photo, 4 to 3. ``asked`` is what the check
    is called with: gauge and frame as they were named, None where they were not."""

    gauge: Gauge
    frame: Frame
    width_px: int
    asked: tuple[str | None, str | None] = (None, None)

    def drawn(self, number: int, level: Level) -> Drawn:
        rng = np.random.default_rng([number, _SERIES])
        spoilt = bool(rng.random() < level.spoilt_share)
        photo = self._spoilt(level, number, rng) if spoilt else self._fair(level, number, rng)
        door = int(photo.truth["door"])
        known = self._known(photo, door)
        place = f"{self.frame.name} door {door}"
        return Drawn(photo.jpeg, place, limits_in_words(self.frame), known)

    def _spoilt(self, level: Level, number: int, rng: np.random.Generator) -> Photograph:
        name = str(rng.choice(SPOILT_BY))
        strength = int(rng.choice(level.spoilt_strengths))
        return disturbed_photo(name, strength, number, self.gauge, self.frame, size_px=self._size)

    def _fair(self, level: Level, number: int, rng: np.random.Generator) -> Photograph:
        case = self._near_enough(level, rng)
        light = replace(
            even_light(rng),
            glare=float(rng.uniform(0.0, level.glare)),
            shadow_above_sill_mm=float(rng.uniform(-3.0, 6.0))
            if rng.random() < level.shadow_share
            else None,
        )
        smear, dust, worn = (float(v) for v in rng.uniform(0.0, level.dirt, size=3))
        scene = replace(
            case.scene, light=light, grime=Grime(smear=smear, edge_dust=dust, worn_edge=worn)
        )
        camera = replace(
            case.camera,
            distance_mm=float(rng.uniform(*level.distance_mm)),
            tilt_deg=float(rng.uniform(*level.tilt_deg)),
        )
        seen = with_marks_in_view(camera, self.gauge)
        return make_photo(scene, seen, self.gauge, self.frame, seed=number)

    def _near_enough(self, level: Level, rng: np.random.Generator) -> Case:
        """Half of them conform; how near to the limit is the level's. Raises UsageError."""
        conforming = bool(rng.random() < 0.5)
        zone = "nominal" if not conforming and level.nearness[1] > _FAR_OFF else "near-limit"
        low, high = level.nearness
        for _ in range(_TRIES):
            seed = int(rng.integers(2**48))
            case = random_case(seed, self.gauge, self.frame, zone, size_px=self._size)
            truth = truth_of(case.scene, case.camera, self.gauge, self.frame)
            off = furthest(truth, self.frame) - 1.0
            if (off <= 0.0) == conforming and low <= abs(off) <= high:
                return case
        raise UsageError(
            "level-not-drawn",
            f"No scene of frame {self.frame.name} comes out as near to a limit as difficulty "
            f"{level.number} wants.",
            "Choose another difficulty.",
        )

    def _known(self, photo: Photograph, door: int) -> Known:
        """What the tool reads in it, and the truth."""
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "photo.jpg"
            path.write_bytes(photo.jpeg)
            result = rigvision.chain.check(path, *self.asked, door=door)
        turns = photo.truth["turns"]
        truth = Truth(photo.truth["gap"]["mean_mm"], turns["value"], turns["conforming"])
        return known_of(result, truth)

    @property
    def _size(self) -> tuple[int, int]:
        return self.width_px, self.width_px * 3 // 4


def furthest(truth: dict[str, Any], frame: Frame) -> float:
    """How far the worst true figure stands from the middle of its limits: 1 at a limit."""
    gap, yoke, limits = truth["gap"], truth["yoke"], frame.yoke_limits
    middle = (frame.gap.lower_mm + frame.gap.upper_mm) / 2
    half = (frame.gap.upper_mm - frame.gap.lower_mm) / 2
    gaps = [gap["mean_mm"], *(s["gap_mm"] for s in gap["stations"])]
    parts = [abs(g - middle) / half for g in gaps]
    parts.append(abs(gap["taper_mm"]) / frame.gap.taper_limit_mm)
    if limits and yoke["tilt_deg"] is not None:
        parts += [
            abs(yoke["lateral_offset_mm"]) / limits.lateral_offset_mm,
            abs(yoke["tilt_deg"]) / limits.tilt_deg,
            abs(yoke["seat_gap_mm"]) / limits.seat_gap_mm,
            abs(yoke["clock_deg"] or 0.0) / limits.clock_deg,
        ]
    return float(max(parts))
