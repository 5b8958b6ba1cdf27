"""The review in a real browser: queue, photo, sliders, keys, widths, looks, hostile words."""

from __future__ import annotations

from random import Random

import numpy as np
import pytest
from PIL import Image

from rigvision.ground.measured import probability_inside
from rigvision.records.ledger import Ledger
from rigvision.records.noting import note_ruling
from rigvision.records.search import Wanted
from rigvision.training.review import build_review
from rigvision.training.shot_set import shots_of_ledger
from tests.browser import LOOKS, WIDTHS, Visit, chromium, serious_faults, small_targets, until
from tests.job_rig import open_job_in, recorded_sample
from tests.saved_shots import judged, saved

HOSTILE = '"><img src=x onerror="window.hit=1"><script>window.hit=1</script>\'{{7*7}}'
NAMED = f"{HOSTILE}.jpg"
RETAKE, BORDERLINE, CLEAR = "AAAA-AAAA", "BBBB-BBBB", "CCCC-CCCC"


@pytest.fixture(scope="module")
def browser():
    with chromium() as opened:
        yield opened


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """Two half-size samples of one door, before and after, and three invented checks."""
    folder = tmp_path_factory.mktemp("review")
    with Ledger.create(folder / "ledger.sqlite3") as ledger:
        judged(ledger, RETAKE, saved())
        judged(ledger, BORDERLINE, saved(0.48, 0.99))
        judged(ledger, CLEAR, saved(0.999, photo=saved_photo(NAMED)))
        note_ruling(ledger, CLEAR, "retake", HOSTILE, 'O. "Bad" <b>O\'Neil</b>')
        open_job_in(ledger, remark=HOSTILE, engine="<script>window.hit=1</script>")
        before = recorded_sample(ledger, "open-1.3mm.jpg", folder, "J-0002", stage="before")
        after = recorded_sample(ledger, "nominal.jpg", folder, "J-0002", stage="after")
        shots = shots_of_ledger(ledger, Wanted())
    review = build_review(shots, folder / "pages", workers=1)
    assert review.shots == 5
    return review.page.parent, before.record, after.record


def saved_photo(name: str):
    return {
        "name": name,
        "sha256": "1" * 64,
        "width_px": 4000,
        "height_px": 3000,
        "taken_at": None,
    }


@pytest.fixture
def visit(browser, built):
    made: list[Visit] = []

    def start(name: str = "index.html", **options):
        made.append(Visit(browser, built[0], **options))
        made[-1].open(name)
        return made[-1].page

    yield start
    for one in made:
        one.assert_quiet()
        one.close()


def titles(page) -> list[str]:
    return page.locator(".card:not([hidden]) .card-title").all_text_contents()


def test_the_queue_begins_with_the_shot_nearest_to_even_odds(visit, built):
    page = visit()
    assert titles(page)[0] == BORDERLINE
    assert titles(page)[-1] == RETAKE
    assert page.locator(".card").count() == 5


def test_the_queue_is_filtered_sorted_and_searched(visit, built):
    _, before, after = built
    page = visit()
    page.select_option("#f-verdict", "retake")
    assert titles(page) == [RETAKE]
    page.click("text=Show all >> visible=true")
    until(page, "document.querySelectorAll('.card:not([hidden])').length === 5")
    page.select_option("#f-stage", "after")
    assert titles(page) == [after]
    page.select_option("#f-stage", "")
    page.select_option("#f-ruling", "other")
    assert titles(page) == [CLEAR]
    page.select_option("#f-ruling", "")
    page.select_option("#f-sort", "gap")
    assert titles(page)[0] == before  # 1.3 mm: the widest
    page.fill("#f-text", "NOMINAL wo")
    assert titles(page) == [after]
    page.fill("#f-text", "no such word")
    assert titles(page) == []
    assert page.locator("[data-none]").is_visible()


def test_everything_is_reached_by_keys_alone(visit, built):
    page = visit()
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")  # to the queue
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowUp")
    assert page.evaluate("document.activeElement.textContent") == BORDERLINE
    outline = "getComputedStyle(document.activeElement, '::after').outlineStyle"
    assert page.evaluate(outline) == "solid"
    page.keyboard.press("Enter")
    page.wait_for_url(f"**/{BORDERLINE}.html")
    page.keyboard.press("n")
    page.wait_for_url(lambda url: BORDERLINE not in url)
    page.keyboard.press("p")
    page.wait_for_url(f"**/{BORDERLINE}.html")
    page.keyboard.press("q")
    page.wait_for_url("**/index.html")


def test_the_overlay_is_switched_and_the_photo_zoomed_to_single_pixels(visit, built):
    page = visit(f"shots/{built[1]}.html")
    overlay = page.locator(".overlay")
    assert overlay.is_visible()
    page.keyboard.press("o")
    assert not overlay.is_visible()
    button = page.get_by_role("button", name="Overlay")
    assert button.get_attribute("aria-pressed") == "false"
    button.click()
    assert overlay.is_visible()
    page.get_by_role("button", name="Pixels").click()
    until(page, "document.querySelector('[data-viewer]').dataset.scale === '16.000'")
    assert page.locator(".frame").evaluate(
        "e => getComputedStyle(e.children[0]).imageRendering"
    ) == ("pixelated")
    x, y, width, height = view_box(page)
    left, top, w, h = (
        float(v) for v in page.locator("[data-gap]").get_attribute("data-gap").split()
    )
    assert left < x + width / 2 < left + w
    assert top < y + height / 2 < top + h
    page.focus(".stage")
    page.keyboard.press("ArrowRight")
    until(page, f"document.querySelector('.frame').viewBox.baseVal.x > {x + 1}")
    page.keyboard.press("0")
    until(page, "document.querySelector('.frame').viewBox.baseVal.x === 0")


def view_box(page) -> list[float]:
    return [float(v) for v in page.locator(".frame").get_attribute("viewBox").split()]


def test_the_middle_of_the_gap_is_dark_in_the_photos_own_pixels(visit, built):
    """1.36 mm at 7 px a mm: some nine pixels of the half-size photo, a face on either side."""
    page = visit(f"shots/{built[1]}.html")
    file, x, y, scale = page.evaluate(
        """() => {
        const layer = document.querySelector('.gap-photo');
        const matrix = layer.transform.baseVal.consolidate().matrix;
        const numbers = document.querySelector('[data-stations]').dataset.stations.trim()
            .split(/\\s+/).map(Number);
        const at = new DOMPoint(numbers[6], numbers[7])
            .matrixTransform(DOMMatrix.fromMatrix(matrix).inverse());
        return [layer.getAttribute('href'), at.x, at.y, Math.hypot(matrix.a, matrix.b)];
        }"""
    )
    assert scale == pytest.approx(1.0, abs=1e-4)  # turned, never scaled
    with Image.open(built[0] / "shots" / file) as image:
        column = np.asarray(image.convert("L")).astype(int)[:, round(x)]
    middle, above, below = (column[round(y) + off] for off in (0, -14, 14))
    assert middle < 0.6 * min(above, below)


def test_the_sliders_work_the_probability_out_as_the_decision_does(visit, built):
    page = visit(f"shots/{built[1]}.html")
    random = Random(7)
    cases = [
        (
            random.uniform(0.2, 1.4),
            10 ** random.uniform(-3, -0.5),
            random.choice([1, 2, 3, 8, 9, 50, 399, 1200, None]),
            random.uniform(0.0, 0.6),
            random.uniform(0.9, 1.3),
        )
        for _ in range(400)
    ]
    found = page.evaluate(
        "cases => cases.map(([v, u, f, l, h]) => probability.inside(v, u, f ?? Infinity, l, h))",
        [list(case) for case in cases],
    )
    for (value, u, freedom, lower, upper), p in zip(cases, found, strict=True):
        expected = probability_inside(value, u, freedom or float("inf"), lower, upper)
        assert p == pytest.approx(expected, abs=1e-9), (value, u, freedom, lower, upper)


def test_as_measured_they_say_what_the_record_says_and_moved_they_turn_the_call(visit, built):
    page = visit(f"shots/{built[2]}.html")
    for index, case in enumerate(page.locator("[data-case]").all()):
        page.select_option("#w-case", str(index))
        recorded = float(case.get_attribute("data-probability"))
        shown = float(page.locator("[data-said]").get_attribute("data-probability"))
        assert shown == pytest.approx(recorded, abs=2e-4)
    page.select_option("#w-case", label=first_with(page, "Gap ("))
    said = page.locator("[data-said]")
    assert "✔ accepted" in said.inner_text()
    page.focus("#w-upper")
    for _ in range(150):
        page.keyboard.press("ArrowLeft")
    assert "not accepted" in said.inner_text()
    page.get_by_role("button", name="As measured").click()
    assert "✔ accepted" in said.inner_text()


def first_with(page, words: str) -> str:
    return next(t for t in page.locator("#w-case option").all_inner_texts() if t.startswith(words))


def test_a_door_before_and_after_stand_beside_each_other(visit, built):
    _, before, after = built
    page = visit(f"shots/{before}.html")
    pair = page.locator(".pair .mini b").all_inner_texts()
    assert pair == [before, after]
    gap = page.locator("table:has-text('Change') tr:has(th:text-is('Gap'))").inner_text()
    assert "beyond doubt" in gap
    page.locator(".pair .mini").nth(1).click()
    page.wait_for_url(f"**/{after}.html")


def test_hostile_words_are_shown_and_not_run(visit, built):
    for name in ("index.html", f"shots/{CLEAR}.html", f"shots/{built[1]}.html"):
        page = visit(name)
        assert page.evaluate("window.hit") is None
        assert page.locator("main img[src='x']").count() == 0
        assert page.locator("script:not([src])").count() == 0
        assert "{{7*7}}" in page.locator("main").inner_text()
    page = visit(f"shots/{CLEAR}.html")
    assert 'O. "Bad" <b>O\'Neil</b>' in page.locator(".remark").inner_text()


@pytest.mark.parametrize("look", LOOKS)
@pytest.mark.parametrize("width", WIDTHS)
def test_it_fits_phone_and_desk_in_light_and_dark_and_bars_nobody(visit, built, width, look):
    for name in ("index.html", f"shots/{built[1]}.html", f"shots/{RETAKE}.html"):
        page = visit(name, width=width, look=look)
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        dark = page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(19, 21, 23)"
        assert dark == (look == "dark")
        assert small_targets(page) == []
        assert serious_faults(page) == []


def test_a_print_leaves_out_what_cannot_be_pressed(visit, built):
    page = visit(f"shots/{built[1]}.html")
    page.emulate_media(media="print")
    assert not page.locator(".viewer-bar").is_visible()
    assert not page.locator(".trail").is_visible()
    assert page.locator(".plot").is_visible()
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
