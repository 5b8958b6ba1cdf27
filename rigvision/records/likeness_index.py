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

#: Figures that are searched by, and the standard uncertainty that another photo of them may have
#: where this one's is smaller.
_FIGURES = {
    "gap_mm": 0.05,
    "taper_mm": 0.05,
    "lateral_mm": 0.04,
    "seat_mm": 0.05,
    "clock_deg": 0.4,
}
#: Figures whose cells, of this size, lead the index: few of very many rows are looked at.
_CELLS = {"gap_mm": 0.2, "clock_deg": 2.0, "lateral_mm": 0.2}
#: The cell of what was not measured.
_NO_CELL = -999_999
#: Standard uncertainties of one by which two photos' figures may differ. They differ by much less:
#: what both misjudge alike, such as the edges' roundness, is most of each.
_REACH = 2.5
#: Half the width of the window for x / z and y / z of the camera. With an unknown focal length a
#: copy's camera is found nearer or farther, but off its line by less than 0.6 deg, measured.
_WAY = 0.02
#: Signs, of 256, that may differ in one of the sketches. By chance 128 do, give or take 8; where
#: patches correlate by 0.5, which a messenger leaves, 85 give or take 8. Among the few that were
#: taken from one direction more may.
_MOST_DIFFERING, _MOST_FROM_THERE = 96, 108

_ROWS = "SELECT sequence, sill_sketch, barrel_sketch FROM likeness"
_BY_WAY = f"""{_ROWS} INDEXED BY likeness_by_way
WHERE gauge = :gauge
AND way_x BETWEEN :way_x - {_WAY} AND :way_x + {_WAY}
AND way_y BETWEEN :way_y - {_WAY} AND :way_y + {_WAY}
"""
_BY_FIGURES = f"""{_ROWS} INDEXED BY likeness_by_figures
WHERE gauge = :gauge
"""

#: Sequence and both sketches of an earlier likeness.
_Row = tuple[int, bytes | None, bytes | None]


def row_of(likeness: dict[str, Any]) -> dict[str, Any]:
    """The columns of the table ``likeness`` for a likeness in its plain form.

    All but ``sequence`` and ``record``.
    """
    x, y, z = likeness["camera_mm"]
    sketches = likeness.get("sketches", {})
    measured = {name: float(value) for name, (value, _) in likeness.get("figures", {}).items()}
    return {
        "gauge": likeness["gauge"],
        "way_x": x / z,
        "way_y": y / z,
        **{name: measured.get(name) for name in _FIGURES},
        **{_cell_name(name): _cell(name, measured.get(name)) for name in _CELLS},
        **{f"{face}_sketch": _bits(sketches.get(face)) for face in ("sill", "barrel")},
    }


def candidates(connection: sqlite3.Connection, likeness: Likeness) -> list[int]:
    """Sequences of the entries whose likeness must be compared in full, rising.

    Without a gap only copies are looked for. sqlite3.Error.
    """
    conditions, values = _figure_conditions(likeness)
    own = _own_row(likeness)
    values |= own
    rows = connection.execute(_BY_WAY + conditions, values)
    found = _alike(own, rows, _MOST_FROM_THERE)
    if "gap_mm" in likeness.figures:
        rows = connection.execute(_BY_FIGURES + _cell_conditions(likeness) + conditions, values)
        found |= _alike(own, rows, _MOST_DIFFERING)
    return sorted(found)


def _alike(own: dict[str, Any], rows: Iterable[_Row], most_differing: int) -> set[int]:
    """Those rows of whose sketches at least one is alike; none that can be compared is alike."""
    sill, barrel = own["sill_sketch"], own["barrel_sketch"]
    found = set()
    for sequence, its_sill, its_barrel in rows:
        apart = [_differing(sill, its_sill), _differing(barrel, its_barrel)]
        known = [bits for bits in apart if bits is not None]
        if not known or min(known) <= most_differing:
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


def _cell_conditions(likeness: Likeness) -> str:
    """The same, by cells; the earlier photo may lack any but the gap."""
    conditions = ""
    for name in (name for name in _CELLS if name in likeness.figures):
        cells = set() if name == "gap_mm" else {_NO_CELL}
        for low, high in _windows(likeness, name):
            cells |= set(range(_cell(name, low), _cell(name, high) + 1))
        conditions += f"AND {_cell_name(name)} IN ({', '.join(map(str, sorted(cells)))})\n"
    return conditions


def _windows(likeness: Likeness, name: str) -> list[tuple[float, float]]:
    """Where the figure of another photo of the same set-up lies; a clock comes round again."""
    value, uncertainty = likeness.figures[name]
    reach = _REACH * max(uncertainty, _FIGURES[name])
    turns = (-1, 0, 1) if name == "clock_deg" else (0,)
    around = [value + turn * likeness.clock_period_deg for turn in turns]
    return [(v - reach, v + reach) for v in around]


def _cell_name(figure: str) -> str:
    return figure.rpartition("_")[0] + "_cell"


def _cell(figure: str, value: float | None) -> int:
    return _NO_CELL if value is None else floor(value / _CELLS[figure])


def _differing(one: bytes | None, other: bytes | None) -> int | None:
    """How many signs of two sketches differ; None where a face was not seen."""
    if one is None or other is None:
        return None
    return (int.from_bytes(one) ^ int.from_bytes(other)).bit_count()


def _bits(digits: str | None) -> bytes | None:
    return bytes.fromhex(digits) if digits else None
