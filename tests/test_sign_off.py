"""Who may sign what. The order of a check's life, and each way out of it."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigvision.ground.errors import SignOffError
from rigvision.records.bodies import Decision, PersonWithdrawn, Statement
from rigvision.records.person_key import OpenKey
from rigvision.records.persons import Persons, refuse_enrolment, refuse_withdrawal
from rigvision.records.sign_off import Standing, objection_to, require_may_sign
from rigvision.records.statement import statement_on
from tests.signing import INSPECTOR, MECHANIC, NOW, check, enrolment, key_of, persons

CHECK = check()
NEW = Standing(CHECK.core.record, "pass")


def says(key: OpenKey, decision: Decision, remark: str = "") -> Statement:
    return statement_on(CHECK, key.owner, decision, remark, NOW)


MEASURED = replace(NEW, measured=says(MECHANIC, "measured"))
ACCEPTED = replace(MEASURED, decided=says(INSPECTOR, "accepted"))


def code(statement: Statement, standing: Standing, known: Persons | None = None) -> str | None:
    found = objection_to(statement, standing, known or persons())
    return found.code if found else None


def test_the_ordinary_way() -> None:
    assert code(says(MECHANIC, "measured"), NEW) is None
    assert code(says(INSPECTOR, "accepted"), MEASURED) is None
    assert code(says(INSPECTOR, "rejected", "glare"), MEASURED) is None


def test_the_mechanic_signs_first_and_once() -> None:
    assert code(says(INSPECTOR, "accepted"), NEW) == "not-measured"
    assert code(says(MECHANIC, "measured"), MEASURED) == "measured"


def test_a_decision_is_taken_once() -> None:
    rejected = replace(MEASURED, decided=says(INSPECTOR, "rejected", "glare"))
    for standing in (ACCEPTED, rejected):
        for decision in ("accepted", "rejected"):
            assert code(says(INSPECTOR, decision, "why"), standing) == "decided"
        assert code(says(MECHANIC, "measured"), standing) == "decided"


def test_a_corrected_check_is_signed_by_nobody() -> None:
    for standing in (NEW, MEASURED, ACCEPTED):
        corrected = replace(standing, corrected=True)
        assert code(says(MECHANIC, "measured"), corrected) == "superseded"
        assert code(says(INSPECTOR, "accepted"), corrected) == "superseded"


@pytest.mark.parametrize("name", ["Jo Miller", "JO MILLER", "Jó  Miller"])
def test_nobody_inspects_their_own_work_with_a_second_key(name: str) -> None:
    second = key_of(name, "inspector")
    assert code(says(second, "accepted"), MEASURED, persons(MECHANIC, second)) == "own-work"


def test_nor_under_a_second_name_with_the_same_key() -> None:
    """Enrolment binds a key to one role; this is the rule's own second look."""
    owner = replace(MECHANIC.owner, person="Ann Lee", role="inspector")
    both = Persons(enrolled={owner.fingerprint: replace(enrolment(INSPECTOR), person="Ann Lee")})
    assert (
        code(says(OpenKey(owner, MECHANIC.private_key), "accepted"), MEASURED, both) == "own-work"
    )


def test_each_role_says_its_own() -> None:
    assert code(says(INSPECTOR, "measured"), NEW) == "other-role"
    assert code(says(MECHANIC, "accepted"), MEASURED) == "other-role"
    assert code(says(MECHANIC, "rejected", "x"), MEASURED) == "other-role"


def test_only_enrolled_keys_as_they_were_enrolled() -> None:
    stranger = key_of("Eve Stone", "inspector")
    assert code(says(stranger, "accepted"), MEASURED) == "not-enrolled"
    renamed = replace(says(INSPECTOR, "accepted"), person="Anne Lee")
    assert code(renamed, MEASURED) == "enrolled-otherwise"
    promoted = replace(says(MECHANIC, "accepted"), role="inspector")
    assert code(promoted, MEASURED) == "enrolled-otherwise"


def test_a_withdrawn_key_signs_nothing_more() -> None:
    known = persons()
    known.take(PersonWithdrawn(INSPECTOR.owner.fingerprint, "left the house"))
    found = objection_to(says(INSPECTOR, "accepted"), MEASURED, known)
    assert found is not None
    assert (found.code, "left the house" in found.text) == ("key-withdrawn", True)
    assert code(says(MECHANIC, "measured"), NEW, known) is None


def test_another_record_is_another_record() -> None:
    assert code(says(MECHANIC, "measured"), replace(NEW, record="K7Q2-M9XA")) == "other-record"


def test_a_retake_cannot_be_accepted_only_rejected() -> None:
    retake = replace(MEASURED, verdict="retake")
    assert code(says(INSPECTOR, "accepted"), retake) == "nothing-to-accept"
    assert code(says(INSPECTOR, "rejected", "blurred"), retake) is None
    assert code(says(INSPECTOR, "accepted"), replace(MEASURED, verdict="adjust")) is None


def test_a_rejection_says_why() -> None:
    assert code(says(INSPECTOR, "rejected"), MEASURED) == "no-remark"


def test_an_objection_is_raised_as_a_sentence() -> None:
    require_may_sign(says(INSPECTOR, "accepted"), MEASURED, persons())
    second = key_of("Jo Miller", "inspector")
    with pytest.raises(SignOffError, match=r"Jo Miller .*cannot inspect it as Jo Miller"):
        require_may_sign(says(second, "accepted"), MEASURED, persons(MECHANIC, second))


KEYS = [MECHANIC, INSPECTOR, key_of("Jo Miller", "inspector"), key_of("Ann Lee", "mechanic")]
moves = st.tuples(
    st.sampled_from(KEYS), st.sampled_from(["measured", "accepted", "rejected"]), st.booleans()
)


@given(st.lists(moves, max_size=12))
def test_whatever_is_tried_no_decision_stands_that_two_people_did_not_make(
    tried: list[tuple[OpenKey, Decision, bool]],
) -> None:
    standing, known = NEW, persons(*KEYS)
    for key, decision, corrects in tried:
        statement = says(key, decision, "why")
        if objection_to(statement, standing, known) is None:
            side = "measured" if decision == "measured" else "decided"
            assert getattr(standing, side) is None
            assert not standing.corrected
            standing = replace(standing, **{side: statement})
        standing = replace(standing, corrected=standing.corrected or corrects)
    if standing.decided:
        assert standing.measured is not None
        assert {standing.measured.person, standing.decided.person} == {"Jo Miller", "Ann Lee"}
        assert (standing.measured.role, standing.decided.role) == ("mechanic", "inspector")


# Enrolment


def test_a_key_is_enrolled_once_and_withdrawn_for_good() -> None:
    known, fingerprint = persons(MECHANIC), MECHANIC.owner.fingerprint
    refuse_enrolment(known, INSPECTOR.owner.fingerprint)
    with pytest.raises(SignOffError, match="is enrolled already"):
        refuse_enrolment(known, fingerprint)
    refuse_withdrawal(known, fingerprint)
    with pytest.raises(SignOffError, match="is enrolled in this ledger"):
        refuse_withdrawal(known, INSPECTOR.owner.fingerprint)
    known.take(PersonWithdrawn(fingerprint, "lost"))
    with pytest.raises(SignOffError, match="was withdrawn"):
        refuse_enrolment(known, fingerprint)
    with pytest.raises(SignOffError, match="withdrawn already"):
        refuse_withdrawal(known, fingerprint)


def test_entries_that_may_not_stand_in_a_ledger_are_named() -> None:
    wrong = enrolment(MECHANIC)
    for body, cause in (
        (wrong, "enrolled twice"),
        (replace(wrong, public_key="01" + "00" * 31), "public key"),
        (replace(wrong, fingerprint="00" * 16), "another key's"),
        (PersonWithdrawn("00" * 16, "lost"), "not enrolled"),
    ):
        with pytest.raises(ValueError, match=cause):
            persons(MECHANIC).take(body)
