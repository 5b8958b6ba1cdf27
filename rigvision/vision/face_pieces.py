"""A brightness profile as straight pieces: how well any stretch is one piece, or several.

A face need not be of one brightness: a shadow's border, a scratch or a worn band cuts it into
pieces, each nearly straight. What a stretch costs is minus the logarithm of its likelihood, in
nats, with the profile's deviations from its pieces taken for normal.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigvision.ground.conventions import FloatArray


@dataclass(frozen=True, slots=True)
class PieceTuning:
    """How uneven a piece may be, and how rare borders on a face are."""

    unevenness: float = 0.1  # of a piece's logarithm of light: stains, grain, the rounds' ends
    correlated: float = 3.0  # neighbouring samples share stains and blur: so many count as one
    border: float = 4.0  # nats of one more border on a face: one place in fifty has one
    most_borders: int = 4  # two scratches; more only where nothing else explains the light
    least_samples: int = 2


class FacePieces:
    """Costs of stretches [start, stop) of ``values`` (N,): tables (N + 1, N + 1) by start, stop.

    ``line`` lets the stretch shade evenly, ``level`` does not.
    """

    def __init__(self, values: FloatArray, tuning: PieceTuning | None = None) -> None:
        self._tuning = t = tuning or PieceTuning()
        n = len(values)
        at = np.arange(n + 1.0)
        index, centred = at[:-1], values - values.mean()
        v, vv, iv = (
            np.concatenate([[0.0], np.cumsum(a)]) for a in (centred, centred**2, index * centred)
        )
        count = at[None, :] - at[:, None]
        many = np.maximum(count, 1.0)
        total = v[None, :] - v[:, None]
        level = vv[None, :] - vv[:, None] - total**2 / many
        centre = (at[None, :] + at[:, None] - 1.0) / 2.0
        cross = iv[None, :] - iv[:, None] - centre * total
        line = level - 12.0 * cross**2 / np.maximum(many * (many**2 - 1.0), 1.0)
        scale = 1.0 / (2.0 * t.unevenness**2 * t.correlated)
        self.level = np.where(count < 0.0, np.inf, np.maximum(level, 0.0) * scale)
        self.line = np.where(count < 0.0, np.inf, np.maximum(line, 0.0) * scale)
        self._piece = np.where(count < t.least_samples, np.inf, self.line)

    def before(self) -> FloatArray:
        """Cost (N + 1,) of all that lies before each place, in as many pieces as pay."""
        return self._in_pieces(self._piece[0], self._piece)

    def beyond(self) -> FloatArray:
        """Cost (N + 1,) of all from each place on, in as many pieces as pay."""
        return self._in_pieces(self._piece[:, -1], self._piece.T)

    def _in_pieces(self, whole: FloatArray, piece: FloatArray) -> FloatArray:
        """``whole`` (N + 1,) up to each place as one piece; ``piece`` from a place to the next."""
        t, cost = self._tuning, whole
        for _ in range(t.most_borders):
            cost = np.minimum(cost, (cost[:, None] + piece).min(axis=0) + t.border)
        return np.asarray(cost)
