"""The command ``models``: which gauges, frames and cameras are installed."""

from __future__ import annotations

import sys

from rich.console import Console
from rich.table import Table
from rich.text import Text

from rigvision.ground.shown import one_line
from rigvision.world.camera import Camera
from rigvision.world.catalogue import load_all, models_folder
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge


def list_models() -> None:
    """Print every model with its facts. Raises ModelError for a file that is wrong."""
    console = Console(file=sys.stdout, highlight=False, emoji=False, markup=False)
    gauges = [(g.name, _marks(g), g.description) for g in load_all(Gauge)]
    frames = [(f.name, _doors(f), f.description) for f in load_all(Frame)]
    cameras = [(c.name, "", c.description) for c in load_all(Camera)]
    for title, rows in (("Gauges", gauges), ("Frames", frames), ("Cameras", cameras)):
        console.print(Text(title, "bold"))
        table = Table.grid(padding=(0, 3, 0, 0))
        for name, facts, description in rows:
            table.add_row(Text(f"  {name}"), Text(facts), Text(one_line(description), "dim"))
        console.print(table)
    console.print(Text(f"from {one_line(str(models_folder()))}", "dim"))


def _marks(gauge: Gauge) -> str:
    due = f", due {gauge.calibration.due_on}" if gauge.calibration else ""
    return f"{len(gauge.marks.centres_mm)} marks, {'with' if gauge.yoke else 'no'} yoke{due}"


def _doors(frame: Frame) -> str:
    return f"{frame.doors} doors, for {', '.join(frame.gauges)}"
