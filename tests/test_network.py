"""The small network: what it computes, and that a bad file is refused in a sentence."""

from __future__ import annotations

import io
import os
from pathlib import Path
from zipfile import ZipFile

import numpy as np
import pytest

from rigvision.ground.errors import ModelError
from rigvision.world import network as module
from rigvision.world.catalogue import models_folder, shipped_models_folder
from rigvision.world.network import MAX_BYTES, load_network, read_network

SHIPPED = shipped_models_folder() / "networks" / "broken-edge.npz"


def tiny(**changed) -> dict[str, np.ndarray]:
    """Two members, two features, two units, one output."""
    return {
        "mean": np.array([1.0, -1.0]),
        "scale": np.array([2.0, 0.5]),
        "weight0": np.array([[[1.0, 0.0], [0.0, 1.0]], [[1.0, 1.0], [0.0, 0.0]]]),
        "bias0": np.array([[0.0, 0.0], [0.0, 3.0]]),
        "weight1": np.array([[[1.0], [2.0]], [[0.0], [1.0]]]),
        "bias1": np.array([[10.0], [0.0]]),
    } | changed


def written(path: Path, arrays: dict[str, np.ndarray]) -> Path:
    np.savez_compressed(path, **arrays)
    return path


def complaint(path: Path) -> str:
    with pytest.raises(ModelError) as caught:
        read_network(path)
    assert caught.value.code == "network-unreadable"
    assert path.name in caught.value.text
    assert str(path.parent) in caught.value.text
    assert caught.value.text.endswith(".")
    assert caught.value.remedy
    return caught.value.text


def test_a_tiny_network_computes_what_paper_and_pencil_do(tmp_path):
    """Features (3, -1) scale to (1, 0); SiLU(1) = 1 / (1 + 1/e) = 0.731059, SiLU(0) = 0,
    SiLU(4) = 4 / (1 + e^-4) = 3.928055.

    Member 1: 1 * 0.731059 + 2 * 0 + 10. Member 2: units 1 and 1 + 3, of which the second counts.
    """
    found = read_network(written(tmp_path / "tiny.npz", tiny()))(np.array([[3.0, -1.0]]))
    assert found.shape == (2, 1, 1)
    np.testing.assert_allclose(found.ravel(), [10.731059, 3.928055], rtol=0, atol=3e-6)


def test_a_feature_far_from_what_training_saw_counts_as_eight_of_its_scales(tmp_path):
    network = read_network(written(tmp_path / "tiny.npz", tiny()))
    far, edge = network(np.array([[1.0e6, -1.0], [1.0 + 8 * 2.0, -1.0]])).swapaxes(0, 1)
    np.testing.assert_array_equal(far, edge)


def test_the_shipped_network_gives_each_member_s_place_and_scale():
    network = load_network("broken-edge")
    features = np.tile(network.mean.astype(float), (3, 1))
    found = network(features)
    assert found.shape == (len(network.weights[0]), 3, 2)
    assert np.isfinite(found).all()


def test_the_shipped_network_is_used_even_where_other_models_are_named(tmp_path, monkeypatch):
    """Figures are claimed for this network: another folder's gauges come without one."""
    (tmp_path / "networks").mkdir()
    written(tmp_path / "networks" / "broken-edge.npz", tiny())
    monkeypatch.setenv("RIGVISION_MODELS", str(tmp_path))
    assert models_folder() == tmp_path
    load_network.cache_clear()
    assert len(load_network("broken-edge").mean) == len(read_network(SHIPPED).mean)


def test_a_missing_network_is_named():
    with pytest.raises(ModelError, match=r"The network nowhere\.npz in .* cannot be read"):
        load_network("nowhere")


def test_a_missing_file_is_refused(tmp_path):
    complaint(tmp_path / "none.npz")


@pytest.mark.parametrize("part", [0.0, 0.3, 0.7, 0.999])
def test_a_truncated_file_is_refused(part, tmp_path):
    whole = SHIPPED.read_bytes()
    path = tmp_path / "cut.npz"
    path.write_bytes(whole[: int(part * len(whole))])
    complaint(path)


def test_a_file_with_a_damaged_middle_is_refused(tmp_path):
    whole = bytearray(SHIPPED.read_bytes())
    middle = len(whole) // 2
    whole[middle : middle + 200] = bytes(200)
    path = tmp_path / "damaged.npz"
    path.write_bytes(whole)
    complaint(path)


def test_garbage_is_refused(tmp_path):
    path = tmp_path / "garbage.npz"
    path.write_bytes(np.random.default_rng(1).bytes(5000))
    assert "no archive" in complaint(path)


def test_pickled_objects_are_refused(tmp_path):
    """Reading one could run code."""
    objects = np.array([{"code": "any"}, None], dtype=object)
    text = complaint(written(tmp_path / "pickled.npz", tiny(mean=objects)))
    assert "it holds object, not numbers" in text


def test_a_bare_array_is_refused(tmp_path):
    path = tmp_path / "array.npz"
    with path.open("wb") as file:
        np.save(file, np.zeros(3))
    assert "no archive" in complaint(path)


@pytest.mark.parametrize("value", [np.nan, np.inf])
@pytest.mark.parametrize("name", ["mean", "weight1", "bias0"])
def test_numbers_that_are_not_finite_are_refused(name, value, tmp_path):
    arrays = tiny()
    arrays[name] = np.full_like(arrays[name], value)
    assert "not finite" in complaint(written(tmp_path / "n.npz", arrays))


def test_a_file_that_is_too_large_is_refused_before_it_is_unpacked(tmp_path, monkeypatch):
    path = tmp_path / "large.npz"
    with path.open("wb") as file:
        file.truncate(MAX_BYTES + 1)
    monkeypatch.setattr(module, "ZipFile", lambda *_, **__: pytest.fail("it was unpacked"))
    assert "larger than 8 MB" in complaint(path)


def test_a_small_file_that_unpacks_to_a_huge_one_is_refused_before_it_is_unpacked(
    tmp_path, monkeypatch
):
    path = written(tmp_path / "bomb.npz", tiny(weight0=np.zeros((2, 2, 8_000_000))))
    assert path.stat().st_size < MAX_BYTES
    monkeypatch.setattr(module, "_array", lambda _: pytest.fail("it was unpacked"))
    assert "unpacks to more than a network" in complaint(path)


def test_an_array_that_claims_more_than_it_holds_is_refused_without_memory_for_it(tmp_path):
    """A header of 1.6 TB over four numbers, within an archive that is whole."""
    stream = io.BytesIO()
    np.lib.format.write_array_header_1_0(
        stream, {"descr": "<f8", "fortran_order": False, "shape": (2, 100_000_000_000)}
    )
    path = tmp_path / "claim.npz"
    with ZipFile(path, "w") as archive:
        archive.writestr("mean.npy", stream.getvalue() + bytes(32))
    assert "another size than it says" in complaint(path)


@pytest.mark.parametrize("value", ["<i8", "<c16", "<U3", "<M8[s]", "|V8"])
def test_what_is_not_a_real_number_is_refused(tmp_path, value):
    found = complaint(written(tmp_path / "n.npz", tiny(mean=np.zeros(2).astype(value))))
    assert "not numbers" in found


def test_an_archive_of_a_thousand_arrays_is_refused(tmp_path):
    many = {f"weight{k}": np.zeros(1) for k in range(1000)}
    assert "more than a network" in complaint(written(tmp_path / "many.npz", many))


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no FIFOs")
def test_a_pipe_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe.npz")
    assert "not an ordinary file" in complaint(tmp_path / "pipe.npz")


def test_arrays_in_columns_are_those_in_rows(tmp_path):
    columns = tiny()
    columns["weight0"] = np.asfortranarray(columns["weight0"])
    rows = read_network(written(tmp_path / "rows.npz", tiny()))
    found = read_network(written(tmp_path / "columns.npz", columns))
    np.testing.assert_array_equal(found.weights[0], rows.weights[0])


MISFITS = {
    "features": {"mean": np.zeros(3), "scale": np.ones(3)},
    "scale of another length": {"scale": np.ones(1)},
    "scale of nought": {"scale": np.array([1.0, 0.0])},
    "second layer": {"weight1": np.zeros((2, 3, 1))},
    "bias": {"bias0": np.zeros((2, 5))},
    "bias without members": {"bias0": np.zeros(2)},
    "members": {"weight1": np.zeros((1, 2, 1)), "bias1": np.zeros((1, 1))},
    "flat weight": {"weight0": np.zeros((2, 2))},
    "weight that is one number": {"weight0": np.array(1.0)},
}


@pytest.mark.parametrize("what", MISFITS)
def test_layers_that_do_not_fit_are_refused(what, tmp_path):
    arrays = tiny(**MISFITS[what])
    assert "do not fit together" in complaint(written(tmp_path / "n.npz", arrays))


@pytest.mark.parametrize("name", ["mean", "scale", "weight0", "bias1"])
def test_a_missing_array_is_named(name, tmp_path):
    arrays = tiny()
    del arrays[name]
    complaint(written(tmp_path / "n.npz", arrays))


def test_a_file_without_layers_is_refused(tmp_path):
    arrays = {k: v for k, v in tiny().items() if k in ("mean", "scale")}
    complaint(written(tmp_path / "n.npz", arrays))
