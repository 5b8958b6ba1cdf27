"""Whether both shipped fonts load and have a shape for every character of the reports."""

from __future__ import annotations

from string import printable

from PIL import ImageFont

from rigvision.decision.reasons import REASONS
from rigvision.doctor.finding import Finding
from rigvision.report.canvas import font
from rigvision.report.terminal import ASCII_INSTEAD
from rigvision.report.wording import LOOKS

SIZE_PX = 32
#: No character: what a font draws for it, it draws for every one that it lacks.
_NONE = "\U0010ffff"


def characters() -> str:
    """What is drawn on analysed images, but for names of files: letters, signs and units."""
    words = [printable.strip(), *(look.sign for look in LOOKS.values()), *map(chr, ASCII_INSTEAD)]
    words += [reason.text + reason.remedy for reason in REASONS.values()]
    return "".join(sorted(set("".join(words)) - {" "}))


def findings() -> list[Finding]:
    """Draw each character in both fonts and see that it is not the sign for none."""
    wanted = characters()
    for bold, name in ((False, "DejaVuSans.ttf"), (True, "DejaVuSans-Bold.ttf")):
        try:
            lacking = _lacking(wanted, bold)
        except OSError as error:
            return [_failed(f"The font {name} does not load: {error}.")]
        if lacking:
            return [_failed(f"The font {name} has no shape for {lacking}.")]
    text = f"both load and have all {len(wanted)} characters of the reports"
    return [Finding("fonts", "Fonts", "ok", text)]


def _lacking(wanted: str, bold: bool) -> str:
    face = font(SIZE_PX, bold)
    nothing = _shape(face, _NONE)
    return "".join(c for c in wanted if _shape(face, c) == nothing)


def _shape(face: ImageFont.FreeTypeFont, character: str) -> tuple[object, bytes]:
    mask = face.getmask(character)
    return mask.size, bytes(mask)


def _failed(text: str) -> Finding:
    remedy = "Install rigvision again, from where it came; the fonts are a part of it."
    return Finding("fonts", "Fonts", "failure", text, remedy)
