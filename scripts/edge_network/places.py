"""Where along a cross-section light is computed, in radii from the tangent plane."""

from __future__ import annotations

import numpy as np

PER_RADIUS = 12
FROM, TO = -8.5, 7.5  #: along v, in the plane of the tangent lines (w = -1)
#: Middles of the steps over which light is averaged.
PLACES = FROM + (np.arange(round((TO - FROM) * PER_RADIUS)) + 0.5) / PER_RADIUS
