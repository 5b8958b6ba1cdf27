"""A process that tries damaged files one after the other and writes a line before and after each.

python -m broken.worker FORMAT FIRST COUNT SEED CHECK_EVERY FOLDER
"""

from __future__ import annotations

import gc
import json
import sys
from pathlib import Path

import rigvision
from broken.damage import damaged, draw
from broken.originals import kept_originals
from broken.trial import Trial, attempt, complains, forget_peak, now, peak_mb
from rigvision.photo.picture import read_picture


def main() -> None:
    form, first, count, seed, check_every, folder = sys.argv[1:]
    whole = kept_originals(Path(folder))
    path = Path(folder) / f"file-{form.replace(' ', '-')}-{first}"
    path.write_bytes(whole[form])
    picture, measured = read_picture(path), rigvision.check(path)
    quiet = not complains(path)
    others = [data for name, data in whole.items() if name != form]
    for number in range(int(first), int(first) + int(count)):
        name, data = damaged(whole[form], draw(int(seed), form, number), others)
        path.write_bytes(data)
        print(json.dumps({"number": number, "damage": name}), flush=True)
        forget_peak()
        start = now()
        try:
            outcome, code, off = attempt(path, picture, measured, number % int(check_every) == 0)
        except Exception as error:  # the one place where whatever escapes is the finding
            outcome, code, off = "error", f"{type(error).__name__}: {error}"[:200], None
        seconds, peak = now() - start, peak_mb()
        doubted = quiet and outcome in ("read", "retake", "measured") and complains(path)
        trial = Trial(number, form, name, outcome, code, seconds, peak, off, doubted)
        print(json.dumps(trial.plain()), flush=True)
        if number % 500 == 0:
            gc.collect()
    path.unlink()


main()
