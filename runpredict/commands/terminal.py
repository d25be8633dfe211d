"""Output that no terminal, pipe or full disk can stop from ending in a sentence."""

from __future__ import annotations

import codecs
import os
import sys
import unicodedata
from collections.abc import Callable
from contextlib import suppress
from typing import TextIO

from runpredict.commands.options import BAD_INPUT, DONE
from runpredict.errors import BadInput, printable

_PLAIN = {
    **{"°": "deg ", "–": "-", "—": "-", "−": "-", "×": "x", "…": "..."},
    **{"≤": "<=", "≥": ">=", "≈": "~", "→": "->", "Φ": "Phi", "η": "eta", "·": "*"},
    **{"²": "^2", "³": "^3"},
    **{"“": '"', "”": '"', "‘": "'", "’": "'"},
}
"""What stands for a character that a code page has not."""


def _plain_characters(fault: UnicodeError) -> tuple[str, int]:
    """An error handler of `codecs`: the nearest that can be written, else a question mark."""
    if not isinstance(fault, UnicodeEncodeError):
        raise fault
    plain = ""
    for char in fault.object[fault.start : fault.end]:
        near = _PLAIN.get(char, "")
        if unicodedata.decomposition(char).startswith("<fraction>"):
            near = " " + unicodedata.normalize("NFKD", char).replace("⁄", "/")
        elif char.isalpha():  # a raised digit is another number
            near = unicodedata.normalize("NFKD", char)
        plain += near.encode("ascii", "ignore").decode() or "?"
    return plain, fault.end


def _prepare(stream: TextIO | None) -> TextIO:
    """A stream that takes any text; nothing is written where it was closed before the start."""
    if stream is None:
        return open(os.devnull, "w", encoding="utf-8")
    reconfigure = getattr(stream, "reconfigure", None)
    if reconfigure:
        reconfigure(errors="runpredict.plain")
    return stream


def _forget(stream: TextIO) -> None:
    """Send to nowhere what a stream could not write, or the end of Python tries once more."""
    with suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)


def _tell(sentence: object) -> int:
    try:
        print(sentence, file=sys.stderr, flush=True)
    except (OSError, ValueError):
        _forget(sys.stderr)
    return BAD_INPUT


def run_safely(run: Callable[[], int]) -> int:
    """Run a command, telling whatever stops it in one sentence.

    Parameters
    ----------
    run : callable
        Prints, and returns the exit status.

    Returns
    -------
    int
        Its status, or that of bad input: 1 only ever means over the tolerance.

    Raises
    ------
    SystemExit : as the parser of arguments leaves.
    Exception : Any, where the environment variable ``RUNPREDICT_TRACEBACK`` is set.
    """
    codecs.register_error("runpredict.plain", _plain_characters)
    sys.stdout, sys.stderr = _prepare(sys.stdout), _prepare(sys.stderr)
    if sys.stdin is None:
        sys.stdin = open(os.devnull, encoding="utf-8")  # noqa: SIM115 - until the end
    try:
        try:
            return run()
        finally:
            sys.stdout.flush()
    except BrokenPipeError:  # the reader has gone, as in `| head`; there is nobody left to tell
        _forget(sys.stdout)
        return DONE
    except (Exception, KeyboardInterrupt) as fault:
        if isinstance(fault, OSError):
            _forget(sys.stdout)
        return _tell(_sentence(fault))


def _sentence(fault: BaseException) -> str:
    """What stopped a command.

    Raises
    ------
    BaseException : A mistake of ours, where a developer asks for it.
    """
    if isinstance(fault, BadInput):
        return str(fault)
    if isinstance(fault, KeyboardInterrupt):
        return "Stopped."
    if isinstance(fault, MemoryError):
        return "There is not memory enough for tables of this size; split them."
    if isinstance(fault, OSError):
        return f"The answer cannot be shown: {(fault.strerror or str(fault)).lower()}."
    if os.environ.get("RUNPREDICT_TRACEBACK"):
        raise fault
    return (
        f"runpredict made a mistake of its own ({type(fault).__name__}: "
        f"{printable(str(fault)[:200])}). Set RUNPREDICT_TRACEBACK=1, run it again, and report "
        "what it says."
    )
