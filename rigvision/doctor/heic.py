"""Whether a HEIC, as iPhones write them, is really decoded."""

from __future__ import annotations

from pathlib import Path

from rigvision.doctor.finding import Fact, Finding, pip_command
from rigvision.doctor.python_packages import required
from rigvision.ground.errors import PhotoError

HEIC = Path(__file__).parent / "pictures" / "squares.heic"
#: Four squares of these luma codes, row by row, fill the picture.
SIDE_PX = 256
LEVELS = (40, 200, 120, 80)
#: Codes are rounded on the way to HEIC's own colours and back.
TOLERANCE = 3


def findings(path: Path = HEIC) -> list[Finding]:
    """Decode the picture of squares as any photo, and look at the four squares."""
    import pillow_heif

    from rigvision.photo.picture import read_picture

    libheif = pillow_heif.libheif_version()
    try:
        luma = read_picture(path).luma
    except PhotoError as error:
        return [_failed(error.text)]
    quarter = SIDE_PX // 4
    places = [(y, x) for y in (quarter, 3 * quarter) for x in (quarter, 3 * quarter)]
    found = [int(luma[place]) for place in places] if luma.shape == (SIDE_PX, SIDE_PX) else []
    if len(found) != 4 or max(abs(a - b) for a, b in zip(found, LEVELS, strict=True)) > TOLERANCE:
        return [_failed(f"It decodes to {found or luma.shape} instead of {list(LEVELS)}.")]
    facts: dict[str, Fact] = {"libheif": libheif}
    return [Finding("heic", "HEIC", "ok", f"decoded by libheif {libheif}", facts=facts)]


def _failed(cause: str) -> Finding:
    return Finding(
        "heic",
        "HEIC",
        "failure",
        f"A HEIC cannot be decoded. {cause}",
        "Install pillow-heif again; until then send photos as JPEG.",
        (pip_command("install", "--force-reinstall", "--no-deps", required("pillow-heif")),),
    )
