"""The model files that a ledger has come to rely on: another under the same name is flagged."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rigvision.records.bodies import CheckRecorded, Definition
from rigvision.records.entry_body import entry_body
from rigvision.records.flags import Relied
from rigvision.records.ledger import Ledger
from rigvision.records.ledger_error import spoken

#: What an inspector accepted last decides; where nobody has, what was recorded first. CROSS JOIN
#: is SQLite's way to have signatures looked through first, and + to have records looked through in
#: their order: both stop at the first that fits.
_ACCEPTED = """
SELECT c.sequence FROM signing s CROSS JOIN check_recorded c ON c.record = s.record
WHERE s.decision = 'accepted' AND c.{column} = ?
  AND NOT EXISTS (SELECT 1 FROM correction x WHERE x.record = c.record)
ORDER BY s.sequence DESC LIMIT 1
"""
_FIRST = """
SELECT c.sequence FROM check_recorded c WHERE +c.{column} = ?
  AND NOT EXISTS (SELECT 1 FROM correction x WHERE x.record = c.record)
ORDER BY c.sequence LIMIT 1
"""


def relied_on(ledger: Ledger, definitions: Sequence[Definition]) -> tuple[Relied, ...]:
    """Gauge, frame and camera of the records by which these are to be judged.

    The network comes with the program and its version. Raises LedgerError.
    """
    found: dict[tuple[str, str], Relied] = {}
    for definition in definitions:
        if definition.kind in ("gauge", "frame"):
            for relied in _of(ledger, definition.kind, definition.name):
                found.setdefault((relied.definition.kind, relied.definition.name), relied)
    return tuple(found.values())


def _of(ledger: Ledger, column: str, name: str) -> Iterator[Relied]:
    """All models of the record that decides about one of this name."""
    with spoken(ledger.path):
        for sql in (_ACCEPTED, _FIRST):
            row = ledger.connection.execute(sql.format(column=column), (name,)).fetchone()
            if row:
                break
    entry = ledger.entry(int(row[0])) if row else None
    if entry is None:
        return
    body = entry_body(entry, CheckRecorded)
    for definition in body.core.definitions:
        if definition.kind != "network":
            yield Relied(body.core.record, definition)
