"""Photos with known truth and one disturbance each: what hangars, hands and phones do to them."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from rigvision.synthetic.case import Case, even_light, random_case
from rigvision.synthetic.development import develop, tinted
from rigvision.synthetic.disturbed_edges import EDGES
from rigvision.synthetic.disturbed_file import FILE
from rigvision.synthetic.disturbed_light import LIGHT
from rigvision.synthetic.disturbed_marks import MARKS
from rigvision.synthetic.disturbed_phone import PHONE
from rigvision.synthetic.disturbed_view import VIEW
from rigvision.synthetic.finished import UNMOVED, Finished
from rigvision.synthetic.photograph import Photograph
from rigvision.synthetic.picture import SAMPLES, render
from rigvision.synthetic.scene import Grime
from rigvision.synthetic.staging import STRENGTHS, Circumstances, Disturbance
from rigvision.synthetic.truth import truth_of
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge

DISTURBANCES: dict[str, Disturbance] = {
    d.name: d for d in (*PHONE, *VIEW, *LIGHT, *EDGES, *MARKS, *FILE)
}
#: What an undisturbed photo is called beside them; its strength is 0.
UNDISTURBED = "none"
#: Tells the random numbers of disturbances from those of the scenes.
_SERIES = 91


def base_case(
    seed: int, gauge: Gauge, frame: Frame, *, size_px: tuple[int, int] = (4000, 3000)
) -> Case:
    """A clean scene in even light: half of them as a mechanic may find it, half near a limit.

    Only where all but one figure is well inside its limits does a verdict hang on that one.
    """
    rng = np.random.default_rng([seed, _SERIES])
    zone = "nominal" if rng.random() < 0.5 else "near-limit"
    case = random_case(seed, gauge, frame, zone, size_px=size_px)
    grime = Grime(
        smear=float(rng.uniform(0.0, 0.3)),
        edge_dust=float(rng.uniform(0.0, 0.25)),
        worn_edge=float(rng.uniform(0.0, 0.3)),
    )
    return replace(case, scene=replace(case.scene, grime=grime, light=even_light(rng)))


def disturbed_photo(
    name: str,
    strength: int,
    seed: int,
    gauge: Gauge,
    frame: Frame,
    *,
    size_px: tuple[int, int] = (4000, 3000),
    samples: int = SAMPLES,
) -> Photograph:
    """A photo with one disturbance at strength 1, 2 or 3; ``none`` at strength 0 leaves it out.

    The same arguments give the same bytes. Its truth is that of the picture as it lies in the
    file, and names disturbance, strength and the codes that are right answers to it.

    Raises KeyError for a name and ValueError for a strength that there is not.
    """
    case = base_case(seed, gauge, frame, size_px=size_px)
    disturbance = None if (name, strength) == (UNDISTURBED, 0) else DISTURBANCES[name]
    c = circumstances(name, strength, seed, gauge, frame, size_px)
    return _taken(case, disturbance, c, seed, samples)


def circumstances(
    name: str, strength: int, seed: int, gauge: Gauge, frame: Frame, size_px: tuple[int, int]
) -> Circumstances:
    """Those of one photo. All strengths of a seed draw the same random numbers.

    Raises ValueError for a strength that there is not.
    """
    if strength not in STRENGTHS and name != UNDISTURBED:
        raise ValueError(f"strength {strength}: there are {STRENGTHS}")
    # By the name itself, so that one more disturbance changes no other's pictures.
    rng = np.random.default_rng([seed, _SERIES, *name.encode()])
    return Circumstances(strength, gauge, frame, rng, max(size_px))


def _taken(
    case: Case, disturbance: Disturbance | None, c: Circumstances, seed: int, samples: int
) -> Photograph:
    """The photo, stage by stage."""
    rng = np.random.default_rng(seed)
    if disturbance:
        case = disturbance.scene(case, c)
    linear = render(case.scene, case.camera, c.gauge, c.frame, rng, samples)
    if disturbance:
        linear = disturbance.light(linear, case.camera, c)
    encoded = develop(linear, case.camera, rng)
    tint = float(rng.normal(-6.0, 4.0)), float(rng.normal(3.0, 3.0))
    picture = Finished(tinted(encoded, tint), case.camera, UNMOVED)
    if disturbance:
        picture = disturbance.picture(picture, c)
    truth = picture.truth_moved(truth_of(case.scene, case.camera, c.gauge, c.frame))
    return Photograph(
        picture.file(seed % 100_000), truth | {"disturbance": _named(disturbance, c.strength)}
    )


def _named(disturbance: Disturbance | None, strength: int) -> dict[str, Any]:
    return {
        "name": disturbance.name if disturbance else UNDISTURBED,
        "strength": strength,
        "accepted_codes": list(disturbance.accepted_codes) if disturbance else [],
    }
