"""Ed25519: published vectors, another implementation, and the keys that nobody may own."""

from __future__ import annotations

import hashlib

import nacl.exceptions
import nacl.signing
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigvision.ground.shown import grouped
from rigvision.records.signature import (
    fingerprint_in,
    fingerprint_of,
    holds,
    is_public_key,
    private_key_of,
    public_key_of,
    signed,
)

#: RFC 8032, 7.1, tests 1 to 3: secret key, public key, message, signature. The secret keys are
#: from memory; a second implementation gives the same public keys and signatures.
RFC_8032 = (
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        (
            "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555"
            "fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b"
        ),
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        (
            "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da0"
            "85ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"
        ),
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        (
            "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac1"
            "8ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a"
        ),
    ),
)


@pytest.mark.parametrize(("secret", "public", "message", "signature"), RFC_8032)
def test_the_published_vectors(secret: str, public: str, message: str, signature: str) -> None:
    key = private_key_of(bytes.fromhex(secret))
    assert public_key_of(key) == public
    assert signed(key, bytes.fromhex(message)) == signature
    assert holds(public, signature, bytes.fromhex(message))
    assert not holds(public, signature, bytes.fromhex(message) + b"\0")


@given(seed=st.binary(min_size=32, max_size=32), message=st.binary(max_size=300))
def test_another_implementation_gives_and_takes_the_same(seed: bytes, message: bytes) -> None:
    """libsodium by PyNaCl; the program's own is OpenSSL by cryptography."""
    ours, theirs = private_key_of(seed), nacl.signing.SigningKey(seed)
    assert public_key_of(ours) == theirs.verify_key.encode().hex()
    signature = signed(ours, message)
    assert signature == theirs.sign(message).signature.hex()
    assert theirs.verify_key.verify(message, bytes.fromhex(signature)) == message
    assert holds(public_key_of(ours), theirs.sign(message).signature.hex(), message)


@given(message=st.binary(max_size=60), at=st.integers(0, 63), flip=st.integers(1, 255))
def test_no_changed_signature_holds_anywhere(message: bytes, at: int, flip: int) -> None:
    key = private_key_of(bytes(range(32)))
    changed = bytearray.fromhex(signed(key, message))
    changed[at] ^= flip
    assert not holds(public_key_of(key), changed.hex(), message)
    with pytest.raises((nacl.exceptions.BadSignatureError, ValueError)):
        nacl.signing.SigningKey(bytes(range(32))).verify_key.verify(message, bytes(changed))


# The points of small order, by the curve's own arithmetic (RFC 8032, 5.1)

P = 2**255 - 19
D = -121665 * pow(121666, -1, P) % P
Point = tuple[int, int]


def added(a: Point, b: Point) -> Point:
    (ax, ay), (bx, by) = a, b
    t = D * ax * bx * ay * by
    x = (ax * by + ay * bx) * pow(1 + t, -1, P)
    y = (ay * by + ax * bx) * pow(1 - t, -1, P)
    return x % P, y % P


def on_curve(y: int) -> list[Point]:
    """The points with this y: two, one, or none."""
    x_squared = (y * y - 1) * pow(D * y * y + 1, -1, P) % P
    root = pow(x_squared, (P + 3) // 8, P)
    for x in (root, root * pow(2, (P - 1) // 4, P) % P):
        if x * x % P == x_squared:
            return sorted({(x, y), (-x % P, y)})
    return []


def encoded(point: Point) -> str:
    x, y = point
    return (y | (x & 1) << 255).to_bytes(32, "little").hex()


def small_order_points() -> list[Point]:
    """All eight: multiples of one of order 8, which is eight times nothing but four times not."""
    y = 0x7A03AC9277FDC74EC6CC392CFA53202A0F67100D760B3CBA4FD84D3D706A17C7
    start = on_curve(y)[0]
    points, current = [], start
    for _ in range(8):
        points.append(current)
        current = added(current, start)
    assert current == start
    return points


def test_a_key_of_small_order_is_nobodys() -> None:
    points = small_order_points()
    assert len(set(points)) == 8
    for point in points:
        assert added(*[added(*[added(point, point)] * 2)] * 2) == (0, 1)
        assert not is_public_key(encoded(point))


def test_such_a_key_would_sign_everything() -> None:
    """Why they are refused: this signature is nobody's work."""
    neutral = encoded((0, 1))
    nothing = neutral + "00" * 32
    assert not holds(neutral, nothing, b"accepted")


def test_a_point_written_in_a_second_way_is_refused() -> None:
    for y in range(P, 2**255):
        assert not is_public_key(y.to_bytes(32, "little").hex())
    assert is_public_key(RFC_8032[0][1])


@pytest.mark.parametrize(
    "text", ["", "00", RFC_8032[0][1].upper(), RFC_8032[0][1] + "0", "g" * 64, "é" * 64]
)
def test_what_is_no_key_signs_nothing(text: str) -> None:
    assert not is_public_key(text)
    assert not holds(text, RFC_8032[0][3], b"")


def test_a_signature_in_capitals_is_another_text() -> None:
    _, public, _, signature = RFC_8032[0]
    assert not holds(public, signature.upper(), b"")


def test_a_fingerprint_is_what_sha256sum_prints_of_the_keys_bytes() -> None:
    public = RFC_8032[0][1]
    assert fingerprint_of(public) == hashlib.sha256(bytes.fromhex(public)).hexdigest()[:32]
    assert grouped("0123456789abcdef") == "0123 4567 89ab cdef"


@pytest.mark.parametrize("typed", ["0123456789abcdef" * 2, " 0123 4567 89AB cdef " * 2])
def test_a_fingerprint_is_read_with_or_without_gaps(typed):
    assert fingerprint_in(typed) == "0123456789abcdef" * 2


@pytest.mark.parametrize("typed", ["", "0123", "g" * 32, "0" * 33, "inspector.key"])
def test_what_is_no_fingerprint_is_none(typed):
    assert fingerprint_in(typed) is None
