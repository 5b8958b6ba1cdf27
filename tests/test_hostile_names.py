"""Names and places made to harm: shown safely, written safely, never followed, nothing lost."""

from __future__ import annotations

import io
import json
import os
import stat
import subprocess
import sys
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from rigvision.cli.main import main
from rigvision.ground.shown import one_line

SHOWN = [
    pytest.param("a\nPASS\r\n.jpg", id="line breaks"),
    pytest.param("a\x1b[2J\x1b]0;owned\x07.jpg", id="terminal commands"),
    pytest.param("a\u202egpj.\u2066x\u200f.jpg", id="direction"),
    pytest.param("a\u2028b\u2029c.jpg", id="separators"),
    pytest.param("a\x9b31mred.jpg", id="C1 control"),
    pytest.param("x" * 240 + ".jpg", id="240 characters"),
    pytest.param("\N{GRINNING FACE}" * 60 + ".jpg", id="240 bytes of signs"),
    pytest.param("-rf.jpg", id="like an option"),
    pytest.param("caf\udce9.jpg", id="not UTF-8"),
    pytest.param("\udcff\udcfe\udc80", id="nothing but bytes"),
    pytest.param("%s{0}$(id)`id`;|&.jpg", id="of a shell"),
    pytest.param("CON.jpg", id="Windows' console"),
    pytest.param(" . .jpg", id="dots and blanks"),
]


def run(*arguments: str) -> tuple[int, str, str]:
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err), pytest.raises(SystemExit) as left:
        main(arguments)
    return int(left.value.code or 0), out.getvalue(), err.getvalue()


def wall(path: Path, shade: int = 120) -> Path:
    rng = np.random.default_rng(shade)
    grey = rng.normal(shade, 8, (300, 400)).clip(0, 255).astype(np.uint8)
    with path.open("wb") as file:
        Image.fromarray(grey).save(file, "JPEG")
    return path


def harmless(text: str) -> bool:
    return all(one_line(line) == line for line in text.split("\n"))


@pytest.mark.skipif(sys.platform != "linux", reason="other file systems refuse such names")
@pytest.mark.parametrize("name", SHOWN)
def test_a_hostile_name_is_shown_and_written_harmless(tmp_path: Path, name: str) -> None:
    path, out = wall(tmp_path / name), tmp_path / "out"
    code, shown, said = run("check", "--out", str(out), "--", str(path))
    assert code == 4
    assert shown.startswith("✖ RETAKE")
    assert harmless(shown)
    assert harmless(said)
    (written,) = out.iterdir()
    assert written.name.endswith(".checked.jpg")
    assert written.name.isprintable()
    assert len(os.fsencode(written.name)) < 255
    assert not written.name.upper().startswith("CON")
    code, shown, _ = run("check", "--json", "--", str(path))
    plain = json.loads(shown.encode("utf-8"))  # no lone surrogate went out
    assert one_line(plain["photo"]["name"]) == plain["photo"]["name"]
    assert len(plain["photo"]["name"]) <= 80


@pytest.mark.parametrize("encoding", ["utf-8", "ascii", "latin-1"])
def test_names_that_are_not_utf_8_come_through_any_terminal(tmp_path: Path, encoding: str) -> None:
    if sys.platform != "linux":
        pytest.skip("other file systems refuse such names")
    name = os.fsdecode(b"caf\xe9\xff.jpg")
    wall(tmp_path / name)
    for flag in ((), ("--json",)):
        done = subprocess.run(
            [sys.executable, "-m", "rigvision", "check", *flag, name, name + "missing"],
            cwd=tmp_path,
            capture_output=True,
            env=os.environ | {"PYTHONIOENCODING": encoding},
            check=False,
        )
        assert done.returncode == 1
        assert b"Traceback" not in done.stderr
        assert b"does not exist" in done.stderr
        if flag:
            assert len(json.loads(done.stdout.decode("ascii"))) == 2


# Where analysed images are written


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    return wall(tmp_path / "a.jpg")


def written_by(photo: Path, out: Path) -> tuple[int, str]:
    code, _, said = run("check", "--json", str(photo), "--out", str(out))
    return code, said


def test_a_link_planted_at_the_target_is_not_written_through(photo: Path, tmp_path: Path) -> None:
    precious = tmp_path / "precious"
    precious.write_text("precious")
    out = tmp_path / "out"
    out.mkdir()
    (out / "a.checked.jpg").symlink_to(precious)
    (out / "a-2.checked.jpg").symlink_to(tmp_path / "nowhere")
    assert written_by(photo, out)[0] == 4
    assert precious.read_text() == "precious"
    assert not (tmp_path / "nowhere").exists()
    assert (out / "a-3.checked.jpg").stat().st_size > 10_000
    assert (out / "a.checked.jpg").is_symlink()


def test_a_pipe_planted_at_the_target_is_not_waited_for(photo: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    os.mkfifo(out / "a.checked.jpg")
    (out / "a-2.checked.jpg").mkdir()
    assert written_by(photo, out)[0] == 4
    assert sorted(p.name for p in out.iterdir() if p.is_file()) == ["a-3.checked.jpg"]


def test_two_photos_of_one_name_from_two_folders_both_stay(tmp_path: Path) -> None:
    out = tmp_path / "out"
    photos = []
    for shade, folder in ((110, "door1"), (130, "door2")):
        (tmp_path / folder).mkdir()
        photos.append(str(wall(tmp_path / folder / "IMG_1.jpg", shade)))
    code, shown, _ = run("check", "--json", *photos, "--out", str(out))
    assert code == 4
    assert sorted(p.name for p in out.iterdir()) == ["IMG_1-2.checked.jpg", "IMG_1.checked.jpg"]
    told = {p["photo"]["sha256"].encode() for p in json.loads(shown)}
    heads = [p.read_bytes()[:4096] for p in out.iterdir()]
    assert all(any(sha in head for head in heads) for sha in told)


def test_names_that_differ_only_in_what_is_replaced_both_stay(tmp_path: Path) -> None:
    if sys.platform != "linux":
        pytest.skip("other file systems refuse such names")
    out = tmp_path / "out"
    photos = [str(wall(tmp_path / n, s)) for n, s in (("a\n.jpg", 110), ("a\r.jpg", 130))]
    run("check", "--json", *photos, "--out", str(out))
    assert len(list(out.iterdir())) == 2


def test_a_name_that_is_taken_at_the_last_moment_is_not_taken_away(
    photo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another program writes the same name between the look and the naming."""
    out = tmp_path / "out"
    out.mkdir()
    link = os.link

    def late(source: Any, target: Any) -> None:
        if Path(target).name == "a.checked.jpg":
            Path(target).write_text("theirs")
        link(source, target)

    monkeypatch.setattr(os, "link", late)
    written_by(photo, out)
    assert (out / "a.checked.jpg").read_text() == "theirs"
    assert (out / "a-2.checked.jpg").stat().st_size > 10_000


def test_where_there_are_no_hard_links_images_are_written_all_the_same(
    photo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def none(*_: Any) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", none)
    out = tmp_path / "out"
    for _ in range(2):
        written_by(photo, out)
    other = wall(tmp_path / "b.jpg", 140).rename(tmp_path / "out" / "a.jpg")
    written_by(other, out)
    names = sorted(p.name for p in out.iterdir())
    assert names == ["a-2.checked.jpg", "a.checked.jpg", "a.jpg"]


def test_a_folder_that_cannot_be_written_fails_but_the_result_is_printed(
    photo: Path, tmp_path: Path
) -> None:
    (tmp_path / "out").write_text("a file where the folder should be")
    code, said = written_by(photo, tmp_path / "out")
    assert code == 1
    assert "cannot be written" in said


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such limit")
def test_a_full_disk_leaves_no_half_file(photo: Path, tmp_path: Path) -> None:
    """A limit of 20 kB a file stands for the full disk: the system refuses in the same way."""
    out = tmp_path / "out"
    script = (
        "import resource, signal\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))\n"
        "from rigvision.cli.main import main\n"
        f"main(['check', '--json', {str(photo)!r}, '--out', {str(out)!r}])"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=False
    )
    assert done.returncode == 1, done.stderr
    assert json.loads(done.stdout)["verdict"] == "retake"
    assert "cannot be written" in done.stderr
    assert list(out.iterdir()) == []


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has other rights")
def test_an_image_has_the_rights_that_the_user_gives_new_files(photo: Path, tmp_path: Path) -> None:
    before = os.umask(0o027)
    try:
        written_by(photo, tmp_path / "out")
    finally:
        os.umask(before)
    mode = stat.S_IMODE((tmp_path / "out" / "a.checked.jpg").stat().st_mode)
    assert mode == 0o640
