"""The command ``check --job``: each check recorded into a job as soon as it is made."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rigvision.cli.at_ledger import head_as_json, opened, shown_head
from rigvision.cli.checking import Request, run_check
from rigvision.cli.kept_file import write_kept
from rigvision.cli.page import Page
from rigvision.decision.result import CheckResult
from rigvision.ground.errors import UsageError
from rigvision.ground.shown import one_line
from rigvision.records.bodies import JobOpened, Stage
from rigvision.records.jobs import Job, open_job_named
from rigvision.records.ledger import Ledger
from rigvision.records.recording import Recorded, Sign, check_to_record, record_check
from rigvision.world.catalogue import load
from rigvision.world.frame import Frame

if TYPE_CHECKING:
    from rigvision.metrology.monte_carlo import MonteCarlo


@dataclass(frozen=True, slots=True)
class RecordRequest:
    """Into which job, at which stage, signed with which key, in which ledger."""

    job: str | None
    stage: Stage | None
    key: Path | None
    passphrase_file: Path | None
    ledger: Path | None


def run_recorded_check(request: Request, into: RecordRequest, *, joint: bool) -> int:
    """Check and record all photos, print, and give the exit code.

    Raises UsageError before anything is measured: no such job, a closed one, another door or frame.
    """
    reference = _reference(into, joint=joint)
    with opened(into.ledger) as ledger:
        job = open_job_named(ledger, reference)
        request = for_job(request, job.opened)
        recorder = _Recorder(ledger, job, request, into.stage, _sign(ledger, into))
        return run_check(request, recorder)


def _reference(into: RecordRequest, *, joint: bool) -> str:
    if into.job is None:
        raise UsageError(
            "no-job",
            "--stage, --key, --passphrase-file and --ledger are for recording into a job.",
            "Name it with --job.",
        )
    if joint:
        raise UsageError(
            "joint-and-job",
            "Photos solved together (--joint) are not recorded: a record is about one photo.",
            "Record each photo by itself with --job, without --joint.",
        )
    if into.passphrase_file and not into.key:
        raise UsageError(
            "no-key", "--passphrase-file opens a key, and none is given.", "Name it with --key."
        )
    return into.job


def for_job(request: Request, job: JobOpened) -> Request:
    """The request with the job's door and frame. Raises UsageError where it names others."""
    if request.door is not None and request.door != job.door:
        raise UsageError(
            "other-door",
            f"Job {job.job} is about door {job.door} of {job.frame}, not door {request.door}.",
            "Leave --door out, or name the job of that door.",
        )
    frame = request.frame or job.frame
    name = load(Frame, frame).name
    if name != job.frame:
        raise UsageError(
            "other-frame",
            f"Job {job.job} is about frame {job.frame}, not {one_line(name, 64)}.",
            "Leave --frame out, or name the job of that frame.",
        )
    return replace(request, door=job.door, frame=frame, faces=True)


def _sign(ledger: Ledger, into: RecordRequest) -> Sign | None:
    """The mechanic's signature, its passphrase asked for once and before anything is measured."""
    if into.key is None:
        return None
    from rigvision.cli.passphrases import passphrase, warn_if_open
    from rigvision.records.enrolment import persons_in
    from rigvision.records.person_key import read_key
    from rigvision.records.signing import measuring, require_may_measure

    key, persons = read_key(into.key), persons_in(ledger)
    require_may_measure(key.owner, persons)
    warn_if_open(into.key, "the key file")
    return measuring(key.opened(passphrase(into.passphrase_file, key.owner.person)), persons)


@dataclass(frozen=True, slots=True)
class _Recorder:
    ledger: Ledger
    job: Job
    request: Request
    stage: Stage | None
    sign: Sign | None

    def __call__(self, result: CheckResult, drawn: MonteCarlo | None) -> _Kept:
        check = check_to_record(result, self._settings(), drawn)
        recorded = record_check(
            self.ledger, self.job.reference, check, stage=self.stage, sign=self.sign
        )
        return _Kept(self.ledger, recorded)

    def _settings(self) -> dict[str, Any]:
        """What the check was called with; which files the models were is in the definitions."""
        asked = self.request
        return {
            "door": asked.door,
            "gauge_named": asked.gauge is not None,
            "camera_named": asked.camera is not None,
            "guarded": asked.guarded,
            "monte_carlo_draws": asked.draws,
        }


@dataclass(frozen=True, slots=True)
class _Kept:
    """What is told of a record that was just made."""

    ledger: Ledger
    recorded: Recorded

    def as_json(self) -> dict[str, Any]:
        body = self.recorded.body
        return {
            "id": self.recorded.record,
            "job": body.core.job,
            "stage": body.core.stage,
            "recorded_at": body.core.recorded_at,
            "core_sha256": body.core_sha256,
            "image_sha256": body.image.sha256,
            "flags": [asdict(flag) for flag in self.recorded.flags],
            "measured_by": body.measured.statement.person if body.measured else None,
            "clock_jumped_back": self.recorded.clock_jumped_back,
            "head": head_as_json(self.recorded.head),
        }

    def show(self) -> None:
        page, body = Page(), self.recorded.body
        signed = (
            f"signed as measured by {body.measured.statement.person}"
            if body.measured
            else "not signed yet"
        )
        page.headline(f"Record {self.recorded.record}", f"job {body.core.job}, {signed}")
        for flag in self.recorded.flags:
            page.line(f"FLAG {flag.code}: {flag.text} {flag.remedy}", "bold")
        if self.recorded.clock_jumped_back:
            page.line(
                "This machine's clock stands earlier than at the entry before: set it.", "bold"
            )
        page.line(shown_head(self.recorded.head), "dim")
        page.gap()

    def write(self, folder: Path) -> Path:
        """The image as it was recorded, byte by byte: what is signed is what is looked at."""
        content = self.ledger.evidence.read(self.recorded.body.image.sha256)
        return write_kept(folder, f"{self.recorded.record}.checked.jpg", content)
