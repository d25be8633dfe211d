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
                self._kept[key] = work(), of
                while len(self._kept) > self._most:
                    self._kept.popitem(last=False)
            self._kept.move_to_end(key)
            return self._kept[key][0]
