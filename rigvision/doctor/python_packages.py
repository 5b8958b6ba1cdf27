"""Versions: the Python that runs, and every package that rigvision's own metadata requires."""

from __future__ import annotations

import json
import platform
from collections.abc import Iterator
from importlib.metadata import Distribution, PackageNotFoundError, distribution, version
from urllib.parse import urlsplit
from urllib.request import url2pathname

from packaging.requirements import Requirement
from packaging.version import Version

from rigvision import __version__
from rigvision.doctor.finding import Fact, Finding, pip_command
from rigvision.doctor.opencv_packages import OPENCV, installed_opencv

OWN = "rigvision"


def findings() -> list[Finding]:
    """Python first, then rigvision itself, then what it needs."""
    try:
        own = distribution(OWN)
    except PackageNotFoundError:
        return [_python(None), _not_installed()]
    return [_python(own), _own(own), *_packages()]


def requirements() -> Iterator[Requirement]:
    """What the installed rigvision requires at run time, on this system.

    Raises PackageNotFoundError where rigvision is not installed.
    """
    for line in distribution(OWN).requires or []:
        requirement = Requirement(line)
        if requirement.marker is None or requirement.marker.evaluate({"extra": ""}):
            yield requirement


def required(name: str) -> str:
    """``pillow>=12.3``: as pip takes it; the bare name where rigvision is not installed."""
    try:
        wanted = {r.name: r for r in requirements()}
    except PackageNotFoundError:
        return name
    return f"{name}{wanted[name].specifier}"


def required_opencv() -> str:
    """OpenCV as pip takes it: the package that is there, where there is one, else the usual."""
    found = [name for name in installed_opencv() if name in OPENCV]
    name, wanted = found[0] if len(found) == 1 else OPENCV[0], required(OPENCV[0])
    return f"{name}{wanted.removeprefix(OPENCV[0])}"


def _python(own: Distribution | None) -> Finding:
    found = platform.python_version()
    wanted = (own.metadata["Requires-Python"] if own else None) or ""
    fits = Requirement(f"python{wanted}").specifier.contains(found, prereleases=True)
    facts: dict[str, Fact] = {"version": found, "required": wanted}
    shown = f"{platform.python_implementation()} {found}" + (f" ({wanted})" if wanted else "")
    if fits:
        return Finding("python", "Python", "ok", shown, facts=facts)
    return Finding(
        "python",
        "Python",
        "failure",
        f"Python {found} runs; rigvision needs {wanted}.",
        "Make an environment with a newer Python, from https://www.python.org/downloads/, and "
        "install rigvision there.",
        facts=facts,
    )


def _not_installed() -> Finding:
    return Finding(
        "rigvision",
        "rigvision",
        "failure",
        f"rigvision {__version__} runs from a folder but is not installed, so that nothing says "
        "which packages it needs.",
        "Install it from that folder.",
        (pip_command("install", "."),),
        {"version": __version__},
    )


def _own(own: Distribution) -> Finding:
    facts: dict[str, Fact] = {"version": __version__, "installed": own.version}
    if Version(own.version) == Version(__version__):
        return Finding("rigvision", "rigvision", "ok", __version__, facts=facts)
    return Finding(
        "rigvision",
        "rigvision",
        "failure",
        f"rigvision {__version__} runs, but {own.version} is what is installed.",
        "Install it again, so that its packages are those it needs.",
        _again(own),
        facts,
    )


def _again(own: Distribution) -> tuple[str, ...]:
    """The command that installs rigvision from where it came; none where that is not known."""
    origin = json.loads(own.read_text("direct_url.json") or "{}")
    parts = urlsplit(origin.get("url", ""))
    if parts.scheme != "file":
        return ()
    editable = ["-e"] if origin.get("dir_info", {}).get("editable") else []
    return (pip_command("install", "--force-reinstall", *editable, url2pathname(parts.path)),)


def _packages() -> list[Finding]:
    """One line for all that are as they must be, and one for each that is not."""
    versions: dict[str, str] = {}
    wrong = []
    for requirement in requirements():
        name, found = _installed(requirement.name)
        if found is None and name in OPENCV:
            continue  # a check of its own says so
        versions[name] = found or ""
        if found is None or not requirement.specifier.contains(found, prereleases=True):
            wrong.append(_wrong(name, found, requirement))
    if wrong:
        return wrong
    listed = ", ".join(f"{name} {found}" for name, found in versions.items())
    facts: dict[str, Fact] = {"versions": versions}
    return [Finding("packages", "Packages", "ok", listed, facts=facts)]


def _installed(name: str) -> tuple[str, str | None]:
    """Name and version installed; any of OpenCV's packages stands for the one required."""
    if name in OPENCV:
        return next(iter(installed_opencv().items()), (name, None))
    try:
        return name, version(name)
    except PackageNotFoundError:
        return name, None


def _wrong(name: str, found: str | None, requirement: Requirement) -> Finding:
    pip_takes = required_opencv() if name in OPENCV else required(name)
    has = f"{name} {found} is installed" if found else f"{name} is not installed"
    return Finding(
        "packages",
        "Packages",
        "failure",
        f"{has}; {requirement.specifier or 'any version'} is needed.",
        f"Install {name}.",
        (pip_command("install", "--upgrade", pip_takes),),
        {"package": name, "version": found, "required": str(requirement.specifier)},
    )
