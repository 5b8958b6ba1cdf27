"""All signatures of a ledger, gathered while its entries are read and checked many at a time."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import Future
from contextlib import ExitStack
from types import TracebackType
from typing import Self

from rigvision.records.signature_worker import SignatureWorker, Signed, not_holding

#: What to do about a signature that does not hold.
Broken = Callable[[], None]
_BATCH = 500
#: From as many entries on further processes are worth their start.
_MANY = 10_000
_MOST_WORKERS = 3


class SignatureCheck:
    """Add signatures. What does not hold is told by the call given with it, at the latest when
    the context ends."""

    def __init__(self) -> None:
        self._batch: list[tuple[Signed, Broken]] = []
        self._asked: list[tuple[Future[list[int]], list[Broken]]] = []
        self._workers: list[SignatureWorker] = []
        self._open = ExitStack()

    def expect_many(self, entries: int) -> None:
        """Start processes beside this one, where there are processors for them."""
        if entries >= _MANY:
            for _ in range(min(_MOST_WORKERS, (os.cpu_count() or 1) - 1)):
                self._workers.append(self._open.enter_context(SignatureWorker()))

    def add(self, public_key: str, signature: str, message: bytes, broken: Broken) -> None:
        self._batch.append(((public_key, signature, message), broken))
        if len(self._batch) == _BATCH:
            self._take(next((worker for worker in self._workers if worker.idle), None))

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Check what is left, and wait for the rest; also where the ledger could not be read on."""
        with self._open:
            self._take(None)
            for future, broken in self._asked:
                _tell(future.result(), broken)
            self._asked.clear()

    def _take(self, worker: SignatureWorker | None) -> None:
        """The batch to a process that has nothing to do; else it is done here."""
        batch, self._batch = self._batch, []
        signed, broken = [s for s, _ in batch], [b for _, b in batch]
        if worker is not None:
            self._asked.append((worker.start(signed), broken))
            self._drop_done()
        else:
            _tell(not_holding(signed), broken)

    def _drop_done(self) -> None:
        """So that memory does not grow with the ledger."""
        while self._asked and self._asked[0][0].done():
            future, broken = self._asked.pop(0)
            _tell(future.result(), broken)


def _tell(places: list[int], broken: list[Broken]) -> None:
    for place in places:
        broken[place]()
