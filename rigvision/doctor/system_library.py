"""A system library that OpenCV lacks: which it is, and what installs it.

OpenCV's wheel with windows links against the system's OpenGL, GLib and X11, which a server or a
container need not have; the wheel without windows needs none of them.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from rigvision.doctor.finding import command_line, pip_command

#: Library, up to its version: the package of Debian and Ubuntu, and that of Fedora.
_PACKAGES = {
    "libGL.so": ("libgl1", "mesa-libGL"),
    "libEGL.so": ("libegl1", "mesa-libEGL"),
    "libglib-2.0.so": ("libglib2.0-0", "glib2"),
    "libgthread-2.0.so": ("libglib2.0-0", "glib2"),
    "libX11.so": ("libx11-6", "libX11"),
    "libxcb.so": ("libxcb1", "libxcb"),
    "libSM.so": ("libsm6", "libSM"),
    "libICE.so": ("libice6", "libICE"),
    "libXext.so": ("libxext6", "libXext"),
    "libXrender.so": ("libxrender1", "libXrender"),
    "libstdc++.so": ("libstdc++6", "libstdc++"),
}
#: What OpenCV asks for in turn; whoever lacks one mostly lacks the other.
_USUAL = ("libGL.so", "libglib-2.0.so")
_HEADLESS = "opencv-python-headless"


@dataclass(frozen=True, slots=True)
class MissingLibrary:
    """A shared library that the dynamic linker did not find, and what brings it."""

    name: str
    #: One sentence for one line, with the commands in it.
    remedy: str
    #: The same to be copied, and a sentence that says which is which.
    guide: str
    commands: tuple[str, ...]

    @property
    def text(self) -> str:
        return f"The system library {self.name} is missing."


def missing_library(complaint: str) -> MissingLibrary | None:
    """The library named in an ImportError's text; None where it is about something else."""
    found = re.search(r"(\S+\.so[.\d]*): cannot open shared object file", complaint)
    if not found:
        return None
    name = found.group(1)
    own = next((library for library in _PACKAGES if name.startswith(library)), None)
    return _opencvs(name, own) if own else _unknown(name)


def _opencvs(name: str, own: str) -> MissingLibrary:
    """One that OpenCV's package with windows needs, and its other package does not."""
    libraries = _USUAL if own in _USUAL else (own,)
    debian, fedora = zip(*(_PACKAGES[library] for library in libraries), strict=True)
    apt = command_line("sudo", "apt-get", "install", *debian)
    dnf = command_line("sudo", "dnf", "install", *fedora)
    remove = pip_command("uninstall", "-y", "opencv-python", "opencv-contrib-python")
    add = pip_command("install", _HEADLESS)
    return MissingLibrary(
        name,
        f"OpenCV needs it. Install it with '{apt}' (Fedora: '{dnf}'), or use OpenCV's package "
        f"without windows: '{remove}' and '{add}'.",
        "OpenCV needs it. Install it by the first line on Debian and Ubuntu, by the second on "
        "Fedora; or use OpenCV's package without windows, by the last two.",
        (apt, dnf, remove, add),
    )


def _unknown(name: str) -> MissingLibrary:
    """One that none of the packages here was seen to need: the system knows where it comes from."""
    apt, dnf = (
        command_line("apt-file", "search", name),
        command_line("dnf", "provides", f"*/{name}"),
    )
    return MissingLibrary(
        name,
        f"Install the system's package that has it; '{apt}' (Fedora: '{dnf}') names it.",
        "Install the system's package that has it; on Debian and Ubuntu the first line names it, "
        "on Fedora the second.",
        (apt, dnf),
    )
