"""The page as a file: signed as a whole, its record found, other readers not disturbed."""

from __future__ import annotations

import io
import zlib

import pikepdf
import pypdf
import pytest
from fpdf import FPDF
from hypothesis import given, settings
from hypothesis import strategies as st

from rigvision.records import page_file
from rigvision.records.page_file import parse_page, sign_page, signature_holds
from rigvision.records.signature import private_key_of, public_key_of, signed

KEY = private_key_of(b"k" * 32)
PUBLIC = public_key_of(KEY)
RECORD = b'{"schema":"rigvision.record-export/1"}' * 50


def sign(message: bytes) -> str:
    return signed(KEY, message)


def pdf(*attached: bytes, compress: bool = True) -> bytes:
    document = FPDF()
    document.add_page()
    for number, content in enumerate(attached):
        document.embed_file(
            bytes=content,
            basename=f"{number}.json",
            mime_type="application/json",
            compress=compress,
        )
    return bytes(document.output())


PLAIN = pdf(RECORD)
WHOLE = sign_page(PLAIN, sign)


def holds(content: bytes) -> bool:
    try:
        page = parse_page(content)
    except ValueError:
        return False
    return signature_holds(page, PUBLIC)


@pytest.mark.parametrize("compress", [True, False])
def test_the_record_is_found_and_the_signature_holds(compress: bool) -> None:
    page = parse_page(sign_page(pdf(RECORD, compress=compress), sign))
    assert page.record == RECORD
    assert signature_holds(page, PUBLIC)
    assert not signature_holds(page, public_key_of(private_key_of(b"o" * 32)))


def test_what_is_signed_is_the_page_as_it_was_made() -> None:
    assert parse_page(WHOLE).signed == PLAIN


def test_other_readers_take_it_without_a_word() -> None:
    """pypdf in its strict mode, where every warning is an error, and qpdf by pikepdf."""
    reader = pypdf.PdfReader(io.BytesIO(WHOLE), strict=True)
    assert len(reader.pages) == 1
    assert reader.attachments["0.json"] == [RECORD]
    with pikepdf.open(io.BytesIO(WHOLE)) as other:
        assert other.check_pdf_syntax() == []
        assert other.attachments["0.json"].get_file().read_bytes() == RECORD


@given(at=st.integers(0, len(WHOLE) - 1), flip=st.integers(1, 255))
@settings(max_examples=300)
def test_no_byte_can_be_changed(at: int, flip: int) -> None:
    damaged = bytearray(WHOLE)
    damaged[at] ^= flip
    assert not holds(bytes(damaged))


@given(at=st.integers(1, len(WHOLE)), more=st.binary(min_size=1, max_size=3))
def test_nothing_can_be_added_or_cut_off(at: int, more: bytes) -> None:
    assert not holds(WHOLE[:at] + more + WHOLE[at:])
    assert not holds(WHOLE[: at - 1])


def test_a_page_saved_again_by_another_program_is_not_as_it_was_signed() -> None:
    out = io.BytesIO()
    with pikepdf.open(io.BytesIO(WHOLE)) as other:
        other.save(out)
    assert not holds(out.getvalue())


def test_a_page_with_a_note_appended_as_viewers_do_is_not_either() -> None:
    writer = pypdf.PdfWriter(io.BytesIO(WHOLE), incremental=True)
    writer.add_metadata({"/Title": "another"})
    out = io.BytesIO()
    writer.write(out)
    assert out.getvalue().startswith(WHOLE)
    assert not holds(out.getvalue())


@pytest.mark.parametrize(
    ("content", "cause"),
    [
        (b"", "no PDF"),
        (b"%PDF-1.7\n", "no attached files"),
        (pdf(), "no attached files"),
        (pdf(b"1", b"2"), "2 attached files"),
        (b"%PDF- /Type /EmbeddedFile", "cannot be found"),
        (b"%PDF-1 0 obj<< /Type /EmbeddedFile >>\nstream\n", "how long"),
        (b"%PDF-1 0 obj<</Type/EmbeddedFile/Length 9 0 R>>\nstream\n", "how long"),
        (b"%PDF-1 0 obj<</Type/EmbeddedFile/Length 999999999>>\nstream\nx", "longer or shorter"),
        (b"%PDF-1 0 obj<</Length 2/Type/EmbeddedFile>>\nstream\nxyz\nendstream", "longer or sh"),
        (
            b"%PDF-1 0 obj<</Type/EmbeddedFile/Filter/FlateDecode/Length 1>>\nstream\nx\nendstream",
            "is damaged",
        ),
    ],
)
def test_a_pdf_without_a_record_of_ours_is_refused_in_words(content: bytes, cause: str) -> None:
    with pytest.raises(ValueError, match=cause):
        parse_page(content)


def attached(data: bytes) -> bytes:
    head = b"%%PDF-1 0 obj<</Type/EmbeddedFile/Filter/FlateDecode/Length %d>>\nstream\n" % len(data)
    return head + data + b"\nendstream"


def test_a_bomb_is_not_unpacked_and_a_tail_not_overlooked(monkeypatch) -> None:
    monkeypatch.setattr(page_file, "MAX_RECORD_BYTES", 1_000_000)
    with pytest.raises(ValueError, match="more than 1 MB"):
        parse_page(attached(zlib.compress(bytes(20_000_000))))
    with pytest.raises(ValueError, match="is damaged"):
        parse_page(attached(zlib.compress(b"x") + b"more"))
    with pytest.raises(ValueError, match="is damaged"):
        parse_page(attached(zlib.compress(b"x" * 100)[:-3]))
    assert parse_page(attached(zlib.compress(b"x"))).record == b"x"


def test_only_a_finished_page_is_signed_and_only_once() -> None:
    for unfinished in (b"", b"%PDF-1.7", PLAIN[:-8], b"x" + PLAIN):
        with pytest.raises(ValueError, match="no finished PDF"):
            sign_page(unfinished, sign)
    with pytest.raises(ValueError, match="signed already"):
        sign_page(WHOLE, sign)


def test_a_second_signature_line_counts_as_none() -> None:
    line = WHOLE[WHOLE.index(b"%rigvision.page/1") :][:147]
    assert line.endswith(b"\n")
    assert parse_page(WHOLE[:20] + line + WHOLE[20:]).signature is None


def test_a_huge_file_is_refused() -> None:
    with pytest.raises(ValueError, match="more than 128 MB"):
        parse_page(bytes(page_file.MAX_BYTES + 1))


@given(st.binary(max_size=200))
def test_other_bytes_end_in_words(content: bytes) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        parse_page(b"%PDF-" + content)
