"""SECURITY.md states limits; they are the program's own."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from rigvision.cli import passphrases
from rigvision.photo.decoding_process import GuardTuning
from rigvision.photo.limits import LIMITS
from rigvision.records import page_file, person_key, record_export, stored_zip
from rigvision.report import saved_result
from rigvision.training import answers, quiz
from rigvision.world import model, network

DOCUMENT = (Path(__file__).parent.parent / "SECURITY.md").read_text(encoding="utf-8")
GUARD = GuardTuning()

HELD = {
    "a photo's file": f"{LIMITS.file_bytes / 1e6:g} MB",
    "its pixels": f"{LIMITS.pixels / 1e6:g} megapixels",
    "its shorter side, at least": f"{LIMITS.shorter_side_px} px",
    "EXIF block": f"{LIMITS.exif_bytes / 1e6:g} MB",
    "colour profile": f"{LIMITS.profile_bytes / 1e6:g} MB",
    "passes of a progressive JPEG": f"{LIMITS.jpeg_scans}",
    "chunks of a PNG": f"{LIMITS.png_chunks}",
    "tags of a TIFF": f"{LIMITS.tiff_tags}",
    "pictures in a PNG or WebP": "1",
    "guarded: memory of the child process": f"{GUARD.memory_bytes / 2**30:g} GiB",
    "guarded: processor time for one photo": f"{GUARD.cpu_s} s",
    "guarded: time by the clock for one photo": f"{GUARD.wall_s:g} s",
    "guarded: photos of one call in one child": f"{GUARD.photos_per_child}",
    "a model file": f"{model.MAX_MODEL_BYTES // 1024} KiB",
    "its values": f"{model.MAX_VALUES}",
    "its depth, and the parts of a key": f"{model.MAX_DEPTH}",
    "the network's file": f"{network.MAX_BYTES / 1e6:g} MB",
    "the network, unpacked": f"{network.MAX_UNPACKED_BYTES / 1e6:g} MB",
    "a file of saved results": f"{saved_result.MAX_SAVED_BYTES / 1e6:g} MB",
    "its depth": f"{saved_result.MAX_SAVED_DEPTH}",
    "a record that comes back": f"{record_export.MAX_BYTES / 1e6:g} MB",
    "a page": f"{page_file.MAX_BYTES / 1e6:g} MB",
    "a bundle": f"{stored_zip.MAX_BYTES / 1e6:g} MB",
    "its files": f"{stored_zip.MAX_FILES}",
    "a file of answers": f"{answers.MOST_BYTES / 1e6:g} MB",
    "a quiz": f"{quiz.MOST_BYTES / 1e6:g} MB",
    "a person's key file": f"{person_key.MAX_KEY_BYTES // 1024} KiB",
    # scrypt takes 128 r N bytes, with r = 8 (RFC 7914, 2, from memory)
    "memory that opening it may take": f"{128 * 8 * 2**person_key.MOST_COST // 2**20} MiB",
    "a file with a passphrase": f"{passphrases.MAX_BYTES // 1024} KiB",
}


def stated() -> dict[str, str]:
    (block,) = re.findall(r"<!-- limits -->\n(.*?)<!-- /limits -->", DOCUMENT, re.DOTALL)
    rows = [line.strip("| ").split(" | ") for line in block.splitlines()[2:]]
    return dict(rows)


def test_every_limit_is_stated_and_no_other() -> None:
    assert list(stated()) == list(HELD)


@pytest.mark.parametrize("what", HELD)
def test_a_stated_limit_is_the_programs(what: str) -> None:
    assert stated()[what] == HELD[what]


def test_oldest_libraries_are_those_that_are_asked_for() -> None:
    """Older ones carry known flaws; a relaxed requirement must not slip in."""
    wanted = (Path(__file__).parent.parent / "pyproject.toml").read_text(encoding="utf-8")
    for library, shown in (("pillow", "Pillow"), ("pillow-heif", "pillow-heif")):
        (oldest,) = re.findall(rf'"{library}>=([\d.]+)"', wanted)
        assert f"{shown} {oldest}" in DOCUMENT
