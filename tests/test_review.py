"""A review's folder: built of what there is, built again of what has changed."""

from __future__ import annotations

import io
import json
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from rigvision.cli.main import main
from rigvision.records.ledger import Ledger
from rigvision.records.search import Wanted
from rigvision.training.review import build_review
from rigvision.training.same_door import same_door
from rigvision.training.shot import ShotFiles, shot_of_result
from rigvision.training.shot_pictures import ShownLayer, ShownPictures
from rigvision.training.shot_set import ShotSet, shots_of_folder, shots_of_ledger
from rigvision.training.similar import similar_earlier
from tests.half_size import half_size_file
from tests.saved_shots import job, judged, plain_result, saved


def run(*arguments: str) -> tuple[int, str, str]:
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err), pytest.raises(SystemExit) as done:
        main(list(arguments))
    return int(done.value.code or 0), out.getvalue(), err.getvalue()


@pytest.fixture
def ledger(tmp_path):
    with Ledger.create(tmp_path / "ledger.sqlite3") as made:
        yield made


def page(folder: Path, name: str = "index.html") -> str:
    return (folder / name).read_text(encoding="utf-8")


def test_an_empty_ledger_gives_a_page_that_says_how_to_begin(ledger, tmp_path):
    review = build_review(shots_of_ledger(ledger, Wanted()), tmp_path / "out")
    assert review.shots == 0
    assert "Nothing to review yet" in page(tmp_path / "out")
    assert "rigvision check PHOTO --job REF" in page(tmp_path / "out")


def test_a_photo_that_is_no_picture_leaves_a_sentence_and_the_figures(ledger, tmp_path):
    record = judged(ledger, "AAAA-AAAA", saved(0.4))
    build_review(shots_of_ledger(ledger, Wanted()), tmp_path / "out")
    shot = page(tmp_path / "out", f"shots/{record}.html")
    assert "is no longer what it was" in shot  # its hash is not the result's
    assert "0.90 ± 0.10 mm" in shot
    assert "edge definition" in shot


def test_a_retake_says_what_stands_in_the_way(ledger, tmp_path):
    record = judged(ledger, "AAAA-AAAA", saved())
    build_review(shots_of_ledger(ledger, Wanted()), tmp_path / "out")
    shot = page(tmp_path / "out", f"shots/{record}.html")
    assert "No figure was judged" in shot
    assert "No station was read." in shot
    assert "Take it again." in shot


@pytest.fixture
def results(tmp_path):
    """A half-size sample with a saved result that is of it, and one of which nothing is left."""
    from hashlib import sha256

    folder = tmp_path / "results"
    folder.mkdir()
    photo = half_size_file("nominal.jpg", folder, "<b>bold<b>.jpg")
    own = plain_result(0.97)
    own["photo"] |= {
        "name": photo.name,
        "sha256": sha256(photo.read_bytes()).hexdigest(),
        "width_px": 2000,
        "height_px": 1500,
    }
    (folder / "own.json").write_text(json.dumps([own, plain_result(0.5)]))
    (folder / "broken.json").write_text("{")
    return folder


def test_a_folder_of_results_finds_photos_by_hash(results, tmp_path):
    shots = shots_of_folder(results)
    assert len(shots.shots) == 2
    assert len(shots.complaints) == 1
    review = build_review(shots, tmp_path / "out")
    assert (review.shots, review.made, review.without_photo) == (2, 2, 1)
    assert len(list((tmp_path / "out" / "pictures").glob("*-photo.jpg"))) == 1
    assert "&lt;b&gt;bold&lt;b&gt;.jpg" in page(tmp_path / "out")


def test_a_second_build_makes_only_what_is_new_and_mends_what_is_gone(results, tmp_path):
    out = tmp_path / "out"
    build_review(shots_of_folder(results), out)
    (small,) = (out / "pictures").glob("*-small.jpg")
    before = small.stat().st_mtime_ns
    again = build_review(shots_of_folder(results), out)
    assert again.made == 1  # the one without a photo is asked for again
    assert small.stat().st_mtime_ns == before
    small.unlink()
    assert build_review(shots_of_folder(results), out).made == 2
    assert small.is_file()


def test_processes_make_the_same_pictures(results, tmp_path):
    one = shots_of_folder(results).shots
    photo = next(s for s in one if s.files.photo)
    many = [replace(photo, key=f"S-{at:04d}") for at in range(12)]
    told: list[tuple[int, int]] = []
    shots = ShotSet(tuple(many), "here", from_ledger=False)
    build_review(shots, tmp_path / "a", workers=2, progress=lambda *at: told.append(at))
    build_review(ShotSet((many[0],), "here", from_ledger=False), tmp_path / "b", workers=1)
    kept = {p.read_bytes() for p in (tmp_path / "a" / "pictures").glob("*-gap.jpg")}
    assert kept == {p.read_bytes() for p in (tmp_path / "b" / "pictures").glob("*-gap.jpg")}
    assert told == [(at, 12) for at in range(1, 13)]


def test_a_manifest_that_names_other_files_is_not_believed(results, tmp_path):
    """It lies in a folder that anybody may have handed over."""
    out = tmp_path / "out"
    build_review(shots_of_folder(results), out)
    text = (out / "rigvision-pages.json").read_text()
    (out / "rigvision-pages.json").write_text(text.replace("pictures/S-", "../S-"))
    assert build_review(shots_of_folder(results), out).made == 2


def test_the_command_builds_pages_and_notes_rulings(ledger, tmp_path):
    record = judged(ledger, "AAAA-AAAA", saved(0.4))
    where = ("--ledger", str(ledger.path))
    code, out, _ = run("review", *where, "--out", str(tmp_path / "out"))
    assert code == 0
    assert "index.html" in out
    ruling = ("--ruling", "retake", "--by", "T. Rainer", "--text", "grain at <x = 12>")
    code, out, _ = run("review", "note", record, *where, *ruling)
    assert (code, "ruled retake" in out) == (0, True)
    code, out, _ = run("review", *where, "--out", str(tmp_path / "out"), "--json")
    assert json.loads(out)["shots"] == 1
    shot = page(tmp_path / "out", f"shots/{record}.html")
    assert "grain at &lt;x = 12&gt;" in shot
    assert "T. Rainer" in shot


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["--out", "{}/out", "{}/none"], 2, "no folder"),
        (["--out", "{}/out", "{}", "--job", "J-1"], 2, "either the folder or"),
        (["--out", "{}"], 2, "something else"),
        (["note", "AAAA-AAAA", "--ruling", "pass", "--text", "why", "--by", "T"], 2, "no record"),
    ],
)
def test_wrong_usage_is_a_sentence(ledger, tmp_path, monkeypatch, arguments, code, words):
    monkeypatch.setenv("RIGVISION_LEDGER", str(ledger.path))
    found, _, err = run("review", *(a.replace("{}", str(tmp_path)) for a in arguments))
    assert (found, words in err) == (code, True), err


def shown(light: tuple[float, float, float]) -> ShownPictures:
    layer = ShownLayer("a.jpg", 1, 1, (1.0, 0.0, 0.0, 1.0, 0.0, 0.0))
    return ShownPictures(1.0, 1.0, layer, None, None, False, None, (), "a.jpg", light)


def test_similar_shots_are_earlier_ones_nearest_first_and_never_the_same_photo():
    def shot(at: int, photo: str, p: float):
        made = saved(p, photo=plain_result()["photo"] | {"sha256": photo * 64, "name": f"{at}.jpg"})
        return replace(shot_of_result(made, ShotFiles()), taken_at=f"2026-01-{at:02d}T00:00:00")

    dark, bright, copy, newest, later = (
        shot(1, "a", 0.9),
        shot(2, "b", 0.9),
        shot(3, "d", 0.8),
        shot(4, "d", 0.9),
        shot(5, "e", 0.9),
    )
    light = {dark.key: 0.1, bright.key: 0.45, copy.key: 0.5, newest.key: 0.5, later.key: 0.5}
    pictures = {key: shown((mean, 0.2, 1.0)) for key, mean in light.items()}
    found = similar_earlier([dark, bright, copy, newest, later], pictures)
    assert [s.shot.key for s in found[newest.key]] == [bright.key, dark.key]
    assert found[dark.key] == ()


def test_a_door_is_compared_with_the_last_of_the_other_stage_that_counts():
    def shot(name: str, stage: str | None, of: str = "J-0001", **more):
        made = saved(0.5, photo=plain_result()["photo"] | {"name": name})
        return replace(
            shot_of_result(made, ShotFiles()), stage=stage, job=job(of), status="recorded", **more
        )

    first, second, after, wrong = (
        shot("1", "before"),
        shot("2", "before"),
        shot("3", "after"),
        shot("4", "after"),
    )
    wrong = replace(wrong, status="corrected")
    elsewhere = replace(shot("5", "before"), job=job("J-0002", door=4))
    doors = same_door([first, second, after, wrong, elsewhere])
    assert (doors[after.key].before, doors[after.key].after) == (second, after)
    assert (doors[first.key].before, doors[first.key].after) == (first, after)
    assert doors[elsewhere.key].others == ()
    assert any(row.name == "Gap" for row in doors[after.key].rows)


def test_the_campaign_measures_what_it_says(tmp_path):
    """Two shots of one sample: nothing is said of the aims, but all figures are there."""
    from recorded.review import ReviewCost, fill, table

    path = tmp_path / "ledger.sqlite3"
    photo = half_size_file("nominal.jpg", tmp_path)
    assert fill(path, [photo], 2) == photo.stat().st_size
    with Ledger.open(path, read_only=True) as ledger:
        shots = shots_of_ledger(ledger, Wanted())
    assert shots.complaints == ()
    review = build_review(shots, tmp_path / "out", workers=1)
    assert (review.shots, review.made, review.without_photo) == (2, 2, 0)
    assert len(list((tmp_path / "out" / "pictures").glob("*-gap.jpg"))) == 2
    cost = ReviewCost(2, 1, 1.0, 1.0, 0.5, 5e5, 4e5, 5000, None, None)
    assert "| 0.40 MB | under 1 MB |" in table(cost)


def test_a_strangers_photo_is_read_in_a_locked_down_process(results, tmp_path):
    (photo,) = (s for s in shots_of_folder(results).shots if s.files.photo)
    plain = ShotSet((photo,), "here", from_ledger=False)
    guarded = replace(photo, files=replace(photo.files, guarded=True))
    build_review(plain, tmp_path / "a", workers=1)
    review = build_review(ShotSet((guarded,), "here", from_ledger=False), tmp_path / "b", workers=1)
    assert review.without_photo == 0
    pictures = [next((tmp_path / f / "pictures").glob("*-small.jpg")) for f in "ab"]
    first, second = (np.asarray(Image.open(p)).astype(int) for p in pictures)
    assert np.abs(first - second).mean() < 1.0
