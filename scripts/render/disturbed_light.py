"""Disturbances of the light: shadows, mirrored lamps, a torch's spot."""

from __future__ import annotations

from .disturbed import Circumstances, Disturbance, looked, phoned, staged
from .shots import Shot
from .staged import EdgeShadow, Glare, HalfShadow, Panel, Spot


def _shadow_along_edge(shot: Shot, c: Circumstances) -> Shot:
    away = c.between(*c.of((2.5, 4.0), (1.0, 2.5), (0.3, 1.2)))
    shadow = EdgeShadow(c.body(), away, c.of(10.0, 4.0, 1.5), c.of(0.7, 0.22, 0.07), 0.12)
    return staged(shot, lighting=shadow)


def _glare_on_edges(shot: Shot, c: Circumstances) -> Shot:
    shot = looked(shot, sill=str(c.rng.choice(["machined", "brushed"])), soil="clean")
    glare = Glare(c.between(-25, 25), c.of(1.0, 4.0, 14.0), c.of(8.0, 16.0, 40.0))
    return phoned(staged(shot, lighting=glare), exposure_ev=c.of(0.0, 0.2, 0.4))


def _reflection(shot: Shot, c: Circumstances) -> Shot:
    shot = looked(shot, door="dark paint", soil="clean", light="hangar")
    panel = Panel(c.between(1.0, 7.0), 2.5)
    return staged(shot, coat_ior=c.of(1.9, 3.0, 4.0), panel=panel)


def _shadow_across(shot: Shot, c: Circumstances) -> Shot:
    through = (c.between(-15, 15), c.between(-10, 10))
    return staged(
        shot,
        lighting=HalfShadow(
            through, c.between(-180, 180), c.of(3.0, 1.0, 0.4), c.of(0.9, 0.3, 0.08)
        ),
    )


def _torch_spot(shot: Shot, c: Circumstances) -> Shot:
    centre = (c.between(-10, 10), c.between(0, 20))
    shot = phoned(shot, meters_middle=True)
    return staged(shot, lighting=Spot(centre, c.of(60.0, 35.0, 18.0), c.of(0.12, 0.06, 0.02)))


LIGHT = (
    Disturbance(
        name="shadow-along-edge",
        strengths=(
            "its border 2.5 to 4 mm off an edge, 2.5 mm soft",
            "1 to 2.5 mm off, 1 mm soft",
            "0.3 to 1.2 mm off, 0.4 mm soft, hardly any light in it",
        ),
        accepted_codes=("edge-hidden", "too-dark", "uncertainty-too-large"),
        change=_shadow_along_edge,
    ),
    Disturbance(
        name="glare-on-edges",
        strengths=("a lamp's mirror image on the faces", "4 times the light", "14 times"),
        accepted_codes=("glare", "edge-hidden", "uncertainty-too-large", "too-bright"),
        change=_glare_on_edges,
    ),
    Disturbance(
        name="reflection",
        strengths=("a clear coat mirrors 10 %", "25 %", "36 %"),
        accepted_codes=("edge-hidden", "glare", "uncertainty-too-large"),
        change=_reflection,
    ),
    Disturbance(
        name="shadow-across",
        strengths=("half the gauge in soft shade", "in deep shade", "nearly black"),
        accepted_codes=("too-dark", "too-few-marks", "edge-hidden", "yoke-hidden"),
        change=_shadow_across,
    ),
    Disturbance(
        name="torch-spot",
        strengths=("half the torch's light 60 mm off its middle", "35 mm off", "18 mm off"),
        accepted_codes=("too-dark", "too-few-marks", "no-gauge", "edge-hidden", "yoke-hidden"),
        change=_torch_spot,
    ),
)
