"""A ledger with one real check, signed twice, and everything that is exported of it.

Invented checks fill the ledger, as most of a nearly empty one is room that holds nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from random import Random

import rigvision
from recorded import invented
from recorded.invented import INSPECTOR, MECHANIC, begun, job, sign_check
from rigvision.decision.result import CheckResult
from rigvision.records.bodies import Noted
from rigvision.records.exporting import Form, export, export_json
from rigvision.records.ledger import Ledger
from rigvision.records.recording import check_to_record, record_check

INVENTED_CHECKS = 40
FORMS: tuple[Form, ...] = ("image", "page", "bundle")


@dataclass(frozen=True, slots=True)
class House:
    """``exported`` is each file that left it, by its form; ``record`` the check that all is of."""

    folder: Path
    record: str
    exported: dict[str, Path]

    @property
    def ledger(self) -> Path:
        return self.folder / "ledger.sqlite3"

    def note(self) -> Noted:
        return Noted(self.record, "remark", "as found", MECHANIC.name)


def house(folder: Path, photo: Path) -> House:
    """Check the photo, record, sign, export."""
    with Ledger.create(folder / "ledger.sqlite3") as ledger:
        begun(ledger, job())
        _fill(ledger)
        settings = {"frame": "DF-10", "door": 3}
        result = rigvision.check(photo, **settings)
        if not isinstance(result, CheckResult):
            raise SystemExit(f"{photo} could not be checked.")
        recorded = record_check(ledger, "J-0001", check_to_record(result, settings), stage="after")
        sign_check(ledger, recorded.body, MECHANIC, "measured")
        sign_check(ledger, recorded.body, INSPECTOR, "accepted", "looked at on site")
        exported = {form: export(ledger, recorded.record, form, folder / "out") for form in FORMS}
        record = folder / "out" / "record.json"
        record.write_bytes(export_json(ledger, recorded.record))
    return House(folder, recorded.record, exported | {"record (JSON)": record})


def _fill(ledger: Ledger) -> None:
    random = Random(1)
    for _ in range(INVENTED_CHECKS):
        figures = invented.long_result(random, 250)
        photo, seen = random.randbytes(2000), invented.likeness(random, figures["gauge"])
        check = invented.record_check(ledger, None, photo, figures=figures, seen=seen)
        sign_check(ledger, check, MECHANIC, "measured")
