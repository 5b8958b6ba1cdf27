"""A recorded result as a check's own again, with the limits it was judged by."""

from __future__ import annotations

from typing import TypeVar

from rigvision.decision.result import CheckResult
from rigvision.evidence import Evidence
from rigvision.records.ledger import Ledger
from rigvision.records.record_view import RecordView
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge
from rigvision.world.model import Table, read_model

Model = TypeVar("Model", bound=Table)


def recorded_result(ledger: Ledger, view: RecordView) -> CheckResult:
    """What reports print and draw of a record.

    Its evidence holds photo, gauge and frame, and nothing that was found in the picture. Raises
    LedgerError where a model is missing from the evidence or was changed.
    """
    saved, core = view.result, view.core
    gauge, frame = recorded_model(ledger, view, Gauge), recorded_model(ledger, view, Frame)
    seen = Evidence(ledger.evidence.path(core.photo.sha256), core.photo.sha256, gauge, frame)
    return CheckResult(
        saved.photo,
        saved.gauge,
        saved.frame,
        saved.door,
        saved.camera,
        saved.verdict,
        saved.borderline,
        saved.reasons,
        saved.gap,
        saved.yoke,
        saved.turns,
        saved.uncertainty_budget,
        saved.view,
        saved.version,
        saved.schema,
        saved.decision,
        evidence=seen,
    )


def recorded_model(ledger: Ledger, view: RecordView, kind: type[Model]) -> Model | None:
    """The gauge or frame that a record was measured with; None where it was not known."""
    word = kind.__name__.lower()
    kept = next((d for d in view.core.definitions if d.kind == word), None)
    if kept is None:
        return None
    ledger.evidence.read(kept.sha256)  # whole and as it was, before it is believed
    return read_model(ledger.evidence.path(kept.sha256), kind)
