"""A record's page: what it says, that it stays one page, and that other programs can read it.

All of PDF/A-3B is not checked here; the parts of it that a mistake of ours would break are.
"""

from __future__ import annotations

import io
import json
import re
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pikepdf
import pypdf
import pytest
from PIL import Image

import rigvision
from rigvision.decision.result import CheckResult
from rigvision.report.analysed_image import as_jpeg
from rigvision.report.as_json import as_json
from rigvision.report.figure_rows import figure_rows
from rigvision.report.page import page_pdf
from rigvision.report.page_facts import (
    PageCorrection,
    PageFacts,
    PageFlag,
    PageJob,
    PageModel,
    PageSignature,
)
from rigvision.report.saved_result import SavedResult, parse_saved
from rigvision.report.seal import Seal, seal_code

SAMPLES = Path(__file__).parents[1] / "sample_images"

SEAL = Seal(
    ledger="0123456789abcdef",
    record="K7Q2-M9XA",
    core_sha256="a1b2c3d4" * 8,
    count=57,
    head_hash="f0e1d2c3" * 8,
    job="J-0001",
    door=3,
    stage="before",
)
MEASURED = PageSignature(
    "Łukasz Żółć", "mechanic", "measured", "2026-03-02T08:15:00.000000Z", "3f2a9c0177de4b12"
)
ACCEPTED = PageSignature(
    "Inès Ørtega",
    "inspector",
    "accepted",
    "2026-03-02T11:40:31.000000Z",
    "88b012ff0c3d9e71",
    "Edges clean.",
)
REJECTED = replace(ACCEPTED, decision="rejected", remark="Grit on the sill.")
CORRECTED = PageCorrection(
    "It was door 4", "Łukasz Żółć", "2026-03-03T07:00:00.000000Z", "7WQ4-0000"
)
RECORD_JSON = json.dumps({"schema": "rigvision.record-export/1", "name": "ü"}).encode()


@pytest.fixture(scope="module")
def checked() -> CheckResult:
    return rigvision.check(SAMPLES / "open-2.2mm.jpg", door=3)


def saved(result: CheckResult) -> SavedResult:
    (read,) = parse_saved(json.dumps(as_json(result)).encode())
    assert isinstance(read, SavedResult)
    return read


@pytest.fixture(scope="module")
def facts(checked: CheckResult) -> PageFacts:
    return PageFacts(
        seal=SEAL,
        job=PageJob("WO-48213", "ESN 701-334", "DF-10", "master"),
        recorded_at="2026-03-02T08:14:09.123456Z",
        result=saved(checked),
        image_jpeg=as_jpeg(checked, SEAL),
        record_json=RECORD_JSON,
        models=(PageModel("gauge", "RG-10", "12ab" * 16, "2027-01-31"),),
        signatures=(MEASURED, ACCEPTED),
        flags=(PageFlag("The photo was taken before the job was opened.", "0000-0001"),),
    )


@pytest.fixture(scope="module")
def page(facts: PageFacts) -> bytes:
    return page_pdf(facts)


def text_of(content: bytes) -> str:
    """All of its text; where a line ended, there is a space."""
    reader = pypdf.PdfReader(io.BytesIO(content))
    assert len(reader.pages) == 1
    return " ".join(reader.pages[0].extract_text().split())


def placed_words(content: bytes) -> list[tuple[str, float, float]]:
    """Every piece of text with its x and y in points from the lower left corner."""
    found: list[tuple[str, float, float]] = []

    def visit(text: str, _cm: Any, tm: list[float], _font: Any, _size: Any) -> None:
        if text.strip():
            found.append((text.strip(), tm[4], tm[5]))

    pypdf.PdfReader(io.BytesIO(content)).pages[0].extract_text(visitor_text=visit)
    return found


def content_of(content: bytes) -> bytes:
    with pikepdf.open(io.BytesIO(content)) as pdf:
        return bytes(pdf.pages[0].Contents.read_bytes())


def objects_in(content: bytes) -> Iterator[Any]:
    with pikepdf.open(io.BytesIO(content)) as pdf:
        yield from pdf.objects


# What it says


def test_verdict_figures_and_limits_can_be_read_by_programs(page: bytes) -> None:
    text = text_of(page)
    for words in (
        "ADJUST",
        "Record K7Q2-M9XA",
        "2.22 ± 0.08 mm",
        "0.55 to 1.05 mm",
        "at most 0.40 mm",
        "The gap is 2.22 mm; the upper limit is 1.05 mm.",
        "edge definition",
        "releases nothing",
    ):
        assert words in text, words


def test_job_people_and_ledger_can_be_read_by_programs(page: bytes) -> None:
    text = text_of(page)
    for words in (
        "WO-48213",
        "ESN 701-334, frame DF-10",
        "3, before the work",
        "master position",
        "RG-10, calibration due 2027-01-31",
        "Łukasz Żółć",
        "Inès Ørtega",
        "2026-03-02 11:40:31 UTC",
        "key 88b0 12ff 0c3d 9e71",
        "Edges clean.",
        "before the job was opened. (record 0000-0001)",
        "Ledger 0123 4567 89ab cdef",
        "57 entries",
        "f0e1 d2c3 f0e1 d2c3",
    ):
        assert words in text, words


def test_a_saved_result_shows_the_limits_of_the_one_just_measured(checked: CheckResult) -> None:
    assert figure_rows(saved(checked)) == figure_rows(checked)


@pytest.mark.parametrize(
    ("signatures", "corrections", "word"),
    [
        ((), (), "NOT SIGNED"),
        ((MEASURED,), (), "NOT INSPECTED"),
        ((MEASURED, ACCEPTED), (), "ACCEPTED"),
        ((MEASURED, REJECTED), (), "REJECTED"),
        ((MEASURED, ACCEPTED, REJECTED), (), "REJECTED"),
        ((MEASURED, ACCEPTED), (CORRECTED,), "SUPERSEDED"),
        ((), (CORRECTED,), "SUPERSEDED"),
    ],
)
def test_one_word_says_how_far_the_record_has_come(
    facts: PageFacts, signatures: Any, corrections: Any, word: str
) -> None:
    made = replace(facts, signatures=signatures, corrections=corrections)
    text = text_of(page_pdf(made))
    words = ("NOT SIGNED", "NOT INSPECTED", "ACCEPTED", "REJECTED", "SUPERSEDED")
    assert [w for w in words if w in text] == [word]
    assert made.is_void == (word in ("REJECTED", "SUPERSEDED"))
    assert ("Record 7WQ4-0000 took its place" in text) == bool(corrections)


def test_an_acceptance_names_the_inspector_and_not_the_mechanic(facts: PageFacts) -> None:
    line = next(w for w, _, _ in placed_words(page_pdf(facts)) if "by the inspector" in w)
    assert line == "2026-03-02 11:40:31 UTC, by the inspector Inès Ørtega"


def test_a_void_record_does_not_look_like_its_verdict(facts: PageFacts, page: bytes) -> None:
    """The verdict's own colour, as the page's content sets it, is gone."""
    brown = re.compile(rb"0\.61\d* 0\.32\d* 0(\.0+)? rg")  # (158, 84, 0) of 255
    void = page_pdf(replace(facts, corrections=(CORRECTED,)))
    contents = [content_of(made) for made in (page, void)]
    assert [bool(brown.search(content)) for content in contents] == [True, False]


# Whatever is written, it is one page and nothing runs


def hostile(facts: PageFacts, word: str) -> PageFacts:
    long = f"<script>{word}</script> **{word}** \x1b[31m\u202e (a\\) /JS [ {word * 40} " * 20
    signature = PageSignature(long, long, "rejected", REJECTED.signed_at, long, long)
    return replace(
        facts,
        seal=replace(SEAL, job=long),
        job=PageJob(long, long, long, long),
        models=(PageModel(long, long, "12ab" * 16, long),) * 20,
        signatures=(signature,) * 20,
        flags=(PageFlag(f"flagged {long}", "0000-0001"),) * 20,
        corrections=(replace(CORRECTED, cause=f"corrected {long}", corrected_by=long),) * 20,
    )


@pytest.mark.parametrize("word", ["W", "wide ", "王", "ש", "ẞ\u0301", "\U0001f9f0"])
def test_whatever_is_written_it_stays_one_page_and_each_part_in_its_place(
    facts: PageFacts, word: str
) -> None:
    content = page_pdf(hostile(facts, word))
    placed = placed_words(content)
    top = {name: y for name in ("Signatures", "Proof") for w, _, y in placed if w.startswith(name)}
    notes = [y for w, _, y in placed if w.startswith(("flagged", "⚑")) or "instead" in w]
    assert all(y > top["Signatures"] for y in notes)
    assert all(y > top["Proof"] for w, _, y in placed if w.startswith(("Rejected", "key ")))
    assert all(25.0 < x < 570.0 and 15.0 < y < 825.0 for _, x, y in placed)


def test_no_words_run_out_of_the_page(facts: PageFacts) -> None:
    """Their ends, from the widths in the file itself (mm: 11 of 210 are margin)."""
    content = page_pdf(hostile(facts, "W"))
    with pikepdf.open(io.BytesIO(content)) as pdf:
        ends = list(_text_ends_pt(pdf.pages[0]))
    assert len(ends) > 60
    assert max(ends) <= (199.0 + 0.5) / 25.4 * 72.0


def _text_ends_pt(page: Any) -> Iterator[float]:
    widths = {str(name): _widths(font) for name, font in page.Resources.Font.items()}
    font, size, x = "", 0.0, 0.0
    for operands, operator in pikepdf.parse_content_stream(page):
        if str(operator) == "Tf":
            font, size = str(operands[0]), float(operands[1])
        elif str(operator) == "Td":
            x = float(operands[0])
        elif str(operator) == "Tj":
            codes = np.frombuffer(bytes(operands[0]), ">u2")
            yield x + size / 1000.0 * sum(widths[font].get(int(code), 0.0) for code in codes)


def _widths(font: Any) -> dict[int, float]:
    """The W array of a CID font (ISO 32000-1, 9.7.4.3), in both of its forms."""
    found: dict[int, float] = {}
    items = list(font.DescendantFonts[0].W)
    while items:
        first, second = int(items.pop(0)), items.pop(0)
        if isinstance(second, pikepdf.Array):
            found |= {first + k: float(width) for k, width in enumerate(second)}
        else:
            width = float(items.pop(0))
            found |= dict.fromkeys(range(first, int(second) + 1), width)
    return found


def test_markup_and_commands_are_shown_not_run(facts: PageFacts) -> None:
    name = "<b>Ann</b> **x** [l](http://x.y) (a\\) ${7*7}"
    content = page_pdf(replace(facts, signatures=(replace(MEASURED, person=name),)))
    assert name in text_of(content)
    assert not any("/URI" in o for o in objects_in(content) if isinstance(o, pikepdf.Dictionary))


def test_control_characters_and_direction_marks_do_not_reach_the_page(facts: PageFacts) -> None:
    job = replace(facts.job, work_order="WO\x1b[2J\u202e31\u2066\n9")
    assert "WO\ufffd[2J\ufffd31\ufffd\ufffd9" in text_of(page_pdf(replace(facts, job=job)))


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("Søren Šimůnek", "Søren Šimůnek"),
        ("Ольга Щукина", "Ольга Щукина"),
        ("Ευγενία Ψάλτη", "Ευγενία Ψάλτη"),
        ("Jose\u0301 Nguye\u0302\u0303n", "José Nguyễn"),  # composed, as readers expect it
        ("王伟 Wei", "[U+738B][U+4F1F] Wei"),  # not in the font: distinct all the same
    ],
)
def test_names_of_many_alphabets_can_be_read(facts: PageFacts, name: str, shown: str) -> None:
    content = page_pdf(replace(facts, signatures=(replace(MEASURED, person=name),)))
    assert shown in text_of(content)


def test_a_name_read_leftwards_is_set_in_that_order(facts: PageFacts) -> None:
    """Alef, bet, gimel: the first letter stands rightmost."""
    content = page_pdf(replace(facts, signatures=(replace(MEASURED, person="אבג (דה)"),)))
    with pikepdf.open(io.BytesIO(content)) as pdf:
        fonts = pdf.pages[0].Resources.Font
        maps = [font.ToUnicode.read_bytes().upper() for font in fonts.values()]
    assert all(letter in b"".join(maps) for letter in (b"05D0", b"05D1", b"05D2"))
    # pypdf gives leftward parts back in reading order
    assert any("אבג" in w for w, _, _ in placed_words(content)) or "אבג" in text_of(content)


# The file


def test_the_record_is_attached_as_data(page: bytes) -> None:
    """ISO 19005-3, 6.8: kind of file, relation and both names are given."""
    with pikepdf.open(io.BytesIO(page)) as pdf:
        assert list(pdf.attachments) == ["record.json"]
        assert pdf.attachments["record.json"].get_file().read_bytes() == RECORD_JSON
        (spec,) = pdf.Root.AF
        assert spec.AFRelationship == "/Data"
        assert (str(spec.F), str(spec.UF)) == ("record.json", "record.json")
        assert spec.EF.F.Subtype == "/application/json"
        assert "/ModDate" in spec.EF.F.Params


def test_the_analysed_image_travels_byte_for_byte(facts: PageFacts, page: bytes) -> None:
    """So that its hash is the one that was signed."""
    jpegs = [
        bytes(o.read_raw_bytes())
        for o in objects_in(page)
        if isinstance(o, pikepdf.Stream) and o.get("/Filter") == "/DCTDecode"
    ]
    assert jpegs == [facts.image_jpeg]


def test_another_reader_reads_the_pages_code(page: bytes) -> None:
    codes = [
        cv2.QRCodeDetector().detectAndDecode(np.asarray(image.image.convert("L")))[0]
        for image in pypdf.PdfReader(io.BytesIO(page)).pages[0].images
        if image.image is not None and image.image.width == image.image.height
    ]
    assert codes == [seal_code(SEAL)]


def test_the_same_facts_make_the_same_bytes_at_another_time(facts: PageFacts, page: bytes) -> None:
    time.sleep(1.1)  # dates in a PDF have whole seconds
    assert page_pdf(facts) == page


def test_the_documents_time_is_that_of_the_newest_fact(facts: PageFacts, page: bytes) -> None:
    with pikepdf.open(io.BytesIO(page)) as pdf, pdf.open_metadata() as xmp:
        made = datetime.fromisoformat(str(xmp["xmp:CreateDate"]))
        assert xmp["xmp:ModifyDate"] == xmp["xmp:CreateDate"]
    assert made == datetime(2026, 3, 2, 11, 40, 31, tzinfo=UTC)
    assert facts.as_of == ACCEPTED.signed_at


def test_it_says_that_it_is_pdf_a_3b_and_how_its_colours_are_meant(page: bytes) -> None:
    """ISO 19005-3, 6.6.4 and 6.2.3."""
    assert page.startswith(b"%PDF-1.7")
    with pikepdf.open(io.BytesIO(page)) as pdf:
        with pdf.open_metadata() as xmp:
            assert (xmp["pdfaid:part"], xmp["pdfaid:conformance"]) == ("3", "B")
            assert xmp["dc:title"] == "Record K7Q2-M9XA"
        (intent,) = pdf.Root.OutputIntents
        assert intent.S == "/GTS_PDFA1"
        assert intent.DestOutputProfile.N == 3
        assert b"acsp" in intent.DestOutputProfile.read_bytes()[:64]
        assert pdf.Root.Lang == "en"
        assert not pdf.is_encrypted
        assert "/ID" in pdf.trailer


def test_every_font_is_embedded_with_its_letters(page: bytes) -> None:
    """ISO 19005-3, 6.2.11: and no place in the text points to a glyph that is none."""
    with pikepdf.open(io.BytesIO(page)) as pdf:
        dictionaries = [o for o in pdf.objects if isinstance(o, pikepdf.Dictionary)]
        fonts = [o for o in dictionaries if o.get("/Type") == "/Font"]
        descendants = [f for f in fonts if f.Subtype == "/CIDFontType2"]
        assert len(descendants) == 2
        assert {str(f.Subtype) for f in fonts} == {"/Type0", "/CIDFontType2"}
        assert all("/FontFile2" in f.FontDescriptor for f in descendants)
        texts = [
            bytes(operands[0])
            for operands, operator in pikepdf.parse_content_stream(pdf.pages[0])
            if str(operator) == "Tj"
        ]
    assert texts
    assert not any(0 in np.frombuffer(text, ">u2") for text in texts)


def test_nothing_in_it_can_act_or_shine_through(facts: PageFacts) -> None:
    """ISO 19005-3, 6.5 and 6.1.2; and viewers need not blend or smooth."""
    banned = {"/JS", "/JavaScript", "/AA", "/Launch", "/URI", "/SubmitForm"}
    banned |= {"/Encrypt", "/SMask", "/Interpolate", "/Annots", "/AcroForm"}
    for content in (page_pdf(hostile(facts, "/JS")), page_pdf(facts)):
        for found in objects_in(content):
            if isinstance(found, pikepdf.Dictionary | pikepdf.Stream):
                keys = set(found.keys())
                assert not keys & banned, keys & banned
                assert float(found.get("/ca", 1.0)) == 1.0
        with pikepdf.open(io.BytesIO(content)) as pdf:  # opens at a place, without an action
            assert isinstance(pdf.Root.OpenAction, pikepdf.Array)


@pytest.mark.parametrize("mode", ["L", "PNG", "none"])
def test_what_is_no_analysed_image_is_refused(facts: PageFacts, mode: str) -> None:
    content = io.BytesIO()
    kind = "PNG" if mode == "PNG" else "JPEG"
    Image.new("L" if mode == "L" else "RGB", (40, 60)).save(content, kind)
    jpeg = b"%PDF-1.4" if mode == "none" else content.getvalue()
    with pytest.raises(ValueError, match="analysed image"):
        page_pdf(replace(facts, image_jpeg=jpeg))
