"""Saved results: what was printed is read back as it was, and nothing else is."""

from __future__ import annotations

import json
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import pytest

import rigvision
from rigvision.decision.reasons import Reason
from rigvision.decision.result import CheckResult
from rigvision.evidence import Evidence
from rigvision.ground.errors import PhotoError, SavedResultError
from rigvision.metrology.monte_carlo import repropagate
from rigvision.report.as_json import as_json, error_as_json
from rigvision.report.saved_result import (
    MAX_SAVED_BYTES,
    SavedRefusal,
    SavedResult,
    parse_saved,
    read_saved,
)
from rigvision.synthetic import ideal_scene
from tests.photos import camera_at


@pytest.fixture(scope="module")
def result(shoot, gauge, frame) -> CheckResult:
    return rigvision.check(shoot(ideal_scene(gauge, frame), camera_at()).path, door=3)


@pytest.fixture(scope="module")
def printed(result: CheckResult) -> dict[str, Any]:
    return as_json(result)


def text(plain: object) -> bytes:
    return json.dumps(plain, indent=2).encode()


def only(plain: object) -> SavedResult:
    (saved,) = parse_saved(text(plain))
    assert isinstance(saved, SavedResult)
    return saved


def again(saved: SavedResult) -> dict[str, Any]:
    """A saved result printed again, by the writer that knows only results of checks."""
    shared = {f.name for f in fields(CheckResult)} & {f.name for f in fields(SavedResult)}
    parts = {name: getattr(saved, name) for name in shared - {"joint"}}
    return as_json(CheckResult(**parts))


# Round trips


def test_what_was_printed_is_what_is_read(printed: dict[str, Any]) -> None:
    saved = only(printed)
    assert again(saved) == printed
    assert saved.gap is not None
    assert saved.gap.mean_mm == printed["gap"]["mean_mm"]
    assert saved.photo.sha256 == printed["photo"]["sha256"]
    assert saved.door == 3


def test_a_result_without_any_figure_is_read(result: CheckResult) -> None:
    bare = replace(result, gap=None, frame=None, gauge=None, decision=None, verdict="retake")
    saved = only(as_json(bare))
    assert saved.gap is None
    assert again(saved) == as_json(bare)


def test_several_photos_and_refusals_are_read_in_order(printed: dict[str, Any]) -> None:
    refusal = error_as_json("b.jpg", PhotoError("empty", "b.jpg is empty.", "Copy it again."))
    found = parse_saved(text([printed, refusal, printed]))
    assert found[1] == SavedRefusal("b.jpg", "empty", "b.jpg is empty. Copy it again.")
    assert found[0] == found[2]
    assert parse_saved(b"[]") == []


def test_a_joint_result_is_read(shoot, gauge, frame, tmp_path: Path) -> None:
    shots = [
        shoot(ideal_scene(gauge, frame), camera_at(azimuth_deg=a), seed=s).path
        for a, s in ((62.0, 1), (200.0, 2))
    ]
    (tmp_path / "no.jpg").write_text("no photo")
    printed = as_json(rigvision.check_joint([*shots, tmp_path / "no.jpg"]))
    saved = only(printed)
    assert saved.joint is not None
    assert [p.name for p in saved.joint.photos] == [p["name"] for p in printed["joint"]["photos"]]
    assert [p.used for p in saved.joint.photos] == [True, True, False]
    assert saved.joint.photos[0].view is not None
    assert saved.joint.photos[0].gap.mean_mm == printed["joint"]["photos"][0]["gap"]["mean_mm"]
    assert saved.joint.photos[2].left_out is not None
    assert len(saved.joint.plane_depths) == len(printed["joint"]["plane_depths"])
    assert saved.joint.consistency is not None


def test_a_monte_carlo_run_is_read(result: CheckResult) -> None:
    seen = result.evidence
    assert isinstance(seen, Evidence)
    assert seen.pose
    assert seen.gauge
    assert seen.frame
    drawn = repropagate(seen.slot, seen.yoke, seen.pose, seen.gauge, seen.frame, 10_000)
    saved = only(as_json(result, drawn))
    assert saved.monte_carlo is not None
    assert [c.quantity for c in saved.monte_carlo.quantities] == [
        c.quantity for c in drawn.comparisons
    ]


def test_a_file_is_read(printed: dict[str, Any], tmp_path: Path) -> None:
    (tmp_path / "r.json").write_bytes(text(printed))
    assert read_saved(tmp_path / "r.json") == parse_saved(text(printed))


def test_keys_that_a_later_version_added_are_passed_over(printed: dict[str, Any]) -> None:
    assert only(printed | {"colour": {"deep": [1]}}) == only(printed)


# Refusals


def complaint(content: bytes) -> str:
    with pytest.raises(SavedResultError) as caught:
        parse_saved(content, "r.json")
    assert caught.value.code == "not-a-saved-result"
    assert caught.value.text.startswith("r.json is not a result")
    assert caught.value.text.isprintable()
    assert len(caught.value.text) < 400
    return caught.value.text


def changed(plain: dict[str, Any], path: str, value: object) -> bytes:
    """A copy with one value exchanged; the path is written as in ``gap.stations.0.x_mm``."""
    copy = json.loads(json.dumps(plain))
    *parts, last = [int(p) if p.isdigit() else p for p in path.split(".")]
    table = copy
    for part in parts:
        table = table[part]
    assert last in table if isinstance(last, str) else True
    table[last] = value
    return json.dumps(copy).encode()


@pytest.mark.parametrize(
    ("path", "value", "said"),
    [
        ("schema", "rigvision.check/2", "rigvision.check/2"),
        ("schema", None, "None"),
        ("verdict", "passed", "verdict"),
        ("verdict", "PASS", "verdict"),
        ("borderline", 1, "borderline"),
        ("door", "3", "door"),
        ("door", 3.5, "door"),
        ("gap.mean_mm", "0.8", "gap.mean_mm"),
        ("gap.mean_mm", True, "gap.mean_mm"),
        ("gap.expanded_uncertainty_mm", -0.1, "negative"),
        ("gap.stations.0.coverage_factor", -2.0, "negative"),
        ("gap.stations", {}, "gap.stations"),
        ("gap.stations.0.x_mm", None, "x_mm"),
        ("gap.conformance_probability", 95, "no probability"),
        ("yoke.engaged", "yes", "yoke.engaged"),
        ("turns.direction", "left", "turns.direction"),
        ("reasons", [{"code": "x"}], "reasons.0"),
        ("uncertainty_budget.0.type", "C", "uncertainty_budget.0.type"),
        ("view.marks_found", [1.5], "view.marks_found"),
        ("photo.sha256", "0" * 63, "sha256"),
        ("photo.sha256", "0" * 64 + "\n", "one line"),
        ("photo.name", "a\x1b[2J.jpg", "one line"),
        ("photo.name", "a\u202egpj.exe", "one line"),
        ("photo.name", "\ud800", "one line"),
        ("camera", "x" * 5000, "too long"),
        ("gap", [], "gap"),
        ("photo", None, "photo"),
    ],
)
def test_one_wrong_value_refuses_the_whole(
    printed: dict[str, Any], path: str, value: object, said: str
) -> None:
    assert said in complaint(changed(printed, path, value))


@pytest.mark.parametrize(
    "key", ["schema", "photo", "verdict", "reasons", "gap", "yoke", "turns", "view", "version"]
)
def test_a_missing_table_refuses_the_whole(printed: dict[str, Any], key: str) -> None:
    complaint(text({k: v for k, v in printed.items() if k != key}))


@pytest.mark.parametrize(
    ("content", "said"),
    [
        pytest.param(b"", "Expecting value", id="empty"),
        pytest.param(b"null", "neither", id="null"),
        pytest.param(b"[[]]", "neither", id="lists"),
        pytest.param(b'"pass"', "neither", id="text"),
        pytest.param(b"{}", "schema", id="nothing"),
        pytest.param(b"{} {}", "Extra data", id="two"),
        pytest.param(b'{"a": NaN}', "NaN is not a number", id="NaN"),
        pytest.param(b'{"a": -Infinity}', "-Infinity is not a number", id="infinite"),
        pytest.param(b'{"a": 1e999}', "1e999 is too large", id="1e999"),
        pytest.param(b'{"a": ' + b"9" * 100_000 + b"}", "too large", id="100 000 digits"),
        pytest.param(b'{"a": 1, "a": 2}', "twice", id="key twice"),
        pytest.param(b"[" * 100_000, "nested", id="nested without end"),
        pytest.param(b"[" * 14 + b"]" * 14, "nested more than 12", id="nested"),
        pytest.param(b'{"a":' * 100_000, "nested", id="nested objects"),
        pytest.param(b"\xff{}", "UTF-8", id="no UTF-8"),
        pytest.param(b"\xef\xbb\xbf{}", "BOM", id="BOM"),
        pytest.param(b'{"photo": 1, "error": {}}', "refusal", id="half a refusal"),
        pytest.param(
            b'{"photo": {"name": "a"}, "error": {"code": 1, "text": "b"}}', "code", id="odd code"
        ),
    ],
)
def test_what_was_never_printed_is_refused(content: bytes, said: str) -> None:
    assert said in complaint(content)


def test_a_cut_result_is_refused_wherever_it_was_cut(printed: dict[str, Any]) -> None:
    whole = text(printed)
    for part in range(1, 40):
        complaint(whole[: len(whole) * part // 40])


def test_too_large_a_file_is_refused_before_it_is_parsed(tmp_path: Path) -> None:
    path = tmp_path / "large.json"
    with path.open("wb") as file:
        file.truncate(MAX_SAVED_BYTES + 1)
    with pytest.raises(SavedResultError, match="larger than 32 MB"):
        read_saved(path)
    with pytest.raises(SavedResultError, match="No such file"):
        read_saved(tmp_path / "missing.json")
    with pytest.raises(SavedResultError, match="a folder"):
        read_saved(tmp_path)


def test_a_reason_is_read_whole(result: CheckResult) -> None:
    reasons = (Reason("glare", "Glare covers the gap.", "Tilt the torch."),)
    assert only(as_json(replace(result, reasons=reasons))).reasons == reasons
