"""What faces of very different brightness add to the doubt about an edge."""

from __future__ import annotations

import numpy as np
import pytest

from rigvision.vision.unusual_light import unusual_variance
from tests.test_coarse_slot import DOOR_MM, PLAIN, SILL_MM, profiles

EDGES = np.tile([SILL_MM, DOOR_MM], (7, 1))


def test_faces_alike_add_nothing():
    np.testing.assert_array_equal(unusual_variance(profiles(*PLAIN), EDGES), 0.0)


@pytest.mark.parametrize(("sill", "door", "doubtful"), [(0.4, 0.08, 0), (0.08, 0.4, 1)])
def test_the_edge_of_a_face_five_times_as_bright_is_known_less(sill, door, doubtful):
    """0.15 of a radius of 0.25 mm: 0.0375 mm."""
    found = unusual_variance(profiles((0.0, sill), (SILL_MM, 0.01), (DOOR_MM, door)), EDGES)
    assert found[doubtful] == pytest.approx(0.0375**2, abs=1e-9)
    assert found[1 - doubtful] == 0.0
