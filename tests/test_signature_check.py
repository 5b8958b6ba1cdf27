"""Many signatures checked here and in processes beside: what does not hold is told, each once."""

from __future__ import annotations

import pytest

from rigvision.records import signature_check
from rigvision.records.signature import private_key_of, public_key_of, signed
from rigvision.records.signature_check import SignatureCheck
from rigvision.records.signature_worker import SignatureWorker

KEY = private_key_of(b"k" * 32)
PUBLIC = public_key_of(KEY)


def told(check: SignatureCheck, count: int, false: set[int]) -> list[int]:
    """Add as many signatures, of which some do not hold, and give those that are told of."""
    broken: list[int] = []
    with check:
        check.expect_many(count)
        for number in range(count):
            message = b"%d" % number
            signature = signed(KEY, b"other" if number in false else message)
            check.add(PUBLIC, signature, message, lambda n=number: broken.append(n))
    return broken


@pytest.mark.parametrize("count", [0, 1, 499, 500, 1234])
def test_each_that_does_not_hold_is_told_once(count: int) -> None:
    false = {0, 498, 499, 500, 999, 1233} & set(range(count))
    assert sorted(told(SignatureCheck(), count, false)) == sorted(false)


def test_with_processes_beside_it_is_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(signature_check, "_MANY", 1)
    monkeypatch.setattr(signature_check, "_BATCH", 20)
    monkeypatch.setattr(signature_check.os, "cpu_count", lambda: 3)
    false = {0, 19, 20, 57, 388, 399}
    assert sorted(told(SignatureCheck(), 400, false)) == sorted(false)


def test_a_process_that_dies_is_done_without() -> None:
    message = b"message"
    batch = [(PUBLIC, signed(KEY, message), message), (PUBLIC, "00" * 64, message)]
    with SignatureWorker() as worker:
        assert worker.start(batch).result() == [1]
        worker._process.kill()
        worker._process.wait()
        assert worker.start(batch).result() == [1]


@pytest.mark.parametrize(
    ("public_key", "signature"), [("", ""), (PUBLIC, "zz"), ("ff" * 32, signed(KEY, b"a"))]
)
def test_what_is_no_key_or_signature_does_not_hold(public_key: str, signature: str) -> None:
    broken: list[int] = []
    with SignatureCheck() as check:
        check.add(public_key, signature, b"a", lambda: broken.append(1))
    assert broken == [1]
