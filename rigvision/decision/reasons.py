"""Every reason a verdict can give: one table that text, picture and docs read.

A sentence has blanks in braces which the facts of the case fill. ``outcome`` is what
the reason alone leads to; ``note`` reasons explain a figure without changing a verdict.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Outcome = Literal["adjust", "retake", "note"]


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a verdict is what it is, in words for the mechanic."""

    code: str
    text: str
    remedy: str


@dataclass(frozen=True, slots=True)
class ReasonKind:
    outcome: Outcome
    text: str
    remedy: str


_AIM = "Hold the phone 20 to 35 cm away, straight at the gap, whole gauge in the picture."

REASONS: dict[str, ReasonKind] = {
    # The photo, the gauge or its seating can't be trusted.
    "no-gauge": ReasonKind(
        "retake",
        "No rig gauge was found in the picture.",
        f"{_AIM} Wipe the marks; light them evenly.",
    ),
    "two-gauges": ReasonKind(
        "retake",
        "Marks of more than one gauge, or one mark twice, are in the picture: {ids}.",
        "Take away the other gauge or its reflection and photograph one gauge alone.",
    ),
    "wrong-gauge": ReasonKind(
        "retake",
        "The marks in the picture ({ids}) do not belong to {wanted}.",
        "Fit the gauge that belongs to this frame, or name the right one with --gauge.",
    ),
    "too-few-marks": ReasonKind(
        "retake",
        "Only {found} of {total} marks can be used; {needed} are needed. Missing: {missing}.",
        "{cure}",
    ),
    "gauge-cut-off": ReasonKind(
        "retake",
        "Only {found} of {total} marks can be used; {needed} are needed. Outside the picture: "
        "{marks}.",
        "Step back or aim further {way}, so that the whole gauge is in the picture.",
    ),
    "blurred": ReasonKind(
        "retake",
        "The picture {how}: its edges are {blur} wide; at most {limit}.",
        "{cure}",
    ),
    "glare": ReasonKind(
        "retake",
        "Glare covers {where}: {part} there is at the sensor's limit.",
        "{cure}",
    ),
    "too-bright": ReasonKind(
        "retake",
        "The picture is overexposed: {part} of the gauge's white is at the sensor's limit; at most "
        "{limit}.",
        "Tap a white pad of the gauge, so that the phone takes the picture darker, or take the "
        "torch away.",
    ),
    "too-dark": ReasonKind(
        "retake",
        "The picture is too dark: the gauge's white has {light} of full light; at least {limit}.",
        "Light the gap from the side and take it again.",
    ),
    "too-oblique": ReasonKind(
        "retake",
        "The view is {tilt_deg:.0f} deg off square; at most {limit_deg:.0f} deg.",
        "Move the phone {way}, until it looks straight at the gauge.",
    ),
    "too-far": ReasonKind(
        "retake",
        "The gauge is too small in the picture: {px_per_mm:.1f} px per mm, at least {limit:.1f}.",
        "Move closer: {distance_cm:.0f} cm away now, {enough_cm} cm is near enough; or send the "
        "original picture instead of a reduced copy.",
    ),
    "screen-photo": ReasonKind(
        "retake",
        "This is a photo of a screen: {part} of the gauge shows a screen's grid, {pitch_px:.1f} px "
        "wide; at most {limit}.",
        "Photograph the gauge itself, or send the original file.",
    ),
    "recompressed": ReasonKind(
        "retake",
        "The file is a copy that lost detail: {what}.",
        "Send the original file as the camera wrote it, not through a messenger.",
    ),
    "ambiguous-view": ReasonKind(
        "retake",
        "The marks fit two directions of view nearly as well: {ratio:.1f} times; at least "
        "{limit:.1f}.",
        "Step about 15 deg to one side and take it again.",
    ),
    "marks-disagree": ReasonKind(
        "retake",
        "The marks do not fit the gauge's drawing: {residual_px:.2f} px left over.",
        "Check the gauge for damage or dirt on the marks; send the original picture.",
    ),
    "edge-hidden": ReasonKind(
        "retake",
        "The edges can be read at only {found} of {total} stations; {needed:.0f} are needed. At "
        "x = {stations} mm {because}.",
        "{cure}",
    ),
    "yoke-hidden": ReasonKind("retake", "The {what} cannot be read.", "{cure}"),
    "gauge-not-seated": ReasonKind(
        "retake",
        "The gauge does not sit on the sill: off by {offset_mm:.2f} mm and {tilt_deg:.2f} deg; "
        "at most {offset_limit_mm:.2f} mm and {tilt_limit_deg:.2f} deg.",
        "Seat the gauge against the sill along its whole length, then take it again.",
    ),
    "clock-contradicts-gap": ReasonKind(
        "retake",
        "Gap and clock contradict each other by {difference_mm:.2f} mm, more than three "
        "standard uncertainties ({limit_mm:.2f} mm).",
        "Check seating, the socket's index lines and the frame's name; then take it again.",
    ),
    "uncertainty-too-large": ReasonKind(
        "retake",
        "The {quantity} is uncertain by {expanded:.2f} {unit}, too much for its limits.",
        f"{_AIM} Light the gap from the side.",
    ),
    # Several photos of one set-up.
    "views-disagree": ReasonKind(
        "retake",
        "The photos {names} do not show one and the same set-up: {what}.",
        "Leave gauge, door and yoke untouched, and take all photos again.",
    ),
    "no-usable-view": ReasonKind(
        "retake",
        "None of the photos can be used: {names}.",
        "Take them again; what to do better is said of each.",
    ),
    # The photo is good; something is outside its limits, or cannot be proven inside.
    "gap-high": ReasonKind(
        "adjust",
        "The gap is {value:.2f} mm; the upper limit is {limit:.2f} mm{proof}.",
        "Close the door. {instruction}",
    ),
    "gap-low": ReasonKind(
        "adjust",
        "The gap is {value:.2f} mm; the lower limit is {limit:.2f} mm{proof}.",
        "Open the door. {instruction}",
    ),
    "taper": ReasonKind(
        "adjust",
        "The gap changes by {value:+.2f} mm from left to right; at most {limit:.2f} mm{proof}.",
        "Turns do not mend a taper: check the door's hinge and mounts by the maintenance data.",
    ),
    "yoke-offset": ReasonKind(
        "adjust",
        "The socket lies {value:+.2f} mm to the side of the yoke; at most {limit:.2f} mm{proof}.",
        "Check the actuator's mounts and position by the maintenance data.",
    ),
    "yoke-tilt": ReasonKind(
        "adjust",
        "The socket is tilted {value:+.1f} deg to the yoke; at most {limit:.1f} deg{proof}.",
        "Check the actuator's mounts and position by the maintenance data.",
    ),
    "yoke-not-seated": ReasonKind(
        "adjust",
        "The yoke's shoulder stands {value:.2f} mm off the socket; at most {limit:.2f} mm{proof}.",
        "Line the socket up with the yoke, slide the yoke fully home, and check again.",
    ),
    "clock-off": ReasonKind(
        "adjust",
        "The socket is {value:+.1f} deg off the yoke's line; at most {limit:.1f} deg{proof}.",
        "Turn until the socket's line meets the yoke's. {instruction}",
    ),
    # Notes: they explain, and change no verdict.
    "odd-photo": ReasonKind(
        "note",
        "{name} was left out: it does not show the same set-up as the others: {what}.",
        "Look at it: if something was moved, take all photos again.",
    ),
    "view-left-out": ReasonKind(
        "note",
        "{name} was left out: {why}.",
        "Take it again if the others do not suffice.",
    ),
    "same-photo": ReasonKind(
        "note",
        "{name} is the same file as {first} and was counted once.",
        "Take a second photo from another direction.",
    ),
    "one-view": ReasonKind(
        "note",
        "All figures are from {name} alone.",
        "Take at least two photos of the untouched set-up, from different directions.",
    ),
    "no-flat-inside": ReasonKind(
        "note",
        "No position in which the yoke engages leaves the gap inside its limits.",
        "Do not force it: check rigging and door by the maintenance data.",
    ),
    "flat-uncertain": ReasonKind(
        "note",
        "Two flats fit nearly as well: {first:.2f} or {second:.2f} turns; the first is right with "
        "{probability:.0%}.",
        "Turn to the first, then photograph again.",
    ),
    "better-flat": ReasonKind(
        "note",
        "Another flat would bring the gap nearer to nominal ({turns:.2f} turns).",
        "No turn is needed.",
    ),
    "stations-lost": ReasonKind(
        "note",
        "The edges could not be read at x = {stations} mm: {because}. The uncertainty allows for "
        "it.",
        "Clean and light that part of the gap if a better reading is wanted.",
    ),
    "marks-lost": ReasonKind(
        "note",
        "Not all marks were read: {marks}. The uncertainty allows for it.",
        "Uncover, wipe and light them, and keep the whole gauge in the picture.",
    ),
    "marks-refused": ReasonKind(
        "note",
        "Marks {ids} were seen but not used: they do not agree with the others.",
        "Wipe them, and have the gauge checked if this comes back.",
    ),
    "no-yoke-on-gauge": ReasonKind(
        "note",
        "Gauge {gauge} has no yoke tag: offset, tilt and seat are not measured.",
        "Judge the yoke by hand as the maintenance data says.",
    ),
    "no-clock-on-gauge": ReasonKind(
        "note",
        "Socket or gauge has no index lines: the clock is not measured.",
        "Judge the socket's position by hand as the maintenance data says.",
    ),
    "camera-doubted": ReasonKind(
        "note",
        "The picture contradicts what is said of its {what}; it was measured without it, and the "
        "uncertainty widened.",
        "Send the original file, at 1x with the normal lens, neither zoomed nor cut.",
    ),
    "focal-unknown": ReasonKind(
        "note",
        "The file does not say its focal length; it was {how}, and the uncertainty widened.",
        "Send the original file from the phone's camera.",
    ),
}

#: What ``{cure}`` in a remedy stands for: what to do depends on what was found.
CURES: dict[str, str] = {
    "focus": "Tap the gauge to focus, hold still, and take it again.",
    "hold-still": "The phone moved: rest your hand or elbow on something, and take it again.",
    "step-aside": "Step {way} and tilt the torch, so that the bright spot leaves the gap.",
    "spot-off-marks": "Tilt the torch, or step aside, so that the bright spot leaves the marks.",
    "light-marks": "Light the whole gauge evenly, and take it again.",
    "wipe-marks": "Uncover and wipe these marks, and take it again.",
    "spot-off-socket": "Tilt the torch, or step aside, so that the bright spot leaves the socket.",
    "light-gap": "Light the gap from the side, and take it again.",
    "wipe-edges": "Wipe the edges, light the gap from the side, and take it again.",
    "no-shadow": "Move the light so that no shadow lies along the gap, and take it again.",
    "uncover-edges": "Clean the edges, take away what covers them, and take it again.",
    "look-into-gap": "Look straight into the gap, with the whole window free, and take it again.",
    "light-yoke": "Light the lower window from the side, and take it again.",
    "uncover-yoke": "Uncover and wipe the yoke and socket in the lower window, and take it again.",
}


def reason(code: str, *, cure: str | None = None, **facts: object) -> Reason:
    """The reason with its blanks filled; ``cure`` is a key of ``CURES``."""
    kind = REASONS[code]
    done = CURES[cure].format(**facts) if cure else ""
    return Reason(code, kind.text.format(**facts), kind.remedy.format(cure=done, **facts))
