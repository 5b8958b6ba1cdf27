"""Model files made to harm: each is refused at once, in a sentence, wherever it lies."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

from rigvision.cli.main import main
from rigvision.ground.errors import ModelError, UsageError
from rigvision.world import model as module
from rigvision.world.camera import Camera
from rigvision.world.catalogue import load, load_all, names, shipped_models_folder
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge

GAUGE = (shipped_models_folder() / "gauges" / "RG-10.toml").read_text(encoding="utf-8")
CAMERA = (shipped_models_folder() / "cameras" / "generic-phone.toml").read_text(encoding="utf-8")


def refused(path: Path, content: str | bytes, kind: type = Camera) -> str:
    """What is said of such a file, within a second or two."""
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    start = time.process_time()
    with pytest.raises(ModelError) as caught:
        load(kind, str(path))
    assert time.process_time() - start < 3.0
    said = caught.value.text
    assert path.name in said
    assert said.endswith(".")
    assert len(said) < 2500
    assert said.isprintable()
    return said


DEEP = {
    "arrays": ("x = " + "[" * 100_000, "nested"),
    "arrays as deep as the parser goes": ("x = " + "[" * 150 + "]" * 150, "nested more than 8"),
    "inline tables": ("x = " + "{a = " * 200 + "1" + "}" * 200, "nested more than 8"),
    "dotted key": (".".join("a" * 60_000) + " = 1", "more than 8 parts"),
    "quoted key": (" . ".join(["'a'"] * 40_000) + " = 1", "more than 8 parts"),
    "dotted table": ("[" + ".".join("a" * 60_000) + "]", "more than 8 parts"),
    "dotted tables": ("[[" + ".".join("a" * 60_000) + "]]", "more than 8 parts"),
    "dotted inline key": ("x = {a = 1, " + ".".join("a" * 60_000) + " = 1}", "more than 8 parts"),
    "keys under a deep table": (
        "[a.a.a.a.a.a.a.a]\n" + "\n".join(f"{i}.b.c.d.e.f.g.h = 1" for i in range(9_000)),
        "nested more than 8",
    ),
    "escapes": ('x = "' + "\\n" * 120_000 + '"', "is missing"),
    "lines of text": ('x = """' + "\\\n" * 120_000 + '"""', "is missing"),
    "quotes without end": ("'" * 250_000, "not valid TOML"),
    "dots": ("." * 250_000, "not valid TOML"),
    "many values": ("x = [" + "1," * 100_000 + "]", "more than 5000 values"),
    "many keys": ("\n".join(f"k{i} = 1" for i in range(20_000)), "more than 5000 values"),
    "many tables": ("\n".join(f"[t{i}]" for i in range(20_000)), "more than 5000 values"),
}


@pytest.mark.parametrize("what", DEEP)
def test_more_or_deeper_than_a_model_is_refused(tmp_path, what):
    content, said = DEEP[what]
    assert said in refused(tmp_path / "deep.toml", content)


NUMBERS = {
    "1e999": ("1e999", ["default_35mm", "finite"]),
    "a long decimal": ("9" * 100_000, ["not valid TOML"]),
    "a long hexadecimal": ("0x" + "f" * 200_000, ["default_35mm", "more than 77 digits"]),
    "more than a float holds": ("1" + "0" * 400, ["default_35mm", "more than 77 digits"]),
    "nan": ("nan", ["default_35mm", "finite"]),
    "a date": ("2026-02-03", ["default_35mm", "valid number"]),
    "no date": ("2026-02-31", ["not valid TOML"]),
    "a long text": ('"' + "x" * 200_000 + '"', ["default_35mm", "xxx", "valid number"]),
    "a text with commands": ('"\\u001b[2J\\u202e\\nPASS"', ["default_35mm", "valid number"]),
    "a long list": ("[" + "1.0," * 4_000 + "]", ["default_35mm", "4000 values"]),
}


@pytest.mark.parametrize("what", NUMBERS)
def test_a_monstrous_value_is_refused_without_being_shown_whole(tmp_path, what):
    value, named = NUMBERS[what]
    old = "default_35mm = 26.0"
    assert CAMERA.count(old) == 1
    said = refused(tmp_path / "n.toml", CAMERA.replace(old, f"default_35mm = {value}"))
    assert [n for n in named if n not in said] == [], said


@pytest.mark.parametrize("value", ["0x" + "f" * 200_000, "1" + "0" * 400, "1e999", "-1e999"])
@pytest.mark.parametrize("old", ["tag_id = 108", "axis_y_mm = -20.0", "thermal_expansion"])
def test_a_number_out_of_all_bounds_is_refused_whatever_it_is_for(tmp_path, value, old):
    line = next(line for line in GAUGE.splitlines() if line.startswith(old))
    changed = f"{line.partition('=')[0]}= {value}"
    refused(tmp_path / "n.toml", GAUGE.replace(line, changed), Gauge)


KEYS = {
    "200 000 characters": '"' + "k" * 200_000 + '" = 1',
    "terminal commands": '"\\u001b[2J" = 1',
    "line break": '"a\\nb" = 1',
    "right to left": '"\\u202ecba" = 1',
    "empty": '"" = 1',
}


@pytest.mark.parametrize("what", KEYS)
def test_an_odd_key_is_refused_and_shown_harmless(tmp_path, what):
    assert "not known" in refused(tmp_path / "k.toml", f"{KEYS[what]}\n{CAMERA}")


def test_thousands_of_unknown_keys_are_counted_but_not_all_compared(tmp_path):
    keys = "\n".join(f"default_35mm_{i} = 1" for i in range(4_000))
    said = refused(tmp_path / "k.toml", keys)
    assert f"and {4_000 + 6 - module.MOST_COMPLAINTS} more" in said


@pytest.mark.parametrize(
    ("content", "said"),
    [
        pytest.param(b"\0" * 100, "not valid TOML", id="NUL"),
        pytest.param(CAMERA.replace("\n", "\r").encode(), "not valid TOML", id="old Mac line ends"),
        pytest.param(CAMERA.replace("\n", "\u2028").encode(), "", id="line separators"),
        pytest.param(b"\xef\xbb\xbf" * 2 + CAMERA.encode(), "not valid TOML", id="BOM twice"),
        pytest.param(b"\xed\xa0\x80 = 1", "UTF-8", id="surrogate"),
        pytest.param(b'a = "\xff"', "UTF-8", id="no UTF-8"),
        pytest.param(CAMERA.replace("\n", "\n[focal]\n", 1).encode() * 2, "TOML", id="twice"),
    ],
)  # fmt: skip
def test_bytes_that_are_no_toml_are_refused(tmp_path, content, said):
    assert said in refused(tmp_path / "b.toml", content)


@pytest.mark.parametrize("change", [lambda t: "\ufeff" + t, lambda t: t.replace("\n", "\r\n")])
def test_what_windows_editors_write_is_read(tmp_path, change):
    path = tmp_path / "camera.toml"
    path.write_bytes(change(CAMERA).encode())
    assert load(Camera, str(path)) == load(Camera, "generic-phone")


# What lies under the name


def test_a_pipe_or_device_is_refused_instead_of_read(tmp_path):
    os.mkfifo(tmp_path / "pipe.toml")
    (tmp_path / "zero.toml").symlink_to("/dev/zero")
    (tmp_path / "loop.toml").symlink_to("loop.toml")
    (tmp_path / "gone.toml").symlink_to("nowhere")
    for name, said in {
        "pipe.toml": "not an ordinary file",
        "zero.toml": "not an ordinary file",
        "loop.toml": "symbolic links",
        "gone.toml": "No such file",
    }.items():
        with pytest.raises(ModelError, match=said):
            load(Gauge, str(tmp_path / name))


def test_a_link_to_a_model_is_read(tmp_path):
    (tmp_path / "real.toml").write_text(CAMERA, encoding="utf-8")
    (tmp_path / "link.toml").symlink_to("real.toml")
    assert load(Camera, str(tmp_path / "link.toml")).name == "generic-phone"


@pytest.mark.parametrize("name", ["a\0b.toml", "x" * 400 + ".toml", "a\nb\x1b[2J.toml"])
def test_a_name_that_no_file_has_is_refused_on_one_line(tmp_path, name):
    with pytest.raises(ModelError) as caught:
        load(Gauge, f"{tmp_path}/{name}")
    assert caught.value.text.isprintable()
    assert "TOML" not in caught.value.text


@pytest.mark.parametrize(
    "name", ["../gauges/RG-10", "RG-10\n", "", ".", "/etc/passwd", "RG-10\0", "x" * 5000, "\udcff"]
)
def test_a_name_is_looked_up_and_never_followed(name):
    with pytest.raises(UsageError) as caught:
        load(Gauge, name)
    assert caught.value.code == "unknown-gauge"
    assert caught.value.text.isprintable()
    assert "RG-10" in caught.value.remedy
    assert len(str(caught.value)) < 500


# RIGVISION_MODELS


def test_a_models_folder_that_is_none_is_named(tmp_path, monkeypatch, capsys):
    (tmp_path / "file").write_text("x")
    os.mkfifo(tmp_path / "pipe")
    for place in (tmp_path / "file", tmp_path / "pipe", tmp_path / "nowhere"):
        monkeypatch.setenv("RIGVISION_MODELS", str(place))
        with pytest.raises(ModelError, match=r"RIGVISION_MODELS is .*, which is no folder"):
            load_all(Gauge)
        with pytest.raises(SystemExit) as left:
            main(["check", "a.jpg"])
        assert left.value.code == 1
        assert str(place) in capsys.readouterr().err


def test_an_empty_models_folder_has_no_models(tmp_path, monkeypatch):
    monkeypatch.setenv("RIGVISION_MODELS", str(tmp_path))
    assert names(Frame) == []
    with pytest.raises(UsageError, match="none"):
        load(Camera, "generic-phone")


def test_odd_entries_of_a_models_folder_are_named_not_followed(tmp_path, monkeypatch):
    """A pipe among the gauges would otherwise be waited for as soon as any photo is looked at."""
    (tmp_path / "gauges").mkdir()
    os.mkfifo(tmp_path / "gauges" / "A\x1b[2J.toml")
    monkeypatch.setenv("RIGVISION_MODELS", str(tmp_path))
    with pytest.raises(ModelError, match="not an ordinary file") as caught:
        load_all(Gauge)
    assert caught.value.text.isprintable()
