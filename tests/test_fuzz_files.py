"""Whatever stands in a file, reading it ends in a value or in a sentence, never in anything else.

The same examples in every run (the profile in ``conftest``). ``scripts/fuzz_inputs`` goes on for
as long as wanted, led by what the code does.
"""

from __future__ import annotations

import importlib
import io
import json
from collections.abc import Callable
from functools import cache
from itertools import pairwise
from pathlib import Path
from random import Random

import numpy as np
import pytest
from broken.damage import DAMAGES, chunks, damaged
from fuzz.exported import exported
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from rigvision.ground.errors import ModelError, PhotoError, RigvisionError, SavedResultError
from rigvision.ground.shown import one_line
from rigvision.photo.picture import Picture, picture_of
from rigvision.records.verify_file import verify_bytes
from rigvision.report.saved_result import parse_saved
from rigvision.world.camera import Camera
from rigvision.world.catalogue import shipped_models_folder
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge
from rigvision.world.model import read_model

FORMS = ("jpeg", "jpeg progressive", "mpo", "png", "png 16 bit", "tiff", "webp", "heic")
MODELS = {Gauge: "gauges/RG-10", Frame: "frames/DF-10", Camera: "cameras/generic-phone"}


@cache
def whole(form: str) -> bytes:
    """A picture of 300 x 250 with EXIF, some 10 kB."""
    y, x = np.mgrid[:250, :300]
    grey = (60 + 0.3 * x + 0.2 * y + 20 * np.sin(x / 9.0)).astype(np.uint8)
    image = Image.fromarray(np.dstack([grey, grey[:, ::-1], grey]))
    out, exif = io.BytesIO(), Image.Exif()
    exif[0x0112], exif[0x0110] = 6, "Lumora F5"
    exif.get_ifd(0x8769)[0xA405] = 26
    if form == "png 16 bit":
        Image.fromarray(257 * grey.astype(np.uint16)).save(out, "PNG")
    elif form == "heic":
        from pillow_heif import from_pillow

        from_pillow(image).save(out, quality=80, exif=exif.tobytes())
    elif form == "mpo":
        image.save(out, "MPO", save_all=True, append_images=[image])
    elif form == "jpeg progressive":
        image.save(out, "JPEG", progressive=True, exif=exif)
    else:
        image.save(out, form.upper(), exif=exif)
    return out.getvalue()


def is_sentence(error: RigvisionError) -> bool:
    """One line that can be shown, with something to do, and no library's whole inside."""
    return one_line(str(error)) == str(error) and bool(error.remedy) and len(str(error)) < 3000


def a_picture_or_a_sentence(data: bytes) -> None:
    found = _or_error(lambda: picture_of(Path("file"), data), PhotoError)
    if isinstance(found, PhotoError):
        assert is_sentence(found)
        assert "file" in found.text
        return
    assert isinstance(found, Picture)
    assert found.luma.ndim == 2
    assert found.luma.dtype in (np.uint8, np.uint16)


@pytest.mark.parametrize("form", FORMS)
@settings(max_examples=25)
@given(number=st.integers(0, 10**9))
def test_a_damaged_file_is_a_picture_or_a_sentence(form: str, number: int) -> None:
    others = [whole(name) for name in FORMS if name != form]
    a_picture_or_a_sentence(damaged(whole(form), str(number), others)[1])


@pytest.mark.parametrize("form", FORMS)
def test_a_file_cut_anywhere_is_a_picture_or_a_sentence(form: str) -> None:
    data = whole(form)
    for length in sorted({*range(0, 64, 3), *range(64, len(data), len(data) // 25)}):
        a_picture_or_a_sentence(data[:length])


@settings(max_examples=100)
@given(
    st.sampled_from(
        [b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"II*\0", b"MM\0*", b"RIFF\x10\0\0\0WEBP", b""]
    ),
    st.binary(max_size=400),
)
def test_any_bytes_behind_a_known_beginning(beginning: bytes, rest: bytes) -> None:
    a_picture_or_a_sentence(beginning + rest)


@settings(max_examples=60)
@given(st.binary(max_size=300), st.sampled_from([b"MM\0*\0\0\0\x08", b"II*\0\x08\0\0\0"]))
def test_any_exif_is_facts_within_bounds_or_none(blob: bytes, header: bytes) -> None:
    out = io.BytesIO()
    Image.new("L", (300, 250)).save(out, "JPEG", exif=b"Exif\0\0" + header + blob)
    found = picture_of(Path("file"), out.getvalue()).exif
    assert 1 <= found.orientation <= 8
    assert found.camera_name is None or one_line(found.camera_name) == found.camera_name
    assert found.focal_35mm is None or 0 < found.focal_35mm < 1000


def _or_error(read: Callable[[], object], wanted: type[RigvisionError]) -> object:
    """What was read, or the error of the one kind that is allowed."""
    try:
        return read()
    except wanted as error:
        return error


# Models


@cache
def source(kind: type) -> str:
    return (shipped_models_folder() / f"{MODELS[kind]}.toml").read_text(encoding="utf-8")


def a_model_or_a_sentence(kind: type, path: Path, content: bytes) -> None:
    path.write_bytes(content)
    found = _or_error(lambda: read_model(path, kind), ModelError)
    assert is_sentence(found) if isinstance(found, ModelError) else isinstance(found, kind)


@pytest.mark.parametrize("kind", list(MODELS))
@settings(max_examples=60)
@given(data=st.data())
def test_a_model_with_other_values_is_a_model_or_a_sentence(
    tmp_path_factory: pytest.TempPathFactory, kind: type, data: st.DataObject
) -> None:
    odd = st.sampled_from(
        ["1e999", "-0.0", "nan", "0x" + "f" * 300, '"\\u202e"', "[[[]]]", "{}", "1979-05-27", "''"]
    )
    number = st.floats(allow_nan=True).map(repr) | st.integers().map(str)
    lines = source(kind).splitlines()
    for _ in range(data.draw(st.integers(1, 3))):
        at = data.draw(st.sampled_from([i for i, line in enumerate(lines) if " = " in line]))
        key = lines[at].partition(" = ")[0]
        lines[at] = f"{key} = {data.draw(odd | number)}"
    path = tmp_path_factory.mktemp("model") / "m.toml"
    a_model_or_a_sentence(kind, path, "\n".join(lines).encode())


@settings(max_examples=60)
@given(number=st.integers(0, 10**9), kind=st.sampled_from(list(MODELS)))
def test_a_damaged_model_is_a_model_or_a_sentence(
    tmp_path_factory: pytest.TempPathFactory, number: int, kind: type
) -> None:
    path = tmp_path_factory.mktemp("model") / "m.toml"
    text = source(kind).encode()
    a_model_or_a_sentence(kind, path, damaged(text, str(number), [text])[1])


# Saved results

PRINTED = {
    "schema": "rigvision.check/1",
    "photo": {"name": "a", "sha256": "0" * 64, "width_px": 1, "height_px": 1, "taken_at": None},
    "gauge": None,
    "frame": None,
    "door": None,
    "camera": "generic-phone",
    "verdict": "retake",
    "borderline": False,
    "reasons": [{"code": "no-gauge", "text": "No.", "remedy": "Go."}],
    "gap": None,
    "yoke": {},
    "turns": {
        "value": None,
        "expanded_uncertainty": None,
        "direction": None,
        "source": None,
        "instruction": "",
    },
    "uncertainty_budget": [],
    "view": {"distance_mm": None, "tilt_deg": None, "px_per_mm": None, "marks_found": []},
    "version": "0",
}


def test_the_printed_result_that_is_changed_here_is_one() -> None:
    assert len(parse_saved(json.dumps(PRINTED).encode())) == 1


def a_result_or_a_sentence(content: bytes) -> None:
    found = _or_error(lambda: parse_saved(content), SavedResultError)
    assert is_sentence(found) if isinstance(found, SavedResultError) else isinstance(found, list)


_JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner),
    max_leaves=12,
)


@settings(max_examples=100)
@given(value=_JSON, key=st.sampled_from(sorted(PRINTED)))
def test_a_result_with_anything_for_a_value_is_a_result_or_a_sentence(
    value: object, key: str
) -> None:
    a_result_or_a_sentence(json.dumps(PRINTED | {key: value}).encode())


@settings(max_examples=100)
@given(number=st.integers(0, 10**9))
def test_a_damaged_result_is_a_result_or_a_sentence(number: int) -> None:
    text = json.dumps(PRINTED).encode()
    a_result_or_a_sentence(damaged(text, str(number), [text])[1])


# The damage itself


@pytest.mark.parametrize("form", FORMS)
def test_a_formats_parts_follow_each_other_in_the_file(form: str) -> None:
    data = whole(form)
    spans = chunks(data)
    assert len(spans) >= 2
    assert all(a[1] == b[0] for a, b in pairwise(spans))
    assert spans[-1][1] <= len(data)


def test_damage_is_repeatable_and_every_kind_of_it_happens() -> None:
    data = whole("png")
    made = [damaged(data, str(n), [whole("jpeg")]) for n in range(400)]
    assert made == [damaged(data, str(n), [whole("jpeg")]) for n in range(400)]
    assert {name for name, _ in made} == set(DAMAGES)
    assert all(changed != data for _, changed in made)


def test_a_truncated_file_is_a_beginning_of_the_whole_one() -> None:
    data = bytearray(range(256)) * 40
    for seed in range(20):
        cut = bytearray(data)
        DAMAGES["truncated"](cut, Random(seed))
        assert data.startswith(cut)
        assert len(cut) < len(data)


def test_what_the_fuzzing_of_exports_starts_from_is_whole() -> None:
    """Else it would only ever look at how faults are found."""
    for form, content in exported().items():
        assert verify_bytes(content, form).outcome == "intact"
        importlib.import_module(f"fuzz.{form}").try_bytes(content)
