"""A brightness profile as straight pieces: how well any stretch is one piece, or several.

A face need not be of one brightness: a shadow's border, a scratch or a worn band cuts it into
pieces, each nearly straight. What a stretch costs is minus the logarithm of its likelihood, in
nats, with the profile's deviations from its pieces taken for normal.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from rigvision.ground.conventions import FloatArray

F32 = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class PieceTuning:
    """How uneven a piece may be, and how rare borders on a face are."""

    unevenness: float = 0.1  # of a piece's logarithm of light: stains, grain, the rounds' ends
    correlated: float = 3.0  # neighbouring samples share stains and blur: so many count as one
    border: float = 4.0  # nats of one more border on a face: one place in fifty has one
    most_borders: int = 4  # two scratches; more only where nothing else explains the light
    least_samples: int = 2


@dataclass(frozen=True, slots=True)
class _Stretches:
    """What all profiles of N samples share: tables (N + 1, N + 1) by start and stop."""

    per_sample: F32  # one over the number of samples
    centre: F32
    per_spread: F32  # one over the sum of squared distances from the centre
    void: F32  # infinite where the stop lies before the start, else 0
    short: F32  # infinite where there are fewer samples than a piece has


@lru_cache(maxsize=8)
def _stretches(n: int, least: int) -> _Stretches:
    at = np.arange(n + 1.0)
    count = at[None, :] - at[:, None]
    many = np.maximum(count, 1.0)
    tables = (
        1.0 / many,
        (at[None, :] + at[:, None] - 1.0) / 2.0,
        12.0 / np.maximum(many * (many**2 - 1.0), 1.0),
        np.where(count < 0.0, np.inf, 0.0),
        np.where(count < least, np.inf, 0.0),
    )
    return _Stretches(*(np.asarray(table, np.float32) for table in tables))


def _centred(values: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Values about their mean, their squares, and their products with the sample's number."""
    v = values - values.mean()
    return v, v**2, v * np.arange(len(v))


class FacePieces:
    """Costs of stretches [start, stop) of ``values`` (N,): tables (N + 1, N + 1) by start, stop.

    ``line`` lets the stretch shade evenly, ``level`` does not.
    """

    def __init__(self, values: FloatArray, tuning: PieceTuning | None = None) -> None:
        self._tuning = t = tuning or PieceTuning()
        stretch = _stretches(len(values), t.least_samples)
        # Single precision does: costs are wanted to a tenth of a nat.
        v, vv, iv = (
            np.concatenate([[0.0], np.cumsum(a)]).astype(np.float32) for a in _centred(values)
        )
        total = v[None, :] - v[:, None]
        mean = total * stretch.per_sample
        self._mean = mean
        level = vv[None, :] - vv[:, None] - total * mean
        cross = iv[None, :] - iv[:, None] - stretch.centre * total
        line = level - stretch.per_spread * cross * cross
        scale = np.float32(1.0 / (2.0 * t.unevenness**2 * t.correlated))
        self.level = np.maximum(level, 0.0) * scale + stretch.void
        self.line = np.maximum(line, 0.0) * scale + stretch.void
        self._piece = self.line + stretch.short

    def before(self) -> F32:
        """Cost (N + 1,) of all that lies before each place, in as many pieces as pay."""
        return self._in_pieces(self._piece[0], self._piece)

    def beyond(self) -> F32:
        """Cost (N + 1,) of all from each place on, in as many pieces as pay."""
        return self._in_pieces(self._piece[:, -1], self._piece.T)

    def before_round(self, reach: int, cost: float, drop: float) -> F32:
        """``before`` where the last piece may be an edge's round of up to ``reach`` samples: it
        is no surprise there, and costs less than any border. Darker than the face before it by
        more than ``drop`` it is no round.
        """
        return self._with_round(self.before(), self._piece, self._mean, reach, cost, drop)

    def beyond_round(self, reach: int, cost: float, drop: float) -> F32:
        """``beyond`` where the first piece may be an edge's round."""
        piece, mean = (table.T[::-1, ::-1] for table in (self._piece, self._mean))
        return self._with_round(self.beyond()[::-1], piece, mean, reach, cost, drop)[::-1]

    def _with_round(
        self, faces: F32, piece: F32, mean: F32, reach: int, cost: float, drop: float
    ) -> F32:
        best = faces.copy()
        beside = np.full(len(faces), np.inf, np.float32)
        beside[reach:] = np.diagonal(mean, reach)  # of as much face as a round may be long
        for width in range(self._tuning.least_samples, reach + 1):
            is_round = np.diagonal(mean, width) > beside[:-width] - drop
            ends = faces[:-width] + np.diagonal(piece, width) + np.float32(cost)
            ends = np.where(is_round, ends, np.inf)
            np.minimum(best[width:], ends, out=best[width:])
        return best

    def _in_pieces(self, whole: F32, piece: F32) -> F32:
        """``whole`` (N + 1,) up to each place as one piece; ``piece`` from a place to the next."""
        t, cost = self._tuning, whole
        for _ in range(t.most_borders):
            cost = np.minimum(cost, (cost[:, None] + piece).min(axis=0) + np.float32(t.border))
        return np.asarray(cost)
