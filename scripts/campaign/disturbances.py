"""Disturbed photos, made and checked side by side: what comes of each is a ``Record``."""

from __future__ import annotations

import json
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from rigvision.synthetic.disturbance import DISTURBANCES, UNDISTURBED, disturbed_photo
from rigvision.synthetic.staging import STRENGTHS
from rigvision.world.catalogue import load
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge

from .pictures import SCENES_A_SEED, photos_in, side_by_side
from .record import Record, Truth, measure

#: Undisturbed photos in every round of all disturbances and strengths.
CONTROLS_A_ROUND = 6
#: What the group of a disturbed photo begins with; its name and strength follow.
GROUP = "disturbed"


@dataclass(frozen=True, slots=True)
class DisturbedCampaign:
    """Disturbed photos to make: which of a seed's, of which disturbances, how large."""

    first: int
    photos: int
    seed: int
    names: tuple[str, ...]
    strengths: tuple[int, ...]
    size_px: tuple[int, int]
    gauge: str
    frame: str

    def kind(self, number: int) -> tuple[str, int]:
        """Disturbance and strength of a photo; in rounds, so that any part has all of them."""
        kinds = [(name, strength) for name in self.names for strength in self.strengths]
        kinds += [(UNDISTURBED, 0)] * CONTROLS_A_ROUND
        return kinds[number % len(kinds)]


def campaign_of(
    first: int,
    photos: int,
    seed: int,
    only: Sequence[str] | None,
    strengths: Sequence[int] | None,
    size_px: tuple[int, int],
    gauge: str,
    frame: str,
) -> DisturbedCampaign:
    """Of all disturbances and strengths where none are named.

    Raises SystemExit for a disturbance that there is not.
    """
    unknown = sorted(set(only or ()) - set(DISTURBANCES))
    if unknown:
        raise SystemExit(f"{', '.join(unknown)}: there are {', '.join(DISTURBANCES)}")
    names = tuple(only or DISTURBANCES)
    return DisturbedCampaign(
        first, photos, seed, names, tuple(strengths or STRENGTHS), size_px, gauge, frame
    )


def check_disturbed(campaign: DisturbedCampaign, workers: int | None = None) -> list[Record]:
    """Photos of a campaign, each made, checked and forgotten."""
    numbers = range(campaign.first, campaign.first + campaign.photos)
    with tempfile.TemporaryDirectory(prefix="rigvision-disturbed-") as folder:
        return side_by_side(partial(_on_number, campaign, Path(folder)), numbers, workers)


def check_disturbed_folder(folder: Path, workers: int | None = None) -> list[Record]:
    """Every picture of a folder with its truth beside it; without a disturbance, a control."""
    return side_by_side(_on_file, photos_in(folder), workers)


def _on_number(campaign: DisturbedCampaign, folder: Path, number: int) -> Record:
    gauge, frame = load(Gauge, campaign.gauge), load(Frame, campaign.frame)
    name, strength = campaign.kind(number)
    scene = SCENES_A_SEED * campaign.seed + number
    photograph = disturbed_photo(name, strength, scene, gauge, frame, size_px=campaign.size_px)
    photo = folder / f"{name}-{strength}-{scene}.jpg"
    photo.write_bytes(photograph.jpeg)
    try:
        return checked(photo, photograph.truth)
    finally:
        photo.unlink()


def _on_file(photo: Path) -> Record:
    return checked(photo, json.loads(photo.with_suffix(".truth.json").read_text(encoding="utf-8")))


def checked(photo: Path, truth: Truth) -> Record:
    """One photo checked, with what its disturbance is and what would be right to say of it."""
    undisturbed = {"name": UNDISTURBED, "strength": 0, "accepted_codes": []}
    disturbance = truth.get("disturbance", undisturbed)
    group = f"{GROUP}:{disturbance['name']}:{disturbance['strength']}"
    start = time.perf_counter()
    record = measure(photo, truth, photo.stem, group)
    return replace(
        record,
        accepted_codes=tuple(disturbance["accepted_codes"]),
        seconds=time.perf_counter() - start,
    )
