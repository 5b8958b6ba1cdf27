"""The record's panel in the analysed image: its name in words, its code for machines."""

from __future__ import annotations

import numpy as np

from rigvision.ground.shown import grouped, one_line
from rigvision.report.canvas import INK, WHITE, Canvas, Colour, font, shortened
from rigvision.report.seal import MODULE_PX, Seal, code_modules

PAD_PX, RULE_PX = 40, 8
RECORD_PX, JOB_PX, HASH_PX = 92, 58, 44
FAINT: Colour = (84, 84, 88)

STAGES = {"before": "before the work", "after": "after the work"}


def draw_seal(seal: Seal, width_px: int) -> Canvas:
    """Dark on white, as readers of codes want it; the code stands at the left."""
    modules = code_modules(seal)
    code = np.kron(modules, np.ones((MODULE_PX, MODULE_PX), np.uint8))
    canvas = Canvas(width_px, RULE_PX + code.shape[0], WHITE)
    canvas.box(0, 0, width_px, RULE_PX, INK)
    canvas.paste(np.repeat(code[:, :, None], 3, axis=2), 0, RULE_PX)
    left = code.shape[1] + PAD_PX // 2
    y = 60.0
    for words, size_px, bold, colour in _lines(seal):
        face = font(size_px, bold)
        shown = shortened(one_line(words), face, width_px - left - PAD_PX)
        canvas.text(left, y, shown, face, colour)
        y += 1.36 * size_px
    return canvas


def _lines(seal: Seal) -> list[tuple[str, int, bool, Colour]]:
    entries = "1 entry" if seal.count == 1 else f"{seal.count} entries"
    return [
        (f"Record {seal.record}", RECORD_PX, True, INK),
        (job_words(seal), JOB_PX, False, INK),
        (f"hash {grouped(seal.core_sha256[:16])}", HASH_PX, False, FAINT),
        (f"ledger {grouped(seal.ledger)}, {entries} so far", HASH_PX, False, FAINT),
        (f"head {grouped(seal.head_hash[:16])}", HASH_PX, False, FAINT),
    ]


def job_words(seal: Seal) -> str:
    """``Job J-0001, door 3, before the work``."""
    stage = f", {STAGES.get(seal.stage, seal.stage)}" if seal.stage else ""
    return f"Job {seal.job}, door {seal.door}{stage}"
