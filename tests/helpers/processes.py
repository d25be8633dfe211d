"""Waiting for other threads and processes, however slow the machine is; and none left behind."""

import os
import shutil
import signal
import subprocess
import time
from contextlib import suppress
from pathlib import Path

import pytest

PATIENCE_S = 240.0
"""Only ends what hangs: what has to be quick is a benchmark, marked slow."""

needs_proc = pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="needs /proc")


def until(what, patience_s=PATIENCE_S):
    """Wait until something is so."""
    deadline = time.monotonic() + patience_s
    while not (found := what()):
        assert time.monotonic() < deadline, "waited in vain"
        time.sleep(0.01)
    return found


def _state_and_group(folder):
    state, _, group = (folder / "stat").read_text().rpartition(")")[2].split()[:3]
    return state, int(group)


def members(group):
    """Process numbers of a process group with their command lines, but for those that ended.

    Read from /proc, which only Linux has.
    """
    found = {}
    for folder in Path("/proc").glob("[0-9]*"):
        with suppress(OSError):
            state, of_group = _state_and_group(folder)
            if of_group == group and state not in "ZX":
                found[int(folder.name)] = (folder / "cmdline").read_text().replace("\0", " ")
    return found


def waits(process):
    """Whether a process waits for something, such as an answer; a signal interrupts that."""
    return _state_and_group(Path(f"/proc/{process.pid}"))[0] == "S"


def started(words, ignoring=(), **named):
    """Start a program that leads a process group of its own, as `subprocess.Popen`.

    It hears the usual signals, whatever this process ignores, as one in the background does; it
    ends when this process is killed, where `setpriv` of util-linux is there to see to it.
    """
    if shutil.which("setpriv"):
        words = ["setpriv", "--pdeathsig", "KILL", *words]
    before = {
        number: signal.signal(number, signal.SIG_IGN if number in ignoring else signal.SIG_DFL)
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
    }
    try:
        return subprocess.Popen(words, start_new_session=True, **named)
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def end_group(process):
    """Kill a process that leads a group, and whatever it started; nothing where they ended."""
    with suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)
    process.communicate()
