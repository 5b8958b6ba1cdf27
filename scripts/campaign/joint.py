"""Sets of photos of one set-up: each photo alone, all solved together, and one that is odd."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import sqrt
from pathlib import Path

import numpy as np
from rich.console import Console
from rich.progress import track

import rigvision
from rigvision.decision.result import CheckResult
from rigvision.ground.conventions import fold_deg
from rigvision.synthetic import PhoneCamera, make_photo, random_case
from rigvision.synthetic.case import ZONES, random_camera
from rigvision.world.catalogue import load
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge

from .pictures import SCENES_A_SEED

VIEWS = 3
#: Part of a result, figure, and what it is called in a table.
FIGURES = (
    ("gap", "mean_mm", "gap, mean, mm"),
    ("gap", "taper_mm", "taper, mm"),
    ("yoke", "lateral_offset_mm", "lateral offset, mm"),
    ("yoke", "tilt_deg", "tilt, deg"),
    ("yoke", "seat_gap_mm", "seat gap, mm"),
    ("yoke", "clock_deg", "clock, deg"),
)


@dataclass(frozen=True, slots=True)
class SetRecord:
    """Errors and standard uncertainties (6,) of each photo and of all together; NaN unread."""

    single: np.ndarray  # (V, 6, 2)
    joint: np.ndarray  # (6, 3): error, standard and expanded uncertainty
    said: str  # of photos that agree: "agree", "odd" or "disagree"
    said_of_odd: str  # with the last one of another state: "named", "wrong", "disagree", "agree"


def check_sets(sets: int, seed: int, size_px: tuple[int, int]) -> Iterator[SetRecord]:
    """Sets from the nominal zone, each of three photos by one phone and one after a turn."""
    gauge, frame = load(Gauge, "RG-10"), load(Frame, "DF-10")
    numbers = range(SCENES_A_SEED * seed, SCENES_A_SEED * seed + sets)
    with tempfile.TemporaryDirectory(prefix="rigvision-joint-") as folder:
        for number in track(numbers, "Measuring", console=Console(stderr=True), transient=True):
            yield _check_set(number, Path(folder), gauge, frame, size_px)


def _check_set(
    number: int, folder: Path, gauge: Gauge, frame: Frame, size_px: tuple[int, int]
) -> SetRecord:
    case = random_case(number, gauge, frame, "nominal", size_px=size_px)
    cameras = [case.camera, *_other_views(case.camera, number, gauge)]
    truth, paths = {}, []
    # One flat further open: the clock shows the same, and nothing but the gap tells.
    flats = frame.socket.flats if frame.socket else 1
    step_mm = frame.drive.gap_per_socket_turn_mm / flats
    moved = replace(case.scene, gap_mm=case.scene.gap_mm + step_mm)
    for k, (scene, camera) in enumerate(
        [*((case.scene, c) for c in cameras), (moved, cameras[-1])]
    ):
        photo = make_photo(scene, camera, gauge, frame, seed=SCENES_A_SEED + 10 * number + k)
        paths.append(folder / f"{number}-{k}.jpg")
        paths[-1].write_bytes(photo.jpeg)
        truth = truth or photo.truth
    joint = rigvision.check_joint(paths[:VIEWS])
    odd = rigvision.check_joint([*paths[: VIEWS - 1], paths[VIEWS]])
    record = SetRecord(
        np.array([_errors(rigvision.check(p), truth)[:, :2] for p in paths[:VIEWS]]),
        _errors(joint, truth),
        _said(joint),
        _said_of_odd(odd, paths[VIEWS].name),
    )
    for path in paths:
        path.unlink()
    return record


def _other_views(camera: PhoneCamera, number: int, gauge: Gauge) -> list[PhoneCamera]:
    """The same phone from other places, further to the side than one would for one photo."""
    rng = np.random.default_rng([number, VIEWS])
    zone = replace(ZONES["nominal"], tilt_deg=(5.0, 35.0))
    size = max(camera.width_px, camera.height_px), min(camera.width_px, camera.height_px)
    drawn = [random_camera(zone, gauge, size, rng) for _ in range(VIEWS - 1)]
    return [
        replace(
            d,
            principal_offset_px=camera.principal_offset_px,
            k1=camera.k1,
            focal_px=camera.focal_px,
        )
        for d in drawn
    ]


def _errors(result: CheckResult, truth: dict) -> np.ndarray:
    """(6, 3): error, standard and expanded uncertainty of each figure."""
    rows = []
    for part, name, _ in FIGURES:
        found = getattr(getattr(result, part), name, None)
        if found is None or truth[part][name] is None:
            rows.append((np.nan, np.nan, np.nan))
            continue
        stem, _, unit = name.rpartition("_")
        stem = "" if stem == "mean" else f"{stem}_"
        expanded = getattr(getattr(result, part), f"{stem}expanded_uncertainty_{unit}")
        factor = getattr(getattr(result, part), f"{stem}coverage_factor")
        error = found - truth[part][name]
        error = fold_deg(error, 90.0) if name == "clock_deg" else error
        rows.append((error, expanded / factor, expanded))
    return np.array(rows)


def _said(result: CheckResult) -> str:
    codes = {r.code for r in result.reasons}
    if "views-disagree" in codes:
        return "disagree"
    return "odd" if "odd-photo" in codes else "agree"


def _said_of_odd(result: CheckResult, name: str) -> str:
    said = _said(result)
    if said != "odd" or result.joint is None or result.joint.consistency is None:
        return said
    return "named" if result.joint.consistency.odd_photos == (name,) else "wrong"


def table(records: Sequence[SetRecord]) -> str:
    """Each photo alone against all together; then how the photos were judged."""
    heads = "figure", "sets", "alone: RMS", "error / u", "together: RMS", "inside U", "error / u"
    lines = [
        f"| {' | '.join(heads)} | shared |",
        "| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: |",
    ]
    single = np.stack([r.single for r in records])
    joint = np.stack([r.joint for r in records])
    for k, (_, _, name) in enumerate(FIGURES):
        read = np.isfinite(single[:, :, k, 0]).all(axis=1) & np.isfinite(joint[:, k, 0])
        lines.append(f"| {name} | {read.sum()} | {_row(single[read, :, k], joint[read, k])} |")
    said = [r.said for r in records]
    odd = [r.said_of_odd for r in records]
    counts = (
        f"Of {len(said)} sets that agree, {said.count('odd')} lost a photo as odd and "
        f"{said.count('disagree')} were said to disagree. With the last photo taken after the "
        f"door was opened by one flat, which the clock does not show, it was named in "
        f"{odd.count('named')} of {len(odd)} sets, another in {odd.count('wrong')}; "
        f"{odd.count('disagree')} were said to disagree, {odd.count('agree')} passed unnoticed."
    )
    return "\n".join([*lines, "", counts])


def _row(single: np.ndarray, joint: np.ndarray) -> str:
    """``single`` (S, V, 2), ``joint`` (S, 3)."""
    z = single[..., 0] / single[..., 1]
    pairs = [(a, b) for a in range(VIEWS) for b in range(a)]
    shared = np.mean([np.mean(z[:, a] * z[:, b]) for a, b in pairs]) / np.mean(z**2)
    inside = np.mean(np.abs(joint[:, 0]) <= joint[:, 2])
    cells = (
        f"{sqrt(np.mean(single[..., 0] ** 2)):.3f}",
        f"{sqrt(np.mean(z**2)):.2f}",
        f"{sqrt(np.mean(joint[:, 0] ** 2)):.3f}",
        f"{inside:.0%}",
        f"{sqrt(np.mean((joint[:, 0] / joint[:, 1]) ** 2)):.2f}",
        f"{shared:.2f}",
    )
    return " | ".join(cells)
