"""Each failure that the doctor speaks of, brought about; and an installation that is well."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from rigvision.cli.main import main
from rigvision.decision.result import CheckResult
from rigvision.doctor import (
    environment,
    fonts,
    heic,
    ledger,
    machine,
    model_files,
    python_packages,
    self_test,
)
from rigvision.doctor.child import run_check
from rigvision.doctor.examination import CHECKS, SCHEMA
from rigvision.doctor.finding import Finding, pip_command
from rigvision.doctor.system_library import missing_library
from rigvision.records import file_system
from rigvision.records.bodies import Noted
from rigvision.records.ledger import Ledger
from rigvision.records.place import VARIABLE
from rigvision.report import analysed_image, canvas
from rigvision.world.catalogue import shipped_models_folder

SAMPLES = Path(__file__).parent.parent / "sample_images"
NO_LIBRARY = "libGL.so.1: cannot open shared object file: No such file or directory"
Stub = Callable[..., Path]


@pytest.fixture(autouse=True)
def _plain(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    for name in ("FORCE_COLOR", "RIGVISION_DEBUG", "RIGVISION_MODELS", *environment.EFFECTS):
        if name != "PYTHONPATH":
            monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("NO_COLOR", "1")
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv(VARIABLE, str(tmp_path / "records" / "ledger.sqlite3"))


@pytest.fixture
def stub(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Stub:
    """Puts modules and distributions in front of the installed ones, for children too."""
    folder = tmp_path / "in-front"
    folder.mkdir()
    monkeypatch.syspath_prepend(str(folder))

    def put(module: str = "", code: str = "", distribution: str = "", *lines: str) -> Path:
        if module:
            (folder / module).mkdir()
            (folder / module / "__init__.py").write_text(code)
        if distribution:
            name, _, version = distribution.partition(" ")
            info = folder / f"{name.replace('-', '_')}-{version}.dist-info"
            info.mkdir()
            head = ("Metadata-Version: 2.1", f"Name: {name}", f"Version: {version}", *lines)
            (info / "METADATA").write_text("\n".join(head) + "\n")
        return folder

    return put


def check(code: str, limit_s: float = 60.0) -> list[Finding]:
    """One of the doctor's checks, in a process of its own as always."""
    one = next(c for c in CHECKS if c.code == code)
    return run_check(replace(one, limit_s=limit_s))


def only(findings: list[Finding]) -> Finding:
    (finding,) = findings
    return finding


def doctor(*arguments: str) -> int:
    with pytest.raises(SystemExit) as done:
        main(["doctor", *arguments])
    return int(done.value.code or 0)


# The whole


def test_this_installation_is_well(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert doctor("--json") == 0
    out, err = capsys.readouterr()
    assert err == ""
    found = json.loads(out)
    assert found["schema"] == SCHEMA == "rigvision.doctor/1"
    assert found["status"] in ("ok", "warning")
    codes = list(dict.fromkeys(c["check"] for c in found["checks"]))
    assert codes == [
        *("python", "rigvision", "packages", "opencv-packages", "opencv", "heic", "fonts"),
        *("models", "self-test", "ledger", "machine", "temporary", "environment"),
    ]
    assert all(c["status"] == "ok" for c in found["checks"] if c["check"] != "machine")
    assert list(tmp_path.iterdir()) == []  # no ledger, nor a folder for it


def test_opencv_that_does_not_load_hides_nothing_else(
    capsys: pytest.CaptureFixture[str], stub: Stub
) -> None:
    stub("cv2", f"raise ImportError({NO_LIBRARY!r})")
    assert doctor() == 1
    out, err = capsys.readouterr()
    assert err == ""
    lines = out.splitlines()
    assert "✖ FAILURE  OpenCV           The system library libGL.so.1 is missing." in lines
    for skipped in ("HEIC", "Fonts", "Self-test"):
        assert f"- skipped  {skipped:15}  not looked at, as OpenCV does not load" in lines
    for well in ("Python", "Models", "Ledger", "Temporary files", "Environment"):
        assert any(line.startswith(f"✔ ok       {well}") for line in lines)
    assert "    sudo apt-get install libgl1 libglib2.0-0" in lines
    assert "    sudo dnf install mesa-libGL glib2" in lines
    assert "    " + pip_command("install", "opencv-python-headless") in lines
    assert max(len(line) for line in lines if not line.startswith("    ")) <= 80


def test_forty_columns_are_enough_and_ascii_too(stub: Stub) -> None:
    folder = stub("cv2", f"raise ImportError({NO_LIBRARY!r})")
    changed = {
        "COLUMNS": "40",
        "PYTHONIOENCODING": "ascii",
        "PYTHONPATH": os.pathsep.join(sys.path),
    }
    assert str(folder) in changed["PYTHONPATH"]
    done = subprocess.run(
        [sys.executable, "-m", "rigvision", "doctor"],
        env=os.environ | changed,
        capture_output=True,
        check=False,
        timeout=120,
    )
    assert (done.returncode, done.stderr) == (1, b"")
    lines = done.stdout.decode("ascii").splitlines()
    assert "[x] FAILURE  OpenCV" in lines
    assert "[v] ok  Models" in lines
    assert max(len(line) for line in lines if not line.startswith("    ")) <= 40


@pytest.mark.parametrize("arguments", [("--unknown",), ("photo.jpg",)])
def test_wrong_usage_is_2(arguments: tuple[str, ...]) -> None:
    assert doctor(*arguments) == 2


def test_the_command_itself_needs_nothing_that_may_be_broken() -> None:
    code = "import sys, rigvision.cli.doctor; print(*sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    loaded = {name.partition(".")[0] for name in done.stdout.split()}
    risky = {"cv2", "numpy", "PIL", "pillow_heif", "pydantic", "skimage", "packaging"}
    assert "rigvision" in loaded
    assert loaded & (risky | {"platformdirs", "sqlite3"}) == set()


# Children


def test_a_crash_is_named_by_its_signal(stub: Stub) -> None:
    stub("cv2", "import os, signal; os.kill(os.getpid(), signal.SIGSEGV)")
    found = only(check("opencv"))
    assert found.status == "failure"
    assert "SIGSEGV" in found.text


def test_a_check_that_hangs_is_stopped(stub: Stub) -> None:
    stub("cv2", "import time; time.sleep(60)")
    found = only(check("opencv", limit_s=1.0))
    assert (found.status, found.text) == (
        "failure",
        "This check was not done after 1 s and was stopped.",
    )


def test_what_a_library_prints_is_not_taken_for_an_answer(stub: Stub) -> None:
    whole = "__version__ = '5.1'; imread = imdecode = LUT = aruco = remap = None"
    stub("cv2", f"import os; print('[]'); os.write(1, b'[]'); {whole}")
    assert only(check("opencv")).text == "OpenCV 5.1 loads"


def test_a_missing_module_names_its_package(stub: Stub) -> None:
    stub("pydantic", "raise ModuleNotFoundError(\"No module named 'pydantic_core'\")")
    found = only(check("models"))
    assert found.text == "The Python module pydantic_core is missing."
    assert found.commands == (pip_command("install", "pydantic-core"),)


# Packages


def test_two_packages_of_opencv(stub: Stub) -> None:
    stub("", "", "opencv-python-headless 4.10.0.84")
    found = only(check("opencv-packages"))
    assert found.status == "failure"
    assert found.text.startswith("2 packages of OpenCV are installed, opencv-python-headless 4.10")
    remove, install = found.commands
    assert " -m pip uninstall -y opencv-python-headless opencv-" in remove
    assert install.endswith("-m pip install 'opencv-python>=4.10'")


def test_a_rest_of_opencv(stub: Stub) -> None:
    folder = stub("cv2", "")
    found = only(check("opencv"))
    assert found.status == "failure"
    assert "it has no imread" in found.text
    assert f"delete what is left at {folder / 'cv2' / '__init__.py'}" in found.remedy


def test_a_package_that_is_too_old(stub: Stub) -> None:
    stub("", "", "pillow 11.3.0")
    found = check("packages")
    assert [f.status for f in found] == ["ok", "ok", "failure"]
    assert found[-1].text == "pillow 11.3.0 is installed; >=12.3 is needed."
    assert found[-1].commands == (pip_command("install", "--upgrade", "pillow>=12.3"),)


def test_an_opencv_without_windows_stands_for_the_required_one(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """It keeps its own name in the command, as a second package would break both."""
    headless = {"opencv-python-headless": "4.9.0.80"}
    monkeypatch.setattr(python_packages, "installed_opencv", lambda: headless)
    found = python_packages.findings()[-1]
    assert found.text == "opencv-python-headless 4.9.0.80 is installed; >=4.10 is needed."
    assert found.commands == (pip_command("install", "--upgrade", "opencv-python-headless>=4.10"),)
    headless["opencv-python-headless"] = "4.10.0.84"
    assert python_packages.findings()[-1].status == "ok"


def test_what_is_required_comes_from_the_metadata(stub: Stub) -> None:
    needs = ("Requires-Python: >=3.99", "Requires-Dist: numpy>=99", "Requires-Dist: rich<1")
    extra = "Requires-Dist: bpy>=4; extra == 'render'"
    stub("", "", "rigvision 9.9", *needs, "Requires-Dist: no-such-thing>=2", extra)
    python, own, *rest = check("packages")
    assert python.status == "failure"
    assert "rigvision needs >=3.99" in python.text
    assert own.text.endswith("runs, but 9.9 is what is installed.")
    assert [f.facts["package"] for f in rest] == ["numpy", "rich", "no-such-thing"]
    assert rest[2].text == "no-such-thing is not installed; >=2 is needed."


@pytest.mark.parametrize(
    ("library", "debian", "fedora"),
    [
        ("libGL.so.1", "libgl1 libglib2.0-0", "mesa-libGL glib2"),
        ("libgthread-2.0.so.0", "libglib2.0-0", "glib2"),
        ("libSM.so.6", "libsm6", "libSM"),
        ("libxcb.so.1", "libxcb1", "libxcb"),
        ("libstdc++.so.6", "libstdc++6", "libstdc++"),
    ],
)
def test_system_libraries_and_their_packages(library: str, debian: str, fedora: str) -> None:
    missing = missing_library(f"ImportError: {library}: cannot open shared object file: No such")
    assert missing is not None
    assert missing.name == library
    assert missing.commands[0] == f"sudo apt-get install {debian}"
    assert missing.commands[1] == f"sudo dnf install {fedora}"


def test_a_library_that_opencv_does_not_need_leads_elsewhere() -> None:
    missing = missing_library("libodd.so.3: cannot open shared object file: No such file")
    assert missing is not None
    assert missing.commands == ("apt-file search libodd.so.3", "dnf provides '*/libodd.so.3'")
    assert "OpenCV" not in missing.text + missing.remedy


def test_another_complaint_names_no_library() -> None:
    assert missing_library("DLL load failed while importing cv2") is None


# OpenCV's limits and the environment


@pytest.mark.parametrize(("value", "status"), [("1000000", "warning"), ("200000000", "ok")])
def test_a_limit_of_opencv_that_refuses_photos(
    monkeypatch: pytest.MonkeyPatch, value: str, status: str
) -> None:
    monkeypatch.setenv("OPENCV_IO_MAX_IMAGE_PIXELS", value)
    assert only(check("opencv")).status == status


def test_variables_that_change_what_is_done() -> None:
    found = only(environment.findings({"RIGVISION_MODELS": "/m", "HOME": "/root", "TERM": "x"}))
    assert found.facts == {"RIGVISION_MODELS": "/m"}
    assert found.text == "RIGVISION_MODELS=/m: gauges, frames and cameras come from there"
    assert only(environment.findings({})).facts == {}


# HEIC, fonts, models


def test_a_heic_that_does_not_decode(tmp_path: Path) -> None:
    cut = tmp_path / "cut.heic"
    cut.write_bytes(heic.HEIC.read_bytes()[:-60])
    found = only(heic.findings(cut))
    assert found.status == "failure"
    assert found.commands == (
        pip_command("install", "--force-reinstall", "--no-deps", "pillow-heif>=1.7"),
    )


def test_a_heic_that_decodes_to_something_else() -> None:
    found = only(heic.findings(self_test.PICTURE))
    assert found.status == "failure"
    assert "instead of [40, 200, 120, 80]" in found.text


def test_fonts_have_what_is_drawn(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Everything that the analysed images of a pass and of an adjust say."""
    drawn: set[str] = set()
    text = canvas.Canvas.text

    def recorded(self: Any, x: float, y: float, words: str, *rest: Any, **more: Any) -> None:
        drawn.update(words)
        text(self, x, y, words, *rest, **more)

    monkeypatch.setattr(canvas.Canvas, "text", recorded)
    import rigvision

    for path in (self_test.PICTURE, SAMPLES / "open-1.3mm.jpg"):
        analysed_image.write(rigvision.check(path), tmp_path)
    assert len(drawn) > 40
    assert drawn - {" "} <= set(fonts.characters())


def test_a_font_that_lacks_a_sign() -> None:
    assert fonts._lacking("a\N{CJK UNIFIED IDEOGRAPH-9580}±", bold=False) == "門"


def test_a_font_that_is_damaged(monkeypatch: pytest.MonkeyPatch) -> None:
    canvas.font.cache_clear()
    whole = canvas._font_bytes(False)
    monkeypatch.setattr(canvas, "_font_bytes", lambda bold: whole[: 40 if bold else None])
    found = only(fonts.findings())
    assert found.status == "failure"
    assert "DejaVuSans-Bold.ttf does not load" in found.text
    canvas.font.cache_clear()


@pytest.fixture
def models(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of the models, made the active ones."""
    folder = tmp_path / "models"
    shutil.copytree(shipped_models_folder(), folder)
    monkeypatch.setenv("RIGVISION_MODELS", str(folder))
    return folder


def test_models_of_the_users_own(models: Path) -> None:
    found = only(model_files.findings())
    assert found.status == "ok"
    assert found.text.endswith(f"RIGVISION_MODELS, {models}")


def test_a_wrong_model_file_is_named_with_its_complaint(models: Path) -> None:
    gauge = models / "gauges" / "RG-10.toml"
    gauge.write_text(gauge.read_text().replace("size_mm = ", "size_inch = ", 1))
    found = only(model_files.findings())
    assert found.status == "failure"
    assert str(gauge) in found.text
    assert "size_inch is not known (is size_mm meant?)" in found.text
    assert "never guess a value" in found.remedy


def test_a_frame_whose_gauge_is_not_there(models: Path) -> None:
    (models / "gauges" / "RG-10.toml").rename(models / "gauges" / "RG-11.toml")
    assert only(model_files.findings()).status == "warning"


def test_folders_without_models(models: Path) -> None:
    shutil.rmtree(models / "cameras")
    assert "There is no camera generic-phone" in only(model_files.findings()).text
    shutil.rmtree(models)
    assert only(model_files.findings()).text == f"The models folder {models} does not exist."


def test_a_network_cut_short(tmp_path: Path) -> None:
    cut = tmp_path / "cut.npz"
    whole = next((shipped_models_folder() / "networks").glob("*.npz"))
    cut.write_bytes(whole.read_bytes()[:5000])
    found = only(list(model_files._unreadable([cut])))
    assert "The network cut.npz" in found.text


# Self-test


@pytest.fixture(scope="module")
def tested() -> CheckResult:
    return self_test.read_self_test()


def test_the_picture_travels_and_is_small() -> None:
    assert self_test.PICTURE.stat().st_size < 150_000
    assert heic.HEIC.stat().st_size < 1000


def test_the_kept_figures_are_those_of_this_release(tested: CheckResult) -> None:
    """If this fails the chain reads otherwise than it did: scripts/self_test_picture --figures."""
    kept = json.loads(self_test.FIGURES.read_text())
    assert self_test.against_release(tested, kept) == []
    assert tested.verdict == "pass"
    assert None not in self_test.figures_of(tested).values()


def test_a_figure_that_moved_is_named(tested: CheckResult) -> None:
    kept = json.loads(self_test.FIGURES.read_text())
    kept["gap, mm"] += 0.021
    kept["clock, deg"] += 0.06
    kept["taper, mm"] += 0.019
    kept["verdict"] = "adjust"
    verdict, gap, clock = self_test.against_release(tested, kept)
    assert verdict == "verdict pass instead of adjust"
    assert gap.startswith("gap, mm: ")
    assert clock.startswith("clock, deg: ")


def test_a_truth_outside_the_claim_is_named(tested: CheckResult) -> None:
    truth = json.loads(self_test.TRUTH.read_text())
    assert self_test.against_truth(tested, truth) == []
    assert tested.yoke.seat_gap_mm is not None
    assert tested.yoke.seat_gap_expanded_uncertainty_mm is not None
    claimed = tested.yoke.seat_gap_expanded_uncertainty_mm
    truth["yoke"]["seat_gap_mm"] = tested.yoke.seat_gap_mm + 1.01 * claimed
    assert "yoke seat gap" in only_text(self_test.against_truth(tested, truth))


def only_text(faults: list[str]) -> str:
    (fault,) = faults
    return fault


def test_a_wrong_picture_is_read_wrongly() -> None:
    found = only(self_test.findings(SAMPLES / "open-2.2mm.jpg"))
    assert found.status == "failure"
    assert "verdict adjust instead of pass" in found.text
    assert "is true" in found.text
    assert "Do not measure" in found.remedy


def test_a_damaged_picture_is_no_crash(tmp_path: Path) -> None:
    cut = tmp_path / "cut.jpg"
    cut.write_bytes(self_test.PICTURE.read_bytes()[:40_000])
    found = only(self_test.findings(cut))
    assert found.status == "failure"
    assert "damaged or incomplete" in found.text


def test_the_self_test_uses_the_programs_own_models(models: Path) -> None:
    (models / "gauges" / "RG-10.toml").write_text("name = 3\n")
    assert only(check("self-test")).status == "ok"


# Ledger


def here(tmp_path: Path) -> Path:
    return tmp_path / "records" / "ledger.sqlite3"


def make_ledger(path: Path, entries: int = 1) -> None:
    with Ledger.create(path) as made, made.writing() as writing:
        for _ in range(entries):
            writing.append(Noted("AAAAAAAA", "remark", "x" * 500, "M. Ross"))


def test_no_ledger_yet_is_a_plain_fact_and_none_is_made(tmp_path: Path) -> None:
    found = only(ledger.findings())
    assert found.status == "ok"
    assert found.text.startswith(f"none yet; it will be kept in {here(tmp_path)}; SQLite works")
    assert found.facts["journal"] == "WAL"
    assert list(tmp_path.iterdir()) == []


def test_a_ledger_that_is_there_is_left_as_it_is(tmp_path: Path) -> None:
    make_ledger(here(tmp_path))
    before = {p.name: p.read_bytes() for p in here(tmp_path).parent.iterdir()}
    found = only(ledger.findings())
    assert found.text.startswith(f"{here(tmp_path)} opens and is whole; SQLite works")
    assert {p.name: p.read_bytes() for p in here(tmp_path).parent.iterdir()} == before


def test_a_damaged_ledger(tmp_path: Path) -> None:
    make_ledger(here(tmp_path), entries=200)
    bytes_ = bytearray(here(tmp_path).read_bytes())
    bytes_[8192:] = b"\xff" * (len(bytes_) - 8192)
    here(tmp_path).write_bytes(bytes_)
    found = only(ledger.findings())
    assert found.status == "failure"
    assert "is damaged" in found.text or "cannot be read" in found.text
    assert "newest copy" in found.remedy


def test_a_file_that_is_no_ledger(tmp_path: Path) -> None:
    here(tmp_path).parent.mkdir()
    here(tmp_path).write_text("Dear diary")
    assert "is no ledger" in only(ledger.findings()).text


def test_another_programs_database_is_no_ledger(tmp_path: Path) -> None:
    here(tmp_path).parent.mkdir()
    with closing(sqlite3.connect(here(tmp_path))) as made:
        made.execute("CREATE TABLE diary (text TEXT)")
    found = only(ledger.findings())
    assert found.status == "failure"
    assert "is no ledger of rigvision" in found.text


def test_a_ledger_of_a_newer_rigvision(tmp_path: Path) -> None:
    make_ledger(here(tmp_path))
    with closing(sqlite3.connect(here(tmp_path), isolation_level=None)) as later:
        later.execute("INSERT INTO migration VALUES (99, 'to come', '')")
    found = only(ledger.findings())
    assert found.status == "failure"
    assert "was written by a newer rigvision" in found.text


def test_a_ledger_without_its_key_is_doubted(tmp_path: Path) -> None:
    make_ledger(here(tmp_path))
    here(tmp_path).with_name("ledger.sqlite3.key").unlink()
    found = only(ledger.findings())
    assert found.status == "warning"
    assert "can be read but not added to" in found.text


def test_a_folder_or_pipe_in_the_ledgers_place(tmp_path: Path) -> None:
    """A pipe that were opened would wait for a writer; the time limit would tell."""
    here(tmp_path).mkdir(parents=True)
    assert only(check("ledger")).text == f"The ledger {here(tmp_path)} is a folder."
    here(tmp_path).rmdir()
    os.mkfifo(here(tmp_path))
    found = only(check("ledger", limit_s=20.0))
    assert found.text == f"The ledger {here(tmp_path)} is not an ordinary file."


@pytest.mark.parametrize("place", ["file/ledger.db", "file/deeper/ledger.db"])
def test_a_file_in_the_folders_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, place: str
) -> None:
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setenv(VARIABLE, str(tmp_path / place))
    found = only(ledger.findings())
    assert found.status == "failure"
    assert "a file stands where its folder should" in found.text
    assert VARIABLE in found.remedy


@pytest.mark.skipif(not Path("/proc/self").exists(), reason="needs Linux's /proc")
def test_a_folder_that_nobody_may_write(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(VARIABLE, "/proc/rigvision/ledger.db")
    found = only(ledger.findings())
    assert found.status == "failure"
    assert found.text.startswith("The ledger /proc/rigvision/ledger.db cannot be kept: /proc/rig")


def test_a_relative_path_is_doubted(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv(VARIABLE, "ledger.db")
    found = only(ledger.findings())
    assert found.status == "warning"
    assert "there is another ledger" in found.text


def test_a_network_and_little_room_are_doubted(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(ledger, "file_system_of", lambda _: "nfs4")
    monkeypatch.setattr(ledger, "NEEDED_MB", 10**9)
    found = only(ledger.findings())
    assert found.status == "warning"
    assert "on a network (nfs4)" in found.text
    assert "MB are free" in found.text


def test_locks_are_seen_by_another_process(tmp_path: Path) -> None:
    with closing(sqlite3.connect(tmp_path / "a.db", isolation_level=None)) as held:
        held.execute("BEGIN IMMEDIATE")
        assert ledger._seen_by_another(tmp_path / "a.db") == "locked"
        held.execute("COMMIT")
        assert ledger._seen_by_another(tmp_path / "a.db") == "free"


def test_the_deepest_mount_tells_the_file_system(tmp_path: Path) -> None:
    mounts = tmp_path / "mounts"
    mounts.write_text(
        "/dev/a / ext4 rw 0 0\nserver:/x /mnt/two\\040words nfs4 rw 0 0\n"
        "/dev/b /mnt xfs rw 0 0\nd /mn tmpfs rw 0 0\n"
    )
    for folder, kind in {
        "/mnt/two words/deep": "nfs4",
        "/mnt/two": "xfs",
        "/mnt": "xfs",
        "/mnte": "ext4",
    }.items():
        assert file_system.file_system_of(Path(folder), mounts) == kind
    assert file_system.file_system_of(tmp_path, tmp_path / "none") is None


# Machine


def test_a_container_has_what_its_limit_leaves(tmp_path: Path) -> None:
    meminfo = tmp_path / "meminfo"
    meminfo.write_text("MemTotal: 32000000 kB\nMemAvailable: 16000000 kB\n")
    assert machine.available_memory_mb(meminfo, tmp_path) == 16000
    (tmp_path / "memory.max").write_text("max\n")
    (tmp_path / "memory.current").write_text("400000000\n")
    assert machine.available_memory_mb(meminfo, tmp_path) == 16000
    (tmp_path / "memory.max").write_text("600000000\n")
    (tmp_path / "memory.stat").write_text("anon 300000000\ninactive_file 0\n")
    assert machine.available_memory_mb(meminfo, tmp_path) == 200
    # the cache of files that nobody reads is given up when memory is wanted
    (tmp_path / "memory.stat").write_text("anon 100000000\ninactive_file 300000000\n")
    assert machine.available_memory_mb(meminfo, tmp_path) == 500
    assert machine._memory(200).status == "warning"
    assert machine.available_memory_mb(tmp_path / "none", tmp_path / "none") is None


def test_no_room_for_temporary_files(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tempfile, "tempdir", "/nonexistent")
    found = machine._temporary()
    assert found.status == "failure"
    assert "TMPDIR" in found.remedy
