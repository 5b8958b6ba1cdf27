"""Photos with known truth, drawn once a session and shared by the tests that look at them."""

from __future__ import annotations

import pytest
from hypothesis import settings

from rigvision.synthetic import PhoneCamera, Scene, make_photo
from rigvision.world.catalogue import load
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge
from tests.photos import Photographer, Shot

# The same examples in every run, and no stop-watch: a busy machine is no failure.
settings.register_profile("steady", deadline=None, derandomize=True, database=None)
settings.load_profile("steady")


@pytest.fixture(scope="session")
def gauge() -> Gauge:
    return load(Gauge, "RG-10")


@pytest.fixture(scope="session")
def frame() -> Frame:
    return load(Frame, "DF-10")


@pytest.fixture(scope="session")
def shoot(tmp_path_factory: pytest.TempPathFactory, gauge: Gauge, frame: Frame) -> Photographer:
    """Photograph a scene into a file; the same scene, camera, seed and rig only once."""
    folder = tmp_path_factory.mktemp("photos")
    made: dict[str, Shot] = {}

    def photograph(
        scene: Scene,
        camera: PhoneCamera,
        seed: int = 1,
        rig: tuple[Gauge, Frame] | None = None,
    ) -> Shot:
        shown = rig or (gauge, frame)
        key = repr((scene, camera, seed, shown))
        if key not in made:
            photo = make_photo(scene, camera, *shown, seed=seed)
            path = folder / f"photo-{len(made):03d}.jpg"
            path.write_bytes(photo.jpeg)
            made[key] = Shot(path, photo.truth)
        return made[key]

    return photograph
