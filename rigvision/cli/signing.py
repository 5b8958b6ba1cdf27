"""The command ``record sign``: shows what is signed, asks for the passphrase, signs."""

from __future__ import annotations

from pathlib import Path

from rigvision.cli.at_ledger import head_as_json, opened, shown_head
from rigvision.cli.page import Page, print_json, shown_time
from rigvision.cli.passphrases import passphrase, warn_if_open
from rigvision.cli.records import show_view, write_image
from rigvision.ground.errors import UsageError
from rigvision.records.bodies import CheckSigned, Decision
from rigvision.records.ledger import Ledger
from rigvision.records.person_key import KeyFile, PersonKey, read_key
from rigvision.records.read_body import read_body
from rigvision.records.record_view import RecordView, view_record
from rigvision.records.signing import require_may_sign_now, sign_record

SCHEMA = "rigvision.signing/1"


def sign_one(
    typed: str,
    key_file: Path,
    decision: Decision | None,
    remark: str,
    out: Path | None,
    passphrase_file: Path | None,
    ledger_file: Path | None,
    *,
    as_json: bool,
) -> None:
    """Refused signatures are refused before anybody types a passphrase."""
    key = read_key(key_file)
    warn_if_open(key_file, "the key file")
    chosen = _decision(decision, key.owner)
    with opened(ledger_file) as ledger:
        view = view_record(ledger, typed)
        require_may_sign_now(ledger, view.record, key.owner, chosen, remark)
        written = write_image(ledger, view, out) if out else None
        if not as_json:
            _show_what(ledger, view, written)
        said = _signed(ledger, view, key, chosen, remark, passphrase_file)
        statement, head = said.signed.statement, ledger.head()
    if as_json:
        print_json(
            {
                "schema": SCHEMA,
                "record": said.record,
                "decision": statement.decision,
                "person": statement.person,
                "fingerprint": statement.fingerprint,
                "signed_at": statement.signed_at,
                "written": str(written) if written else None,
                "head": head_as_json(head),
            }
        )
        return
    page = Page()
    page.headline(f"{said.record}: {statement.decision}", f"signed by {statement.person}")
    page.line(f"at {shown_time(statement.signed_at)}; {shown_head(head)}", "dim")


def _decision(decision: Decision | None, owner: PersonKey) -> Decision:
    """What a mechanic signs goes without saying; an inspector must say it."""
    if decision is not None:
        return decision
    if owner.role == "mechanic":
        return "measured"
    raise UsageError(
        "no-decision",
        f"{owner.person} signs as inspector, and did not say what.",
        "Add --decision accepted, or --decision rejected with a --remark.",
    )


def _show_what(ledger: Ledger, view: RecordView, written: Path | None) -> None:
    page = Page()
    show_view(page, ledger, view)
    if written:
        page.line("Look at the analysed image before you sign:", "bold")
        page.exact(str(written))
    else:
        page.line("--out FOLDER writes the analysed image: look at it before you sign.", "bold")


def _signed(
    ledger: Ledger,
    view: RecordView,
    key: KeyFile,
    decision: Decision,
    remark: str,
    passphrase_file: Path | None,
) -> CheckSigned:
    opened_key = key.opened(passphrase(passphrase_file, key.owner.person))
    entry = sign_record(ledger, view.record, opened_key, decision, remark)
    body = read_body(entry.kind, entry.body)
    assert isinstance(body, CheckSigned)
    return body
