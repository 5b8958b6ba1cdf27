"""Renew the README's example: the terminal's text and docs/analysed.jpg, from one sample.

Run it from anywhere: ``.venv/bin/python scripts/campaign/example.py``
"""

from __future__ import annotations

import io
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from campaign.document import write_blocks
from campaign.environment import ROOT, ensure_rigvision

SAMPLE, DOOR = "oblique-35deg", 6
LONGEST_SIDE_PX = 1400
COLUMNS = 80


def main() -> None:
    """Check the sample as a user would; write what the user would see."""
    ensure_rigvision()
    import rigvision

    result = rigvision.check(ROOT / "sample_images" / f"{SAMPLE}.jpg", door=DOOR)
    _write_image(result, ROOT / "docs" / "analysed.jpg")
    command = f"$ rigvision check {SAMPLE}.jpg --door {DOOR} --out checked"
    block = f"```text\n{command}\n{_screen(result)}\n```"
    write_blocks([ROOT / "README.md"], {"example": block})


def _screen(result: object) -> str:
    from rich.console import Console

    from rigvision.report.text import show

    console = Console(file=io.StringIO(), width=COLUMNS, highlight=False, emoji=False, markup=False)
    show(result, console)  # type: ignore[arg-type]
    lines = console.file.getvalue().splitlines()  # type: ignore[attr-defined]
    return "\n".join(line.rstrip() for line in lines).strip()


def _write_image(result: object, target: Path) -> None:
    from PIL import Image

    from rigvision.report import analysed_image

    with tempfile.TemporaryDirectory() as folder:
        written = analysed_image.write(result, folder)  # type: ignore[arg-type]
        with Image.open(written) as image:
            image.thumbnail((LONGEST_SIDE_PX, LONGEST_SIDE_PX), Image.Resampling.LANCZOS)
            image.save(target, quality=86, optimize=True)


if __name__ == "__main__":
    main()
