"""A process beside the page: it hears no Ctrl-C, and ends when the page does, however it ends."""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from multiprocessing import resource_tracker
from multiprocessing.context import SpawnProcess
from typing import Any


def start_apart(work: Callable[..., None], *given: Any) -> SpawnProcess:
    """Start some work in a process of its own."""
    child = multiprocessing.get_context("spawn").Process(
        target=_in_child, args=(work, *given), daemon=True
    )
    with _deaf_to_ctrl_c():
        child.start()
    return child


def _in_child(work: Callable[..., None], *given: Any) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    work(*given)


@contextmanager
def _deaf_to_ctrl_c() -> Iterator[None]:
    """What is started in the block hears no Ctrl-C, also while it is still loading.

    The terminal sends it to every process of the page, and the page ends the others.
    """
    if sys.platform == "win32":
        yield
        return
    resource_tracker.ensure_running()  # else the first start does, and lifts the mask
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _end_with_parent() -> None:
    """Nobody waits for the work once the page has gone, however it went."""
    page = multiprocessing.parent_process()
    assert page is not None
    page.join()
    os._exit(1)
