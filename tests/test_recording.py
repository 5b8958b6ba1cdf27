"""A check into a job: everything it rests on is kept, all of it or nothing."""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from threading import Barrier, Thread

import pytest

import rigvision
from rigvision.ground.errors import (
    PhotoError,
    RecordingError,
    RigvisionError,
    SignOffError,
    UsageError,
)
from rigvision.records import recording
from rigvision.records.bodies import CheckRecorded, Definition
from rigvision.records.correction import correct_record
from rigvision.records.enrolment import enrol, persons_in
from rigvision.records.flags import Earlier, Place
from rigvision.records.jobs import close_job
from rigvision.records.ledger import Ledger
from rigvision.records.ledger_error import LedgerError
from rigvision.records.read_body import core_sha256, read_body, result_sha256
from rigvision.records.record_view import view_record
from rigvision.records.recording import check_to_record, record_check
from rigvision.records.sameness import Sameness
from rigvision.records.signing import measuring, require_may_measure, sign_record
from rigvision.records.statement import flaw_of, mismatch_of
from rigvision.report.as_json import as_json
from rigvision.report.saved_result import parse_saved
from rigvision.world.catalogue import models_folder
from tests.half_size import half_size_file
from tests.job_rig import DOOR, checked_sample, drawn_once, open_job_in, ready, recorded_sample
from tests.signing import INSPECTOR, MECHANIC


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("photos")


@pytest.fixture(autouse=True)
def _drawn_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(recording, "unsealed_image", drawn_once)


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    with Ledger.create(tmp_path / "ledger.sqlite3") as ledger:
        open_job_in(ledger)
        yield ledger


def evidence_files(ledger: Ledger) -> set[str]:
    return {path.name for path in ledger.evidence.names()}


def test_all_that_a_check_rests_on_is_kept(ledger: Ledger, folder: Path) -> None:
    before = ledger.head()
    made = recorded_sample(ledger, "nominal.jpg", folder, stage="after")
    entry = ledger.entry(before.count + 1)
    assert entry is not None
    body = read_body(entry.kind, entry.body)
    assert isinstance(body, CheckRecorded)
    core = body.core
    assert core.recorded_at == entry.recorded_at
    assert (core.follows_count, core.follows_hash) == (before.count, before.hash)
    assert (core.job, core.stage, core.ledger) == ("J-0001", "after", ledger.identity)
    photo = (folder / "nominal.jpg").read_bytes()
    assert ledger.evidence.read(core.photo.sha256) == photo
    assert core.photo.media_type == "image/jpeg"
    assert core.taken_at == "2026-09-22T22:46:00"
    for definition in core.definitions:
        content = ledger.evidence.read(definition.sha256)
        assert hashlib.sha256(content).hexdigest() == definition.sha256
    assert [d.kind for d in core.definitions] == ["gauge", "frame", "camera", "network"]
    assert body.core_sha256 == core_sha256(entry.body["core"])
    assert core.result_sha256 == result_sha256(entry.body["result"])
    assert made.head == ledger.head()
    assert made.record == core.record


def test_the_result_is_what_is_printed(ledger: Ledger, folder: Path) -> None:
    recorded_sample(ledger, "nominal.jpg", folder)
    (entry,) = (e for e in ledger.entries() if e.kind == "check-recorded")
    printed = json.dumps(as_json(checked_sample("nominal.jpg", folder)))
    assert entry.body["result"] == json.loads(printed)
    kept = json.dumps(entry.body["result"]).encode()
    assert parse_saved(kept) == parse_saved(printed.encode())


def test_the_image_bears_the_record_and_is_kept(ledger: Ledger, folder: Path) -> None:
    made = recorded_sample(ledger, "nominal.jpg", folder)
    image = ledger.evidence.read(made.body.image.sha256)
    assert image.startswith(b"\xff\xd8")
    assert f"{made.record} {made.body.core_sha256.upper()}".encode() in image[:4096]
    assert len(image) == made.body.image.size_bytes


def test_a_retake_is_recorded_too(ledger: Ledger, folder: Path) -> None:
    made = recorded_sample(ledger, "blurred.jpg", folder)
    view = view_record(ledger, made.record)
    assert view.result.verdict == "retake"
    assert view.status == "recorded"


def test_a_photo_counts_once(ledger: Ledger, folder: Path, tmp_path: Path) -> None:
    made = recorded_sample(ledger, "nominal.jpg", folder)
    open_job_in(ledger, door=2)
    head = ledger.head()
    for job in ("J-0001", "J-0002"):
        with pytest.raises(RecordingError, match=f"recorded already: {made.record} in job J-0001"):
            recorded_sample(ledger, "nominal.jpg", folder, job)
    assert ledger.head() == head


def test_the_photo_of_a_corrected_record_may_be_recorded_anew(ledger: Ledger, folder: Path) -> None:
    wrong = recorded_sample(ledger, "nominal.jpg", folder)
    correct_record(ledger, wrong.record, "recorded into the wrong job", "A. Fitter")
    right = recorded_sample(ledger, "nominal.jpg", folder, stage="before")
    assert right.record != wrong.record
    with pytest.raises(RecordingError, match=f"recorded already: {right.record}"):
        recorded_sample(ledger, "nominal.jpg", folder)


@pytest.mark.parametrize("job", ["J-0009", "../J-0001", "'; DROP TABLE job; --"])
def test_an_unknown_job_takes_nothing(ledger: Ledger, folder: Path, job: str) -> None:
    head, files = ledger.head(), evidence_files(ledger)
    with pytest.raises(UsageError, match="There is no job"):
        recorded_sample(ledger, "nominal.jpg", folder, job)
    assert (ledger.head(), evidence_files(ledger)) == (head, files)


def test_a_closed_job_takes_nothing(ledger: Ledger, folder: Path) -> None:
    close_job(ledger, "J-0001", "B. Lead")
    head = ledger.head()
    with pytest.raises(UsageError, match="was closed"):
        recorded_sample(ledger, "nominal.jpg", folder)
    assert ledger.head() == head


def test_a_job_closed_while_the_image_was_drawn_takes_nothing(
    ledger: Ledger, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    draw = recording.unsealed_image

    def closed_meanwhile(result):
        close_job(ledger, "J-0001", "B. Lead")
        return draw(result)

    monkeypatch.setattr(recording, "unsealed_image", closed_meanwhile)
    with pytest.raises(UsageError, match="was closed"):
        recorded_sample(ledger, "nominal.jpg", folder)
    assert not [e for e in ledger.entries() if e.kind == "check-recorded"]


def test_a_photo_exchanged_after_it_was_measured_is_refused(tmp_path: Path) -> None:
    path = half_size_file("nominal.jpg", tmp_path)
    result = checked_sample("nominal.jpg", tmp_path)
    path.write_bytes(path.read_bytes() + b" ")
    with pytest.raises(RecordingError, match="was changed while it was checked"):
        check_to_record(result, {})
    path.unlink()
    with pytest.raises(PhotoError, match="does not exist"):
        check_to_record(result, {})


def test_the_image_is_drawn_on_the_photo_that_is_kept(
    ledger: Ledger, tmp_path: Path, folder: Path
) -> None:
    """Whoever exchanges the file once it is read gets no other picture into the record."""
    path = half_size_file("nominal.jpg", tmp_path)
    check = ready("nominal.jpg", tmp_path)
    path.write_bytes((half_size_file("open-4.0mm.jpg", tmp_path)).read_bytes())
    made = record_check(ledger, "J-0001", check)
    with Ledger.create(tmp_path / "other.sqlite3") as other:
        open_job_in(other)
        honest = recorded_sample(other, "nominal.jpg", folder)
        assert _pixels_above_seal(ledger, made) == _pixels_above_seal(other, honest)


def _pixels_above_seal(ledger: Ledger, made: recording.Recorded) -> bytes:
    from io import BytesIO

    from PIL import Image

    with Image.open(BytesIO(ledger.evidence.read(made.body.image.sha256))) as image:
        return image.crop((0, 0, image.width, image.height // 2)).tobytes()


def test_a_check_without_its_evidence_is_refused(folder: Path) -> None:
    bare = replace(checked_sample("nominal.jpg", folder), evidence=None)
    with pytest.raises(RecordingError, match="not that of one photo"):
        check_to_record(bare, {})


@pytest.mark.parametrize("kind", [OSError, MemoryError, KeyboardInterrupt])
def test_whatever_stops_it_leaves_no_half_record(
    ledger: Ledger, folder: Path, monkeypatch: pytest.MonkeyPatch, kind: type[BaseException]
) -> None:
    head = ledger.head()

    def stopped(*_: object) -> None:
        raise kind("stopped")

    monkeypatch.setattr(recording, "flags_of", stopped)
    with pytest.raises(LedgerError if kind is OSError else kind):
        recorded_sample(ledger, "nominal.jpg", folder)
    assert ledger.head() == head
    monkeypatch.undo()
    made = recorded_sample(ledger, "nominal.jpg", folder)
    assert made.head.count == head.count + 1


def test_the_disk_holds_what_was_acknowledged(ledger: Ledger, folder: Path) -> None:
    """Read by another connection, with SQLite alone."""
    made = recorded_sample(ledger, "nominal.jpg", folder)
    with closing(sqlite3.connect(ledger.path)) as other:
        sql = "SELECT record, photo_sha256, image_sha256, verdict FROM check_recorded"
        assert other.execute(sql).fetchall() == [
            (made.record, made.body.core.photo.sha256, made.body.image.sha256, "pass")
        ]


def test_a_taken_id_is_never_given_twice(
    ledger: Ledger, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = recorded_sample(ledger, "nominal.jpg", folder)
    ids = iter([first.record, first.record, "AAAA-AAAA"])
    monkeypatch.setattr(recording, "record_id", lambda *_: next(ids))
    assert recorded_sample(ledger, "blurred.jpg", folder).record == "AAAA-AAAA"
    monkeypatch.setattr(recording, "record_id", lambda *_: first.record)
    with pytest.raises(RecordingError, match="No free id"):
        recorded_sample(ledger, "open-1.3mm.jpg", folder)


# What an inspector must look at


def test_a_photo_older_than_its_job_is_flagged(ledger: Ledger, folder: Path) -> None:
    made = recorded_sample(ledger, "nominal.jpg", folder)
    assert [f.code for f in made.flags] == ["taken-before-job"]


def test_an_overdue_gauge_is_flagged(ledger: Ledger, folder: Path) -> None:
    check = ready("nominal.jpg", folder)
    old = tuple(
        replace(kept, definition=replace(kept.definition, calibration_due="2026-01-31"))
        if kept.definition.kind == "gauge"
        else kept
        for kept in check.definitions
    )
    made = record_check(ledger, "J-0001", replace(check, definitions=old))
    overdue = [f for f in made.flags if f.code == "calibration-overdue"]
    assert len(overdue) == 1
    assert "RG-10 was due on 2026-01-31" in overdue[0].text
    assert made.body.core.definitions[0] == Definition(
        "gauge", "RG-10", check.definitions[0].definition.sha256, "2026-01-31"
    )


def test_what_it_resembles_is_flagged(
    ledger: Ledger, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    other = Place("J-0000", "ESN-7", "DF-10", 2, None)

    def resembling(*_: object) -> tuple[Earlier, ...]:
        return (Earlier("AAAA-AAAA", other, Sameness("same-setup", "the same scratches")),)

    monkeypatch.setattr(recording, "resembling", resembling)
    made = recorded_sample(ledger, "nominal.jpg", folder)
    flag = next(f for f in made.flags if f.code == "same-setup-other-door")
    assert flag.record == "AAAA-AAAA"
    assert view_record(ledger, made.record).flags == made.flags


def with_wider_limits(name: str, folder: Path, own: Path) -> recording.CheckToRecord:
    """The check of a sample with a frame of the same name that lets more pass."""
    text = (models_folder() / "frames" / "DF-10.toml").read_text(encoding="utf-8")
    own.write_text(text.replace("upper_mm = 1.05", "upper_mm = 1.95"), encoding="utf-8")
    result = rigvision.check(folder / name, frame=str(own), door=DOOR)
    assert result.frame == "DF-10"
    return check_to_record(result, {})


def test_other_limits_under_the_same_name_are_flagged(
    ledger: Ledger, folder: Path, tmp_path: Path
) -> None:
    first = recorded_sample(ledger, "nominal.jpg", folder)
    checked_sample("open-1.3mm.jpg", folder)
    widened = with_wider_limits("open-1.3mm.jpg", folder, tmp_path / "own.toml")
    flags = {f.code: f.record for f in record_check(ledger, "J-0001", widened).flags}
    assert flags["definition-changed"] == first.record
    honest = recorded_sample(ledger, "open-2.2mm.jpg", folder)
    assert "definition-changed" not in {f.code for f in honest.flags}


def test_what_was_accepted_last_is_what_is_relied_on(
    ledger: Ledger, folder: Path, tmp_path: Path
) -> None:
    for key in (MECHANIC, INSPECTOR):
        enrol(ledger, key.owner)
    checked_sample("open-1.3mm.jpg", folder)
    widened = with_wider_limits("open-1.3mm.jpg", folder, tmp_path / "own.toml")
    record_check(ledger, "J-0001", widened)
    accepted = recorded_sample(ledger, "nominal.jpg", folder)
    assert "definition-changed" in {f.code for f in accepted.flags}
    sign_record(ledger, accepted.record, MECHANIC, "measured")
    sign_record(ledger, accepted.record, INSPECTOR, "accepted", "the drawing's limits")
    later = recorded_sample(ledger, "open-2.2mm.jpg", folder)
    assert "definition-changed" not in {f.code for f in later.flags}


# Two at once


def test_two_programs_record_one_photo_once(ledger: Ledger, folder: Path, tmp_path: Path) -> None:
    """Both have looked and found it new; the transaction decides."""
    check, both_drew = ready("nominal.jpg", folder), Barrier(2)
    said: list[str] = []

    def draw(result):
        drawn = drawn_once(result)
        both_drew.wait(timeout=30)
        return drawn

    def program() -> None:
        with Ledger.open(ledger.path) as mine:
            try:
                said.append(record_check(mine, "J-0001", check).record)
            except RecordingError as error:
                said.append(error.code)

    patch = pytest.MonkeyPatch()
    patch.setattr(recording, "unsealed_image", draw)
    programs = [Thread(target=program) for _ in range(2)]
    for one in programs:
        one.start()
    for one in programs:
        one.join()
    patch.undo()
    assert sorted(s == "photo-recorded" for s in said) == [False, True]
    assert sum(e.kind == "check-recorded" for e in ledger.entries()) == 1


# Signed at once


def test_a_mechanic_signs_as_it_is_recorded(ledger: Ledger, folder: Path) -> None:
    enrol(ledger, MECHANIC.owner)
    sign = measuring(MECHANIC, persons_in(ledger))
    made = recorded_sample(ledger, "nominal.jpg", folder, sign=sign)
    measured = view_record(ledger, made.record).measured
    assert measured is not None
    assert measured.statement.person == "Jo Miller"
    assert measured.statement.signed_at == made.body.core.recorded_at
    assert flaw_of(measured) is None
    assert mismatch_of(measured.statement, made.body) is None


@pytest.mark.parametrize(("key", "code"), [(MECHANIC, "not-enrolled"), (INSPECTOR, "other-role")])
def test_a_key_that_may_not_sign_records_nothing(
    ledger: Ledger, folder: Path, key, code: str
) -> None:
    enrol(ledger, INSPECTOR.owner)
    head, persons = ledger.head(), persons_in(ledger)
    with pytest.raises(SignOffError) as early:
        require_may_measure(key.owner, persons)
    with pytest.raises(SignOffError) as late:
        recorded_sample(ledger, "nominal.jpg", folder, sign=measuring(key, persons))
    assert early.value.code == late.value.code == code
    assert ledger.head() == head


# Records that are wrong


def test_a_correction_supersedes_and_names_what_holds(ledger: Ledger, folder: Path) -> None:
    wrong = recorded_sample(ledger, "nominal.jpg", folder)
    right = recorded_sample(ledger, "open-1.3mm.jpg", folder)
    correct_record(ledger, wrong.record.lower(), " the wrong   door ", "A. Fitter", right.record)
    view = view_record(ledger, wrong.record)
    assert view.status == "corrected"
    (correction,) = view.corrections
    assert (correction.cause, correction.replaced_by) == ("the wrong door", right.record)
    assert view_record(ledger, right.record).corrections == ()
    with pytest.raises(UsageError, match=r"was corrected already by A\. Fitter: the wrong door"):
        correct_record(ledger, wrong.record, "again", "A. Fitter")


@pytest.mark.parametrize(
    ("other", "said"), [("itself", "it is the same"), ("corrected", "was corrected itself")]
)
def test_what_takes_its_place_must_hold(
    ledger: Ledger, folder: Path, other: str, said: str
) -> None:
    first = recorded_sample(ledger, "nominal.jpg", folder)
    second = recorded_sample(ledger, "open-1.3mm.jpg", folder)
    correct_record(ledger, second.record, "blurred", "A. Fitter")
    head = ledger.head()
    replacement = {"itself": first, "corrected": second}[other].record
    with pytest.raises(UsageError, match=said):
        correct_record(ledger, first.record, "wrong door", "A. Fitter", replacement)
    with pytest.raises(UsageError, match="The cause is empty"):
        correct_record(ledger, first.record, "  ", "A. Fitter")
    with pytest.raises(RigvisionError):
        correct_record(ledger, first.record, "wrong\x1b[31m", "A. Fitter")
    assert ledger.head() == head


def test_a_record_whose_entry_was_changed_is_not_shown(ledger: Ledger, folder: Path) -> None:
    made = recorded_sample(ledger, "nominal.jpg", folder)
    with closing(sqlite3.connect(ledger.path)) as forger:
        forger.execute("DROP TRIGGER entry_no_update")
        forger.execute(
            'UPDATE entry SET body = replace(body, \'"verdict":"pass"\', '
            '\'"verdict":"retake"\') WHERE sequence = ?',
            (made.entry.sequence,),
        )
        forger.commit()
    with pytest.raises(LedgerError, match="its result has another hash"):
        view_record(ledger, made.record)
