"""What is known of a shot, to be shown after a trainee has answered: the reading, or the truth."""

from __future__ import annotations

from dataclasses import dataclass

from rigvision.decision.result import CheckResult, Verdict
from rigvision.report.saved_result import SavedResult
from rigvision.report.wording import what_to_do


@dataclass(frozen=True, slots=True)
class Truth:
    """How a drawn photo was set up. ``turns`` of the wrench, positive closes."""

    gap_mm: float
    turns: float
    conforming: bool


@dataclass(frozen=True, slots=True)
class Known:
    """The tool's reading; ``truth`` only where the photo was drawn. None: not measured."""

    verdict: Verdict
    borderline: bool
    gap_mm: float | None
    gap_expanded_uncertainty_mm: float | None
    turns: float | None
    turns_expanded_uncertainty: float | None
    what_to_do: str
    reasons: tuple[str, ...]
    truth: Truth | None = None

    @property
    def best_gap_mm(self) -> float | None:
        """What an estimate is held to: the truth, else the reading."""
        return self.truth.gap_mm if self.truth else self.gap_mm

    @property
    def best_turns(self) -> float | None:
        return self.truth.turns if self.truth else self.turns


def known_of(result: CheckResult | SavedResult, truth: Truth | None = None) -> Known:
    gap, turns = result.gap, result.turns
    return Known(
        result.verdict,
        result.borderline,
        gap.mean_mm if gap else None,
        gap.expanded_uncertainty_mm if gap else None,
        turns.value,
        turns.expanded_uncertainty,
        what_to_do(result),
        tuple(reason.text for reason in result.reasons),
        truth,
    )


def right_call(known: Known, ruling: Verdict | None) -> Verdict:
    """What a shot should have been called: the trainer's word first; else what the tool said, but
    for a pass of what in truth does not conform."""
    if ruling is not None:
        return ruling
    wrong = known.verdict == "pass" and known.truth is not None and not known.truth.conforming
    return "adjust" if wrong else known.verdict


def must_not_pass(known: Known, ruling: Verdict | None) -> bool:
    """Whether a pass would be a wrong one.

    Where the truth is known, that is of what does not conform, or of a photo that cannot be
    trusted; to pass what conforms but is not proven to is not right, yet no wrong pass.
    """
    if ruling is None and known.truth is not None and known.verdict != "retake":
        return not known.truth.conforming
    return right_call(known, ruling) != "pass"
