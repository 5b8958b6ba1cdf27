"""The chain on one screen: a photo in, a result out, one line a step."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable

from rigvision.decision.result import CheckResult
from rigvision.decision.verdict import decide
from rigvision.evidence import Evidence
from rigvision.findings import assemble, cause_of, facts_of, findings_of
from rigvision.ground.errors import PhotoError, Unmeasurable
from rigvision.metrology.gap import measure_gap
from rigvision.metrology.yoke import measure_yoke
from rigvision.photo.picture_reader import PictureReader, picture_reader
from rigvision.vision.camera_prior import camera_prior
from rigvision.vision.conditions import look_over
from rigvision.vision.face_patches import face_patches
from rigvision.vision.marks import read_marks
from rigvision.vision.pose import solve_pose
from rigvision.vision.sighting import find_tags
from rigvision.vision.slot import find_slot
from rigvision.vision.yoke import find_yoke
from rigvision.world.camera import Camera
from rigvision.world.catalogue import DEFAULT_CAMERA, load
from rigvision.world.recognise import (
    check_door,
    frame_for,
    load_frame,
    load_gauge,
    recognise_gauge,
)

PathLike = str | os.PathLike[str]


def check(
    photo: PathLike,
    gauge: str | None = None,
    frame: str | None = None,
    door: int | None = None,
    camera: str | None = None,
    guarded: bool = False,
    faces: bool = False,
) -> CheckResult:
    """Check one photo.

    ``gauge``, ``frame`` and ``camera`` are names of installed models or paths of .toml
    files; the gauge is found from its marks when left out, the frame from the gauge.
    ``guarded`` has the file decoded in a child process that can do nothing else: for files
    from strangers, on Linux and macOS. With ``faces`` the evidence keeps small pictures of the
    faces around the gap, by which records are compared.

    Raises PhotoError for a file that is not a whole photo, ModelError for a wrong model
    file, UsageError for names that do not exist or do not fit together. A photo that
    cannot be measured is no error: its verdict is ``retake``.
    """
    with picture_reader(guarded) as read:
        return _checked(read, guarded, photo, gauge, frame, door, camera, faces)


def _checked(
    read: PictureReader,
    guarded: bool,
    photo: PathLike,
    gauge: str | None,
    frame: str | None,
    door: int | None,
    camera: str | None,
    faces: bool = False,
) -> CheckResult:
    wanted_gauge, wanted_frame = load_gauge(gauge), load_frame(frame)
    known_camera = load(Camera, camera or DEFAULT_CAMERA)
    if wanted_frame:
        check_door(door, wanted_frame)
    picture = read(photo)
    seen = Evidence(
        picture.path,
        picture.sha256,
        camera=known_camera,
        asked_gauge=wanted_gauge,
        asked_frame=wanted_frame,
        stored=picture.stored,
        guarded=guarded,
    )
    cause = None
    try:
        tags = find_tags(picture)
        seen.gauge = recognise_gauge([t.mark_id for t in tags], wanted_gauge)
        seen.frame = frame_for(seen.gauge, wanted_frame)
        check_door(door, seen.frame)
        seen.marks = read_marks(picture, tags, seen.gauge)
        seen.prior = camera_prior(known_camera, picture)
        seen.pose = solve_pose(seen.marks, seen.gauge, seen.prior)
        seen.conditions = look_over(picture, seen.pose, seen.gauge, seen.frame)
        white_blown = seen.conditions.exposure.white_blown
        seen.slot = find_slot(picture, seen.pose, seen.gauge, seen.frame, white_blown)
        seen.gap = measure_gap(seen.slot, seen.pose, seen.gauge, seen.frame)
        seen.yoke = find_yoke(picture, seen.marks, seen.pose, seen.gauge, seen.frame)
        seen.alignment = measure_yoke(seen.yoke, seen.pose, seen.frame)
    except Unmeasurable as reason:
        cause = cause_of(picture, reason, seen.marks)
    if faces and seen.pose and seen.gauge and seen.frame:
        seen.faces = face_patches(picture, seen.pose, seen.gauge, seen.frame, seen.slot)
    findings = findings_of(seen, cause)
    return assemble(facts_of(picture), seen, findings, decide(findings), door, known_camera.name)


def check_many(
    photos: Iterable[PathLike],
    gauge: str | None = None,
    frame: str | None = None,
    door: int | None = None,
    camera: str | None = None,
    progress: Callable[[int], None] | None = None,
    guarded: bool = False,
    faces: bool = False,
) -> list[CheckResult | PhotoError]:
    """Check several photos in order; a file that cannot be read takes its error's place.

    ``progress`` is called with the number of photos done. With ``guarded``, photos of one call
    may share a child process. ``faces`` is that of ``check``.
    """
    results: list[CheckResult | PhotoError] = []
    with picture_reader(guarded) as read:
        for photo in photos:
            try:
                results.append(_checked(read, guarded, photo, gauge, frame, door, camera, faces))
            except PhotoError as error:
                results.append(error)
            if progress:
                progress(len(results))
    return results
