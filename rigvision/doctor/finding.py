"""What one check found: a line for a person, facts for a program, commands that mend it."""

from __future__ import annotations

import os
import shlex
import subprocess
import sys
from dataclasses import asdict, dataclass, field
from typing import Any, Literal

#: ``skipped``: could not be looked at, as something that it needs has failed.
Status = Literal["ok", "warning", "failure", "skipped"]
Fact = str | int | float | bool | None | list[str] | dict[str, str]


@dataclass(frozen=True, slots=True)
class Finding:
    """One line of the report. ``check`` is the check's code, which is never renamed."""

    check: str
    title: str
    status: Status
    text: str
    remedy: str = ""
    #: To be typed one after the other, exactly so.
    commands: tuple[str, ...] = ()
    facts: dict[str, Fact] = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        """Ready for ``json.dumps``."""
        return asdict(self) | {"commands": list(self.commands)}

    @classmethod
    def from_json(cls, plain: dict[str, Any]) -> Finding:
        """The finding that ``as_json`` was made from."""
        return cls(**(plain | {"commands": tuple(plain["commands"])}))


def command_line(*words: str) -> str:
    """Words as they are typed into a shell of this system."""
    return subprocess.list2cmdline(words) if os.name == "nt" else shlex.join(words)


def pip_command(*words: str) -> str:
    """A pip command for the Python that runs this, whatever ``pip`` may mean elsewhere."""
    return command_line(sys.executable, "-m", "pip", *words)
