"""What a checked photo's set-up looked like, small enough to be kept with every record."""

from __future__ import annotations

import numpy as np

from rigvision.decision.result import CheckResult
from rigvision.evidence import Evidence
from rigvision.ground.conventions import FloatArray
from rigvision.ground.errors import PhotoError
from rigvision.ground.measured import Measured
from rigvision.photo.picture import Picture
from rigvision.photo.picture_reader import picture_reader
from rigvision.records.bodies import Likeness
from rigvision.records.packed_patch import packed, sketch
from rigvision.vision.camera_place import camera_place
from rigvision.vision.face_patches import FacePatches, face_patches

#: Faces by whose sketches likenesses are found: of bare metal as a rule, and not moved by a turn.
SKETCHED = ("sill", "barrel")


def likeness_of(result: CheckResult) -> Likeness | None:
    """The likeness of one photo's check; None where no view of the gauge was solved.

    Takes a few milliseconds where the check kept the faces (``check(..., faces=True)``), else the
    photo is read again. Raises PhotoError where that fails, or the file is another now.
    """
    seen = result.evidence
    if not isinstance(seen, Evidence) or not (seen.pose and seen.gauge and seen.frame):
        return None
    place = camera_place(seen.pose)
    faces = (seen.faces or _faces_again(seen)).contrast
    sketches = {name: sketch(faces[name]) for name in SKETCHED if name in faces}
    return Likeness(
        "rigvision.likeness/1",
        seen.gauge.name,
        _three(place.centre_mm),
        _three(np.sqrt(np.diag(place.covariance_mm2))),
        {name: packed(patch) for name, patch in faces.items()},
        seen.frame.name,
        _marks(seen),
        _figures(seen),
        360.0 / (seen.frame.socket.flats if seen.frame.socket else 1),
        {name: signs for name, signs in sketches.items() if signs},
    )


def _marks(seen: Evidence) -> dict[str, tuple[float, float]]:
    """Middles of the whole marks that the view stands on."""
    assert seen.pose is not None
    used = [m for m in (seen.marks.measured if seen.marks else ()) if m.mark_id in seen.pose.used]
    middles = {m.mark_id: m.corners_px.mean(axis=0) for m in used if m.whole}
    return {str(i): (round(float(x), 3), round(float(y), 3)) for i, (x, y) in middles.items()}


def _faces_again(seen: Evidence) -> FacePatches:
    with picture_reader(seen.guarded) as read:
        picture: Picture = read(seen.photo_path)
    if picture.sha256 != seen.photo_sha256:
        raise PhotoError(
            "photo-changed",
            f"{picture.name} is no longer the file that was checked.",
            "Check it again.",
        )
    assert seen.pose is not None
    assert seen.gauge is not None
    assert seen.frame is not None
    return face_patches(picture, seen.pose, seen.gauge, seen.frame, seen.slot)


def _figures(seen: Evidence) -> dict[str, tuple[float, float]]:
    """Value and standard uncertainty of all that was measured."""
    measured: dict[str, Measured | None] = {}
    if seen.gap:
        measured |= {"gap_mm": seen.gap.mean_mm, "taper_mm": seen.gap.taper_mm}
    if seen.alignment:
        measured |= {
            "lateral_mm": seen.alignment.lateral_offset_mm,
            "tilt_deg": seen.alignment.tilt_deg,
            "seat_mm": seen.alignment.seat_gap_mm,
            "clock_deg": seen.alignment.clock_deg,
        }
    return {
        name: (round(m.value, 5), round(m.standard_uncertainty, 5))
        for name, m in measured.items()
        if m is not None
    }


def _three(values: FloatArray) -> tuple[float, float, float]:
    x, y, z = (round(float(v), 3) for v in values)
    return x, y, z
