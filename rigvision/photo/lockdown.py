"""Takes from this process, for good, whatever decoding a picture does not need.

A decoder that a hostile file has taken over can then compute, and answer over the pipes that
are open already, and nothing else. POSIX limits hold on Linux and macOS; what Linux alone can
do comes on top and needs no privileges: Landlock shuts the file system, other processes and the
starting of programs.
https://docs.kernel.org/userspace-api/landlock.html
"""

from __future__ import annotations

import ctypes
import os
import resource
import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager

#: Linux' numbers, the same on every processor (asm-generic/unistd.h, linux/prctl.h).
_LANDLOCK_CREATE_RULESET, _LANDLOCK_RESTRICT_SELF = 444, 446
_PR_SET_PDEATHSIG, _PR_SET_DUMPABLE, _PR_SET_NO_NEW_PRIVS = 1, 4, 38
_ASK_VERSION = 1

#: Rights over files that each version of Landlock knows: the lowest so many bits.
_FILE_RIGHTS = {1: 13, 2: 14, 3: 15, 4: 15}
_MOST_FILE_RIGHTS = 16  # from version 5 on
_NET_RIGHTS = 0b11  # to bind and to connect TCP, from version 4 on
_SCOPES = 0b11  # abstract sockets and signals to others, from version 6 on


class _Ruleset(ctypes.Structure):
    """``struct landlock_ruleset_attr``: what is forbidden unless a rule allows it."""

    _fields_ = (
        ("files", ctypes.c_uint64),
        ("net", ctypes.c_uint64),
        ("scoped", ctypes.c_uint64),
    )


def lock_down(memory_bytes: int, most_cpu_s: int) -> tuple[str, ...]:
    """Lock this process down and say in single words what holds now.

    From here on it can open no file, socket or pipe: every library, and every part of one that
    is loaded late, must have been used before. Raises OSError or ValueError where a limit that
    the system should know is refused.
    """
    holds = ["cpu", "core", "file-size", "open-files"]
    if sys.platform == "darwin":
        # Darwin maps hundreds of gigabytes for nothing and holds no process to this limit.
        pass
    else:
        _limit(resource.RLIMIT_AS, memory_bytes)
        holds.append("memory")
    _limit(resource.RLIMIT_CPU, most_cpu_s)
    _limit(resource.RLIMIT_CORE, 0)
    _limit(resource.RLIMIT_FSIZE, 0)
    if sys.platform == "linux":
        _die_with_parent()
        if _shut_file_system():
            holds.append("landlock")
    # Not even a number that is free again can be used: nothing can be opened any more.
    _limit(resource.RLIMIT_NOFILE, 0)
    return tuple(holds)


@contextmanager
def cpu_time(seconds: int) -> Iterator[None]:
    """At most this much processor time from here on; beyond, the system ends the process."""
    _, most = resource.getrlimit(resource.RLIMIT_CPU)
    used = resource.getrusage(resource.RUSAGE_SELF)
    # The limit counts whole seconds since the start.
    until = int(used.ru_utime + used.ru_stime) + 1 + seconds
    resource.setrlimit(resource.RLIMIT_CPU, (min(until, most), most))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_CPU, (most, most))


def _limit(what: int, most: int) -> None:
    """Lower a limit, also the one up to which it could be raised again."""
    _, hard = resource.getrlimit(what)
    most = most if hard == resource.RLIM_INFINITY else min(most, hard)
    resource.setrlimit(what, (most, most))


def _die_with_parent() -> None:
    """No memory dumps, no debugger, no privileges by starting something, no life after the parent.

    That the parent may have died before this line does no harm: standard input has ended then.
    """
    system = ctypes.CDLL(None, use_errno=True)
    for option, value in (
        (_PR_SET_DUMPABLE, 0),
        (_PR_SET_NO_NEW_PRIVS, 1),
        (_PR_SET_PDEATHSIG, int(signal.SIGKILL)),
    ):
        if system.prctl(option, value, 0, 0, 0) != 0:
            raise OSError(ctypes.get_errno(), f"prctl {option}")


def _shut_file_system() -> bool:
    """No file can be read, written, listed, moved, removed or started; False on an old kernel.

    A ruleset without rules: everything that this kernel's Landlock knows is forbidden. It binds
    the calling thread and what that starts, so it must come before any other thread does.
    """
    system = ctypes.CDLL(None, use_errno=True)
    version = system.syscall(_LANDLOCK_CREATE_RULESET, None, ctypes.c_size_t(0), _ASK_VERSION)
    if version < 1:
        return False
    attributes = _Ruleset(
        (1 << _FILE_RIGHTS.get(version, _MOST_FILE_RIGHTS)) - 1,
        _NET_RIGHTS if version >= 4 else 0,
        _SCOPES if version >= 6 else 0,
    )
    # Older kernels know a shorter struct; they take a longer one whose rest is zero.
    ruleset = system.syscall(
        _LANDLOCK_CREATE_RULESET,
        ctypes.byref(attributes),
        ctypes.c_size_t(ctypes.sizeof(attributes)),
        0,
    )
    if ruleset < 0:
        raise OSError(ctypes.get_errno(), "landlock_create_ruleset")
    done = system.syscall(_LANDLOCK_RESTRICT_SELF, ruleset, 0)
    os.close(ruleset)
    if done != 0:
        raise OSError(ctypes.get_errno(), "landlock_restrict_self")
    return True
