"""What one disturbance lays on the rig or lights it with, in gauge axes (mm) unless said."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Pair = tuple[float, float]
Body = Literal["sill", "door"]


@dataclass(frozen=True)
class Sheet:
    """A crumpled rag whose lowest folds lie at ``z_mm``."""

    centre_mm: Pair
    size_mm: Pair
    z_mm: float
    fold_mm: float = 2.0
    turn_deg: float = 0.0


@dataclass(frozen=True)
class Bead:
    """Thick grease along an edge; ``into_gap_mm`` and ``on_face_mm`` are measured from it."""

    body: Body
    at_x_mm: float
    length_mm: float
    into_gap_mm: float
    on_face_mm: float
    height_mm: float


@dataclass(frozen=True)
class Grains:
    """Dust grains that lie across both edges."""

    number: int
    largest_radius_mm: float


@dataclass(frozen=True)
class Patch:
    """A thin film on the plate: ragged, or a strip with straight borders."""

    centre_mm: Pair
    size_mm: Pair
    turn_deg: float
    albedo: float
    opacity: float
    ragged: bool
    #: Range of x and of y that it ends at: the plate's borders. None: nowhere.
    within_mm: tuple[Pair, Pair] | None = None


@dataclass(frozen=True)
class Gouge:
    """A scratch nearly along an edge, ``away_mm`` from it on the face."""

    body: Body
    away_mm: float
    slope: float
    at_x_mm: float
    length_mm: float
    width_mm: float
    depth_mm: float


@dataclass(frozen=True)
class EdgeShadow:
    """A hard shadow from a lamp and a straight edge; its border lies ``away_mm`` off an edge."""

    body: Body
    away_mm: float
    lamp_diameter_mm: float
    surroundings: float
    #: Where the straight edge is on the way from the face to the lamp: nearer is sharper.
    toward_lamp: float


@dataclass(frozen=True)
class HalfShadow:
    """A card before the lamp: its shadow's border crosses the plate through ``through_mm``."""

    through_mm: Pair
    turn_deg: float
    penumbra_mm: float
    surroundings: float


@dataclass(frozen=True)
class Glare:
    """A lamp where the faces mirror it to the camera at that place along the gap."""

    at_x_mm: float
    irradiance: float
    diameter_mm: float


@dataclass(frozen=True)
class StripLamp:
    """A long lamp along the gap, above or below it, that a polished round mirrors as a line."""

    side: int  # 1 above: the sill's round mirrors it; -1 below: the door's
    irradiance: float


@dataclass(frozen=True)
class Spot:
    """A torch beside the phone with a narrow beam, and little light else."""

    centre_mm: Pair
    radius_mm: float
    surroundings: float


@dataclass(frozen=True)
class Panel:
    """A bright panel whose lower border the door mirrors ``above_edge_mm`` off its edge."""

    above_edge_mm: float
    radiance: float


Lighting = EdgeShadow | HalfShadow | Glare | StripLamp | Spot


@dataclass(frozen=True)
class Staged:
    """Everything that a disturbance adds to a scene or changes of its surfaces."""

    sheets: tuple[Sheet, ...] = ()
    beads: tuple[Bead, ...] = ()
    grains: Grains | None = None
    patches: tuple[Patch, ...] = ()
    gouges: tuple[Gouge, ...] = ()
    lighting: Lighting | None = None  # instead of the look's own light
    panel: Panel | None = None
    #: Width of the polished band on both broken edges.
    polish_mm: float = 0.0
    #: Refractive index of the door's clear coat; 0 without coat.
    coat_ior: float = 0.0
    #: What the door's paint reflects; None leaves the look's own paint.
    door_albedo: float | None = None
    #: Light of the duct behind the gap over that of the door; None leaves it dark.
    duct_over_door: float | None = None
