"""Linear light from which a pixel counts as at the sensor's limit: one home for both levels."""

from __future__ import annotations

#: Of even white, as on a mark's pad: JPEG leaves clipped white a code or two below 255, and nothing
#: of a pad is so light otherwise.
CLIPPED_WHITE = 0.97
#: Of metal beside an edge, which may be nearly as light without being clipped: one code below 255.
CLIPPED_METAL = 0.985
