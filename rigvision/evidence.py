"""What was found in a picture on the way to a result: the steps' own products."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from rigvision.metrology.gap import Gap
from rigvision.metrology.yoke import YokeAlignment
from rigvision.photo.stored import Stored
from rigvision.vision.camera_prior import CameraPrior
from rigvision.vision.conditions import Conditions
from rigvision.vision.face_patches import FacePatches
from rigvision.vision.marks import Marks
from rigvision.vision.pose import Pose
from rigvision.vision.slot import SlotEdges
from rigvision.vision.yoke import YokeFeatures
from rigvision.world.camera import Camera
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge


@dataclass(slots=True)
class Evidence:
    """Filled step by step; None from the first step that could not be taken."""

    photo_path: Path
    photo_sha256: str
    gauge: Gauge | None = None
    frame: Frame | None = None
    marks: Marks | None = None
    prior: CameraPrior | None = None
    pose: Pose | None = None
    conditions: Conditions | None = None
    slot: SlotEdges | None = None
    gap: Gap | None = None
    yoke: YokeFeatures | None = None
    alignment: YokeAlignment | None = None
    stored: Stored | None = None
    camera: Camera | None = None
    asked_gauge: Gauge | None = None  # named by whoever called, whether or not it is seen
    asked_frame: Frame | None = None
    guarded: bool = False  # whoever decodes the photo again must do it guarded too
    faces: FacePatches | None = None  # only where they were asked for
