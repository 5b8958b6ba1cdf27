"""The figures of a large ledger as Markdown."""

from __future__ import annotations

from recorded.size import Figures


def size(figures: Figures) -> str:
    """Each aim with what was measured."""
    rows = [
        ("entries", f"{figures.entries:,}".replace(",", " "), "", True),
        ("ledger file", f"{figures.ledger_mb:.0f} MB", "", True),
        (
            "slowest search",
            f"{figures.slowest_search_ms:.0f} ms",
            "under 100 ms",
            figures.slowest_search_ms < 100,
        ),
        ("photo and image onto the disk", f"{figures.photo_ms:.1f} ms", "", True),
        (
            "append beside that, median",
            f"{figures.append_ms:.1f} ms",
            "under 20 ms",
            figures.append_ms < 20,
        ),
        ("append beside that, 99 of 100", f"{figures.append_99_ms:.1f} ms", "", True),
        (
            f"full verify with {figures.verify_files} files",
            f"{figures.verify_s:.0f} s ({figures.verify_cpu_s:.0f} s of processor)",
            "under 60 s",
            figures.verify_s < 60,
        ),
        (
            "its memory at a tenth, and at most",
            f"{figures.first_tenth_mb:.0f} MB, {figures.most_mb:.0f} MB",
            "flat (10 %)",
            figures.most_mb < 1.1 * figures.first_tenth_mb,
        ),
    ]
    lines = ["| figure | measured | aim |", "| --- | ---: | --- |"]
    for name, measured, aim, reached in rows:
        said = f"{aim} {'reached' if reached else '**missed**'}" if aim else ""
        lines.append(f"| {name} | {measured} | {said} |")
    return "\n".join(lines)


def searches(figures: Figures) -> str:
    """Every search with its time; at most 100 records are asked for."""
    lines = ["| search | found | time |", "| --- | ---: | ---: |"]
    for name, time_ms in figures.search_ms.items():
        lines.append(f"| {name} | {figures.found[name]} | {time_ms:.1f} ms |")
    return "\n".join(lines)
