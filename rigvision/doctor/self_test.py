"""A real check of a picture that travels with the program, whose truth is known.

The figures are held to two things: to the truth, within the uncertainty that each claims, and
to what this release read of the same picture where it was made. Other versions of the libraries
round otherwise, which moves figures a little (``TOLERANCES``); more than that is a fault.
"""

from __future__ import annotations

import json
from pathlib import Path
from time import perf_counter
from typing import Any

import rigvision.chain
from rigvision.decision.result import CheckResult
from rigvision.doctor.finding import Fact, Finding, pip_command
from rigvision.doctor.opencv import reinstall
from rigvision.doctor.python_packages import required
from rigvision.ground.errors import PhotoError

PICTURE = Path(__file__).parent / "pictures" / "self-test.jpg"
TRUTH = PICTURE.with_suffix(".truth.json")
FIGURES = PICTURE.with_suffix(".figures.json")
#: How far a figure may be off this release's own. OpenCV 4.10 with numpy 1.26 and OpenCV 5.0 with
#: numpy 2.4 were seen to differ by 0.008 mm in the gap, 0.0015 mm in the other lengths, 0.0035 deg
#: in tilt and 0.012 deg in clock; each claimed uncertainty is several times the tolerance.
TOLERANCES = {"mm": 0.02, "deg": 0.02, "clock": 0.05}
#: Figure: where it stands in result and truth, where its uncertainty, which tolerance.
_READ = {
    "gap, mm": ("gap", "mean_mm", "expanded_uncertainty_mm", "mm"),
    "taper, mm": ("gap", "taper_mm", "taper_expanded_uncertainty_mm", "mm"),
    "yoke to the side, mm": (
        "yoke",
        "lateral_offset_mm",
        "lateral_offset_expanded_uncertainty_mm",
        "mm",
    ),
    "yoke tilt, deg": ("yoke", "tilt_deg", "tilt_expanded_uncertainty_deg", "deg"),
    "yoke seat gap, mm": ("yoke", "seat_gap_mm", "seat_gap_expanded_uncertainty_mm", "mm"),
    "clock, deg": ("yoke", "clock_deg", "clock_expanded_uncertainty_deg", "clock"),
}


def read_self_test(picture: Path = PICTURE) -> CheckResult:
    """Check the picture as any photo."""
    return rigvision.chain.check(picture)


def figures_of(result: CheckResult) -> dict[str, Any]:
    """Verdict and figures as they are kept beside the picture."""
    return {"verdict": result.verdict, "reasons": [r.code for r in result.reasons]} | {
        name: getattr(getattr(result, part), value) for name, (part, value, _, _) in _READ.items()
    }


def findings(picture: Path = PICTURE) -> list[Finding]:
    """Check the picture and compare; says how long it took, with nothing loaded before."""
    truth = json.loads(TRUTH.read_text(encoding="utf-8"))
    expected = json.loads(FIGURES.read_text(encoding="utf-8"))
    started = perf_counter()
    try:
        result = read_self_test(picture)
    except PhotoError as error:
        return [_failed([error.text.rstrip(".")], {})]
    seconds = perf_counter() - started
    facts: dict[str, Fact] = {"seconds": round(seconds, 3)} | figures_of(result)
    faults = [*against_release(result, expected), *against_truth(result, truth)]
    if faults:
        return [_failed(faults, facts)]
    gap = result.gap
    assert gap is not None
    text = (
        f"a picture with known truth read right in {seconds:.2f} s: {result.verdict}, "
        f"gap {gap.mean_mm:.2f} ± {gap.expanded_uncertainty_mm:.2f} mm, "
        f"true {truth['gap']['mean_mm']:.2f}"
    )
    return [Finding("self-test", "Self-test", "ok", text, facts=facts)]


def against_release(result: CheckResult, expected: dict[str, Any]) -> list[str]:
    """What differs from this release's own reading by more than libraries can."""
    found = figures_of(result)
    faults = [
        f"{key} {found[key]} instead of {expected[key]}"
        for key in ("verdict", "reasons")
        if found[key] != expected[key]
    ]
    for name, (_, _, _, kind) in _READ.items():
        value, wanted = found[name], expected[name]
        if value is None or abs(value - wanted) > TOLERANCES[kind]:
            faults.append(f"{name}: {_shown(value)} instead of {wanted:.3f}")
    return faults


def against_truth(result: CheckResult, truth: dict[str, Any]) -> list[str]:
    """Which figures are off the truth by more than the uncertainty that they claim."""
    faults = []
    for name, (part, value, uncertainty, _) in _READ.items():
        found = getattr(getattr(result, part), value)
        claimed = getattr(getattr(result, part), uncertainty)
        if found is None or claimed is None:
            continue  # this release reads it, so that the other comparison has named it
        if abs(found - truth[part][value]) > claimed:
            faults.append(
                f"{name}: {found:.3f} ± {claimed:.3f}, but {truth[part][value]:.3f} is true"
            )
    return faults


def _shown(value: float | None) -> str:
    return "not measured" if value is None else f"{value:.3f}"


def _failed(faults: list[str], facts: dict[str, Fact]) -> Finding:
    return Finding(
        "self-test",
        "Self-test",
        "failure",
        f"A picture with known truth is read wrongly: {'; '.join(faults)}.",
        "Do not measure with this installation. Install the libraries again; if it stays so, "
        "report it with the output of 'rigvision doctor --json'.",
        (
            *reinstall(),
            pip_command("install", "--force-reinstall", *map(required, ("numpy", "pillow"))),
        ),
        facts,
    )
