"""The likeness of a checked photo, its copies, and the earlier records that it resembles."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from recorded.invented import check_body, job

import rigvision
from rigvision.evidence import Evidence
from rigvision.ground.errors import PhotoError
from rigvision.records.bodies import CheckCorrected, CheckRecorded, JobOpened, Likeness
from rigvision.records.canonical import canonical
from rigvision.records.flags import Checked, flags_of
from rigvision.records.ledger import Ledger
from rigvision.records.likeness import likeness_of
from rigvision.records.read_body import plain_of, read_body
from rigvision.records.resembling import resembling
from rigvision.records.sameness import compare
from rigvision.synthetic import Scene, ideal_scene
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge
from tests.photos import Photographer, camera_at, checked

SAMPLES = Path(__file__).parents[1] / "sample_images"
ELSEWHERE = {"tilt_deg": 19.0, "azimuth_deg": -130.0, "roll_deg": -8.0, "distance_mm": 245.0}


@pytest.fixture
def scene(gauge: Gauge, frame: Frame) -> Scene:
    return ideal_scene(gauge, frame, 0.85)


@pytest.fixture
def photo(shoot: Photographer, scene: Scene) -> Path:
    return shoot(scene, camera_at()).path


def likeness(path: Path) -> Likeness:
    made = likeness_of(rigvision.check(path, faces=True))
    assert made is not None
    return made


def saved(image: Image.Image, path: Path, quality: int = 85) -> Path:
    image.save(path, "JPEG", quality=quality)
    return path


def test_it_is_small_and_comes_back_from_canonical_json(photo: Path) -> None:
    made = likeness(photo)
    content = canonical(plain_of(made))
    assert len(content) < 6000
    assert set(made.patches) == {"sill", "door", "barrel"}
    assert set(made.figures) == {
        "gap_mm",
        "taper_mm",
        "lateral_mm",
        "tilt_deg",
        "seat_mm",
        "clock_deg",
    }
    again = Likeness(**json.loads(content))
    assert compare(made, again).kind == "same-photo"


def test_without_the_faces_the_photo_is_read_again(photo: Path) -> None:
    assert likeness_of(rigvision.check(photo)) == likeness(photo)


def test_a_photo_changed_since_has_no_likeness(photo: Path, tmp_path: Path) -> None:
    moved = tmp_path / "photo.jpg"
    moved.write_bytes(photo.read_bytes())
    result = rigvision.check(moved)
    saved(Image.open(photo), moved)
    with pytest.raises(PhotoError, match="no longer the file"):
        likeness_of(result)


def test_without_a_gauge_there_is_none(tmp_path: Path) -> None:
    path = saved(Image.new("RGB", (900, 700), (90, 90, 90)), tmp_path / "grey.jpg")
    result = rigvision.check(path, faces=True)
    assert likeness_of(result) is None
    assert isinstance(result.evidence, Evidence)
    assert result.evidence.faces is None


def test_copies_are_the_same_photo(photo: Path, tmp_path: Path) -> None:
    original, first = Image.open(photo).convert("RGB"), likeness(photo)
    w, h = original.size
    worked = {
        "recompressed": (original, 50),
        "smaller": (original.resize((w * 3 // 4, h * 3 // 4)), 80),
        "cut": (original.crop((40, 30, w - 25, h - 50)), 90),
        "stretched": (original.resize((w, round(h * 0.985))), 85),
        "turned": (original.transpose(Image.Transpose.ROTATE_270), 90),
        "askew": (original.rotate(2.0, Image.Resampling.BICUBIC, expand=True), 90),
        "brighter": (original.point(lambda v: min(255, int(1.2 * v) + 8)), 90),
    }
    for name, (image, quality) in worked.items():
        found = compare(first, likeness(saved(image, tmp_path / f"{name}.jpg", quality)))
        assert found.kind == "same-photo", name


def test_what_was_photographed_twice_and_what_was_moved(
    shoot: Photographer, scene: Scene, photo: Path
) -> None:
    first, elsewhere = likeness(photo), camera_at(**ELSEWHERE)
    again = likeness(shoot(scene, elsewhere).path)
    assert compare(first, again).kind == "same-setup"
    moved = replace(scene, gap_mm=1.0, clock_deg=scene.clock_deg + 36.0)
    assert compare(first, likeness(shoot(moved, elsewhere).path)).kind == "same-parts"
    other = likeness(shoot(scene, elsewhere, seed=2).path)
    assert compare(first, other).kind == "different"


@pytest.mark.parametrize("other", ["greasy-edges", "portrait"])
def test_a_path_traced_door_is_known_again(other: str) -> None:
    """Other light, another state, from another side; the metal and its scratches are the same."""
    first, second = (likeness_of(checked(SAMPLES / f"{n}.jpg")) for n in ("nominal", other))
    assert first is not None
    assert second is not None
    assert compare(first, second).kind == "same-parts"


def kept(ledger: Ledger, record: str, of: JobOpened, stage: Any, seen: Likeness) -> CheckRecorded:
    file = ledger.evidence.put(record.encode(), "image/jpeg", "photo.jpg")
    with ledger.writing() as writing:
        body = check_body(ledger, writing, file, file, record=record, of=of, stage=stage)
        writing.append(replace(body, likeness=seen))
    return body


def test_earlier_records_are_named(
    shoot: Photographer, scene: Scene, photo: Path, tmp_path: Path
) -> None:
    """One set-up of door 3, before; its copy and another photo of it are handed in for others."""
    copy = saved(Image.open(photo).convert("RGB"), tmp_path / "copy.jpg", 70)
    again = likeness(shoot(scene, camera_at(**ELSEWHERE)).path)
    other = likeness(shoot(scene, camera_at(**ELSEWHERE), seed=2).path)
    with Ledger.create(tmp_path / "ledger.sqlite3") as ledger:
        with ledger.writing() as writing:
            writing.append(job())
            writing.append(job("J-0002", door=4))
        kept(ledger, "AAAAAAAA", job(), "before", likeness(photo))
        kept(ledger, "BBBBBBBB", job("J-0002", door=4), "before", other)

        (found,) = resembling(ledger, likeness(copy))
        assert (found.record, found.sameness.kind) == ("AAAAAAAA", "same-photo")
        assert (found.place.engine, found.place.door, found.place.stage) == ("ENG-7", 3, "before")
        (found,) = earlier = resembling(ledger, again)
        assert (found.record, found.sameness.kind) == ("AAAAAAAA", "same-setup")
        assert resembling(ledger, None) == ()

        place = replace(found.place, job="J-0002", door=4)
        now = "2026-03-05T09:00:00.000000Z"
        (flag,) = flags_of(Checked(place, now, now, now), earlier)
        assert (flag.code, flag.record) == ("same-setup-other-door", "AAAAAAAA")

        with ledger.writing() as writing:
            writing.append(CheckCorrected("AAAAAAAA", "wrong door", "M. Ross"))
        assert resembling(ledger, again) == ()


def test_an_entry_gives_back_the_likeness(photo: Path, tmp_path: Path) -> None:
    made = likeness(photo)
    with Ledger.create(tmp_path / "ledger.sqlite3") as ledger:
        with ledger.writing() as writing:
            writing.append(job())
        kept(ledger, "AAAAAAAA", job(), None, made)
        entry = ledger.entry(ledger.head().count)
        assert entry is not None
        body = read_body(entry.kind, entry.body)
    assert isinstance(body, CheckRecorded)
    assert body.likeness == made
