"""The program's end of the child in which a photo is decoded: bytes to it, answers from it.

Every answer has a length that is allowed and comes within its time, or the photo is refused;
what an answer says is for ``guarded_picture`` to believe or not.
"""

from __future__ import annotations

import json
import math
import os
import select
import signal
import subprocess
import sys
import time
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from rigvision.ground.errors import PhotoError, UsageError
from rigvision.photo.decoding_protocol import ANSWER, KINDS, REQUEST, Kind
from rigvision.photo.limits import LIMITS


@dataclass(frozen=True, slots=True)
class GuardTuning:
    """What a child may use up: enough for the largest picture that is allowed at all."""

    # All that the child may map. Its libraries take 0.4 GiB of it, 120 megapixels in colour with
    # 16 bits some 2 GiB. Less refuses large pictures, more lets a photo take more of the machine.
    memory_bytes: int = 3 << 30
    # Processor time for one photo, and time by the clock; the largest, 108 megapixels in colour
    # with 16 bits, took 18 s by the clock on two busy cores.
    cpu_s: int = 30
    wall_s: float = 60.0
    # By the clock, from its start until the child is locked down.
    start_s: float = 60.0
    # Then a new child is started: what a photo may have done to it ends with it.
    photos_per_child: int = 16
    # What an answer says beside the pixels is a few hundred bytes; more was not written by us.
    most_header_bytes: int = 8192


@dataclass(frozen=True, slots=True)
class Answer:
    """What the child says of a photo, unchecked, and numbers of the shapes that it may have.

    ``pixels`` are (H, W) luma codes or (H, W, 3) colours, ``light`` is a table (256,) or (65536,).
    """

    facts: dict[str, Any]
    pixels: npt.NDArray[Any] | None = None
    light: npt.NDArray[np.float32] | None = None


class NotCredibleError(Exception):
    """The child answered what it never would by itself."""


class _EndedError(Exception):
    """The child closed its end of a pipe."""


class _LateError(Exception):
    """The child did not answer in time."""


class DecodingProcess:
    """One child, starting. Raises UsageError where this system cannot guard."""

    def __init__(self, tuning: GuardTuning) -> None:
        if sys.platform == "win32" or not sys.executable:
            raise UsageError(
                "no-guard-here",
                "Photos cannot be decoded in a guarded process on this system: that takes the "
                "limits of Linux or macOS.",
                "Leave guarding out for photos you trust, or check the others on such a system.",
            )
        self._tuning = tuning
        self._held: tuple[str, ...] | None = None
        self.photos_left = tuning.photos_per_child
        # A group of its own, so that whatever it may have started can be ended with it.
        self._process = subprocess.Popen(
            _command(tuning),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=_environment(),
            start_new_session=True,
            bufsize=0,
        )
        assert self._process.stdin
        assert self._process.stdout
        self._to, self._from = self._process.stdin, self._process.stdout
        for pipe in (self._to.fileno(), self._from.fileno()):
            os.set_blocking(pipe, False)
            _widen(pipe)

    def holds(self) -> tuple[str, ...]:
        """What the child has given up, in single words. Raises UsageError where it did not."""
        if self._held is None:
            try:
                header = self._header(time.monotonic() + self._tuning.start_s)
                self._held = tuple(str(word) for word in header["holds"])
            except (_EndedError, _LateError, NotCredibleError, KeyError) as error:
                self.end()
                raise UsageError(
                    "no-guard-here",
                    "The process in which photos are decoded could not be started or locked down "
                    f"({_ending(self._process.returncode)}).",
                    "Try again; where it stays so, leave guarding out for photos you trust.",
                ) from error
        return self._held

    def ask(self, kind: Kind, name: str, data: bytes) -> Answer:
        """One photo decoded.

        Raises PhotoError where the child dies of it or takes too long, NotCredibleError where it
        answers nonsense. It is of no use after either.
        """
        self.holds()
        self.photos_left -= 1
        until = time.monotonic() + self._tuning.wall_s
        shown = name.encode()
        try:
            self._send(REQUEST.pack(KINDS.index(kind), len(shown), len(data)) + shown, until)
            self._send(data, until)
            header = self._header(until)
            if "shape" not in header:
                return Answer(header)
            pixels = _room(header, kind)
            light = _table(header, pixels)
            for numbers in (pixels, light):
                if numbers is not None:
                    self._fill(numbers.data.cast("B"), until)
        except _LateError as late:
            raise _too_slow(name, self._tuning) from late
        except _EndedError as ended:
            raise self._death(name) from ended
        pixels.flags.writeable = False
        return Answer(header, pixels, light)

    def end(self) -> None:
        """End the child and whatever it started, and wait until it is gone."""
        # macOS reports a group in which all have ended already as one that is not ours.
        with suppress(ProcessLookupError, PermissionError):
            os.killpg(self._process.pid, signal.SIGKILL)
        self._to.close()
        self._from.close()
        self._process.wait()

    def _header(self, until: float) -> dict[str, Any]:
        (length,) = ANSWER.unpack(self._receive(ANSWER.size, until))
        if length > self._tuning.most_header_bytes:
            raise NotCredibleError("its header is too long")
        return _object(self._receive(length, until))

    def _receive(self, length: int, until: float) -> bytes:
        data = bytearray(length)
        self._fill(memoryview(data), until)
        return bytes(data)

    def _fill(self, rest: memoryview, until: float) -> None:
        """Read until this memory is full: from the pipe straight to where it belongs."""
        while rest:
            _await(self._from.fileno(), select.POLLIN, until)
            count = os.readv(self._from.fileno(), [rest])
            if count == 0:
                raise _EndedError
            rest = rest[count:]

    def _send(self, data: bytes, until: float) -> None:
        rest = memoryview(data)
        while rest:
            _await(self._to.fileno(), select.POLLOUT, until)
            try:
                rest = rest[os.write(self._to.fileno(), rest) :]
            except BrokenPipeError as error:
                raise _EndedError from error

    def _death(self, name: str) -> PhotoError:
        """What is to be said of a photo at which the child died."""
        # It may have closed its pipe and live on.
        self.end()
        status = self._process.returncode
        if status == -signal.SIGXCPU:
            return _too_slow(name, self._tuning)
        return PhotoError(
            "decoder-died",
            f"{name} made the process that decodes it end ({_ending(status)}); "
            "nothing else was touched.",
            "Do not open it elsewhere; take the photo again, or copy it from the phone again.",
        )


def _command(tuning: GuardTuning) -> list[str]:
    """Python without the user's settings and folder, and with the same packages as here."""
    limits = f"{tuning.memory_bytes}, {tuning.cpu_s}, {tuning.photos_per_child}"
    start = (
        "import sys; sys.path[:0] = sys.argv[1:]; "
        f"from rigvision.photo.decoding_child import serve; serve({limits})"
    )
    package = str(Path(__file__).resolve().parent.parent.parent)
    return [sys.executable, "-I", "-c", start, package, *filter(None, sys.path)]


def _environment() -> dict[str, str]:
    """Nothing of the user's environment, which may hold secrets, but where libraries lie."""
    kept = ("LD_LIBRARY_PATH", "DYLD_LIBRARY_PATH")
    # One thread: Landlock binds the thread that asks for it, so no other may run by then.
    threads = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    return threads | {name: os.environ[name] for name in kept if name in os.environ}


def _widen(pipe: int) -> None:
    """Let a megabyte lie in a pipe: fewer turns between the two processes."""
    if sys.platform == "linux":
        import fcntl

        # Refused where the user has many pipes; this one works all the same.
        with suppress(PermissionError):
            fcntl.fcntl(pipe, fcntl.F_SETPIPE_SZ, 1 << 20)


def _await(pipe: int, what: int, until: float) -> None:
    """Until the pipe can be read or written. Raises _LateError."""
    poll = select.poll()
    poll.register(pipe, what)
    if not poll.poll(max(0.0, until - time.monotonic()) * 1000.0):
        raise _LateError


def _object(text: bytes) -> dict[str, Any]:
    try:
        found = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise NotCredibleError("its header is not JSON") from error
    if not isinstance(found, dict):
        raise NotCredibleError("its header is not an object")
    return found


def _room(header: dict[str, Any], kind: Kind) -> npt.NDArray[Any]:
    """Memory for the pixels, of the shape that the header claims, if that is allowed."""
    shape, bits = header["shape"], header.get("bits")
    colours = 3 if kind == "colour" else None
    if not isinstance(shape, list) or not all(type(side) is int and side > 0 for side in shape):
        raise NotCredibleError("its pixels have an odd shape")
    if len(shape) != (3 if colours else 2) or math.prod(shape[:2]) > LIMITS.pixels:
        raise NotCredibleError("its pixels have an odd shape")
    if bits not in ((8,) if colours else (8, 16)) or (colours and shape[2] != colours):
        raise NotCredibleError("its pixels are of an odd kind")
    return np.empty(shape, np.uint8 if bits == 8 else np.uint16)


def _table(header: dict[str, Any], pixels: npt.NDArray[Any]) -> npt.NDArray[np.float32] | None:
    """Memory for the light of each code, where the photo has a table of its own."""
    codes = header.get("light")
    if codes is None:
        return None
    if codes != 1 << 8 * pixels.itemsize:
        raise NotCredibleError("its light is not that of its codes")
    return np.empty(codes, np.float32)


def _too_slow(name: str, tuning: GuardTuning) -> PhotoError:
    return PhotoError(
        "decoding-too-slow",
        f"{name} was not decoded within {tuning.cpu_s} s and was given up.",
        "Send the photo as the phone's camera wrote it; on a busy machine try again.",
    )


def _ending(status: int | None) -> str:
    if status is None or status >= 0:
        return f"exit status {status}"
    return signal.strsignal(-status) or f"signal {-status}"
