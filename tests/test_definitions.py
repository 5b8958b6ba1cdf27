"""What was measured with is kept byte by byte, and nothing else than that."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

import rigvision
from rigvision.evidence import Evidence
from rigvision.records.definitions import definitions_of, versions
from rigvision.world.camera import Camera
from rigvision.world.catalogue import load, models_folder
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge
from tests.half_size import half_size_file


def evidence(**models: object) -> Evidence:
    return Evidence(Path("photo.jpg"), "ab" * 32, **models)  # type: ignore[arg-type]


def shipped(folder: str, name: str) -> bytes:
    return (models_folder() / folder / name).read_bytes()


def test_models_are_kept_as_their_files_are() -> None:
    seen = evidence(
        gauge=load(Gauge, "RG-10"), frame=load(Frame, "DF-10"), camera=load(Camera, "generic-phone")
    )
    gauge, frame, camera, network = definitions_of(seen)
    assert gauge.content == shipped("gauges", "RG-10.toml")
    assert frame.content == shipped("frames", "DF-10.toml")
    assert camera.content == shipped("cameras", "generic-phone.toml")
    assert network.content == shipped("networks", "broken-edge.npz")
    for kept in (gauge, frame, camera, network):
        assert kept.definition.sha256 == hashlib.sha256(kept.content).hexdigest()
    assert gauge.definition.calibration_due == "2027-06-15"
    assert [k.file_name for k in (gauge, network)] == ["RG-10.toml", "broken-edge.npz"]


def test_a_gauge_without_calibration_has_no_date(tmp_path: Path) -> None:
    text = shipped("gauges", "RG-10.toml").decode()
    start, end = text.index("[calibration]"), text.index("[plate]")
    path = tmp_path / "old.toml"
    path.write_text(text[:start] + text[end:], encoding="utf-8")
    (gauge, _network) = definitions_of(evidence(gauge=load(Gauge, str(path))))
    assert gauge.definition.calibration_due is None


def test_what_was_named_is_kept_though_the_picture_does_not_show_it() -> None:
    gauge, frame, _network = definitions_of(
        evidence(asked_gauge=load(Gauge, "RG-10"), asked_frame=load(Frame, "DF-10"))
    )
    assert (gauge.definition.name, frame.definition.name) == ("RG-10", "DF-10")


def test_a_model_changed_after_it_was_read_is_refused() -> None:
    frame = load(Frame, "DF-10")
    widened = frame.model_copy(update={"gap": frame.gap.model_copy(update={"upper_mm": 9.0})})
    with pytest.raises(ValueError, match="the frame in use is not the one that was read"):
        definitions_of(evidence(frame=widened))


def test_a_file_edited_after_the_check_is_not_what_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "DF-10.toml"
    path.write_bytes(shipped("frames", "DF-10.toml"))
    photo = half_size_file("nominal.jpg", tmp_path)
    result = rigvision.check(photo, frame=str(path), door=6)
    path.write_text(path.read_text().replace("upper_mm = 1.05", "upper_mm = 9.05"))
    kept = {k.definition.kind: k for k in definitions_of(result.evidence)}  # type: ignore[arg-type]
    assert kept["frame"].content == shipped("frames", "DF-10.toml")
    assert kept["camera"].definition.name == "generic-phone"


def test_versions_are_those_that_run() -> None:
    import cv2
    import numpy as np
    import PIL

    found = versions()
    assert found["opencv-python"] == cv2.__version__
    assert found["numpy"] == np.__version__
    assert found["pillow"] == PIL.__version__
    assert found["rigvision"] == rigvision.__version__
    assert set(found) >= {"python", "scikit-image", "simplejpeg", "pillow-heif", "platform"}
    assert all(v and v != "unknown" for v in found.values())
