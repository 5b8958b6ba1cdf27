"""The analysed image, the terminal text and the JSON, made from results written by hand."""

from __future__ import annotations

import io
import json
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import ExifTags, Image
from rich.console import Console

from rigvision.decision.reasons import Reason
from rigvision.decision.result import (
    BudgetLine,
    CheckResult,
    DecisionResult,
    GapResult,
    PhotoFacts,
    StationResult,
    TurnsResult,
    ViewResult,
    YokeResult,
)
from rigvision.evidence import Evidence
from rigvision.ground.errors import PhotoError, UsageError
from rigvision.report.analysed_image import draw, write
from rigvision.report.as_json import as_json, error_as_json
from rigvision.report.canvas import Canvas, Stroke, font, wrapped
from rigvision.report.figures import percent, with_uncertainty
from rigvision.report.framing import around_gauge, around_point, whole_photo
from rigvision.report.gap_labels import GapLabel, _rows
from rigvision.report.overlay import label_box
from rigvision.report.text import show
from rigvision.report.wording import CAUTION, LOOKS, what_to_do
from rigvision.vision.barrel import SocketPlace
from rigvision.vision.lost_station import LostStation
from rigvision.vision.marks import Mark, Marks
from rigvision.vision.pose import Pose
from rigvision.vision.slot import SlotEdges, StationEdges
from rigvision.vision.view import View
from rigvision.vision.yoke import YokeFeatures, YokePlace
from rigvision.world.catalogue import load
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge

STATIONS_MM = (-36.0, -24.0, -12.0, 0.0, 12.0, 24.0, 36.0)

#: The keys that programs may rely on, as published.
KEYS = {
    "": "schema photo gauge frame door camera verdict borderline reasons gap yoke turns "
    "uncertainty_budget view",
    "photo": "name sha256 width_px height_px taken_at",
    "gap": "mean_mm expanded_uncertainty_mm coverage_factor conformance_probability lower_mm "
    "upper_mm taper_mm taper_expanded_uncertainty_mm stations",
    "yoke": "lateral_offset_mm lateral_offset_expanded_uncertainty_mm tilt_deg "
    "tilt_expanded_uncertainty_deg seat_gap_mm seat_gap_expanded_uncertainty_mm clock_deg "
    "clock_expanded_uncertainty_deg engaged",
    "turns": "value expanded_uncertainty direction source instruction",
    "view": "distance_mm tilt_deg px_per_mm marks_found",
}
#: What has been added to them since.
ADDED = {
    "": {"version", "decision"},
    "gap": {"taper_coverage_factor", "acceptance_lower_mm", "acceptance_upper_mm"},
    "yoke": {
        f"{figure}_coverage_factor" for figure in ("lateral_offset", "tilt", "seat_gap", "clock")
    },
    "turns": {
        "coverage_factor",
        "flat_probability",
        "gap_after_mm",
        "gap_after_expanded_uncertainty_mm",
    },
    "view": {"marks_refused"},
}


@pytest.fixture
def view() -> View:
    """A camera 150 mm in front, turned 180 degrees about x, so that it looks along -z."""
    parameters = np.zeros(11)
    parameters[:7] = (np.pi, 0.0, 0.0, 3.0, -2.0, 150.0, np.log(800.0))
    parameters[7:9] = (450.0, 330.0)
    return View(parameters)


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    """A picture 900 x 660 as a phone writes it: with place, serial number and thumbnail."""
    rng = np.random.default_rng(5)
    pixels = rng.integers(90, 170, (660, 900, 3), dtype=np.uint8)
    exif = Image.Exif()
    exif[ExifTags.Base.Make] = "Maker-Secret"
    exif[ExifTags.Base.Model] = "Phone-Secret"
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.BodySerialNumber] = "SN-Secret"
    exif.get_ifd(ExifTags.IFD.GPSInfo)[ExifTags.GPS.GPSLatitudeRef] = "N"
    path = tmp_path / "IMG_7.jpg"
    Image.fromarray(pixels).save(path, exif=exif, comment=b"Comment-Secret")
    return path


@pytest.fixture
def result(photo: Path, view: View) -> CheckResult:
    """Door 3 is 1.5 mm too open; mark 103 refused, 105 covered; station 24 lost."""
    gauge, frame = load(Gauge, "RG-10"), load(Frame, "DF-10")
    return CheckResult(
        photo=PhotoFacts("IMG_7.jpg", "ab" * 32, 900, 660, "2026-03-02T08:00:03+01:00"),
        gauge="RG-10",
        frame="DF-10",
        door=3,
        camera="generic-phone",
        verdict="adjust",
        borderline=False,
        reasons=(
            Reason("stations-lost", "The edges could not be read at x = 24 mm.", "Clean it."),
            Reason(
                "gap-high", "The gap is 2.31 mm; the upper limit is 1.05 mm.", "Close the door."
            ),
        ),
        gap=GapResult(
            2.31,
            0.0412,
            2.0,
            0.0,
            0.55,
            1.05,
            0.1,
            0.06,
            tuple(
                StationResult(x, None if x == 24.0 else 2.3 + x / 720.0, 0.05) for x in STATIONS_MM
            ),
        ),
        yoke=YokeResult(0.12345678, 0.07, -0.00000001, 0.17, None, None, 20.1, 1.0, False),
        turns=TurnsResult(
            1.0557, 0.0027, "close", "gap+clock", "Turn the socket 1 turn clockwise."
        ),
        uncertainty_budget=(
            BudgetLine("gap", "noise", "A", 0.01),
            BudgetLine("clock", "line", "A", None, 0.4),
        ),
        view=ViewResult(150.0, 1.2, 5.3, (100, 101, 102, 104, 106, 107), (103,)),
        version="9.8.7",
        evidence=_evidence(photo, view, gauge, frame),
    )


def _made(kind: type, **known: object) -> Any:
    """An instance with what drawing reads; what it never looks at is None."""
    return kind(**{f.name: known.get(f.name) for f in fields(kind)})


def _evidence(photo: Path, view: View, gauge: Gauge, frame: Frame) -> Evidence:
    seen = [i for i in gauge.marks.centres_mm if i != 105]
    corners_px = {i: view.project(gauge.marks.corners_mm(i)) for i in seen}
    measured = tuple(_made(Mark, mark_id=i, corners_px=corners_px[i]) for i in seen)
    stations = tuple(
        _made(StationEdges, x_mm=x, sill_y_mm=12.0, door_y_mm=14.3 + x / 720.0)
        for x in STATIONS_MM
        if x != 24.0
    )
    socket = _made(
        SocketPlace,
        axis_mm=np.array([4.0, -19.9, -10.0]),
        angle_rad=0.0,
        face_x_mm=4.0,
        index_angles_rad=(0.35,),
    )
    yoke = _made(YokePlace, shoulder_mm=np.array([3.6, -20.0, -3.0]), angle_rad=0.0)
    return Evidence(
        photo_path=photo,
        photo_sha256="ab" * 32,
        gauge=gauge,
        frame=frame,
        marks=_made(Marks, measured=measured, unreadable=()),
        pose=_made(Pose, view=view, refused=(103,)),
        slot=_made(
            SlotEdges, plane_z_mm=-6.25, stations=stations, lost=(LostStation(24.0, "no-contrast"),)
        ),
        yoke=_made(YokeFeatures, yoke=yoke, socket=socket),
    )


def _screen(result: CheckResult, *, encoding: str = "utf-8", width: int = 80) -> str:
    raw = io.BytesIO()
    stream = io.TextIOWrapper(raw, encoding=encoding)
    show(result, Console(file=stream, width=width, no_color=True, force_terminal=False))
    stream.flush()
    return raw.getvalue().decode(encoding)


# Figures


@pytest.mark.parametrize(
    ("value", "expanded", "shown"),
    [
        (0.8234, 0.0412, "0.82 ± 0.04 mm"),
        (0.8234, 0.0347, "0.823 ± 0.035 mm"),  # two digits while they lie in 10..35
        (0.8234, 0.0997, "0.82 ± 0.10 mm"),  # rounds up into the next decade
        (2.3149, 0.12, "2.31 ± 0.12 mm"),
        (-0.004, 0.05, "0.00 ± 0.05 mm"),  # no minus before nothing
        (12.34, 40.0, "12 ± 40 mm"),
        (1.234, None, "1.23 mm"),
        (None, None, "not measured"),
    ],
)
def test_value_is_rounded_to_its_uncertainty(
    value: float | None, expanded: float | None, shown: str
) -> None:
    assert with_uncertainty(value, expanded, "mm") == shown


def test_probability_never_becomes_certainty() -> None:
    assert percent(0.99999) == "over 99.9 %"
    assert percent(0.0) == "under 0.1 %"
    assert percent(0.634) == "63.4 %"


# What to do


def test_adjust_says_the_turn(result: CheckResult) -> None:
    assert what_to_do(result) == "Turn the socket 1 turn clockwise."


def test_adjust_without_a_turn_says_the_deciding_reasons_remedy(result: CheckResult) -> None:
    turns = TurnsResult(0.0, 0.01, "none", "gap", "No turn is needed.")
    assert what_to_do(replace(result, turns=turns)) == "Close the door."


def test_retake_says_the_remedy_of_the_retake(result: CheckResult) -> None:
    reasons = (*result.reasons, Reason("glare", "Glare covers the gap.", "Tilt the torch."))
    assert what_to_do(replace(result, verdict="retake", reasons=reasons)) == "Tilt the torch."


# JSON


def test_json_has_exactly_the_published_keys(result: CheckResult) -> None:
    found = as_json(result)
    for table, keys in KEYS.items():
        part = found[table] if table else found
        assert set(part) == set(keys.split()) | ADDED.get(table, set()), table
    assert set(found["gap"]["stations"][0]) == {
        "x_mm",
        "gap_mm",
        "expanded_uncertainty_mm",
        "coverage_factor",
    }
    assert set(found["reasons"][0]) == {"code", "text", "remedy"}
    line = {"quantity", "source", "type", "standard_uncertainty_mm"}
    line |= {"share", "sensitivity", "input_standard_uncertainty", "input_unit"}
    line |= {"degrees_of_freedom"}
    assert set(found["uncertainty_budget"][0]) == line
    assert set(found["uncertainty_budget"][1]) == line | {"standard_uncertainty_deg"}


def test_json_keeps_nulls_and_rounds_floats(result: CheckResult) -> None:
    found = json.loads(json.dumps(as_json(result), allow_nan=False))
    assert found["yoke"]["lateral_offset_mm"] == 0.12346
    assert found["yoke"]["seat_gap_mm"] is None
    assert str(found["yoke"]["tilt_deg"]) == "0.0"
    assert found["gap"]["stations"][5]["gap_mm"] is None
    assert found["yoke"]["engaged"] is False


def test_json_without_a_gap_has_the_same_keys(result: CheckResult) -> None:
    bare = replace(result, gap=None, frame=None, evidence=None)
    found = as_json(bare)["gap"]
    assert set(found) == set(KEYS["gap"].split()) | ADDED["gap"]
    assert found["mean_mm"] is None
    assert found["stations"] == []


def test_json_refuses_nan(result: CheckResult) -> None:
    broken = replace(result, yoke=replace(result.yoke, tilt_deg=float("nan")))
    with pytest.raises(ValueError, match=r"yoke\.tilt_deg"):
        as_json(broken)


def test_json_of_an_unreadable_photo() -> None:
    error = PhotoError("empty", "a.jpg is empty.", "Copy it again.")
    assert error_as_json("a.jpg", error) == {
        "photo": {"name": "a.jpg"},
        "error": {"code": "empty", "text": "a.jpg is empty. Copy it again."},
    }


# Terminal


def test_screen_says_verdict_first_then_what_to_do(result: CheckResult) -> None:
    lines = _screen(result).splitlines()
    assert lines[0] == "◆ ADJUST   IMG_7.jpg"
    assert lines[1].strip() == "Turn the socket 1 turn clockwise."


def test_screen_has_figures_with_units_and_limits(result: CheckResult) -> None:
    text = " ".join(_screen(result, width=120).split())
    for part in (
        "Gap 2.31 ± 0.04 mm 0.55 to 1.05 mm",
        "Taper 0.10 ± 0.06 mm at most 0.20 mm",
        "Yoke to the side 0.12 ± 0.07 mm at most 0.40 mm",
        "Yoke seat gap not measured",
        "Turns to close 1.06 ± 0.01 from gap and clock",
        "6 marks (1 refused)",
        "sha256 abababababab",
        CAUTION,
    ):
        assert part in text


def test_screen_fits_80_columns_and_26_lines(result: CheckResult) -> None:
    lines = _screen(result).splitlines()
    assert max(len(line) for line in lines) <= 80
    assert len(lines) <= 26


def test_screen_without_colour_has_no_terminal_commands(result: CheckResult) -> None:
    assert "\x1b" not in _screen(result)


def test_screen_on_a_phone_says_the_same_in_short(result: CheckResult) -> None:
    lines = _screen(result, width=42).splitlines()
    assert max(len(line) for line in lines) <= 42
    said = [" ".join(line.split()) for line in lines]
    assert "Side 0.12 ± 0.07 mm ≤ 0.40" in said
    assert "-36 2.25 0.05" in said


def test_screen_says_what_to_expect_after_turning(result: CheckResult) -> None:
    turns = replace(
        result.turns,
        gap_after_mm=0.78,
        gap_after_expanded_uncertainty_mm=0.11,
        flat_probability=0.98,
    )
    text = " ".join(_screen(replace(result, turns=turns), width=120).split())
    assert "Gap after turning 0.78 ± 0.11 mm flat right with 98.0 %" in text


def test_screen_of_a_pass_states_the_risk_left(result: CheckResult) -> None:
    decision = DecisionResult("guarded-acceptance", 0.95, 0.031, 0.033, 0.034, ())
    passed = replace(result, verdict="pass", reasons=(), decision=decision)
    risk = "Risk that at least one figure is outside all the same: 3.1 %, at most 3.4 %."
    assert risk in _screen(passed, width=120)
    assert risk not in _screen(replace(passed, verdict="adjust"), width=120)


def test_screen_on_an_ascii_terminal(result: CheckResult) -> None:
    text = _screen(result, encoding="ascii")
    assert text.startswith("<!> ADJUST   IMG_7.jpg")
    assert "2.31 +/- 0.04 mm" in text


def test_hostile_name_is_shown_on_one_line(result: CheckResult) -> None:
    evil = replace(result.photo, name="a\x1b[2Jb\n✔ PASS\u202e.jpg")
    text = _screen(replace(result, photo=evil))
    assert "\x1b" not in text
    assert "\u202e" not in text
    assert not any(line.startswith("✔ PASS") for line in text.splitlines())


def test_screen_of_a_retake_without_figures(result: CheckResult) -> None:
    bare = replace(
        result,
        verdict="retake",
        gauge=None,
        frame=None,
        reasons=(Reason("no-gauge", "No rig gauge was found.", "Go closer."),),
        gap=None,
        yoke=YokeResult(),
        turns=TurnsResult(None, None, None, None, ""),
        view=ViewResult(None, None, None, ()),
        evidence=None,
    )
    text = _screen(bare)
    assert text.startswith("✖ RETAKE")
    assert "Go closer." in text
    assert "No figure could be measured." in text


# Looks


def _luminance(colour: tuple[int, int, int]) -> float:
    """Relative luminance of WCAG 2.2."""
    parts = [c / 255.0 for c in colour]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return float(np.dot(linear, (0.2126, 0.7152, 0.0722)))


@pytest.mark.parametrize("verdict", ["pass", "adjust", "retake"])
def test_white_words_on_the_verdicts_colour_have_contrast(verdict: str) -> None:
    look = LOOKS[verdict]  # type: ignore[index]
    assert 1.05 / (_luminance(look.colour) + 0.05) >= 4.5


def test_verdicts_differ_without_colour() -> None:
    for part in ("word", "sign", "ascii_sign"):
        assert len({getattr(look, part) for look in LOOKS.values()}) == 3


# Drawing


def test_solid_line_is_light_with_a_dark_edge() -> None:
    canvas = Canvas(60, 40, (128, 128, 128))
    canvas.line(np.array([[5.0, 20.0], [55.0, 20.0]]), Stroke((255, 255, 255), 4, edge_px=3))
    column = canvas.pixels[:, 30, 0]
    assert column[20] == 255
    assert column[16] < 40
    assert column[24] < 40
    assert column[8] == 128


def test_dashes_leave_gaps_of_their_length() -> None:
    canvas = Canvas(120, 20, (0, 0, 0))
    line = np.array([[0.0, 10.0], [119.0, 10.0]])
    canvas.line(line, Stroke((255, 255, 255), 3, (20.0, 20.0), edge_px=0))
    row = canvas.pixels[10, :, 0]
    assert row[10] == 255
    assert row[30] == 0
    assert row[50] == 255


def test_text_off_the_canvas_is_clipped() -> None:
    canvas = Canvas(50, 20)
    canvas.text(-20, -10, "clipped", font(30))
    canvas.text(45, 15, "clipped", font(30))
    assert canvas.pixels.shape == (20, 50, 3)


def test_wrapped_words_fit_and_none_is_lost() -> None:
    words = "Uncover and wipe marks 100, 101, 102, then take the picture again."
    lines = wrapped(words, font(40), 500)
    assert len(lines) > 1
    assert all(font(40).getlength(line) <= 500 for line in lines)
    assert " ".join(lines) == words


def test_station_labels_touch_neither_each_other_nor_the_gap() -> None:
    labels = [GapLabel(100.0 + 90.0 * i, 500.0, 520.0, "2.31", i == 0) for i in range(9)]
    size_px, rows = _rows(labels)
    boxes = [
        label_box(item.x, 500.0 - 1.3 * size_px * (row + 1), item.words, size_px)
        for item, row in zip(labels, rows, strict=True)
    ]
    assert all(bottom < 500 for *_, bottom in boxes)
    for i, a in enumerate(boxes):
        for b in boxes[i + 1 :]:
            assert a[2] < b[0] or b[2] < a[0] or a[3] <= b[1] or b[3] <= a[1]


def test_framing_shows_a_pixel_where_it_says() -> None:
    """A white dot at (70, 40), enlarged 6 times, has its middle where ``shown`` puts it."""
    pixels = np.zeros((90, 160, 3), np.uint8)
    pixels[40, 70] = 255
    framing = whole_photo(pixels, 960, 540)
    cut = framing.cut(pixels).mean(axis=2)
    y, x = np.indices(cut.shape)
    middle = [(x * cut).sum() / cut.sum(), (y * cut).sum() / cut.sum()]
    np.testing.assert_allclose(middle, framing.shown(np.array([[70.0, 40.0]]))[0], atol=0.1)


def test_framing_of_a_reduced_photo_shows_a_patch_where_it_says() -> None:
    pixels = np.zeros((900, 1600, 3), np.uint8)
    pixels[400:409, 700:709] = 255
    framing = whole_photo(pixels, 400, 300)
    cut = framing.cut(pixels).mean(axis=2)
    y, x = np.indices(cut.shape)
    middle = [(x * cut).sum() / cut.sum(), (y * cut).sum() / cut.sum()]
    np.testing.assert_allclose(middle, framing.shown(np.array([[704.0, 404.0]]))[0], atol=0.1)


@pytest.mark.parametrize("roll_rad", [0.0, 1.4, np.pi, -0.6])
def test_gauge_is_shown_level_however_the_phone_was_held(view: View, roll_rad: float) -> None:
    parameters = view.parameters.copy()
    # Turning the camera about its own axis turns rotation and translation alike.
    c, s = np.cos(roll_rad), np.sin(roll_rad)
    about_axis = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    half_turn = np.diag([1.0, -1.0, -1.0])
    parameters[:3] = np.pi * np.array([np.cos(roll_rad / 2), np.sin(roll_rad / 2), 0.0])
    parameters[3:6] = about_axis @ view.translation_mm
    rolled = View(parameters)
    np.testing.assert_allclose(rolled.rotation, about_axis @ half_turn, atol=1e-9)
    framing = around_gauge(rolled, load(Gauge, "RG-10"), 1000, 900)
    left, right = framing.shown(rolled.project(np.array([[-40.0, 0, 0], [40.0, 0, 0]])))
    assert right[0] > left[0] + 300
    assert abs(right[1] - left[1]) < 1.0


def test_magnifier_has_the_point_in_its_middle(view: View) -> None:
    point = np.array([36.0, 13.0, -6.25])
    framing = around_point(view, point, 8.0, 400, 300)
    np.testing.assert_allclose(
        framing.shown(view.project(point[None]))[0], [199.5, 149.5], atol=1e-6
    )


def test_analysed_image_is_portrait_and_not_too_large(result: CheckResult) -> None:
    image = draw(result)
    assert image.mode == "RGB"
    assert max(image.size) <= 3000
    assert image.width > 1500


def test_lines_on_the_photo_lie_where_the_features_are(result: CheckResult) -> None:
    """A mark that is used is outlined in its colour; the whole image differs without evidence."""
    evidence = result.evidence
    assert isinstance(evidence, Evidence)
    bare = replace(result, evidence=Evidence(evidence.photo_path, evidence.photo_sha256))
    assert draw(bare).size != draw(result).size
    pixels = np.asarray(draw(result)).reshape(-1, 3).astype(int)
    for colour in ((240, 228, 66), (86, 180, 233), (230, 159, 0), (60, 220, 165), (255, 120, 40)):
        assert (np.abs(pixels - colour).max(axis=1) < 40).sum() > 100, colour


@pytest.mark.parametrize("missing", ["slot", "yoke", "pose", "marks", "frame"])
def test_partial_evidence_is_drawn(result: CheckResult, missing: str) -> None:
    evidence = replace(result.evidence, **{missing: None})  # type: ignore[type-var]
    if missing in ("marks", "pose"):
        evidence = replace(evidence, pose=None, slot=None, yoke=None)
    draw(replace(result, verdict="retake", evidence=evidence))


def test_half_found_yoke_is_drawn(result: CheckResult) -> None:
    evidence = result.evidence
    assert isinstance(evidence, Evidence)
    assert evidence.yoke is not None
    for half in (replace(evidence.yoke, yoke=None), replace(evidence.yoke, socket=None)):
        draw(replace(result, evidence=replace(evidence, yoke=half)))


def test_drawing_without_evidence_is_refused(result: CheckResult) -> None:
    with pytest.raises(UsageError, match=r"IMG_7\.jpg"):
        draw(replace(result, evidence=None))


# The file


def test_file_carries_nothing_of_the_phones_metadata(
    result: CheckResult, photo: Path, tmp_path: Path
) -> None:
    written = write(result, tmp_path / "out")
    data = written.read_bytes()
    for secret in (b"Secret", b"GPS", b"MakerNote", b"http://ns.adobe.com"):
        assert secret not in data
    with Image.open(written) as image:
        exif = image.getexif()
        assert set(exif) == {ExifTags.Base.Software, ExifTags.Base.ImageDescription}
        assert exif[ExifTags.Base.Software] == "rigvision 9.8.7"
        assert not exif.get_ifd(ExifTags.IFD.GPSInfo)
        assert not exif.get_ifd(ExifTags.IFD.IFD1)  # a thumbnail
        assert "comment" not in image.info


def test_two_photos_of_one_name_make_two_files(result: CheckResult, tmp_path: Path) -> None:
    other = replace(result, photo=replace(result.photo, sha256="cd" * 32))
    names = [write(r, tmp_path / "out").name for r in (result, other, result)]
    assert names == ["IMG_7.checked.jpg", "IMG_7-2.checked.jpg", "IMG_7.checked.jpg"]
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == sorted(set(names))


def test_a_photo_with_the_results_name_is_never_overwritten(
    result: CheckResult, photo: Path
) -> None:
    precious = photo.with_name("IMG_7.checked.jpg")
    precious.write_bytes(photo.read_bytes())
    before = precious.read_bytes()
    assert write(result, photo.parent).name == "IMG_7-2.checked.jpg"
    assert precious.read_bytes() == before


def test_same_result_makes_the_same_bytes(result: CheckResult, tmp_path: Path) -> None:
    first = write(result, tmp_path / "a").read_bytes()
    assert write(result, tmp_path / "b").read_bytes() == first


@pytest.mark.parametrize(
    ("name", "file"),
    [
        ("../../etc/x.jpg", "x.checked.jpg"),
        ("a:b?.jpg", "a_b_.checked.jpg"),
        ("new\nline\x1b[2J.jpg", "new_line_[2J.checked.jpg"),
        ("..jpg", "photo.checked.jpg"),
    ],
)
def test_names_are_made_safe(result: CheckResult, tmp_path: Path, name: str, file: str) -> None:
    written = write(replace(result, photo=replace(result.photo, name=name)), tmp_path / "out")
    assert written == tmp_path / "out" / file
