"""What was worked out lately and is not worked out again, however many ask for it at once."""

from __future__ import annotations

import itertools
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager
from typing import Generic, TypeVar

from flask import abort, has_request_context, request

T = TypeVar("T")

MOST_WAITING = 24
"""So many may wait to have something worked out; pages that need nothing worked out go on."""
_WORKING = threading.RLock()
_places = threading.BoundedSemaphore(MOST_WAITING)
_inside = threading.local()


def drop_unwanted() -> None:
    """Abort where whoever asked has gone meanwhile: nobody waits for the answer."""
    gone = request.environ.get("waitress.client_disconnected") if has_request_context() else None
    if gone is not None and gone():
        abort(503, "Nobody waits for this answer any more.")


@contextmanager
def working() -> Iterator[None]:
    """Held while anything is worked out: answers come sooner one after the other than at once.

    Aborts with 503 and a sentence where too many wait already.
    """
    if getattr(_inside, "depth", 0):  # part of a work that has its place
        yield
        return
    if not _places.acquire(blocking=False):
        abort(503, "Too many at once ask this page to work something out; try again in a moment.")
    try:
        with _WORKING:
            drop_unwanted()
            _inside.depth = 1
            try:
                yield
            finally:
                _inside.depth = 0
    finally:
        _places.release()


class Memo(Generic[T]):
    """Results by what was asked, the latest of them.

    Parameters
    ----------
    most : int
        So many are kept.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._kept: OrderedDict[Hashable, T] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, key: Hashable, work: Callable[[], T]) -> T:
        """The result that is kept, or else worked out now."""
        found = self.kept(key)
        if found is not None:
            return found
        with working():
            found = self.kept(key)  # somebody may have asked the same meanwhile
            if found is None:
                found = work()
                self.put(key, found)
        return found

    def put(self, key: Hashable, found: T) -> None:
        """Keep a result that was worked out with others; as `get`."""
        with self._lock:
            self._kept[key] = found
            self._kept.move_to_end(key)
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)

    def kept(self, key: Hashable) -> T | None:
        """A result that is kept, None where it is not; nobody waits for it."""
        with self._lock:
            if key not in self._kept:
                return None
            self._kept.move_to_end(key)
            return self._kept[key]


class Newest:
    """Which question of each asker is the newest: no other has somebody who waits for it."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._numbers = itertools.count()
        self._newest: OrderedDict[str, int] = OrderedDict()
        self._lock = threading.Lock()

    def ask(self, asker: str) -> Callable[[], bool]:
        """Take a question down; whether it is still the newest of that asker."""
        with self._lock:
            number = self._newest[asker] = next(self._numbers)
            self._newest.move_to_end(asker)
            while len(self._newest) > self._most:
                self._newest.popitem(last=False)
        return lambda: self._newest.get(asker, number) == number
