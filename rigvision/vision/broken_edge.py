"""Where the tangent planes of broken edges lie, read by a small trained network.

How bright a round is at each angle depends on lamps, polish, paint and soot, and its outline
lies elsewhere than the tangent plane that a feeler gauge touches. The network has seen some
hundred thousand cross-sections of such edges, path-traced under random lights and photographed
by random phones, and says where the tangent plane lies and how surely
(``models/networks/broken-edge.md``). It knows the radius, the line of sight, the scale, and
how the picture shows the marks' printed borders.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.vision.edge_features import EdgeProfiles, edge_features
from rigvision.vision.slot_profiles import BoolArray, SlotProfiles
from rigvision.world.network import Network, load_network

NETWORK = "broken-edge"


@dataclass(frozen=True, slots=True)
class EdgeTuning:
    """How the network is asked, in radii, and how its errors go together."""

    # A first look from several places, as the coarse search may be a radius off; then from
    # places around what was found, whose answers differ by what the network makes of chance.
    wide_radii: tuple[float, ...] = (-1.2, -0.8, -0.4, 0.0, 0.4, 0.8)
    near_radii: tuple[float, ...] = (-0.4, -0.2, 0.0, 0.2, 0.4)
    near_looks: int = 2
    largest_step_radii: float = 1.5
    # Errors of one edge at two stations: shading is much the same all along, and alters
    # slowly; the rest is each station's own. Measured on path-traced development pictures.
    common: float = 0.60
    drifting: float = 0.25
    drift_mm: float = 40.0
    largest_move_mm: float = 0.7  # between coarse edge and reading; further is another edge
    # An edge falls from its face into the slot: darkest within ``fall_radii`` beyond it, as part
    # of the brightest as near before it. The network answers also where there is no edge.
    fall_radii: float = 2.0
    fall_part: float = 0.8


#: Natural logarithm of the network's scale in radii, as bounded in training.
LOG_SCALE = (-6.0, 2.0)
#: That is the scale of Student's t with 5 degrees of freedom, by which it was
#: trained; the variance of that is 5/3 of the scale's square.
VARIANCE_OF_T = 5.0 / 3.0


@dataclass(frozen=True, slots=True)
class ReadEdges:
    """Tangent planes of sill and door, (S, 2), with covariance (2 S, 2 S) in that order."""

    edges_mm: FloatArray
    covariance_mm2: FloatArray
    believable: BoolArray  # (S,): the reading stayed with the edges it was started from


def read_edges(
    profiles: SlotProfiles,
    coarse_mm: FloatArray,
    tuning: EdgeTuning | None = None,
    light_duct: BoolArray | None = None,
) -> ReadEdges:
    """Both edges at all stations, from coarse edges (S, 2).

    ``light_duct`` (S,): where light need not fall into the slot.
    """
    tuning = tuning or EdgeTuning()
    network = load_network(NETWORK)
    sill = _sill_side(profiles)
    sides = (sill, _mirrored(sill, profiles))
    # Along each side's own axis: the door's runs down.
    found = [coarse_mm[:, 0], -coarse_mm[:, 1]]
    sigma = [np.zeros(len(coarse_mm))] * 2
    for look in range(1 + tuning.near_looks):
        offsets = tuning.wide_radii if look == 0 else tuning.near_radii
        answers = [
            _answers(network, side, found[i], -found[1 - i], np.array(offsets), tuning)
            for i, side in enumerate(sides)
        ]
        # A start far off sees little: of the wide look's answers the sure ones count.
        read = [_joined(*answer, power=2 if look == 0 else 0) for answer in answers]
        found, sigma = [place for place, _ in read], [spread for _, spread in read]
    edges = np.column_stack([found[0], -found[1]])
    moved = np.abs(edges - coarse_mm).max(axis=1)
    falls = np.all(
        [_falls(side, at, tuning) for side, at in zip(sides, found, strict=True)], axis=0
    )
    if light_duct is not None:
        falls = falls | light_duct
    return ReadEdges(
        edges,
        _covariance(profiles.x_mm, np.column_stack(sigma), tuning),
        (moved < tuning.largest_move_mm) & (edges[:, 1] > edges[:, 0]) & falls,
    )


def _answers(
    network: Network,
    side: EdgeProfiles,
    start: FloatArray,
    other: FloatArray,
    offsets_radii: FloatArray,
    tuning: EdgeTuning,
) -> tuple[FloatArray, FloatArray]:
    """Places (K, S) and their variances as each network gives them from each start."""
    count = len(offsets_radii)
    starts = (start + side.radius * offsets_radii[:, None]).ravel()
    out = network(edge_features(_repeated(side, count), starts, np.tile(other, count)))
    step = np.clip(out[..., 0], -tuning.largest_step_radii, tuning.largest_step_radii)
    scale = side.radius * np.exp(np.clip(out[..., 1], *LOG_SCALE))
    places = (starts + side.radius * step).reshape(-1, len(start))
    return places, (VARIANCE_OF_T * scale**2).reshape(-1, len(start))


def _joined(places: FloatArray, variances: FloatArray, power: int) -> tuple[FloatArray, FloatArray]:
    """Mean (S,) of several answers and its standard uncertainty, which keeps their spread."""
    weights = variances ** -float(power)
    weights = weights / weights.sum(axis=0)
    place = (weights * places).sum(axis=0)
    return place, np.sqrt(np.mean(variances + (places - place) ** 2, axis=0))


def _falls(side: EdgeProfiles, at: FloatArray, tuning: EdgeTuning) -> BoolArray:
    """Whether light falls (S,) from before each edge to beyond it."""
    v = side.first[:, None] + side.step * np.arange(side.light.shape[1])
    away = (v - at[:, None]) / side.radius
    seen = np.isfinite(side.light)
    before = np.where(seen & (away <= 0) & (away > -tuning.fall_radii), side.light, 0.0)
    beyond = np.where(seen & (away >= 0) & (away < tuning.fall_radii), side.light, np.inf)
    return np.asarray(beyond.min(axis=1) < tuning.fall_part * before.max(axis=1))


def _covariance(x_mm: FloatArray, sigma_mm: FloatArray, tuning: EdgeTuning) -> FloatArray:
    """Covariance (2 S, 2 S): along an edge errors go together, between the edges they do not."""
    apart = np.abs(x_mm[:, None] - x_mm) / tuning.drift_mm
    own = (1.0 - tuning.common - tuning.drifting) * np.eye(len(x_mm))
    together = tuning.common + tuning.drifting * np.exp(-apart) + own
    covariance = np.zeros((2 * len(x_mm), 2 * len(x_mm)))
    for edge in range(2):
        covariance[edge::2, edge::2] = together * np.outer(sigma_mm[:, edge], sigma_mm[:, edge])
    return covariance


def _sill_side(profiles: SlotProfiles) -> EdgeProfiles:
    count = len(profiles.x_mm)
    return EdgeProfiles(
        first=np.full(count, profiles.y_mm[0]),
        step=float(profiles.y_mm[1] - profiles.y_mm[0]),
        light=profiles.light,
        error=np.nanmedian(profiles.error, axis=1),
        radius=profiles.radius_mm,
        px_per_unit=profiles.px_per_mm,
        slope=np.full(count, profiles.ray_slope),
        own_depth=np.full(count, profiles.sill_depth_mm),
        other_depth=np.full(count, profiles.door_depth_mm),
        spread=profiles.spread,
        focus=profiles.focus,
    )


def _mirrored(sill: EdgeProfiles, profiles: SlotProfiles) -> EdgeProfiles:
    """The door's side: the sill's mirror image, along an axis that runs down."""
    return replace(
        sill,
        first=np.full(len(profiles.x_mm), -profiles.y_mm[-1]),
        light=profiles.light[:, ::-1],
        slope=-sill.slope,
        own_depth=sill.other_depth,
        other_depth=sill.own_depth,
    )


def _repeated(side: EdgeProfiles, count: int) -> EdgeProfiles:
    """The same edges several times over, one block after the other."""
    return replace(
        side,
        first=np.tile(side.first, count),
        light=np.tile(side.light, (count, 1)),
        error=np.tile(side.error, count),
        px_per_unit=np.tile(side.px_per_unit, count),
        slope=np.tile(side.slope, count),
        own_depth=np.tile(side.own_depth, count),
        other_depth=np.tile(side.other_depth, count),
        focus=np.tile(side.focus, count),
    )
