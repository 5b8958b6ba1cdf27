"""Where photographs of boards by other people are had: packages, their versions and licences."""

from __future__ import annotations

import hashlib
import shlex
import subprocess
import sys
import tarfile
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class PictureSet:
    """Photographs in one package's archive. Nothing of them is kept in this project."""

    name: str
    package: str
    archive: str
    sha256: str  # of the archive
    command: tuple[str, ...]  # gets the archive into the folder where it runs
    licence: str  # as the package states it
    shows: str
    #: Glob patterns in the archive, below its one top folder.
    members: tuple[str, ...]
    #: AprilTag ids of family 36h11 that are there to be seen; None where it shows no such tag.
    tag_ids: frozenset[int] | None = None
    #: Every id is there once, so that a second sighting of it is false.
    once: bool = True


def _pip(requirement: str) -> tuple[str, ...]:
    command = f"pip download --no-deps --no-binary :all: {requirement}"
    return tuple(command.split())


def _apt(source: str) -> tuple[str, ...]:
    return ("apt-get", "source", "--download-only", source)


_OPENCV = {
    "package": "opencv 4.10.0 (Debian source)",
    "archive": "opencv_4.10.0+dfsg.orig.tar.xz",
    "sha256": "4ca619efbad524c550771ab110332fc81293fb720bd03980fe58bc15f9ca3be8",
    "command": _apt("opencv=4.10.0+dfsg-5"),
    "licence": "Apache-2.0",
}
_APRILTAGS = {
    "package": "apriltags 0.0.7 (PyPI)",
    "archive": "apriltags-0.0.7.tar.gz",
    "sha256": "339c8418adbf1051265d01200babd16b18424227ca8449eb2468d6f8142efac1",
    "command": _pip("apriltags==0.0.7"),
    "licence": "none stated for the pictures (BSD-2-Clause in the C files' heads)",
}
_DOC = "doc/tutorials/objdetect"

SETS = (
    PictureSet(
        "sheet",
        shows="a printed sheet of 30 tags, ids 0 to 29, on a clipboard; 320 x 240 px",
        members=("images/clipboard/*.png",),
        tag_ids=frozenset(range(30)),
        **_APRILTAGS,
    ),
    PictureSet(
        "room",
        shows="20 printed tags, ids 0 to 19, taped to a room's walls; a phone's pictures, 816 px",
        members=("images/mapping_feb_2014/*.JPG",),
        tag_ids=frozenset(range(20)),
        **_APRILTAGS,
    ),
    PictureSet(
        "hallway",
        shows="single printed tags in a hallway; a phone's pictures, 816 px",
        members=("images/hallway/*.jpg",),
        tag_ids=frozenset({2, 3, 10}),
        **_APRILTAGS,
    ),
    PictureSet(
        "cubes",
        "apriltag 3.4.5 (Debian source)",
        "apriltag_3.4.5.orig.tar.gz",
        "3749f48220db78c29c375a373861f4e1f4138e5dbae3c298584e96cfcc556515",
        _apt("apriltag=3.4.5-5"),
        "CC BY-SA 2.0 (NASA Kennedy; test/data/README.md)",
        "cubes with tag 0 on every face, strewn over a car park; press photographs, 799 px",
        ("test/data/*.jpg",),
        frozenset({0}),
        once=False,
    ),
    PictureSet(
        "screen",
        "aprilgrid 0.2.0 (PyPI)",
        "aprilgrid-0.2.0.tar.gz",
        "0cf9c3b29bfbc56f93cc595606a4d5fae3653e54c651171f762b1c8cd5b96bfb",
        _pip("aprilgrid==0.2.0"),
        "BSD-3-Clause",
        "a board of 36 tags, ids 0 to 35, black borders two modules wide, shown on a monitor; "
        "a phone's pictures, 3072 x 4080 px",
        ("example/data/*.jpg",),
        frozenset(range(36)),
    ),
    PictureSet(
        "charuco",
        shows="a printed ChArUco board, 5 x 7 squares, once with a mouse on it; 640 x 480 px",
        members=(
            f"{_DOC}/charuco_detection/images/choriginal.jpg",
            f"{_DOC}/charuco_detection/images/chocclusion_original.jpg",
        ),
        **_OPENCV,
    ),
    PictureSet(
        "stereo",
        shows="a mounted checker board, 9 x 6 inner corners; 2 cameras, grey, 640 x 480 px",
        members=("samples/data/left[01]?.jpg", "samples/data/right[01]?.jpg"),
        **_OPENCV,
    ),
    PictureSet(
        "bench",
        "compas-camcal 0.1.1 (PyPI)",
        "compas_camcal-0.1.1.tar.gz",
        "63ada1447d34e11286044a9ba463b03c75d8f8bf6f22bb77b4e49fa39b6d8871",
        _pip("compas-camcal==0.1.1"),
        "Apache-2.0 (pictures credited to danielwe14 on Kaggle)",
        "a mounted checker board, 11 x 7 inner corners; 2 cameras, 1024 x 576 px",
        ("tests/data/imgs/*/*.jpg",),
    ),
    PictureSet(
        "wall",
        shows="a checker board printed on paper and taped to a wall; a phone's pictures, 816 px",
        members=("images/mapping_feb_2014/calibration/*.JPG",),
        **_APRILTAGS,
    ),
)


def pictures_of(wanted: PictureSet, cache: Path, *, fetch: bool) -> list[Path]:
    """The set's pictures, unpacked below ``cache``; exits with the command where it is not had."""
    archive = cache / wanted.archive
    if not archive.exists() and fetch:
        cache.mkdir(parents=True, exist_ok=True)
        subprocess.run(wanted.command, cwd=cache, check=True)
    if not archive.exists():
        sys.exit(
            f"{archive} is missing. In {cache}: {shlex.join(wanted.command)}  "
            "(or run this with --fetch; apt-get needs deb-src lines in its sources)."
        )
    if hashlib.sha256(archive.read_bytes()).hexdigest() != wanted.sha256:
        sys.exit(f"{archive} is not the archive that was looked at (its SHA-256 differs).")
    return _unpacked(wanted, archive, cache / "unpacked" / archive.name.split(".tar")[0])


def _unpacked(wanted: PictureSet, archive: Path, folder: Path) -> list[Path]:
    if not folder.exists():
        with tarfile.open(archive) as tar:
            tar.extractall(folder, filter="data")
    found = {p for pattern in wanted.members for p in folder.glob(f"*/{pattern}")}
    if not found:
        sys.exit(f"{archive} holds no picture of the set {wanted.name}.")
    return sorted(found)
