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
    """A shared library that the dynamic linker did not find."""

    name: str

    @property
    def text(self) -> str:
        return f"OpenCV cannot load the system library {self.name}."

    @property
    def remedy(self) -> str:
        """Both ways to mend it, in one sentence for one line."""
        apt, dnf, remove, add = self.commands
        return (
            f"Install it with '{apt}' (Fedora: '{dnf}'), or use OpenCV's package without "
            f"windows: '{remove}' and '{add}'."
        )

    @property
    def commands(self) -> tuple[str, str, str, str]:
        """Debian's and Ubuntu's, Fedora's, and the two that do without it."""
        own = next((lib for lib in _PACKAGES if self.name.startswith(lib)), None)
        libraries = [own] if own and own not in _USUAL else [*_USUAL]
        packages = list(dict.fromkeys(_PACKAGES[library] for library in libraries))
        return (
            command_line("sudo", "apt-get", "install", *(debian for debian, _ in packages)),
            command_line("sudo", "dnf", "install", *(fedora for _, fedora in packages)),
            pip_command("uninstall", "-y", "opencv-python", "opencv-contrib-python"),
            pip_command("install", _HEADLESS),
        )


def missing_library(complaint: str) -> MissingLibrary | None:
    """The library named in an ImportError's text; None where it is about something else."""
    found = re.search(r"(\S+\.so[.\d]*): cannot open shared object file", complaint)
    return MissingLibrary(found.group(1)) if found else None
