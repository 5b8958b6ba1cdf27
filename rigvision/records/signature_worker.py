"""A process that only checks signatures: a line of them in, a line of those that do not hold out.

Most of the time that a check of a large ledger takes is theirs.
"""

from __future__ import annotations

import json
import subprocess
import sys
from concurrent.futures import Future, ThreadPoolExecutor
from types import TracebackType
from typing import Self

from rigvision.records.signature import holds

#: Public key, signature, both hexadecimal, and the message.
Signed = tuple[str, str, bytes]


def not_holding(batch: list[Signed]) -> list[int]:
    """Which of them do not hold, by their place."""
    return [place for place, signed in enumerate(batch) if not holds(*signed)]


class SignatureWorker:
    """The process, and the thread that waits for it; takes one batch at a time."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "rigvision.records.signature_worker"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        self._thread = ThreadPoolExecutor(1)
        self._latest: Future[list[int]] | None = None

    @property
    def idle(self) -> bool:
        return self._latest is None or self._latest.done()

    def start(self, batch: list[Signed]) -> Future[list[int]]:
        """Which do not hold, in a while. A process that died is done without."""
        self._latest = self._thread.submit(self._asked, batch)
        return self._latest

    def _asked(self, batch: list[Signed]) -> list[int]:
        assert self._process.stdin
        assert self._process.stdout
        line = json.dumps([(key, signature, message.hex()) for key, signature, message in batch])
        try:
            self._process.stdin.write(line + "\n")
            self._process.stdin.flush()
            answer = self._process.stdout.readline()
        except OSError:
            answer = ""
        if not answer:
            return not_holding(batch)
        places: list[int] = json.loads(answer)
        return places

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._process.kill()
        self._thread.shutdown()
        self._process.communicate()


def _work() -> None:
    with open(1, "w", encoding="ascii") as answers:  # what the other process reads; nobody else
        for line in sys.stdin:
            batch = [(key, sign, bytes.fromhex(message)) for key, sign, message in json.loads(line)]
            answers.write(json.dumps(not_holding(batch)) + "\n")
            answers.flush()


if __name__ == "__main__":
    _work()
