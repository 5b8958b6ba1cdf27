"""Records and saved results made into a quiz's shots: which of them, and how each is shown."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from itertools import zip_longest
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING

from rigvision.decision.result import Verdict
from rigvision.ground.errors import ModelError, UsageError
from rigvision.ground.ordinary_file import read_ordinary
from rigvision.records.canonical import sha256_of
from rigvision.records.evidence_store import MOST_BYTES
from rigvision.records.ledger_error import spoken
from rigvision.training.known import known_of
from rigvision.training.quiz_error import QuizError
from rigvision.training.quiz_page import Asked
from rigvision.training.shot import Shot
from rigvision.world.catalogue import load
from rigvision.world.frame import Frame

if TYPE_CHECKING:
    from PIL.Image import Image

#: Full size, so that single pixels show; a 12-megapixel photo then has some 0.7 MB.
PHOTO_QUALITY = 80
#: The analysed image is for looking at as a whole.
IMAGE_SIDE_PX = 1600


def kind_of(verdict: Verdict, borderline: bool) -> str:
    return "borderline" if borderline else verdict


def in_turn(kinds: Mapping[str, str], seed: int) -> list[str]:
    """The names of shots, of which kinds are given, in an order drawn by ``seed``: borderline,
    pass, adjust and retake by turns as long as there are any, so that the first so many are
    mixed."""
    random = Random(seed)
    heaps: dict[str, list[str]] = {"borderline": [], "pass": [], "adjust": [], "retake": []}
    for name in sorted(kinds):
        heaps[kinds[name]].append(name)
    for heap in heaps.values():
        random.shuffle(heap)
    rounds = zip_longest(*heaps.values())
    return [name for together in rounds for name in together if name is not None]


def common_frame(shots: Sequence[Shot]) -> str | None:
    """The frame of all results that know theirs; None where they differ."""
    frames = {shot.result.frame for shot in shots if shot.result.frame}
    return frames.pop() if len(frames) == 1 else None


def asked_of(shot: Shot, frame: str | None = None) -> Asked:
    """What the quiz page needs of a record. Frame, door and limits are the job's, else ``frame``
    and its limits for all shots: what the photo itself gave away would tell a trainee whether it
    could be read.

    Raises QuizError, PhotoError where its photo is not there or not as it was measured.
    """
    if shot.files.photo is None:
        raise _lost(shot, "is missing")
    with spoken(shot.files.photo):
        content = read_ordinary(shot.files.photo, MOST_BYTES)
    if sha256_of(content) != shot.result.photo.sha256:
        raise _lost(shot, "is not the one that was measured")
    job = shot.job
    frame = job.frame if job else frame
    return Asked(
        photo=_jpeg(_colours(shot.files.photo, shot.files.guarded), PHOTO_QUALITY),
        place=f"{job.frame} door {job.door}" if job else (frame or ""),
        limits=_limits_of(frame) if frame else "",
        known=known_of(shot.result),
        record=shot.record,
        image=_image(shot.files.image),
    )


def _colours(photo: Path, guarded: bool) -> Image:
    if guarded:
        from rigvision.photo.guarded_picture import read_colour_guarded

        return read_colour_guarded(photo)
    from rigvision.photo.picture import read_colour

    return read_colour(photo)


def _jpeg(picture: Image, quality: int) -> bytes:
    """Pixels alone: nothing of what the phone wrote beside them."""
    out = io.BytesIO()
    picture.convert("RGB").save(out, "JPEG", quality=quality, optimize=True)
    return out.getvalue()


def _image(path: Path | None) -> bytes | None:
    if path is None:
        return None
    from rigvision.photo.picture import read_colour

    picture = read_colour(path)
    picture.thumbnail((IMAGE_SIDE_PX, IMAGE_SIDE_PX))
    return _jpeg(picture, PHOTO_QUALITY)


def _limits_of(name: str) -> str:
    """In words; empty where the frame is not installed here."""
    try:
        return limits_in_words(load(Frame, name))
    except (ModelError, UsageError):
        return ""


def limits_in_words(frame: Frame) -> str:
    gap, yoke = frame.gap, frame.yoke_limits
    parts = [
        f"gap {gap.lower_mm:.2f} to {gap.upper_mm:.2f} mm",
        f"taper {gap.taper_limit_mm:.2f} mm",
    ]
    if yoke:
        parts += [
            f"yoke to the side {yoke.lateral_offset_mm:.2f} mm",
            f"yoke tilt {yoke.tilt_deg:.1f} deg",
            f"seat gap {yoke.seat_gap_mm:.2f} mm",
            f"clock {yoke.clock_deg:.1f} deg",
        ]
    return "limits: " + ", ".join(parts)


def _lost(shot: Shot, what: str) -> QuizError:
    return QuizError(
        "quiz-photo-lost",
        f"The photo of {shot.name} {what}.",
        "Run 'rigvision verify' on the ledger and restore what is lost from the backup; put the "
        "photos of saved results beside them.",
    )
