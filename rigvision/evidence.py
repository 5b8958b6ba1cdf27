"""What was found in a picture on the way to a result: kept for drawing, not for deciding."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from rigvision.vision.marks import Marks
from rigvision.vision.pose import Pose
from rigvision.vision.slot import SlotEdges
from rigvision.vision.yoke import YokeFeatures
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge


@dataclass(frozen=True, slots=True)
class Evidence:
    """The steps' own products; None from the first step that could not be taken."""

    photo_path: Path
    photo_sha256: str
    gauge: Gauge | None = None
    frame: Frame | None = None
    marks: Marks | None = None
    pose: Pose | None = None
    slot: SlotEdges | None = None
    yoke: YokeFeatures | None = None
