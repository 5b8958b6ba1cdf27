"""Words and looks that the terminal and the analysed image share."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rigvision.decision.reasons import REASONS, Reason
from rigvision.decision.result import CheckResult, Verdict

if TYPE_CHECKING:
    from rigvision.report.saved_result import SavedResult

CAUTION = (
    "Aid only: it does not release anything. Follow the approved maintenance data; "
    "where in doubt, measure by hand."
)


@dataclass(frozen=True, slots=True)
class Look:
    """How a verdict is shown: always a word and a shape, the colour only on top."""

    word: str
    sign: str
    ascii_sign: str
    terminal_style: str
    colour: tuple[int, int, int]


#: Okabe-Ito colours, darkened until white text on them has a contrast of 4.5 to 1.
LOOKS: dict[Verdict, Look] = {
    "pass": Look("PASS", "✔", "[v]", "bold green", (0, 114, 90)),
    "adjust": Look("ADJUST", "◆", "<!>", "bold yellow", (158, 84, 0)),
    "retake": Look("RETAKE", "✖", "[x]", "bold red", (168, 40, 32)),
}


def what_to_do(result: CheckResult | SavedResult) -> str:
    """One line: the turn where a turn helps, else the remedy of the verdict's first reason."""
    turning = result.turns.direction in ("close", "open")
    if result.verdict == "pass" or (result.verdict == "adjust" and turning):
        return result.turns.instruction
    first = deciding_reason(result)
    return first.remedy if first else result.turns.instruction


def deciding_reason(result: CheckResult | SavedResult) -> Reason | None:
    """The first reason that leads to the verdict, or the first of all; None where none is given."""
    weighty = [r for r in result.reasons if _outcome(r) == result.verdict]
    return next(iter([*weighty, *result.reasons]), None)


def _outcome(reason: Reason) -> str:
    return REASONS[reason.code].outcome if reason.code in REASONS else "note"


def title(result: CheckResult) -> str:
    """What was checked: the photo's name, or how many photos together."""
    photos = result.joint.photos if result.joint else ()
    used = [p for p in photos if p.left_out is None]
    return f"{len(used)} photos together" if len(used) > 1 else result.photo.name


def place(result: CheckResult) -> str:
    """``DF-10, door 3, gauge RG-10``, as far as it is known."""
    parts = [
        result.frame or "frame unknown",
        f"door {result.door}" if result.door is not None else "door not given",
        f"gauge {result.gauge}" if result.gauge else "gauge unknown",
    ]
    return ", ".join(parts)
