"""The truth of a practice, sealed until it is answered, and a hash that commits to it.

What this does: nobody sees the truth by looking at the files, and nobody can change it, not even
whoever made it, once the hash is known: the hash stands in the quiz, so in every file of answers,
and is told when the practice is made. What it does not do: keep out somebody who has photos, key
and this program, and means to look. Where the key is kept by the trainer, only the trainer can.

The truth carries 32 random bytes, so that its hash does not help to guess it. ChaCha20-Poly1305
(RFC 8439) does not commit to its key; the hash does.
"""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from rigvision.ground.ordinary_file import read_ordinary
from rigvision.ground.shown import one_line
from rigvision.records.canonical import canonical, digest, parsed
from rigvision.records.strict_json import plain_of, read_exactly
from rigvision.training.known import Known
from rigvision.training.quiz_error import QuizError

SEALED_FILE = "sealed.json"
KEY_FILE = "practice.key"
_TRUTH = "rigvision.practice-truth/1"
_MOST_BYTES = 4_000_000


@dataclass(frozen=True, slots=True)
class PracticeTruth:
    """``seed`` is what the photos were drawn from, ``salt`` random."""

    schema: Literal["rigvision.practice-truth/1"]
    quiz: str
    salt: str
    difficulty: int
    seed: str
    shots: tuple[Known, ...]

    @property
    def commitment(self) -> str:
        return digest(_TRUTH, plain_of(self))


@dataclass(frozen=True, slots=True)
class Sealed:
    """Nonce and ciphertext with its tag, hexadecimal."""

    schema: Literal["rigvision.sealed/1"]
    quiz: str
    nonce: str
    ciphertext: str


def new_truth(quiz: str, difficulty: int, seed: int, shots: tuple[Known, ...]) -> PracticeTruth:
    return PracticeTruth(
        "rigvision.practice-truth/1", quiz, secrets.token_hex(32), difficulty, str(seed), shots
    )


def new_key() -> bytes:
    return secrets.token_bytes(32)


def sealed(truth: PracticeTruth, key: bytes) -> bytes:
    """The content of ``sealed.json``."""
    from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305

    nonce = secrets.token_bytes(12)
    plain = canonical(plain_of(truth))
    ciphertext = ChaCha20Poly1305(key).encrypt(nonce, plain, truth.quiz.encode())
    whole = Sealed("rigvision.sealed/1", truth.quiz, nonce.hex(), ciphertext.hex())
    return canonical(plain_of(whole))


def opened(content: bytes, key: bytes, quiz: str, commitment: str) -> PracticeTruth:
    """The truth that was sealed. Raises QuizError where key, file or truth is another."""
    from cryptography.exceptions import InvalidTag
    from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305

    try:
        whole = read_exactly(Sealed, parsed(content))
        assert isinstance(whole, Sealed)
        plain = ChaCha20Poly1305(key).decrypt(
            bytes.fromhex(whole.nonce), bytes.fromhex(whole.ciphertext), quiz.encode()
        )
        truth = read_exactly(PracticeTruth, parsed(plain))
    except InvalidTag as error:
        raise _broken("the key is another's, or the sealed file was changed") from error
    except (ValueError, RecursionError) as error:
        raise _broken(one_line(str(error), 160)) from error
    assert isinstance(truth, PracticeTruth)
    if truth.quiz != quiz or truth.commitment != commitment:
        raise _broken("the truth in it is not the one that was told when the practice was made")
    return truth


def read_sealed(folder: Path) -> bytes:
    try:
        return read_ordinary(folder / SEALED_FILE, _MOST_BYTES)
    except OSError as error:
        raise _broken(f"{SEALED_FILE} {error.strerror or 'cannot be opened'}") from error


def read_key(path: Path) -> bytes:
    """Raises QuizError: not there, not 32 bytes in hexadecimal."""
    try:
        key = bytes.fromhex(read_ordinary(path, 200).decode("ascii").strip())
    except OSError as error:
        raise _no_key(path, error.strerror or "it cannot be opened") from error
    except ValueError as error:
        raise _no_key(path, "it does not hold one") from error
    if len(key) != 32:
        raise _no_key(path, "it does not hold one")
    return key


def _broken(cause: str) -> QuizError:
    return QuizError(
        "practice-unopened",
        f"The practice's truth cannot be opened: {cause}.",
        "Take the folder and the key as they were written.",
    )


def _no_key(path: Path, cause: str) -> QuizError:
    return QuizError(
        "practice-key",
        f"There is no key of a practice at {one_line(str(path), 200)}: {cause}.",
        "Name the file that the key was written to with --key.",
    )
