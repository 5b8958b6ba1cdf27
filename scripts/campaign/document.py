"""Tables into documents, between markers: ``<!-- NAME -->`` and ``<!-- /NAME -->``."""

from __future__ import annotations

import os
import re
import sys
from pathlib import Path


def write_blocks(paths: list[Path], blocks: dict[str, str]) -> None:
    """Replace what stands between the markers of every block that a document has.

    Exits with a message where a document has a marker for none of them.
    """
    for path in paths:
        text = path.read_text(encoding="utf-8")
        replaced = [name for name in blocks if _pattern(name).search(text)]
        if not replaced:
            wanted = ", ".join(f"<!-- {name} -->" for name in blocks)
            sys.exit(f"{path} has none of the markers {wanted} with its end marker.")
        for name in replaced:
            before, _, after = _pattern(name).split(text, maxsplit=1)
            text = f"{before}<!-- {name} -->\n{blocks[name].strip()}\n<!-- /{name} -->{after}"
        part = path.with_name(path.name + ".part")
        part.write_text(text, encoding="utf-8")
        os.replace(part, path)
        print(f"{path}: {', '.join(replaced)} replaced", file=sys.stderr)


def _pattern(name: str) -> re.Pattern[str]:
    quoted = re.escape(name)
    return re.compile(f"<!-- {quoted} -->(.*?)<!-- /{quoted} -->", re.DOTALL)
