"""Which of very many earlier likenesses are worth comparing with one.

A copy was taken from the same direction; another photo of the same set-up has the same figures
and, in the sketches of its faces, most signs alike. The rest is not even read.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from math import floor
from typing import Any

from rigvision.records.bodies import Likeness

#: Figures that are searched by: by how many standard uncertainties of one another photo's may
#: differ, and the least uncertainty that this is of. Gap and seat differ by less than the others:
#: what two photos misjudge alike is most of theirs. On 51 pairs of photos of one set-up the largest
#: were 1.1, 0.7 and, of the others, 2.3 to 3.2 of uncertainties that are mostly below the least.
_FIGURES = {
    "gap_mm": (1.75, 0.05),
    "taper_mm": (2.5, 0.05),
    "lateral_mm": (2.5, 0.04),
    "seat_mm": (1.75, 0.05),
    "clock_deg": (2.5, 0.4),
}
#: Columns whose cells, of this size, lead the indexes: few of very many rows are looked at.
_CELLS = {"gap_mm": 0.05, "clock_deg": 0.5, "lateral_mm": 0.05, "way_x": 0.05, "way_y": 0.05}
#: The cell of what was not measured.
_NO_CELL = -999_999
SIGNS = 256
#: Half the width of the window for x / z and y / z of the camera. A copy whose focal length and
#: middle are lost, or that was stretched, is solved wrong, but from about the same direction.
_WAY = 0.08
#: Signs, of 256, that may differ in one of the sketches. By chance 128 do, give or take 8; where
#: patches correlate by 0.5, which a messenger leaves, 85 give or take 8.
_MOST_DIFFERING = 96

_ROWS = "SELECT sequence, sill_sketch, barrel_sketch FROM likeness"
_BY_WAY = f"""{_ROWS} INDEXED BY likeness_by_way
WHERE gauge = :gauge
AND way_x BETWEEN :way_x - {_WAY} AND :way_x + {_WAY}
AND way_y BETWEEN :way_y - {_WAY} AND :way_y + {_WAY}
"""
_BY_FIGURES = f"""{_ROWS} INDEXED BY likeness_by_figures
WHERE gauge = :gauge
"""
#: No face was seen in both: figures must do.
_UNSEEN = """
AND coalesce(gap_mm, clock_deg) IS NOT NULL
AND (sill_sketch IS NULL OR :sill_sketch IS NULL)
AND (barrel_sketch IS NULL OR :barrel_sketch IS NULL)
"""

#: Sequence and both sketches of an earlier likeness.
_Row = tuple[int, bytes | None, bytes | None]


def row_of(likeness: dict[str, Any]) -> dict[str, Any]:
    """The columns of the table ``likeness`` for a likeness in its plain form.

    All but ``sequence`` and ``record``.
    """
    x, y, z = likeness["camera_mm"]  # the camera is always before the gauge: z > 0
    sketches = likeness.get("sketches", {})
    measured = {name: float(value) for name, (value, _) in likeness.get("figures", {}).items()}
    values = {"way_x": x / z, "way_y": y / z} | {name: measured.get(name) for name in _FIGURES}
    return {
        "gauge": likeness["gauge"],
        **values,
        **{_cell_name(name): _cell(name, values[name]) for name in _CELLS},
        **{f"{face}_sketch": _bits(sketches.get(face)) for face in ("sill", "barrel")},
    }


def candidates(connection: sqlite3.Connection, likeness: Likeness) -> list[int]:
    """Sequences of the entries whose likeness must be compared in full, rising.

    Without a gap only copies are looked for. sqlite3.Error.
    """
    conditions, values = _figure_conditions(likeness)
    own = _own_row(likeness)
    values |= own
    by_way = _BY_WAY + _way_cells(own)
    found = _alike(own, connection.execute(by_way, values))
    unseen = connection.execute(by_way + conditions + _UNSEEN, values)
    found |= {sequence for sequence, _, _ in unseen}
    if "gap_mm" in likeness.figures:
        by_figures = _BY_FIGURES + _figure_cells(likeness) + conditions
        rows = connection.execute(by_figures, values)
        found |= _alike(own, rows, where_unseen=0)
    return sorted(found)


def _alike(own: dict[str, Any], rows: Iterable[_Row], where_unseen: int = SIGNS) -> set[int]:
    """Those rows of whose sketches at least one is alike.

    ``where_unseen`` stands for the signs that differ where no face was seen in both.
    """
    sill, barrel = (own[f"{face}_sketch"] for face in ("sill", "barrel"))
    # Turned into numbers once: there may be thousands of rows.
    sill, barrel = (None if bits is None else int.from_bytes(bits) for bits in (sill, barrel))
    found = set()
    for sequence, its_sill, its_barrel in rows:
        least = SIGNS + 1
        if sill is not None and its_sill is not None:
            least = (sill ^ int.from_bytes(its_sill)).bit_count()
        if barrel is not None and its_barrel is not None:
            least = min(least, (barrel ^ int.from_bytes(its_barrel)).bit_count())
        if (where_unseen if least > SIGNS else least) <= _MOST_DIFFERING:
            found.add(sequence)
    return found


def _own_row(likeness: Likeness) -> dict[str, Any]:
    return row_of(
        {
            "gauge": likeness.gauge,
            "camera_mm": likeness.camera_mm,
            "figures": likeness.figures,
            "sketches": likeness.sketches,
        }
    )


def _figure_conditions(likeness: Likeness) -> tuple[str, dict[str, Any]]:
    """Conditions on all figures that were measured; the earlier photo may lack any."""
    conditions, values = "", dict[str, Any]()
    for name in (name for name in _FIGURES if name in likeness.figures):
        windows = _windows(likeness, name)
        for k, (low, high) in enumerate(windows):
            values |= {f"{name}_low{k}": low, f"{name}_high{k}": high}
        within = [f"{name} BETWEEN :{name}_low{k} AND :{name}_high{k}" for k in range(len(windows))]
        conditions += f"AND ({' OR '.join([*within, f'{name} IS NULL'])})\n"
    return conditions, values


def _figure_cells(likeness: Likeness) -> str:
    """The same, by cells; the earlier photo may lack any but the gap."""
    conditions = ""
    for name in (name for name in _CELLS if name in likeness.figures):
        cells = set() if name == "gap_mm" else {_NO_CELL}
        for low, high in _windows(likeness, name):
            cells |= _cells(name, low, high)
        conditions += _in_cells(name, cells)
    return conditions


def _way_cells(own: dict[str, Any]) -> str:
    return "".join(
        _in_cells(name, _cells(name, own[name] - _WAY, own[name] + _WAY))
        for name in ("way_x", "way_y")
    )


def _cells(name: str, low: float, high: float) -> set[int]:
    return set(range(_cell(name, low), _cell(name, high) + 1))


def _in_cells(name: str, cells: set[int]) -> str:
    return f"AND {_cell_name(name)} IN ({', '.join(map(str, sorted(cells)))})\n"


def _windows(likeness: Likeness, name: str) -> list[tuple[float, float]]:
    """Where the figure of another photo of the same set-up lies; a clock comes round again."""
    value, uncertainty = likeness.figures[name]
    many, least = _FIGURES[name]
    reach = many * max(uncertainty, least)
    turns = (-1, 0, 1) if name == "clock_deg" else (0,)
    around = [value + turn * likeness.clock_period_deg for turn in turns]
    return [(v - reach, v + reach) for v in around]


def _cell_name(column: str) -> str:
    return f"{column.removesuffix('_mm').removesuffix('_deg')}_cell"


def _cell(column: str, value: float | None) -> int:
    return _NO_CELL if value is None else floor(value / _CELLS[column])


def _bits(digits: str | None) -> bytes | None:
    return bytes.fromhex(digits) if digits else None
