"""Evidence is named by its hash, written whole, and read only as what it was."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from rigvision.records.evidence_store import EvidenceStore
from rigvision.records.ledger_error import LedgerError

#: FIPS 180-4's example "abc".
ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


@pytest.fixture
def store(tmp_path: Path) -> EvidenceStore:
    return EvidenceStore(tmp_path / "ledger.evidence")


def test_a_file_lies_under_its_hash(store: EvidenceStore) -> None:
    facts = store.put(b"abc", "image/jpeg", "IMG_1.jpg")
    assert (facts.sha256, facts.size_bytes) == (ABC, 3)
    path = store.folder / "ba" / ABC
    assert path.read_bytes() == b"abc"
    assert store.read(ABC) == b"abc"
    if os.name == "posix":
        assert stat.S_IMODE(path.stat().st_mode) == 0o444
    assert list(store.names()) == [path]  # nothing half lies beside it


def test_the_same_file_again_changes_nothing(store: EvidenceStore) -> None:
    store.put(b"abc", "image/jpeg", "one.jpg")
    before = store.path(ABC).stat()
    store.put(b"abc", "image/jpeg", "two.jpg")
    assert store.path(ABC).stat().st_mtime_ns == before.st_mtime_ns
    assert store.path(ABC).stat().st_ino == before.st_ino


@pytest.mark.parametrize("torn", [b"", b"ab", b"abd", b"abcabc"])
def test_a_torn_file_is_noticed_and_healed(store: EvidenceStore, torn: bytes) -> None:
    store.put(b"abc", "image/jpeg", "one.jpg")
    store.path(ABC).chmod(0o600)
    store.path(ABC).write_bytes(torn)
    with pytest.raises(LedgerError, match="was changed or is torn") as caught:
        store.read(ABC)
    assert caught.value.code == "evidence-changed"
    store.put(b"abc", "image/jpeg", "one.jpg")
    assert store.read(ABC) == b"abc"


def test_a_missing_file_is_said(store: EvidenceStore) -> None:
    with pytest.raises(LedgerError, match="is missing") as caught:
        store.read(ABC)
    assert caught.value.code == "evidence-missing"


@pytest.mark.parametrize("name", ["", "../../etc/passwd", ABC.upper(), ABC[:-1], ABC[:-1] + "/"])
def test_what_is_no_hash_is_no_path(store: EvidenceStore, name: str) -> None:
    with pytest.raises(ValueError, match="not a SHA-256"):
        store.path(name)


def test_names_are_shown_harmless(store: EvidenceStore) -> None:
    facts = store.put(b"abc", "image/jpeg", "a\x1b[2J\u202eb\n.jpg")
    assert facts.name == "a\ufffd[2J\ufffdb\ufffd.jpg"


@pytest.mark.skipif(os.name != "posix", reason="needs a pipe")
def test_a_pipe_in_a_files_place_is_not_waited_for(store: EvidenceStore) -> None:
    store.path(ABC).parent.mkdir(parents=True)
    os.mkfifo(store.path(ABC))
    with pytest.raises(LedgerError, match="not an ordinary file"):
        store.read(ABC)
