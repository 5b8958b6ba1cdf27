"""Patches of the faces: the same from everywhere and in any light, another door's another."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from rigvision.evidence import Evidence
from rigvision.ground.conventions import FloatArray
from rigvision.photo.exif import Exif
from rigvision.photo.picture import Picture, read_picture
from rigvision.synthetic import Light, Scene, ideal_scene
from rigvision.vision.camera_place import camera_place
from rigvision.vision.face_patches import face_patches
from rigvision.vision.pose import Pose
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge
from tests.hand_made import pose_at
from tests.photos import Photographer, camera_at, checked
from tests.views import view_at

FACES = ("sill", "door", "barrel")
OTHER_PLACE = {"tilt_deg": 19.0, "azimuth_deg": -130.0, "roll_deg": -8.0, "distance_mm": 265.0}


@pytest.fixture
def scene(gauge: Gauge, frame: Frame) -> Scene:
    made = ideal_scene(gauge, frame, 0.9)
    return replace(made, surfaces=replace(made.surfaces, door_painted=False))


def patches(shot_path: Path, picture: Picture | None = None) -> dict[str, FloatArray]:
    seen = checked(shot_path).evidence
    assert isinstance(seen, Evidence)
    assert seen.pose
    assert seen.gauge
    assert seen.frame
    made = face_patches(
        picture or read_picture(shot_path), seen.pose, seen.gauge, seen.frame, seen.slot
    )
    return dict(made.contrast)


def correlation(one: FloatArray, other: FloatArray) -> float:
    both = np.isfinite(one) & np.isfinite(other)
    a, b = one[both], other[both]
    return float(np.sum(a * b) / np.sqrt(np.sum(a * a) * np.sum(b * b)))


def test_one_door_looks_the_same_from_elsewhere_in_other_light(
    shoot: Photographer, scene: Scene
) -> None:
    first = patches(shoot(scene, camera_at()).path)
    relit = replace(scene, light=Light(torch=0.7, torch_offset=(0.2, 0.5), side_slope=(1.0, -0.4)))
    second = patches(shoot(relit, camera_at(**OTHER_PLACE)).path)
    assert all(correlation(first[f], second[f]) > 0.5 for f in FACES)


def test_other_doors_look_different(shoot: Photographer, scene: Scene) -> None:
    """Some 1500 cells or more: by chance 0.026 or less, give or take."""
    first = patches(shoot(scene, camera_at()).path)
    second = patches(shoot(scene, camera_at(), seed=2).path)
    assert all(abs(correlation(first[f], second[f])) < 0.11 for f in FACES)


def test_light_that_changes_slowly_takes_nothing_away(shoot: Photographer, scene: Scene) -> None:
    """It falls to the left, and a shadow has a sharp border square to the sill."""
    path = shoot(scene, camera_at()).path
    picture = read_picture(path)
    falls = np.linspace(0.6, 1.0, picture.width_px)
    falls[picture.width_px // 2 :] *= 0.8
    darker = replace(picture, luma=np.asarray(picture.luma * falls, np.uint8))
    plain, shaded = patches(path), patches(path, darker)
    assert correlation(plain["sill"], shaded["sill"]) > 0.8


def picture_of(luma: np.ndarray) -> Picture:
    return Picture(Path("made"), "made", "0" * 64, luma, Exif())


def test_what_the_gauge_hides_is_left_out(gauge: Gauge, frame: Frame) -> None:
    """Seen from the right, the window's right rim, at x = 44 and z = 0, hides the faces' ends.

    By similar triangles from the camera, 1.4 mm kept clear of the rim; the left end is free.
    """
    noise = np.random.default_rng(1).integers(0, 255, (3000, 4000)).astype(np.uint8)
    view = view_at(tilt_deg=38.0, azimuth_deg=5.0)
    found = face_patches(picture_of(noise), pose_at(view), gauge, frame, None)
    eye_x, _, eye_z = view.camera_centre_mm
    last_mm = eye_x - (eye_x - 42.6) * (eye_z + 6.0) / eye_z
    whole_cells = int((last_mm + 43.0) / 0.5)
    seen = np.isfinite(found.contrast["sill"][6])
    assert 150 < whole_cells < 170
    assert abs(int(seen.sum()) - whole_cells) <= 1
    assert seen[: whole_cells - 1].all()


def test_the_slot_is_no_part_of_the_door(gauge: Gauge, frame: Frame) -> None:
    """Without stations the door is believed to begin at the gap's upper limit, 1.05 + 0.8 mm."""
    luma = np.full((3000, 4000), 120, np.uint8)
    found = face_patches(picture_of(luma), pose_at(view_at()), gauge, frame, None)
    seen = np.isfinite(found.contrast["door"]).any(axis=1)
    assert list(np.flatnonzero(~seen)) == [0, 1, 2, 3]  # to 13.85, in cells of 0.5 from 12.0


def test_a_camera_is_known_across_its_line_of_sight(shoot: Photographer, scene: Scene) -> None:
    shot = shoot(scene, camera_at())
    seen = checked(shot.path).evidence
    assert isinstance(seen, Evidence)
    assert isinstance(seen.pose, Pose)
    place = camera_place(seen.pose)
    error = place.centre_mm - camera_at().eye_mm
    assert error @ np.linalg.solve(place.covariance_mm2, error) < 16.3  # one in a thousand
    ray = camera_at().eye_mm / camera_at().distance_mm
    variance = np.linalg.eigvalsh(place.covariance_mm2)
    assert ray @ place.covariance_mm2 @ ray > 0.8 * variance[-1]
    assert variance[0] < variance[-1] / 10
