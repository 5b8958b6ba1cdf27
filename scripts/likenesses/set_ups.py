"""One door's set-up photographed honestly and less so, each photo reduced to its likeness."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

import rigvision
from rigvision.records.bodies import Likeness
from rigvision.records.likeness import likeness_of
from rigvision.synthetic import PhoneCamera, Scene, random_case
from rigvision.synthetic.case import ZONES, random_camera
from rigvision.synthetic.development import develop, jpeg
from rigvision.synthetic.picture import render
from rigvision.synthetic.scene import driven_clock_deg, random_light
from rigvision.world.catalogue import load
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge

from .copies import copies

SIZE_PX = (4000, 3000)
#: How far a hand that tries to hold still has moved at the next photo, mm; no source.
STILL_HAND_MM = 5.0

Likenesses = dict[str, Likeness | None]


@dataclass(frozen=True, slots=True)
class Rig:
    """What a photo shows: ``parts`` are the random numbers of its metal, dirt and surroundings."""

    scene: Scene
    parts: tuple[int, ...]


def likenesses(number: int) -> Likenesses:
    """Likenesses of all photos of one set-up and of what came after it, by the photo's name."""
    gauge, frame = load(Gauge, "RG-10"), load(Frame, "DF-10")
    rng = np.random.default_rng([number, 11])
    case = random_case(number, gauge, frame, "nominal", size_px=SIZE_PX)
    first = Rig(case.scene, (number, 1))
    shots = {"first": (first, case.camera)} | {
        name: (rig, _camera(gauge, rng)) for name, rig in _rigs(first, frame, rng).items()
    }
    shots["next, still hand"] = first, _moved(case.camera, rng)
    found: Likenesses = {}
    with tempfile.TemporaryDirectory(prefix="rigvision-likeness-") as folder:
        for k, (name, (rig, camera)) in enumerate(shots.items()):
            path = Path(folder, f"{k}.jpg")
            path.write_bytes(_photo(rig, camera, gauge, frame, (number, k)))
            found[name] = _likeness(path)
        for name, (content, suffix) in copies(Path(folder, "0.jpg")).items():
            path = Path(folder, f"copy{suffix}")
            path.write_bytes(content)
            found[name] = _likeness(path)
    return found


def _likeness(path: Path) -> Likeness | None:
    return likeness_of(rigvision.check(path, faces=True))


def _rigs(first: Rig, frame: Frame, rng: np.random.Generator) -> dict[str, Rig]:
    """The same set-up again, what honestly follows it, and another door that is rigged alike."""
    turned = float(rng.choice([-1.0, 1.0]) * rng.uniform(0.1, 0.4))
    flats = frame.socket.flats if frame.socket else 1
    return {
        "again": first,
        "again, other light": Rig(replace(first.scene, light=random_light(rng)), first.parts),
        "after a turn": _after(first, frame, turned, rng),
        "after a fiftieth of a turn": _after(first, frame, 0.02, rng),
        "gauge seated anew": Rig(_seated_anew(first.scene, rng), first.parts),
        "other door, rigged alike": Rig(first.scene, (first.parts[0], 2)),
        "after a flat's turn": _after(first, frame, 1.0 / flats, rng),
    }


def _after(first: Rig, frame: Frame, turns: float, rng: np.random.Generator) -> Rig:
    """The same door adjusted, the gauge left in place; the yoke was drawn back and pushed in."""
    scene = first.scene
    by_mm = turns * frame.drive.gap_per_socket_turn_mm
    gap_mm = scene.gap_mm + (by_mm if scene.gap_mm + by_mm > 0.2 else -by_mm)
    moved_deg = driven_clock_deg(frame, gap_mm) - driven_clock_deg(frame, scene.gap_mm)
    flats = frame.socket.flats if frame.socket else 1
    clock_deg = (scene.clock_deg + moved_deg + 180.0 / flats) % (360.0 / flats) - 180.0 / flats
    scene = replace(scene, gap_mm=gap_mm, clock_deg=clock_deg, light=random_light(rng))
    return Rig(_yoke_moved(scene, rng), first.parts)


def _yoke_moved(scene: Scene, rng: np.random.Generator) -> Scene:
    x, y = scene.yoke_shoulder_mm
    moved = x - float(rng.uniform(0.0, 0.3)), y + float(rng.normal(0.0, 0.03))
    return replace(scene, yoke_shoulder_mm=moved)


def _seated_anew(scene: Scene, rng: np.random.Generator) -> Scene:
    scene = replace(
        scene,
        sill_offset_mm=float(rng.normal(0.0, 0.03)),
        sill_tilt_deg=float(rng.normal(0.0, 0.05)),
        light=random_light(rng),
    )
    return _yoke_moved(scene, rng)


def _camera(gauge: Gauge, rng: np.random.Generator) -> PhoneCamera:
    return random_camera(ZONES["nominal"], gauge, SIZE_PX, rng)


def _moved(camera: PhoneCamera, rng: np.random.Generator) -> PhoneCamera:
    """The same phone a moment later."""
    eye = camera.eye_mm + rng.normal(0.0, STILL_HAND_MM, 3)
    distance = float(np.linalg.norm(eye))
    return replace(
        camera,
        distance_mm=distance,
        tilt_deg=float(np.degrees(np.arccos(eye[2] / distance))),
        azimuth_deg=float(np.degrees(np.arctan2(eye[1], eye[0]))),
        roll_deg=camera.roll_deg + float(rng.normal(0.0, 1.0)),
    )


def _photo(
    rig: Rig, camera: PhoneCamera, gauge: Gauge, frame: Frame, shot: tuple[int, int]
) -> bytes:
    """A JPEG. The metal hangs on the rig, noise on the shot."""
    parts, noise = np.random.default_rng(rig.parts), np.random.default_rng([*shot, 3])
    linear = render(rig.scene, camera, gauge, frame, parts)
    return jpeg(develop(linear, camera, noise), camera, 1000 * shot[1], (-6.0, 3.0))
