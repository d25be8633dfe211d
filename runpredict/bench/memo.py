"""What was worked out lately and is not worked out again, however many ask for it at once."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Generic, TypeVar

T = TypeVar("T")

WORKING = threading.RLock()
"""Held while anything is worked out: answers come sooner one after the other than at once."""


class Memo(Generic[T]):
    """Results by what was asked, the latest of them.

    Parameters
    ----------
    most : int
        So many are kept.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._kept: OrderedDict[Hashable, tuple[T, object]] = OrderedDict()

    def get(self, key: Hashable, work: Callable[[], T], of: object = None) -> T:
        """The result that is kept, or else worked out now.

        Parameters
        ----------
        key : hashable
        work : callable
        of : object
            What a key names by its ``id``, which is kept so that no other object gets it.
        """
        with WORKING:
            if key not in self._kept:
                self.put(key, work(), of)
            return self.kept(key)

    def put(self, key: Hashable, found: T, of: object = None) -> None:
        """Keep a result that was worked out with others; as `get`."""
        self._kept[key] = found, of
        while len(self._kept) > self._most:
            self._kept.popitem(last=False)

    def kept(self, key: Hashable) -> T:
        """A result that is kept; `KeyError` where it is not."""
        self._kept.move_to_end(key)
        return self._kept[key][0]

    def __contains__(self, key: Hashable) -> bool:
        """Whether a result is kept."""
        return key in self._kept
