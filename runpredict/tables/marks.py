"""Which files of a folder are earlier answers, so that no other file is written over unasked."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable, Sequence
from pathlib import Path

from runpredict.errors import BadInput, Fault
from runpredict.tables.files import reason_of

MARKS_NAME = ".runpredict_answers"
"""File that lists what was written to its folder; beside an answer it is the answer's mark."""

_HEADER = (
    "# Answers that runpredict wrote to this folder, by their SHA-256: these it may replace.\n"
)


def _line(content: bytes, name: str) -> str:
    return (
        f"{hashlib.sha256(content).hexdigest()} {name.encode(errors='backslashreplace').decode()}"
    )


def mark_answers(drafts: Sequence[Path], paths: Sequence[str | os.PathLike[str]]) -> None:
    """List what is about to get its name, in the folder of each.

    Parameters
    ----------
    drafts : sequence of Path
        Written, under their hidden names.
    paths : sequence of path
        What each is going to be called.

    Raises
    ------
    OSError

    Notes
    -----
    Lines are only ever added, in one write each, so that many runs may share a folder. A line of
    what never got its name does no harm.
    """
    flags = os.O_WRONLY | os.O_APPEND | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0)
    for draft, path in zip(drafts, map(Path, paths), strict=True):
        descriptor = os.open(path.parent / MARKS_NAME, flags, 0o666)
        try:
            start = "\n" if os.fstat(descriptor).st_size else _HEADER
            os.write(descriptor, f"{start}{_line(draft.read_bytes(), path.name)}\n".encode())
        finally:
            os.close(descriptor)


def _is_answer(file: Path) -> bool:
    try:
        marks = (file.parent / MARKS_NAME).read_text(encoding="utf-8", errors="replace")
        return _line(file.read_bytes(), file.name) in marks.splitlines()
    except OSError:
        return False


def refuse_unasked(
    outputs: Iterable[str | os.PathLike[str]],
    inputs: Iterable[str | os.PathLike[str] | None] = (),
) -> None:
    """Refuse to write over anything but earlier answers.

    Parameters
    ----------
    outputs : iterable of path
        Files to be written.
    inputs : iterable of path or None
        Files that are read; never written over, answers or not.

    Raises
    ------
    BadInput
        With each output that is an input, or is there and is not as an earlier run wrote it.
    """
    read = [Path(path) for path in inputs if path is not None]
    faults = []
    for file in map(Path, outputs):
        try:
            if not os.path.lexists(file) or file.is_dir():
                continue  # writing tells what is wrong with a folder
            if any(other.exists() and file.exists() and file.samefile(other) for other in read):
                message = "is one of the tables that are read; write the answer elsewhere."
            elif _is_answer(file):
                continue
            else:
                message = (
                    f"is there already in {file.parent}, and is not as an earlier answer left it; "
                    "write elsewhere, or move it away first."
                )
        except (OSError, ValueError) as fault:
            message = f"cannot be looked at ({reason_of(OSError(fault))}); write elsewhere."
        faults.append(Fault(file.name, None, None, message))
    if faults:
        raise BadInput(faults)
