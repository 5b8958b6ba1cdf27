"""A study's pages in a real browser: phone and desktop widths, nothing fetched, nothing run."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from rigvision.training.study_findings import study_findings
from rigvision.training.study_page import plan_page, report_page
from rigvision.world.catalogue import load
from rigvision.world.frame import Frame
from tests.invented_study import drawn_gap, fill, invented_plan, plan_into

playwright = pytest.importorskip("playwright.sync_api")
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no chromium is installed")

HOSTILE = "<img src=x onerror=alert(1)>"
LONG = "Wolfeschlegelsteinhausenbergerdorff" + "x" * 25


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Reports of a whole, an empty and a hostile study, and a plan."""
    folder = tmp_path_factory.mktemp("pages")
    hostile = {
        "people": [HOSTILE, LONG],
        "setting": [{"name": f"{'<script>alert(2)</script>' * 2} {i}"} for i in range(4)],
    }
    made = {}
    for name, changes, full in (
        ("whole", {}, True),
        ("empty", {}, False),
        ("hostile", hostile, True),
    ):
        plan = invented_plan(**changes)
        study = plan_into(folder / name, plan)
        if full:
            fill(study, drawn_gap(plan))
        made[name] = folder / f"{name}.html"
        made[name].write_text(report_page(study_findings(study, load(Frame, "DF-10"))))
        made[f"{name} plan"] = folder / f"{name}-plan.html"
        made[f"{name} plan"].write_text(plan_page(plan))
    return made


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with playwright.sync_playwright() as run:
        opened = run.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield opened
        opened.close()


@pytest.mark.parametrize("width", [360, 1400])
@pytest.mark.parametrize("name", ["whole", "empty", "hostile", "whole plan", "hostile plan"])
def test_a_page_fits_fetches_nothing_and_runs_nothing(browser, pages, name, width):
    page = browser.new_page(viewport={"width": width, "height": 800})
    asked: list[str] = []
    said: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("dialog", lambda dialog: (said.append(dialog.message), dialog.dismiss()))
    page.on("console", lambda message: said.append(message.text))
    page.goto(pages[name].as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert [u for u in asked if not u.startswith("data:")] == [pages[name].as_uri()]
    assert said == []
    for image in page.query_selector_all("img"):
        assert image.evaluate("i => i.complete && i.naturalWidth > 100")
        assert image.bounding_box()["width"] > 250
    assert page.evaluate("document.querySelectorAll('h1').length") == 1
    page.close()


def test_the_plan_prints_with_its_head_on_every_page(browser, pages):
    """As a browser prints it: 72 lines are some pages of A4, none of them empty."""
    page = browser.new_page()
    page.goto(pages["whole plan"].as_uri())
    pypdf = pytest.importorskip("pypdf")
    from io import BytesIO

    sheets = pypdf.PdfReader(BytesIO(page.pdf(format="A4"))).pages
    assert 2 <= len(sheets) <= 5
    for sheet in list(sheets)[1:]:
        text = sheet.extract_text()
        assert "person" in text
        assert any(name in text for name in ("A. Fitter", "B. Rigger", "C. Smith"))
    page.close()
