"""OpenCV: one package of it, and a module that loads and is whole."""

from __future__ import annotations

import os
from types import ModuleType

from rigvision.doctor.finding import Fact, Finding, Status, pip_command
from rigvision.doctor.opencv_packages import OPENCV, installed_opencv
from rigvision.doctor.python_packages import required_opencv
from rigvision.doctor.system_library import missing_library

#: What a whole OpenCV has and a rest of one has not; the chain uses all of them.
NEEDED = ("imread", "imdecode", "LUT", "aruco", "remap")
#: How large a picture OpenCV decodes; without them, larger than the program allows.
LIMITS = tuple(f"OPENCV_IO_MAX_IMAGE_{what}" for what in ("PIXELS", "WIDTH", "HEIGHT"))


def package_findings() -> list[Finding]:
    """How many packages of OpenCV are installed, from their metadata alone."""
    found = installed_opencv()
    facts: dict[str, Fact] = {"installed": found}
    shown = " and ".join(f"{name} {version}" for name, version in found.items())
    if len(found) == 1 and set(found) <= set(OPENCV):
        return [_packages("ok", f"one only: {shown}", facts)]
    if not found:
        text = "No package of OpenCV is installed."
        return [_packages("failure", text, facts, "Install it.", (_install(),))]
    text = f"{len(found)} packages of OpenCV are installed, {shown}; they overwrite each other."
    if len(found) == 1:
        text = f"{shown} is installed, which is none of OpenCV's own packages."
    return [_packages("failure", text, facts, "Take them away, then install one.", reinstall())]


def module_findings() -> list[Finding]:
    """Import it, as every check of a photo does."""
    try:
        import cv2
    except ImportError as error:
        return [_not_loaded(error)]
    absent = [name for name in NEEDED if not hasattr(cv2, name)]
    if absent:
        return [_incomplete(cv2, absent)]
    text, facts = f"OpenCV {cv2.__version__} loads", {"version": cv2.__version__}
    if small := _small_limits():
        text = f"{text}, but refuses photos that rigvision takes: {small} is set too low."
        return [Finding("opencv", "OpenCV", "warning", text, f"Unset {small}.", facts={**facts})]
    return [Finding("opencv", "OpenCV", "ok", text, facts={**facts})]


def _small_limits() -> str:
    """Environment variables by which OpenCV decodes less than the program itself allows."""
    set_here = {name: os.environ[name] for name in LIMITS if os.environ.get(name)}
    if not set_here:
        return ""
    from rigvision.photo.limits import LIMITS as PHOTO

    least = {
        name: PHOTO.pixels // (1 if name.endswith("PIXELS") else PHOTO.shorter_side_px)
        for name in LIMITS
    }
    # OpenCV also takes KB or MB behind the number; no sensible limit needs that.
    small = [n for n, text in set_here.items() if not text.isdigit() or int(text) < least[n]]
    return " and ".join(small)


def _packages(
    status: Status,
    text: str,
    facts: dict[str, Fact],
    remedy: str = "",
    commands: tuple[str, ...] = (),
) -> Finding:
    return Finding("opencv-packages", "OpenCV packages", status, text, remedy, commands, facts)


def _not_loaded(error: ImportError) -> Finding:
    library = missing_library(str(error))
    if library:
        return Finding(
            "opencv",
            "OpenCV",
            "failure",
            library.text,
            library.guide,
            library.commands,
            {"library": library.name},
        )
    remedy = "Install it again."
    if "DLL load failed" in str(error):
        remedy = (
            "Install Microsoft's Visual C++ Redistributable, and on Windows N the Media Feature "
            "Pack; if it still fails, install OpenCV again."
        )
    text = f"OpenCV does not load: {error}."
    return Finding("opencv", "OpenCV", "failure", text, remedy, reinstall())


def _incomplete(cv2: ModuleType, absent: list[str]) -> Finding:
    """A folder from which another package's removal took files, or a stranger of that name."""
    where = getattr(cv2, "__file__", None) or ", ".join(getattr(cv2, "__path__", []))
    text = f"The module cv2 in {where} is not whole: it has no {', '.join(absent)}."
    remedy = f"Take OpenCV away, delete what is left at {where}, then install it."
    return Finding("opencv", "OpenCV", "failure", text, remedy, reinstall(), {"module": where})


def reinstall() -> tuple[str, ...]:
    """Take away whatever calls itself OpenCV, then install what rigvision requires."""
    found = list(installed_opencv())
    remove = [pip_command("uninstall", "-y", *found)] if found else []
    return (*remove, _install())


def _install() -> str:
    """The package that is there, where that is one of OpenCV's, else the one required."""
    return pip_command("install", required_opencv())
