"""Photos decoded in a child: the same pictures, and no way out for whatever is in them."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import fields
from pathlib import Path

import numpy as np
import pillow_heif
import pytest
from PIL import Image, ImageCms
from PIL.PngImagePlugin import PngInfo

import rigvision
from rigvision.ground.errors import PhotoError, UsageError
from rigvision.photo import decoding_process
from rigvision.photo.decoding_process import DecodingProcess, GuardTuning
from rigvision.photo.guarded_picture import GuardedReader
from rigvision.photo.picture import Picture, read_colour, read_picture
from rigvision.report import analysed_image

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such limits")

#: What a child that plays a taken-over decoder does after it was locked down; it can use all
#: that a real one has loaded. It answers the first request whatever it asked.
HOSTILE = """
import ctypes, json, os, resource, signal, socket, struct, subprocess, sys, time
from rigvision.photo.lockdown import lock_down
def answer(header, pixels=b""):
    text = header if isinstance(header, bytes) else json.dumps(header).encode()
    os.write(1, struct.pack("<I", len(text)) + text + pixels)
holds = lock_down({memory}, 30)
answer({{"holds": holds}})
os.read(0, 1)
def tried(what):
    try:
        return what() and "done"
    except BaseException as error:
        return type(error).__name__ + ": " + str(error)
{body}
while os.read(0, 65536):
    pass
"""


@pytest.fixture(scope="module")
def reader() -> Iterator[GuardedReader]:
    with GuardedReader() as shared:
        yield shared


@pytest.fixture
def hostile(monkeypatch: pytest.MonkeyPatch) -> Callable[..., DecodingProcess]:
    """Starts a child that runs this after the lockdown instead of decoding."""

    def start(body: str, **tuning: float) -> DecodingProcess:
        chosen = GuardTuning(**{"wall_s": 30.0} | tuning)  # type: ignore[arg-type]
        code = HOSTILE.format(memory=chosen.memory_bytes, body=body)
        package = str(Path(rigvision.__file__).parent.parent)
        command = [sys.executable, "-c", f"import sys; sys.path.insert(0, {package!r})\n{code}"]
        monkeypatch.setattr(decoding_process, "_command", lambda _: command)
        return DecodingProcess(chosen)

    return start


def _linear_light() -> PngInfo:
    """A gAMA chunk that says 1.0, times 100 000 (PNG specification, 11.3.3.2)."""
    info = PngInfo()
    info.add(b"gAMA", (100_000).to_bytes(4, "big"))
    return info


def photo(kind: str, **options: object) -> bytes:
    """A picture without symmetry, of 16 bits a channel where the format has them."""
    y, x = np.mgrid[:250, :320]
    rgb = np.dstack([40 + 0.3 * x, 60 + 0.2 * y, 30 + 0.1 * x + 0.2 * y]).astype(np.uint8)
    out = io.BytesIO()
    exif = Image.Exif()
    exif[0x0112] = 6
    exif[0x0110] = "Lumora F5"
    exif.get_ifd(0x8769)[0xA405] = 26
    exif.get_ifd(0x8769)[0x9003] = "2026:03:02 08:15:30"
    if kind == "DEEP":
        Image.fromarray(257 * rgb[:, :, 0].astype(np.uint16)).save(out, "PNG")
    elif kind == "GAMMA":
        image = Image.fromarray(257 * rgb[:, :, 0].astype(np.uint16))
        image.save(out, "PNG", pnginfo=_linear_light())
    elif kind == "INKS":
        profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
        Image.fromarray(rgb).convert("CMYK").save(out, "JPEG", icc_profile=profile)
    elif kind == "HEIC":
        pillow_heif.from_pillow(Image.fromarray(rgb)).save(out, quality=90, exif=exif.tobytes())
    else:
        Image.fromarray(rgb).save(out, kind, exif=exif, **options)
    return out.getvalue()


# The same picture


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "DEEP", "GAMMA", "INKS", "TIFF", "WEBP", "HEIC"])
def test_a_guarded_picture_is_the_picture(tmp_path: Path, reader: GuardedReader, kind: str) -> None:
    path = tmp_path / f"a.{kind.lower()}"
    path.write_bytes(photo(kind))
    expected, found = read_picture(path), reader.read_picture(path)
    assert found.luma.dtype == expected.luma.dtype
    np.testing.assert_array_equal(found.luma, expected.luma)
    for field in fields(Picture):
        if field.name not in ("luma", "light"):
            assert getattr(found, field.name) == getattr(expected, field.name), field.name
    assert (found.light is None) == (expected.light is None)
    if expected.light is not None:
        np.testing.assert_array_equal(found.light, expected.light)
    np.testing.assert_array_equal(reader.read_colour(path), np.asarray(read_colour(path)))


def test_a_guarded_check_is_the_check(shoot, gauge, frame, tmp_path: Path) -> None:
    from rigvision.synthetic import ideal_scene
    from tests.photos import camera_at

    shot = shoot(ideal_scene(gauge, frame), camera_at())
    plain, guarded = rigvision.check(shot.path), rigvision.check(shot.path, guarded=True)
    assert plain == guarded
    assert plain.gap is not None
    together = rigvision.check_joint([shot.path], guarded=True)
    assert together.gap == plain.gap
    drawn = [analysed_image.write(r, tmp_path / str(i)) for i, r in enumerate((plain, guarded))]
    assert drawn[0].read_bytes() == drawn[1].read_bytes()


def test_what_is_no_photo_is_refused_in_the_same_words(
    tmp_path: Path, reader: GuardedReader
) -> None:
    whole = photo("JPEG", quality=95)
    (tmp_path / "cut.jpg").write_bytes(whole[: len(whole) // 2])
    (tmp_path / "text.jpg").write_text("hello")
    (tmp_path / "small.png").write_bytes(_saved(Image.new("L", (30, 20))))
    for name in ("cut.jpg", "text.jpg", "small.png", "missing.jpg", "."):
        path = tmp_path / name
        with pytest.raises(PhotoError) as plain:
            read_picture(path)
        with pytest.raises(PhotoError) as guarded:
            reader.read_picture(path)
        assert (guarded.value.code, str(guarded.value)) == (plain.value.code, str(plain.value))


def _saved(image: Image.Image) -> bytes:
    out = io.BytesIO()
    image.save(out, "PNG")
    return out.getvalue()


def test_other_photos_of_the_call_are_checked_after_one_that_is_refused(tmp_path: Path) -> None:
    (tmp_path / "text.jpg").write_text("hello")
    (tmp_path / "wall.jpg").write_bytes(photo("JPEG"))
    paths = [tmp_path / name for name in ("wall.jpg", "text.jpg", "wall.jpg")]
    found = rigvision.check_many(paths, guarded=True)
    assert [type(f).__name__ for f in found] == ["CheckResult", "PhotoError", "CheckResult"]


def test_a_child_is_replaced_after_its_share_of_photos(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    path.write_bytes(photo("JPEG"))
    children = []
    with GuardedReader(GuardTuning(photos_per_child=2)) as reader:
        for _ in range(3):
            reader.read_picture(path)
            assert reader._child is not None
            children.append(reader._child._process.pid)
    assert children[0] == children[1] != children[2]


# No way out

_WAYS_OUT = """
libc = ctypes.CDLL(None, use_errno=True)
def call(done):
    if done < 0:
        raise OSError(ctypes.get_errno(), "refused")
    return True
answer({"tried": {
    "read": tried(lambda: open(%(secret)r).read()),
    "list": tried(lambda: os.listdir(%(folder)r)),
    "write": tried(lambda: open(%(folder)r + "/new", "w")),
    "append": tried(lambda: os.truncate(%(secret)r, 0)),
    "remove": tried(lambda: call(libc.unlink(%(secret)r.encode()))),
    "move": tried(lambda: call(libc.rename(%(secret)r.encode(), (%(secret)r + "2").encode()))),
    "net": tried(lambda: socket.socket()),
    "unix": tried(lambda: socket.socket(socket.AF_UNIX)),
    "pipe": tried(os.pipe),
    "start": tried(lambda: os.execv("/bin/true", ["true"])),
    "copy": tried(lambda: os.dup(1)),
    "raise": tried(lambda: resource.setrlimit(resource.RLIMIT_NOFILE, (9, 0))),
    "reuse": tried(lambda: (os.close(2), open(%(secret)r))),
    "signal": tried(lambda: os.kill(os.getppid(), 0)),
    "memory": tried(lambda: bytearray(%(memory)d)),
}})
"""


@pytest.mark.skipif(sys.platform != "linux", reason="Landlock is Linux'")
def test_a_decoder_that_is_taken_over_can_reach_nothing(
    hostile: Callable[..., DecodingProcess], tmp_path: Path
) -> None:
    secret = tmp_path / "secret"
    secret.write_text("secret")
    facts = {"secret": str(secret), "folder": str(tmp_path), "memory": 4 << 30}
    child = hostile(_WAYS_OUT % facts)
    if "landlock" not in child.holds():
        child.end()
        pytest.skip("this kernel has no Landlock")
    found = child.ask("luma", "a.jpg", b"photo").facts["tried"]
    child.end()
    assert len(found) == 15
    assert not {way: how for way, how in found.items() if "rror" not in str(how)}, found
    assert [p.name for p in tmp_path.iterdir()] == ["secret"]
    assert secret.read_text() == "secret"


@pytest.mark.parametrize(
    ("body", "tuning", "code", "said"),
    [
        pytest.param("ctypes.string_at(0)", {}, "decoder-died", "fault", id="crashes"),
        pytest.param("os.abort()", {}, "decoder-died", "bort", id="aborts"),
        pytest.param("sys.exit(7)", {}, "decoder-died", "exit status 7", id="leaves"),
        pytest.param("os.close(1); time.sleep(9)", {}, "decoder-died", "illed", id="goes mute"),
        pytest.param(
            "time.sleep(60)", {"wall_s": 0.5}, "decoding-too-slow", "given up", id="sleeps"
        ),
        pytest.param(
            "resource.setrlimit(resource.RLIMIT_CPU, (1, 30))\nwhile True: pass",
            {}, "decoding-too-slow", "given up", id="computes without end",
        ),
        pytest.param(
            "os.write(1, bytes([0, 16, 0, 0]))\nwhile True: os.write(1, b' '); time.sleep(0.05)",
            {"wall_s": 1.0}, "decoding-too-slow", "given up", id="dribbles",
        ),
    ],
)  # fmt: skip
def test_a_child_that_dies_or_hangs_becomes_a_sentence(
    hostile: Callable[..., DecodingProcess],
    tmp_path: Path,
    body: str,
    tuning: dict[str, float],
    code: str,
    said: str,
) -> None:
    path = tmp_path / "evil.jpg"
    path.write_bytes(photo("JPEG"))
    with GuardedReader() as reader:
        reader._end_child()
        reader._child = hostile(body, **tuning)
        start = time.monotonic()
        with pytest.raises(PhotoError) as caught:
            reader.read_picture(path)
        assert time.monotonic() - start < 20
    assert caught.value.code == code
    assert "evil.jpg" in caught.value.text
    assert said in caught.value.text
    assert caught.value.remedy


_EXIF = {"orientation": 1, "taken_at": None, "camera_name": None, "focal_35mm": None}


#: 256 rising float32; whoever does not ask for them leaves them in the pipe.
TABLE = "b''.join(struct.pack('<f', i / 255) for i in range(256))"


def lie(**changes: object) -> str:
    """A child's answer of 4 x 3 pixels, with some of it changed."""
    header = {"exif": _EXIF, "shape": [3, 4], "bits": 8, "container": "JPEG"}
    header |= {"bits_per_channel": 8, "jpeg_luma_steps": [1] * 64} | changes
    return f"answer(json.loads({json.dumps(json.dumps(header))}), bytes(12) + {TABLE})"


def test_the_answer_that_the_lies_are_made_from_is_believed(
    hostile: Callable[..., DecodingProcess], tmp_path: Path
) -> None:
    assert told(hostile, tmp_path, lie()).luma.shape == (3, 4)
    assert told(hostile, tmp_path, lie(light=256)).light.tolist()[-1] == 1.0


@pytest.mark.parametrize(
    "body",
    [
        pytest.param('os.write(1, b"\\xff" * 64)', id="header of 4 GB"),
        pytest.param('answer(b"[" * 8000)', id="nested header"),
        pytest.param('answer(b"{\\"shape\\": NaN}")', id="NaN"),
        pytest.param('answer(b"\\xff\\xfe{}")', id="not UTF-8"),
        pytest.param("answer([1])", id="no object"),
        pytest.param("answer({})", id="nothing"),
        pytest.param(lie(shape=[30_000, 30_000]), id="900 megapixels"),
        pytest.param(lie(shape=[-3, -4]), id="negative"),
        pytest.param(lie(shape=[3, 4, 1]), id="three axes"),
        pytest.param(lie(shape=[True, 12]), id="truth for a number"),
        pytest.param(lie(shape="3x4"), id="text for a shape"),
        pytest.param(lie(bits=64), id="64 bits"),
        pytest.param(lie(exif=None), id="no EXIF"),
        pytest.param(lie(exif=_EXIF | {"focal_35mm": "26"}), id="text for a number"),
        pytest.param(lie(exif=_EXIF | {"orientation": 9}), id="orientation"),
        pytest.param(lie(exif=_EXIF | {"camera_name": "x\x1b[2J"}), id="terminal command"),
        pytest.param(lie(exif=_EXIF | {"camera_name": "x" * 1000}), id="long name"),
        pytest.param(lie(exif=_EXIF | {"taken_at": "yesterday"}), id="no time"),
        pytest.param(lie(container="EXE"), id="container"),
        pytest.param(lie(bits_per_channel=1e9), id="bits of a channel"),
        pytest.param(lie(jpeg_luma_steps=[1] * 65), id="65 steps"),
        pytest.param(lie(jpeg_luma_steps=[-1] * 64), id="negative steps"),
        pytest.param(lie(light=2**40), id="light of a terabyte"),
        pytest.param(lie(light=65536), id="light of 16 bits for 8"),
        pytest.param(lie(light=256).replace("i / 255", "-i"), id="light that falls"),
        pytest.param(lie(light=256).replace("i / 255", "float('nan')"), id="light that is none"),
        pytest.param('answer({"error": {"code": "x"}})', id="half a complaint"),
        pytest.param(
            'answer({"error": {"code": "x", "text": "a\\nb", "remedy": "c"}})', id="two lines"
        ),
        pytest.param(
            'answer({"error": {"code": "../x", "text": "a", "remedy": "b"}})', id="odd code"
        ),
    ],
)
def test_a_child_that_lies_is_not_believed(
    hostile: Callable[..., DecodingProcess], tmp_path: Path, body: str
) -> None:
    with pytest.raises(PhotoError) as caught:
        told(hostile, tmp_path, body)
    assert caught.value.code == "decoding-not-credible"
    assert "a.jpg" in caught.value.text


def told(hostile: Callable[..., DecodingProcess], tmp_path: Path, body: str) -> Picture:
    """What is made of a child's answer."""
    path = tmp_path / "a.jpg"
    path.write_bytes(photo("JPEG"))
    with GuardedReader() as reader:
        reader._end_child()
        reader._child = hostile(body)
        return reader.read_picture(path)


def test_a_child_has_nothing_of_the_users_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SECRET_TOKEN", "x")
    assert "SECRET_TOKEN" not in decoding_process._environment()


def test_nothing_of_a_reader_is_left_behind(tmp_path: Path) -> None:
    with GuardedReader() as reader:
        assert reader._child is not None
        pid = reader._child._process.pid
    with pytest.raises(ProcessLookupError):
        os.kill(pid, 0)


def test_a_child_that_cannot_start_is_no_photos_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(decoding_process, "_command", lambda _: [sys.executable, "-c", "1/0"])
    with GuardedReader() as reader, pytest.raises(UsageError, match="exit status 1"):
        reader.holds()


def test_windows_is_told_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "platform", "win32")
    with pytest.raises(UsageError, match="Linux or macOS"):
        rigvision.check("a.jpg", guarded=True)


def test_the_command_guards_on_request(tmp_path: Path) -> None:
    path = tmp_path / "wall.jpg"
    path.write_bytes(photo("JPEG"))
    command = [sys.executable, "-m", "rigvision", "check", "--json", "--guarded", str(path)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 4, done.stderr
    assert json.loads(done.stdout)["verdict"] == "retake"
