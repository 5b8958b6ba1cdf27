"""A recorded check run again: the same where nothing changed, and every change told."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from rigvision.decision.reasons import Reason
from rigvision.records import recording
from rigvision.records import replay as replay_module
from rigvision.records.ledger import Ledger
from rigvision.records.ledger_error import LedgerError
from rigvision.records.record_view import RecordView, view_record
from rigvision.records.recording import check_to_record, record_check
from rigvision.records.replay import Difference, figure_differences, outcome_differences, replay
from tests.half_size import half_size_file
from tests.job_rig import DOOR, drawn_once, open_job_in, recorded_sample
from tests.test_comparison import result


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("photos")


@pytest.fixture(scope="module")
def ledger(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Ledger]:
    patch = pytest.MonkeyPatch()
    patch.setattr(recording, "unsealed_image", drawn_once)
    with Ledger.create(tmp_path_factory.mktemp("kept") / "ledger.sqlite3") as ledger:
        open_job_in(ledger)
        yield ledger
    patch.undo()


@pytest.fixture(scope="module")
def view(ledger: Ledger, folder: Path) -> RecordView:
    return view_record(ledger, recorded_sample(ledger, "nominal.jpg", folder).record)


def test_nothing_has_changed(ledger: Ledger, view: RecordView) -> None:
    head = ledger.head()
    found = replay(ledger, view)
    assert found.exact
    assert found.same_outcome
    assert (found.versions, found.definitions, found.outcome, found.figures) == ((), (), (), ())
    assert found.largest_of_uncertainty is None
    assert ledger.head() == head
    assert json.loads(json.dumps(found.as_json()))["schema"] == "rigvision.replay/1"


def test_a_retake_without_a_gauge_comes_out_the_same(ledger: Ledger, folder: Path) -> None:
    made = recorded_sample(ledger, "wrong-gauge.jpg", folder)
    found = replay(ledger, view_record(ledger, made.record))
    assert found.exact


def test_it_measures_with_the_models_of_then(
    ledger: Ledger, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A frame of its own, with a wider upper limit, is gone from the disk by the time."""
    from rigvision.chain import check
    from rigvision.world.catalogue import models_folder

    own = tmp_path / "own.toml"
    text = (models_folder() / "frames" / "DF-10.toml").read_text(encoding="utf-8")
    own.write_text(text.replace("upper_mm = 1.05", "upper_mm = 1.95"), encoding="utf-8")
    photo = half_size_file("open-1.3mm.jpg", tmp_path)
    found = check(photo, frame=str(own), door=DOOR)
    made = record_check(ledger, "J-0001", check_to_record(found, {"door": DOOR}))
    own.unlink()
    photo.unlink()
    again = replay(ledger, view_record(ledger, made.record))
    assert again.exact
    assert found.gap is not None
    assert found.gap.upper_mm == 1.95


def test_another_version_is_told_and_the_figures_are_compared(
    ledger: Ledger, view: RecordView, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(
        replay_module, "versions", lambda: view.core.versions | {"numpy": "9.9", "new": "1"}
    )
    found = replay(ledger, view)
    numpy = view.core.versions["numpy"]
    assert found.versions == (
        Difference("numpy", numpy, "9.9"),
        Difference("new", None, "1"),
    )
    assert found.exact


def changed_gap(view: RecordView, by_mm: float, **changes: Any) -> RecordView:
    """A view whose record says another gap than its photo shows."""
    plain = json.loads(json.dumps(view.plain))
    plain["gap"]["mean_mm"] += by_mm
    plain |= changes
    gap = view.result.gap
    assert gap is not None
    assert gap.mean_mm is not None
    said = replace(view.result, gap=replace(gap, mean_mm=plain["gap"]["mean_mm"]), **changes)
    return replace(view, recorded=replace(view.recorded, result=plain), result=said)


def test_a_figure_that_moved_is_weighed_by_its_uncertainty(
    ledger: Ledger, view: RecordView
) -> None:
    gap = view.result.gap
    assert gap is not None
    assert gap.expanded_uncertainty_mm is not None
    found = replay(ledger, changed_gap(view, 0.25 * gap.expanded_uncertainty_mm))
    assert not found.exact
    assert found.same_outcome
    (figure,) = found.figures
    assert figure.key == "gap"
    assert figure.of_uncertainty == pytest.approx(-0.25, abs=1e-3)
    assert found.largest_of_uncertainty == pytest.approx(0.25, abs=1e-3)


def test_a_figure_that_moved_by_more_than_its_uncertainty_is_another_outcome(
    ledger: Ledger, view: RecordView
) -> None:
    gap = view.result.gap
    assert gap is not None
    assert gap.expanded_uncertainty_mm is not None
    found = replay(ledger, changed_gap(view, 1.1 * gap.expanded_uncertainty_mm))
    assert not found.same_outcome


def test_another_verdict_is_another_outcome(ledger: Ledger, view: RecordView) -> None:
    found = replay(ledger, changed_gap(view, 0.0, verdict="adjust"))
    assert found.outcome == (Difference("verdict", "adjust", "pass"),)
    assert not found.same_outcome


def test_every_difference_of_an_outcome_is_named() -> None:
    then = result((0.8, 0.06, 2.0))
    now = replace(
        then, borderline=True, gauge=None, reasons=(Reason("glare", "It glares.", "Turn."),)
    )
    assert outcome_differences(then, now) == [
        Difference("borderline", "no", "yes"),
        Difference("reasons", "none", "glare"),
        Difference("gauge", "RG-10", None),
    ]
    assert outcome_differences(then, then) == []


def test_a_figure_that_is_gone_or_came_is_told() -> None:
    gone = figure_differences(result((0.8, 0.06, 2.0)), result(None))
    assert [(f.key, f.recorded, f.now, f.of_uncertainty) for f in gone] == [
        ("gap", 0.8, None, None),
        ("gap at -36", 0.8, None, None),
    ]
    wider = figure_differences(result((0.8, 0.06, 2.0)), result((0.8, 0.07, 2.0)))
    assert [(f.key, f.of_uncertainty) for f in wider] == [("gap", 0.0), ("gap at -36", 0.0)]


def test_lost_evidence_is_said(ledger: Ledger, folder: Path) -> None:
    made = recorded_sample(ledger, "open-2.2mm.jpg", folder)
    view = view_record(ledger, made.record)
    path = ledger.evidence.path(view.core.photo.sha256)
    content = path.read_bytes()
    path.chmod(0o644)
    path.write_bytes(content[:-1])
    with pytest.raises(LedgerError, match="was changed or is torn"):
        replay(ledger, view)
    path.unlink()
    with pytest.raises(LedgerError, match="is missing"):
        replay(ledger, view)
