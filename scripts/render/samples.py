"""The sample pictures, each named for what it shows."""

from __future__ import annotations

from .camera import View
from .rig import Rig
from .shots import Look, Phone, Shot, State, clock_for

SMALL = (2304, 1728)
MESSENGER = (2048, 1536)


def sample_shots(rig: Rig) -> list[Shot]:
    """Return every sample picture."""
    return [*_passes(rig), *_adjusts(rig), *_surfaces_and_light(rig), *_retakes(rig)]


def _passes(rig: Rig) -> list[Shot]:
    return [
        Shot(
            "nominal",
            State(0.81, 0.02, 1.4, 0.06, 0.15, -0.03, -0.1, 0.11, 0.03, -0.04, 0.03),
            View(
                225, 11, 62, 2.4, (2, 3), focal_scale=1.006, principal_offset_px=(9, -6), k1=-0.004
            ),
            Look("machined", "grey paint", "sooted", "blasted steel", "used", "hangar", 4),
            Phone(0.6, sharpen=0.6),
            "door at nominal, yoke seated",
            seed=1101,
        ),
        Shot(
            "nominal-green-door",
            State(0.77, -0.03, -1.2, -0.08, -0.2, 0.05, 0.15, 0.06, -0.05, 0.05, -0.04),
            View(271, 19, 200, -4.1, (-4, 2), focal_scale=0.991, principal_offset_px=(-7, 11)),
            Look("brushed", "green primer", "bare", "dark oxide", "worn", "side", 11),
            Phone(0.7, iso=200, sharpen=0.9, warmth=0.03),
            "door at nominal, worn edges, evening side light",
            seed=1102,
        ),
    ]


def _open(
    name: str,
    gap: float,
    clock_spread: float,
    rig: Rig,
    view: View,
    look: Look,
    phone: Phone,
    seed: int,
) -> Shot:
    state = State(
        gap,
        0.04,
        clock_for(gap, rig, clock_spread),
        0.1,
        -0.2,
        0.02,
        0.12,
        9.4 + seed % 3,
        0.02,
        0.03,
        0.02,
    )
    return Shot(
        name,
        state,
        view,
        look,
        phone,
        f"door {gap:.2f} mm open, tang in front of the socket",
        seed=seed,
    )


def _adjusts(rig: Rig) -> list[Shot]:
    return [
        _open(
            "open-1.3mm",
            1.31,
            3.0,
            rig,
            View(
                205,
                14,
                118,
                -2.2,
                (-3, 5),
                focal_scale=0.997,
                principal_offset_px=(-12, 4),
                k1=0.005,
            ),
            Look("machined", "dark paint", "bare", "blasted steel", "used", "torch", 21),
            Phone(0.65, iso=100),
            1203,
        ),
        _open(
            "open-2.2mm",
            2.22,
            -4.0,
            rig,
            View(249, 23, 78, 5.2, (4, 2), focal_scale=1.011, principal_offset_px=(5, 9)),
            Look("heat-tinted", "grey paint", "sooted", "brushed steel", "used", "hangar", 32),
            Phone(0.55, sharpen=0.4),
            1204,
        ),
        _open(
            "open-4.0mm",
            3.98,
            -10.0,
            rig,
            View(
                288,
                17,
                285,
                -3.0,
                (0, 6),
                focal_scale=0.988,
                principal_offset_px=(-4, -9),
                k1=-0.007,
            ),
            Look("blasted", "green primer", "sooted", "blasted steel", "worn", "hangar", 43),
            Phone(0.7, iso=200),
            1205,
        ),
        _open(
            "closed-0.35mm",
            0.35,
            2.0,
            rig,
            View(
                212, 12, 140, 3.3, (3, 4), focal_scale=1.003, principal_offset_px=(8, 2), k1=0.003
            ),
            Look("brushed", "grey paint", "bare", "dark oxide", "used", "hangar", 54),
            Phone(0.6, sharpen=0.8),
            1206,
        ),
        Shot(
            "tapered-0.3mm",
            State(0.80, 0.30, 1.0, 0.05, 0.1, 0.0, 0.0, 0.13, -0.03, 0.02, 0.03),
            View(
                236, 16, 35, -5.5, (1, 5), focal_scale=1.009, principal_offset_px=(-8, -5), k1=0.006
            ),
            Look("machined", "dark paint", "sooted", "brushed steel", "used", "side", 65),
            Phone(0.6, iso=100, warmth=-0.03),
            "door hangs lower on the left",
            seed=1207,
        ),
        Shot(
            "yoke-offset",
            State(0.83, -0.02, 2.2, 0.55, 0.1, -0.27, 0.2, 8.9, 0.02, -0.03, 0.0),
            View(213, 13, 255, 1.8, (2, -3), focal_scale=0.994, principal_offset_px=(3, -10)),
            Look("blasted", "grey paint", "bare", "blasted steel", "used", "torch", 76),
            Phone(0.65, iso=200),
            "yoke to one side of the socket, tang does not enter",
            seed=1208,
        ),
        Shot(
            "yoke-tilted",
            State(0.79, 0.03, -1.5, 0.1, 0.3, 0.02, -2.1, 1.6, -0.02, 0.02, 0.0),
            View(
                196,
                18,
                320,
                -2.6,
                (1, -2),
                focal_scale=1.004,
                principal_offset_px=(-6, 6),
                k1=-0.005,
            ),
            Look("brushed", "dark paint", "sooted", "blasted steel", "used", "hangar", 87),
            Phone(0.55, sharpen=0.7),
            "yoke tilted, tang part of the way in",
            seed=1209,
        ),
        Shot(
            "clock-off",
            State(
                0.88, 0.01, clock_for(0.88, rig, 1.5), 0.04, -0.1, -0.05, 0.1, 9.2, 0.03, 0.01, 0.02
            ),
            View(219, 15, 100, 4.4, (-2, -1), focal_scale=0.99, principal_offset_px=(10, 7)),
            Look("machined", "green primer", "bare", "dark oxide", "clean", "hangar", 98),
            Phone(0.6, sharpen=0.5),
            "gap inside its limits, socket turned away from the yoke",
            seed=1210,
        ),
    ]


def _surfaces_and_light(rig: Rig) -> list[Shot]:
    return [
        Shot(
            "greasy-edges",
            State(1.18, 0.05, 1.2, -0.07, 0.2, 0.03, -0.1, 0.17, 0.02, -0.05, 0.02),
            View(
                209, 20, 70, -3.7, (-1, 4), focal_scale=1.007, principal_offset_px=(6, -4), k1=0.004
            ),
            Look("machined", "grey paint", "sooted", "blasted steel", "greasy", "torch", 109),
            Phone(0.65, iso=200),
            "grease on sill and door edge",
            seed=1311,
        ),
        Shot(
            "dusty-edges",
            State(0.79, -0.05, 0.8, 0.12, -0.15, 0.04, 0.05, 0.09, -0.04, 0.03, 0.0),
            View(260, 9, 160, 3.1, (3, 5), focal_scale=0.996, principal_offset_px=(-9, 8)),
            Look("blasted", "dark paint", "bare", "brushed steel", "dusty", "hangar", 120),
            Phone(0.7, iso=100),
            "dust and sand on sill and door edge",
            seed=1312,
        ),
        Shot(
            "head-torch-glare",
            State(
                0.92, 0.03, clock_for(0.92, rig, -4.0), 0.02, 0.2, 0.1, 0.0, 8.6, 0.02, 0.04, -0.02
            ),
            View(
                191, 10, 50, -1.7, (1, 2), focal_scale=1.012, principal_offset_px=(4, -7), k1=-0.003
            ),
            Look(
                "brushed",
                "grey paint",
                "bare",
                "brushed steel",
                "used",
                "glare",
                131,
                pad_gloss=0.75,
            ),
            Phone(0.7, iso=50, exposure_ev=0.75),
            "head torch mirrored in gauge and pads",
            seed=1313,
        ),
        Shot(
            "shadow-along-gap",
            State(
                1.12, 0.02, clock_for(1.12, rig, 2.0), 0.05, 0.1, 0.0, -0.2, 9.8, -0.02, 0.0, 0.03
            ),
            View(232, 16, 300, 2.9, (-3, 4), focal_scale=0.993, principal_offset_px=(-5, -8)),
            Look("machined", "grey paint", "bare", "blasted steel", "used", "shadow", 142),
            Phone(0.6, iso=200),
            "a tool's shadow ends beside the gap",
            seed=1314,
        ),
        Shot(
            "oblique-35deg",
            State(1.55, -0.06, -0.9, -0.1, 0.25, 0.02, 0.1, 0.2, 0.01, 0.05, 0.02),
            View(
                256, 35, 128, -6.5, (4, 4), focal_scale=1.002, principal_offset_px=(7, 10), k1=0.004
            ),
            Look("heat-tinted", "dark paint", "bare", "blasted steel", "worn", "hangar", 153),
            Phone(0.6, iso=100, sharpen=0.7),
            "seen 35 degrees from above and the left",
            seed=1315,
        ),
        Shot(
            "portrait",
            State(
                0.425,
                0.03,
                clock_for(0.425, rig, 0.7),
                0.07,
                0.0,
                0.0,
                0.1,
                0.12,
                -0.03,
                -0.04,
                0.0,
            ),
            View(
                303,
                14,
                210,
                3.8,
                (0, 3),
                size_px=(3000, 4000),
                focal_scale=0.998,
                principal_offset_px=(-6, 9),
            ),
            Look("brushed", "green primer", "sooted", "blasted steel", "used", "side", 164),
            Phone(0.6, iso=200, orientation=6),
            "phone held upright, pixels stored lying",
            seed=1316,
        ),
        Shot(
            "two-marks-covered",
            State(0.80, 0.04, 0.5, -0.03, -0.1, 0.0, 0.05, 0.08, 0.03, 0.02, 0.02),
            View(245, 13, 20, 2.1, (-6, 0), focal_scale=1.005, principal_offset_px=(8, -3)),
            Look(
                "machined",
                "grey paint",
                "sooted",
                "dark oxide",
                "used",
                "hangar",
                175,
                cover=((102, "tape"), (105, "rag")),
            ),
            Phone(0.65, iso=100),
            "tape over one mark, a rag over another",
            seed=1317,
        ),
        Shot(
            "messenger-copy",
            State(
                1.92, 0.03, clock_for(1.92, rig, 4.0), 0.05, 0.1, -0.02, 0.0, 10.3, 0.0, 0.03, 0.02
            ),
            View(212, 17, 95, -3.4, (2, 4), size_px=MESSENGER, focal_scale=1.008),
            Look("machined", "grey paint", "bare", "brushed steel", "used", "hangar", 186),
            Phone(0.5, sharpen=0.8, quality=80, exif=False),
            "copy sent by a messenger: half size, no EXIF at all",
            seed=1318,
        ),
        Shot(
            "dim-hangar",
            State(
                0.62, -0.04, clock_for(0.62, rig, 7.0), 0.02, 0.1, 0.05, -0.1, 9.1, 0.02, 0.0, 0.0
            ),
            View(
                228,
                21,
                175,
                2.0,
                (3, 2),
                size_px=SMALL,
                focal_scale=0.99,
                principal_offset_px=(5, 3),
            ),
            Look("blasted", "dark paint", "sooted", "blasted steel", "worn", "dim hangar", 197),
            Phone(0.75, iso=1250, sharpen=0.8, exposure_ev=-0.35, warmth=0.04, exif_focal=False),
            "dim light, noisy; EXIF without focal length",
            seed=1319,
        ),
    ]


def _retakes(rig: Rig) -> list[Shot]:
    return [
        Shot(
            "blurred",
            State(
                1.05, 0.02, clock_for(1.05, rig, -2.0), 0.05, 0.1, 0.0, 0.0, 9.0, 0.02, 0.02, 0.0
            ),
            View(
                222,
                15,
                110,
                -4.8,
                (3, 3),
                focal_scale=1.004,
                principal_offset_px=(-3, 6),
                defocus_mm=38,
            ),
            Look("machined", "grey paint", "sooted", "blasted steel", "used", "dim hangar", 208),
            Phone(0.8, motion_px=17, motion_deg=64, iso=400),
            "phone moved, focus behind the gauge",
            ("blurred",),
            seed=1421,
        ),
        Shot(
            "gauge-not-seated",
            State(0.82, 0.02, 1.1, 0.05, 0.1, -0.6, 0.9, 0.18, -0.60, 0.90, 0.05),
            View(230, 14, 75, 3.4, (2, 2), focal_scale=0.995, principal_offset_px=(6, -8)),
            Look("brushed", "grey paint", "sooted", "blasted steel", "used", "hangar", 219),
            Phone(0.6, iso=100),
            "gauge stands off the sill on one side",
            ("gauge-not-seated",),
            seed=1422,
        ),
        Shot(
            "wrong-gauge",
            State(0.84, -0.03, 2.0, 0.08, 0.2, 0.0, 0.1, 0.14, 0.03, 0.02, 0.0),
            View(239, 12, 145, -2.9, (-2, 3), focal_scale=1.001, principal_offset_px=(-8, 4)),
            Look(
                "machined",
                "dark paint",
                "bare",
                "dark oxide",
                "used",
                "hangar",
                230,
                mark_shift=100,
            ),
            Phone(0.65, iso=100),
            "a gauge of another type, marks 200 to 208",
            ("wrong-gauge",),
            seed=1423,
        ),
    ]
