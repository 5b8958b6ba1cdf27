"""Which pictures belong together, what each group is called, and what is asked of it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from .record import Record
from .summary import Statistics

Groups = dict[str, list[Record]]

CORNERS = ("mark corner, x", "mark corner, y", "mark corner, outward")
#: Groups in the order of the tables, as ``Record.group`` has them, and their titles.
TITLES = {
    "samples": "sample pictures",
    "traced:nominal": "path-traced, nominal",
    "traced:hard": "path-traced, hard",
    "traced:any": "path-traced, any",
    "quick:nominal": "quick, nominal",
    "quick:hard": "quick, hard",
    "quick:near-limit": "quick, near a limit",
    "quick:campaign": "quick, campaign",
    "quick:clean": "quick, clean",
    "folder": "folder",
}


@dataclass(frozen=True, slots=True)
class Aim:
    """What is wanted of a figure; None where nothing is asked."""

    rms: float | None = None
    worst: float | None = None
    bias: float | None = None

    def against(self, found: Statistics) -> str:
        """Each part of the aim and whether it is reached."""
        parts = [
            ("RMS", self.rms, found.rms),
            ("each", self.worst, abs(found.worst)),
            ("bias", self.bias, abs(found.bias)),
        ]
        return ", ".join(
            f"{name} {limit:g} {'reached' if value <= limit else '**missed**'}"
            for name, limit, value in parts
            if limit is not None
        )


Aims = dict[str, Aim]
_PHONE_CORNERS = {name: Aim(rms=0.05, bias=0.02) for name in CORNERS[:2]}
AIMS: dict[str, Aims] = {
    "samples": {
        "gap": Aim(rms=0.06, worst=0.12),
        "lateral": Aim(worst=0.10),
        "tilt": Aim(worst=0.3),
        "seat": Aim(worst=0.10),
        "clock": Aim(worst=1.5),
        "turns": Aim(worst=0.04),
    },
    "traced:nominal": {
        "gap": Aim(rms=0.020, worst=0.05),
        "lateral": Aim(rms=0.03),
        "seat": Aim(rms=0.04),
        "clock": Aim(rms=0.5),
        "turns": Aim(rms=0.005),
    },
    "traced:hard": {"gap": Aim(rms=0.05)},
    "quick:nominal": {"gap": Aim(rms=0.010, bias=0.003), **_PHONE_CORNERS},
    "quick:campaign": {"gap": Aim(rms=0.03), **_PHONE_CORNERS},
    "quick:near-limit": _PHONE_CORNERS,
    "quick:clean": {name: Aim(rms=0.015, bias=0.005) for name in CORNERS[:2]},
}
#: Share of true values that ought to lie within the expanded uncertainty, and the RMS of
#: error over standard uncertainty, from and to.
COVERAGE_AIM = (0.93, 0.975)
OVER_U_AIM = (0.85, 1.15)


def grouped(records: Iterable[Record]) -> Groups:
    """Records by group, in the order of ``TITLES``."""
    groups: Groups = {name: [] for name in TITLES}
    for record in records:
        groups.setdefault(record.group, []).append(record)
    return {name: members for name, members in groups.items() if members}


def marker(group: str) -> str:
    """The name of a group's block in a document."""
    return f"accuracy:{group.removesuffix(':campaign')}"
