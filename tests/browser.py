"""Debian's Chromium for the tests of pages; skipped with what to install where there is none."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

AXE = Path(__file__).parent / "data" / "axe.min.js"
_NAMES = ("chromium", "chromium-browser", "google-chrome")
#: A phone, and a desk.
WIDTHS = (360, 1400)
LOOKS = ("light", "dark")


@contextmanager
def chromium() -> Iterator[Any]:
    """A browser without a network to itself."""
    sync_api = pytest.importorskip(
        "playwright.sync_api", reason="playwright is not installed: pip install playwright"
    )
    program = os.environ.get("RIGVISION_CHROMIUM") or next(
        (found for name in _NAMES if (found := shutil.which(name))), None
    )
    if program is None:
        pytest.skip("No Chromium: sudo apt-get install chromium (or set RIGVISION_CHROMIUM)")
    with sync_api.sync_playwright() as playwright:
        # Without its sandbox it also starts as root, as in containers.
        browser = playwright.chromium.launch(executable_path=program, args=["--no-sandbox"])
        yield browser
        browser.close()


class Visit:
    """A page in a window of its own, with all that it asked for and complained about."""

    def __init__(self, browser: Any, folder: Path, width: int = 1400, look: str = "light") -> None:
        self.folder = folder
        self.context = browser.new_context(
            viewport={"width": width, "height": 800}, color_scheme=look
        )
        self.page = self.context.new_page()
        self.asked: list[str] = []
        self.complaints: list[str] = []
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.on("console", lambda message: self.complaints.append(message.text))
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("dialog", lambda dialog: self._refuse(dialog))

    def _refuse(self, dialog: Any) -> None:
        self.complaints.append(f"dialog: {dialog.message}")
        dialog.dismiss()

    def open(self, name: str) -> Any:
        self.page.goto((self.folder / name).as_uri())
        return self.page

    def assert_quiet(self) -> None:
        """Nothing was asked for outside of the folder, and nothing complained about."""
        home = self.folder.as_uri()
        away = [url for url in self.asked if not url.startswith((home, "data:"))]
        assert away == [], away
        assert self.complaints == [], self.complaints

    def close(self) -> None:
        self.context.close()


def until(page: Any, said: str) -> None:
    """Wait until a script's value is true: the pages' policy lets no page wait by itself."""
    for _ in range(250):
        if page.evaluate(said):
            return
        page.wait_for_timeout(20)
    raise AssertionError(f"never true: {said}")


def serious_faults(page: Any) -> list[str]:
    """What axe-core calls serious or critical, with the first place of each."""
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate("axe.run(document, {resultTypes: ['violations'], preload: false})")
    return [
        f"{v['id']}: {v['nodes'][0]['html'][:200]} {v['nodes'][0].get('failureSummary', '')[:300]}"
        for v in found["violations"]
        if v["impact"] in ("serious", "critical")
    ]


def small_targets(page: Any, least_px: float = 44.0) -> list[str]:
    """Things to press that show and are smaller than a finger needs; links in sentences may be."""
    script = """least => [...document.querySelectorAll(
        'button, select, summary, input, .trail a, .mini, .row-link, .button')]
        .map(e => [e.outerHTML.slice(0, 80), e.getBoundingClientRect()])
        .filter(([, b]) => b.width > 0 && (b.height < least - 0.5 || b.width < least - 0.5))
        .map(([html, b]) => `${html} ${b.width.toFixed(0)} x ${b.height.toFixed(0)}`)"""
    small: list[str] = page.evaluate(script, least_px)
    return small
