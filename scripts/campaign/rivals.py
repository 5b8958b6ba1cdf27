"""Estimators on whole pictures: marks, pose and edge spread by the chain, the edges by each."""

from __future__ import annotations

import json
import time
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.ground.errors import PhotoError, Unmeasurable
from rigvision.photo.picture import read_picture
from rigvision.vision.broken_edge import EdgeTuning
from rigvision.vision.camera_prior import camera_prior
from rigvision.vision.coarse_slot import coarse_edges
from rigvision.vision.marks import read_marks
from rigvision.vision.pose import solve_pose
from rigvision.vision.sighting import find_tags
from rigvision.vision.slot_profiles import SlotProfiles, slot_profiles
from rigvision.world.camera import Camera
from rigvision.world.catalogue import DEFAULT_CAMERA, load
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge
from rigvision.world.recognise import recognise_gauge

from .estimators import ESTIMATORS, Estimator
from .groups import TITLES
from .record import Truth, true_verdict
from .summary import plain_statistics
from .tables import table

SCHEMA = "rigvision.estimators/1"


@dataclass(frozen=True, slots=True)
class Trial:
    """What one estimator made of one picture; None where it found no edges."""

    picture: str
    group: str
    estimator: str
    error_mm: float | None  # of the mean gap over the stations that were read
    sigma_mm: float | None  # claimed, as if the stations' noise were all there is
    seconds: float


def compare(photo: Path, truth: Truth, group: str) -> list[Trial]:
    """Every estimator on one picture; empty where its truth is a retake or no slot was found."""
    frame = load(Frame, truth["frame"])
    if true_verdict(truth, frame) == "retake":
        return []
    try:
        profiles, rough_mm = profiles_of(photo, load(Gauge, truth["gauge"]), frame)
    except (PhotoError, Unmeasurable):
        return []
    if not len(rough_mm):
        return []
    gaps = {s["x_mm"]: s["gap_mm"] for s in truth["gap"]["stations"]}
    true_mm = np.array([gaps[x] for x in profiles.x_mm])
    return [_trial(e, profiles, rough_mm, true_mm, (photo.stem, group)) for e in ESTIMATORS]


def profiles_of(photo: Path, gauge: Gauge, frame: Frame) -> tuple[SlotProfiles, FloatArray]:
    """Profiles of the stations at which the chain's coarse search finds edges, and those."""
    picture = read_picture(photo)
    tags = find_tags(picture)
    recognise_gauge([tag.mark_id for tag in tags], gauge)
    marks = read_marks(picture, tags, gauge)
    pose = solve_pose(marks, gauge, camera_prior(load(Camera, DEFAULT_CAMERA), picture))
    # The two steps of find_slot that come before the edges are read.
    profiles, _ = slot_profiles(picture, pose, gauge, frame)
    coarse = coarse_edges(profiles, frame)
    kept = np.array([i for i, edges in enumerate(coarse) if edges is not None], dtype=int)
    rough = np.array([edges for edges in coarse if edges is not None]).reshape(-1, 2)
    return profiles.part(kept), rough


def _trial(
    estimator: Estimator,
    profiles: SlotProfiles,
    rough_mm: FloatArray,
    true_mm: FloatArray,
    name: tuple[str, str],
) -> Trial:
    start = time.perf_counter()
    try:
        edges, sigma = estimator.edges(profiles, rough_mm)
    except (ValueError, IndexError, np.linalg.LinAlgError):
        edges, sigma = np.full_like(rough_mm, np.nan), None
    seconds = time.perf_counter() - start
    errors = edges[:, 1] - edges[:, 0] - true_mm
    # As in the program: an edge far from its rough place is another edge.
    moved_mm = np.abs(edges - rough_mm).max(axis=1)
    known = np.isfinite(errors) & (moved_mm < EdgeTuning().largest_move_mm)
    if not known.any():
        return Trial(*name, estimator.name, None, None, seconds)
    claimed = None
    if sigma is not None:
        claimed = float(np.sqrt(np.sum(sigma[known] ** 2)) / known.sum())
    return Trial(*name, estimator.name, float(errors[known].mean()), claimed, seconds)


def rivals_table(trials: Sequence[Trial]) -> str:
    """Bias, RMS and worst of the mean gap, group by group, and the time per picture."""
    head = ["pictures drawn as", "estimator", "measured", "bias, mm", "RMS, mm", "worst, mm"]
    head += ["claimed u, mm", "ms"]
    groups = dict.fromkeys(t.group for t in trials)
    rows = []
    for group in sorted(groups, key=lambda g: list(TITLES).index(g) if g in TITLES else 99):
        for estimator in ESTIMATORS:
            mine = [t for t in trials if t.group == group and t.estimator == estimator.name]
            errors = np.array([t.error_mm for t in mine if t.error_mm is not None])
            if not len(errors):
                continue
            s = plain_statistics(errors)
            measured = (
                f"{len(errors)}" if len(errors) == len(mine) else f"{len(errors)} of {len(mine)}"
            )
            numbers = [f"{s.bias:+.3f}", f"{s.rms:.3f}", f"{s.worst:+.3f}"]
            claimed = np.array([t.sigma_mm for t in mine if t.sigma_mm is not None])
            numbers += [f"{np.median(claimed):.3f}" if len(claimed) else "-"]
            numbers += [f"{1e3 * np.median([t.seconds for t in mine]):.1f}"]
            rows.append([TITLES.get(group, group), estimator.title, measured, *numbers])
    return table(head, rows)


def save(path: Path, command: str, trials: Iterable[Trial]) -> None:
    """Write trials and the command that made them."""
    found = {"schema": SCHEMA, "command": command, "trials": [asdict(t) for t in trials]}
    path.write_text(json.dumps(found) + "\n", encoding="utf-8")


def stored(paths: Iterable[Path]) -> tuple[list[str], list[Trial]]:
    """The parts' commands and all their trials. Raises SystemExit for another kind of file."""
    commands: dict[str, None] = {}
    trials: dict[tuple[str, str, str], Trial] = {}
    for path in paths:
        found: Any = json.loads(path.read_text(encoding="utf-8"))
        if found.get("schema") != SCHEMA:
            raise SystemExit(f"{path} holds no trials of estimators; --json writes such files.")
        commands[found["command"]] = None
        for plain in found["trials"]:
            trial = Trial(**plain)
            trials[trial.group, trial.picture, trial.estimator] = trial
    return list(commands), list(trials.values())
