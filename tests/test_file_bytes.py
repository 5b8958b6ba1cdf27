"""Bytes of ordinary files only, read once; nothing waits, nothing is followed but a link."""

from __future__ import annotations

import os
import threading

import pytest

from rigvision.ground.errors import PhotoError
from rigvision.photo.file_bytes import file_bytes


def code_of(path) -> str:
    with pytest.raises(PhotoError) as caught:
        file_bytes(path, path.name)
    return caught.value.code


def test_a_link_to_a_file_is_followed_and_a_dangling_one_is_missing(tmp_path):
    (tmp_path / "a.jpg").write_bytes(b"abc")
    (tmp_path / "b.jpg").symlink_to(tmp_path / "a.jpg")
    assert file_bytes(tmp_path / "b.jpg", "b.jpg") == b"abc"
    (tmp_path / "a.jpg").unlink()
    assert code_of(tmp_path / "b.jpg") == "missing"


def test_a_loop_of_links_is_unreadable(tmp_path):
    (tmp_path / "a.jpg").symlink_to(tmp_path / "a.jpg")
    assert code_of(tmp_path / "a.jpg") == "unreadable"


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no FIFOs")
def test_a_pipe_is_never_waited_for(tmp_path):
    os.mkfifo(tmp_path / "p.jpg")
    done: list[str] = []
    asking = threading.Thread(target=lambda: done.append(code_of(tmp_path / "p.jpg")), daemon=True)
    asking.start()
    asking.join(5.0)
    assert done == ["not-a-file"]


@pytest.mark.skipif(not os.path.exists("/dev/zero"), reason="this system has no such device")
def test_a_device_is_no_file(tmp_path):
    (tmp_path / "z.jpg").symlink_to("/dev/zero")
    assert code_of(tmp_path / "z.jpg") == "not-a-file"


def test_a_folder_and_a_link_to_one_are_no_files(tmp_path):
    (tmp_path / "f.jpg").mkdir()
    (tmp_path / "l.jpg").symlink_to(tmp_path / "f.jpg")
    assert code_of(tmp_path / "f.jpg") == code_of(tmp_path / "l.jpg") == "not-a-file"


def test_no_descriptor_is_left_open(tmp_path):
    (tmp_path / "a.jpg").write_bytes(b"abc")
    (tmp_path / "f.jpg").mkdir()
    lowest = os.dup(0)
    os.close(lowest)
    for _ in range(20):
        file_bytes(tmp_path / "a.jpg", "a.jpg")
        code_of(tmp_path / "f.jpg")
    again = os.dup(0)
    os.close(again)
    assert again == lowest
