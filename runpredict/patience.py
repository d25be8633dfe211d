"""Long work tells that it goes on, through the one logger, which is quiet unless asked."""

from __future__ import annotations

import logging
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from time import monotonic

LOG = logging.getLogger("runpredict")
"""``logging.basicConfig(level=logging.INFO)`` lets a caller from Python hear it."""

FIRST_WORD_S = 3.0
"""Work that takes longer is told of. [s]"""


@contextmanager
def long_work(what: str, first_s: float = FIRST_WORD_S) -> Iterator[None]:
    """Log that work goes on: after `first_s`, then each time twice as late.

    Parameters
    ----------
    what : str
        A few words, the first one with a capital.
    first_s : float
        [s]
    """
    if not LOG.isEnabledFor(logging.INFO):
        yield
        return
    start, done = monotonic(), threading.Event()

    def tell() -> None:
        next_s = first_s
        while not done.wait(start + next_s - monotonic()):
            LOG.info("%s: still at work, %g s.", what, next_s)
            next_s *= 2

    teller = threading.Thread(target=tell, daemon=True)
    teller.start()
    try:
        yield
    finally:
        done.set()
        teller.join()
