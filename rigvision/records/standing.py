"""What has been said about a check so far, followed entry by entry."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from rigvision.records.bodies import Body, CheckCorrected, CheckRecorded, CheckSigned, Statement
from rigvision.records.sign_off import Standing


def standing_of(record: str, bodies: Iterable[Body]) -> Standing:
    """Where a check stands after these entries, in their order; others' entries are passed over.

    Raises ValueError where something is said about it before it was recorded.
    """
    standing = None
    for body in bodies:
        if isinstance(body, CheckRecorded) and body.core.record == record:
            standing = first_standing(body)
        elif _concerns(body, record):
            if standing is None:
                raise ValueError(f"something is said about {record} before it was recorded")
            standing = standing_after(standing, body)
    if standing is None:
        raise ValueError(f"no check {record} was recorded")
    return standing


def first_standing(check: CheckRecorded) -> Standing:
    """Of a check that was just recorded, with the mechanic's signature if it was given at once."""
    measured = check.measured.statement if check.measured else None
    return Standing(check.core.record, str(check.result.get("verdict")), measured)


def standing_after(standing: Standing, body: Body) -> Standing:
    """Where a check stands after one more entry about it."""
    if isinstance(body, CheckCorrected):
        return replace(standing, corrected=True)
    if isinstance(body, CheckSigned):
        return _after_signing(standing, body.signed.statement)
    return standing


def _after_signing(standing: Standing, statement: Statement) -> Standing:
    if statement.decision == "measured":
        return replace(standing, measured=statement)
    return replace(standing, decided=statement)


def _concerns(body: Body, record: str) -> bool:
    return isinstance(body, CheckSigned | CheckCorrected) and body.record == record
