"""How hard practice is: five levels, each a row of one table that the photo maker, the command's
help and the page all read."""

from __future__ import annotations

from dataclasses import dataclass

from rigvision.ground.errors import UsageError


@dataclass(frozen=True, slots=True)
class Level:
    """What photos of a level are drawn from.

    ``nearness``: how far the figure that decides may stand from its limit, as part of the limit's
    half width, least and most. ``dirt`` and ``glare`` are the most that is drawn, 0 to 1.
    ``spoilt_share`` of the photos has one thing wrong with it, at one of ``spoilt_strengths``,
    each as likely: 1 slight, 2 clear but mostly still read, 3 gross, mostly to be taken again.
    """

    number: int
    words: str
    nearness: tuple[float, float]
    dirt: float
    glare: float
    shadow_share: float
    distance_mm: tuple[float, float]
    tilt_deg: tuple[float, float]
    spoilt_share: float
    spoilt_strengths: tuple[int, ...]

    def cells(self) -> tuple[str, str, str, str, str, str]:
        """The row as people read it: level, nearness, dirt, light, view, spoilt."""
        low, high = (round(100 * n) for n in self.nearness)
        far, near = self.distance_mm[1] / 10, self.distance_mm[0] / 10
        shadow = f", a shadow in {100 * self.shadow_share:.0f} %" if self.shadow_share else ""
        return (
            f"{self.number} {self.words}",
            f"{low} to {high} % off" if high < _ANY_PERCENT else f"over {low} % off",
            f"up to {self.dirt:.1f}" if self.dirt else "none",
            (f"glare up to {self.glare:.1f}" if self.glare else "even") + shadow,
            f"{near:.0f} to {far:.0f} cm, {self.tilt_deg[0]:.0f} to {self.tilt_deg[1]:.0f} deg",
            f"{100 * self.spoilt_share:.0f} %, {_shares(self.spoilt_strengths)}",
        )


def _shares(strengths: tuple[int, ...]) -> str:
    """``grossly``, or ``clearly 1 in 3, grossly 2 in 3``."""
    words = {1: "slightly", 2: "clearly", 3: "grossly"}
    if len(strengths) == 1:
        return words[strengths[0]]
    drawn = sorted(set(strengths))
    return ", ".join(f"{words[s]} {strengths.count(s)} in {len(strengths)}" for s in drawn)


#: Beyond this a level sets no end to how far off a figure is.
_ANY_PERCENT = 500

HEAD = ("level", "from a limit", "dirt", "light", "view", "spoilt photos")

#: Our own scale: no source. Each step brings the limit nearer and the photo further from good.
LEVELS: tuple[Level, ...] = (
    Level(1, "clear", (0.40, 9.0), 0.1, 0.0, 0.0, (200, 300), (0, 12), 0.25, (3,)),
    Level(2, "easy", (0.25, 2.0), 0.3, 0.0, 0.0, (200, 320), (0, 20), 0.25, (3,)),
    Level(3, "usual", (0.12, 0.70), 0.5, 0.3, 0.1, (180, 350), (0, 28), 0.35, (2, 3, 3)),
    Level(4, "hard", (0.05, 0.45), 0.8, 0.6, 0.25, (180, 400), (5, 36), 0.35, (2, 3, 3)),
    Level(5, "at the limit", (0.00, 0.30), 1.0, 0.8, 0.4, (160, 420), (10, 40), 0.40, (1, 2, 3, 3)),
)

#: What may be wrong with a spoilt photo, by the maker's names: what a person can see.
SPOILT_BY = (
    "defocus",
    "motion-blur",
    "dark",
    "over-exposed",
    "glare-on-edges",
    "far",
    "oblique",
    "cut-off",
    "rag-over-gap",
    "grease-on-edge",
    "dust-on-edges",
)


def level(number: int) -> Level:
    """Raises UsageError for a level that there is not."""
    if not 1 <= number <= len(LEVELS):
        raise UsageError(
            "no-such-level",
            f"There is no difficulty {number}.",
            f"Take 1 ({LEVELS[0].words}) to {len(LEVELS)} ({LEVELS[-1].words}).",
        )
    return LEVELS[number - 1]
