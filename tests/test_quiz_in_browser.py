"""A quiz from ledger to score in a real browser, by keyboard alone, without network."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from rigvision.cli.main import main
from rigvision.records import recording
from rigvision.records.ledger import Ledger
from rigvision.records.noting import note_ruling
from rigvision.training.answers import parse_answers
from tests.browser import LOOKS, WIDTHS, Visit, chromium, serious_faults, until
from tests.job_rig import drawn_once, open_job_in, recorded_sample
from tests.quiz_files import known, quiz_in

HOSTILE = "<img src=x onerror=alert(1)> O'Hara"


@pytest.fixture(autouse=True)
def _plain_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("FORCE_COLOR", "RIGVISION_DEBUG", "RIGVISION_MODELS", "RIGVISION_LEDGER"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("COLUMNS", "100")


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as opened:
        yield opened


@pytest.fixture(scope="module")
def ledger(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two records, one of them ruled upon."""
    folder = tmp_path_factory.mktemp("kept")
    patch = pytest.MonkeyPatch()
    patch.setattr(recording, "unsealed_image", drawn_once)
    with Ledger.create(folder / "ledger.sqlite3") as made:
        open_job_in(made)
        ruled = recorded_sample(made, "open-1.3mm.jpg", folder)
        recorded_sample(made, "nominal.jpg", folder)
        note_ruling(made, ruled.record, "retake", "grease on the sill", "T. Rainer")
    patch.undo()
    return folder / "ledger.sqlite3"


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as ended:
        main([str(a) for a in arguments])
    said = capsys.readouterr()
    return int(ended.value.code or 0), said.out, said.err


class Taker(Visit):
    """Somebody who takes a quiz, and has only a keyboard."""

    def __init__(self, browser: Any, folder: Path, width: int = 1400, look: str = "light") -> None:
        super().__init__(browser, folder, width, look)
        self.open("index.html")

    def focused(self) -> str:
        """Id, else value, of what has the focus."""
        found: str = self.page.evaluate(
            "document.activeElement.id || document.activeElement.value || ''"
        )
        return found

    def tab_to(self, wanted: str) -> None:
        for _ in range(40):
            if self.focused() == wanted:
                return
            self.page.keyboard.press("Tab")
        raise AssertionError(f"no way to {wanted} by keyboard")

    def press(self, *keys: str) -> None:
        for key in keys:
            self.page.keyboard.press(key)

    def answer(self, call: str, gap: str, way: str | None = None, turns: str = "") -> None:
        """From the shot's head on, by keyboard: a group of choices is one stop, arrows move."""
        self.tab_to("pass")
        self.press("Space", *["ArrowRight"] * ("pass", "adjust", "retake").index(call))
        self.tab_to("gap")
        self.page.keyboard.type(gap)
        if way:
            self.tab_to("none")
            self.press("Space", *["ArrowRight"] * ("none", "close", "open").index(way))
            self.tab_to("turns")
            self.page.keyboard.type(turns)
        self.press("Enter")

    def saved(self) -> tuple[str, bytes]:
        self.tab_to("save")
        with self.page.expect_download() as waiting:
            self.press("Enter")
        download = waiting.value
        return download.suggested_filename, Path(download.path()).read_bytes()

    def overflow_px(self) -> int:
        found: int = self.page.evaluate(
            "document.documentElement.scrollWidth - document.documentElement.clientWidth"
        )
        return found


def begun(visit: Taker, name: str) -> None:
    visit.tab_to("name")
    visit.page.keyboard.type(name)
    visit.press("Enter")
    until(visit.page, "document.getElementById('photo').naturalWidth > 0")


def test_quiz_round_trip_by_keyboard_alone(browser, ledger, tmp_path, capsys):
    code, out, err = run(
        capsys, "training", "quiz", "--ledger", ledger, "--out", tmp_path / "q", "--json"
    )
    assert (code, err) == (0, "")
    assert json.loads(out)["shots"] == 2
    visit = Taker(browser, tmp_path / "q", 360, "dark")
    begun(visit, HOSTILE)
    told = []
    for call, gap, way, turns in (
        ("pass", "0,80", "none", ""),
        ("adjust", "1.25", "close", "0.25"),
    ):
        visit.answer(call, gap, way, turns)
        assert visit.focused() == "told-head"
        told.append([c.text_content() for c in visit.page.query_selector_all("#told-rows td")])
        assert visit.overflow_px() == 0
        visit.tab_to("seen")
        visit.press("Enter")
        until(visit.page, "document.getElementById('photo').src.startsWith('data:')")
        until(visit.page, "document.getElementById('photo').naturalWidth > 0")
        visit.tab_to("next")
        visit.press("Enter")
    assert visit.focused() == "end-head"
    assert "O'Hara" in (visit.page.text_content("#end-head") or "")
    name, content = visit.saved()
    assert name.endswith("-img-src-x-onerror-alert-1-O-Ha.json")
    visit.assert_quiet()
    visit.close()

    assert {row[1] for row in told} == {"pass", "adjust"}
    answers = parse_answers(content)
    assert answers.trainee == HOSTILE
    assert [(a.gap_mm, a.turns) for a in answers.answers] == [(0.8, 0.0), (1.25, 0.25)]
    saved = tmp_path / "answers.json"
    saved.write_bytes(content)
    options = ("--quiz", tmp_path / "q", "--ledger", ledger, "--out", tmp_path / "sheets")
    code, out, err = run(capsys, "training", "score", saved, *options, "--json")
    assert (code, err) == (0, "")
    together = json.loads(out)["trainees"][0]["together"]
    assert together["answered"] == together["asked"] == 2
    assert together["tool"]["same"]["count"] == sum(row[0] == row[1] for row in told)
    assert together["trainer"]["same"]["total"] == 1
    _printed_on_one_page(browser, Path(json.loads(out)["sheets"][0]), tmp_path / "sheet.pdf")


def _printed_on_one_page(browser: Any, sheet: Path, pdf: Path) -> None:
    visit = Visit(browser, sheet.parent)
    page = visit.open(sheet.name)
    assert serious_faults(page) == []
    page.pdf(path=pdf, prefer_css_page_size=True)
    visit.assert_quiet()
    visit.close()
    (printed,) = PdfReader(pdf).pages
    size = printed.mediabox
    assert [round(float(s) / 72 * 25.4) for s in (size.width, size.height)] == [210, 297]


def test_an_answer_stands_through_a_reload_and_half_is_saved_as_half(browser, tmp_path):
    quiz_in(tmp_path / "q", [known("retake", None, None), known("pass"), known("pass")])
    visit = Taker(browser, tmp_path / "q", 1400, "light")
    begun(visit, "Ann Otter")
    visit.answer("pass", "")
    assert "wrong pass" in (visit.page.text_content("#told-head") or "")
    # A reason that a hostile name got into is shown, not run.
    assert visit.page.text_content("#told-why li") == "<b>Because</b> of the sill."
    visit.page.reload()
    assert visit.page.text_content("#ask-head") == "Shot 2 of 3"
    _, content = visit.saved()
    answers = parse_answers(content)
    assert [(a.shot, a.verdict, a.gap_mm, a.turns) for a in answers.answers] == [
        (1, "pass", None, None)
    ]
    assert visit.saved()[1] == content
    visit.assert_quiet()
    visit.close()


@pytest.mark.parametrize(
    ("call", "gap", "way", "turns", "says"),
    [
        (None, "0.8", None, "", "Call it first"),
        ("pass", "wide", None, "", "Write the gap"),
        ("pass", "21", None, "", "Write the gap"),
        ("adjust", "1.2", "close", "", "How many turns"),
    ],
)
def test_what_cannot_be_meant_is_asked_again(browser, tmp_path, call, gap, way, turns, says):
    quiz_in(tmp_path / "q", [known("pass")])
    visit = Taker(browser, tmp_path / "q", 360, "light")
    begun(visit, "Ann Otter")
    if call:
        visit.answer(call, gap, way, turns)
    else:
        visit.tab_to("gap")
        visit.press("8", "Enter")
    assert says in (visit.page.text_content("#answer-wrong") or "")
    assert visit.page.is_visible("#answer")
    visit.close()


def test_targets_are_large_enough_for_gloves(browser, tmp_path):
    """13 mm, which is 49 CSS px, is what gloved fingers hit (common practice, no source)."""
    quiz_in(tmp_path / "q", [known("pass")])
    visit = Taker(browser, tmp_path / "q", 360, "light")
    begun(visit, "Ann Otter")
    boxes = [e.bounding_box() for e in visit.page.query_selector_all("#ask button, #ask .choice")]
    seen = [b for b in boxes if b]
    assert len(seen) >= 13
    assert min(min(b["width"], b["height"]) for b in seen) >= 49
    visit.close()


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("look", LOOKS)
def test_every_screen_fits_and_is_free_of_serious_faults(browser, tmp_path, width, look):
    quiz_in(tmp_path / "q", [known("adjust", 1.3, 0.5)])
    visit = Taker(browser, tmp_path / "q", width, look)
    screens = [(serious_faults(visit.page), visit.overflow_px())]
    begun(visit, "Ann Otter")
    screens.append((serious_faults(visit.page), visit.overflow_px()))
    visit.answer("pass", "1.1", "open", "0.25")
    screens.append((serious_faults(visit.page), visit.overflow_px()))
    visit.tab_to("next")
    visit.press("Enter")
    assert visit.focused() == "end-head"
    screens.append((serious_faults(visit.page), visit.overflow_px()))
    assert screens == [([], 0)] * 4
    visit.assert_quiet()
    visit.close()


def test_the_photo_zooms_to_single_pixels_and_moves_by_keyboard(browser, tmp_path):
    quiz_in(tmp_path / "q", [known("pass")])
    visit = Taker(browser, tmp_path / "q", 360)
    begun(visit, "Ann Otter")
    visit.page.evaluate("document.getElementById('stage').style.height = '60px'")
    visit.tab_to("near")
    visit.press("Enter")
    # The test's photos are 64 px wide.
    assert visit.page.evaluate("document.getElementById('photo').clientWidth") == 192
    before = visit.page.evaluate("document.getElementById('stage').scrollTop")
    visit.tab_to("stage")
    visit.press("ArrowDown")
    until(visit.page, f"document.getElementById('stage').scrollTop > {before}")
    visit.close()


def test_a_practice_tells_nothing_until_it_is_opened(browser, tmp_path, capsys):
    options = ("--count", 2, "--difficulty", 2, "--width", 1600, "--out", tmp_path / "p", "--json")
    code, out, err = run(capsys, "practice", *options)
    assert (code, err) == (0, "")
    visit = Taker(browser, tmp_path / "p")
    begun(visit, "Ann Otter")
    for _ in range(2):
        visit.answer("adjust", "1.0", "open", "0.5")
        told = [c.text_content() for c in visit.page.query_selector_all("#told-rows td")]
        assert told[1::2] == ["sealed"] * 3
        visit.tab_to("next")
        visit.press("Enter")
    (tmp_path / "answers.json").write_bytes(visit.saved()[1])
    visit.assert_quiet()
    visit.close()
    options = ("--practice", tmp_path / "p", "--json")
    code, opened, err = run(capsys, "practice", "open", tmp_path / "answers.json", *options)
    assert (code, err) == (0, "")
    plain = json.loads(opened)
    assert plain["commitment"] == json.loads(out)["commitment"]
    assert [s["answer"]["turns"] for s in plain["shots"]] == [-0.5, -0.5]
    assert all(s["known"]["truth"]["gap_mm"] > 0 for s in plain["shots"])
