"""OpenCV: one package of it, and a module that loads and is whole."""

from __future__ import annotations

from types import ModuleType

from rigvision.doctor.finding import Fact, Finding, Status, pip_command
from rigvision.doctor.opencv_packages import OPENCV, installed_opencv
from rigvision.doctor.python_packages import required_opencv
from rigvision.doctor.system_library import missing_library

#: What a whole OpenCV has and a rest of one has not; the chain uses all of them.
NEEDED = ("imread", "imdecode", "LUT", "aruco", "remap")


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
    text = f"OpenCV {cv2.__version__} loads"
    return [Finding("opencv", "OpenCV", "ok", text, facts={"version": cv2.__version__})]


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
            "Install it by the first line on Debian and Ubuntu, by the second on Fedora; or use "
            "OpenCV's package without windows, by the last two.",
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
