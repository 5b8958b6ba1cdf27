"""A whole ledger verified: every entry, signature, index row and file of evidence."""

from __future__ import annotations

from pathlib import Path

from rigvision.records.ledger_check import Progress, check_ledger
from rigvision.records.ledger_report import LedgerReport
from rigvision.records.verification import Verification, lines_about_head


def verify_ledger(path: Path, progress: Progress = lambda what, done, of: None) -> Verification:
    """Look at all of it, as ``ledger_check`` does. Raises LedgerError where it cannot be opened."""
    report = check_ledger(path, progress=progress)
    return Verification(
        "ledger",
        "intact" if report.intact else "changed",
        report.sentence(),
        tuple(_details(report)),
        head=report.head,
    )


def _details(report: LedgerReport) -> list[str]:
    lines = [
        f"{'' if finding.proves_change else 'worth a look: '}{finding.text}"
        for finding in report.findings
    ]
    if report.more:
        lines.append(f"and {report.more} findings more")
    return lines + (lines_about_head(report.head) if report.head else [])
