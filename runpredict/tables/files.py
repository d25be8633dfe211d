"""Files read and written whole, every failure in one sentence."""

from __future__ import annotations

import os
import threading
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from errno import EISDIR
from itertools import groupby
from pathlib import Path
from typing import NoReturn

from runpredict.errors import BadInput, Fault
from runpredict.tables.unfinished import (
    clear_leftovers,
    create_hidden,
    discard,
    keep_old,
    undo,
    write_undo,
)

MAX_FILE_BYTES = 256 * 2**20
"""No table of a studio is larger, and what is made of a larger one may not fit into memory."""

_one_set = threading.Lock()


def refuse_file(name: str, message: str, row: int | None = None) -> NoReturn:
    """Raise `BadInput` for a file as a whole, or for a row that could not be split into cells.

    Parameters
    ----------
    name : str
        What the fault calls the file.
    message : str
        What is wrong and what would be right.
    row : int, optional
        As a spreadsheet counts.

    Raises
    ------
    BadInput
        Always.
    """
    raise BadInput([Fault(name, row, None, message)])


def refuse_other(value: object, kind: type | tuple[type, ...], name: str, right: str) -> None:
    """Refuse what a caller from Python gave that is of another kind.

    Parameters
    ----------
    value : object
        What was given.
    kind : type or tuple of type
        What it should be.
    name : str
        Of the parameter.
    right : str
        What it should be, in words.

    Raises
    ------
    BadInput
    """
    if not isinstance(value, kind):
        given = f"a {type(value).__name__}".replace("a NoneType", "None")
        refuse_file(name, f"is given as {given}; give {right}.")


def as_path(path: str | os.PathLike[str], name: str = "the file") -> Path:
    """A path given in any way.

    Raises
    ------
    BadInput
        If it is none, or one that no file can have.
    """
    refuse_other(path, (str, os.PathLike), name, "a path")
    if "\0" in os.fspath(path):
        refuse_file(name, "has a path with a null in it; give a path that a file can have.")
    return Path(path)


def reason_of(fault: OSError) -> str:
    """Why the system refused, in its own words."""
    return (fault.strerror or type(fault).__name__).lower()


def read_bytes(path: Path) -> bytes:
    """Content of a file.

    Parameters
    ----------
    path : Path

    Returns
    -------
    bytes

    Raises
    ------
    BadInput
        If it is not there, cannot be read, or is larger than `MAX_FILE_BYTES`.
    """
    clear_leftovers(path.parent)
    try:
        with path.open("rb") as file:
            content = file.read(MAX_FILE_BYTES + 1)
    except FileNotFoundError:
        refuse_file(path.name, f"there is no such file in {path.parent}; check the name.")
    except (OSError, ValueError) as fault:  # ValueError: a name that holds a null
        reason = reason_of(fault) if isinstance(fault, OSError) else str(fault)
        refuse_file(path.name, f"cannot be read ({reason}); give a file you may read.")
    if len(content) > MAX_FILE_BYTES:
        refuse_file(
            path.name,
            f"is larger than {MAX_FILE_BYTES // 2**20} MB, too much for one table; split it.",
        )
    return content


@contextmanager
def replace_files(paths: Sequence[str | os.PathLike[str]]) -> Iterator[list[Path]]:
    """Write some files: all of them whole, or none.

    Parameters
    ----------
    paths : sequence of path
        Files to make or to replace; their folders are made when missing.

    Yields
    ------
    list of Path
        A hidden name beside each to write to; all get their names when the block ends well. A run
        that is killed in between leaves a note by which the next one puts back what stood.

    Raises
    ------
    BadInput
        If a folder or a file cannot be written; what stood there is unchanged.
    """
    files = [as_path(path) for path in paths]
    with ExitStack() as cleanup:
        at = files[0] if files else Path()
        try:
            drafts = []
            for at in files:
                at.parent.mkdir(parents=True, exist_ok=True)
                clear_leftovers(at.parent)
                if at.is_dir():
                    raise IsADirectoryError(EISDIR, os.strerror(EISDIR), str(at))
                drafts.append(create_hidden(at.parent))
                cleanup.callback(discard, drafts[-1])
            yield drafts
            _give_names(list(zip(drafts, files, strict=True)))
        except OSError as fault:
            refuse_file(at.name, f"cannot be written ({reason_of(fault)}); nothing was changed.")


def _give_names(drafts: Sequence[tuple[Path, Path]]) -> None:
    """All of some drafts in place of what stands under their names, or none of them."""
    if len(drafts) == 1:
        os.replace(*drafts[0])
        return
    notes: list[Path] = []
    kept: list[tuple[Path, Path | None]] = []
    with _one_set:
        try:
            for folder, files in groupby((file for _, file in drafts), lambda file: file.parent):
                mine = [(file, keep_old(file)) for file in files]
                kept += mine
                notes.append(write_undo(folder, mine))
            for draft, file in drafts:
                os.replace(draft, file)
        except BaseException:
            for note in notes:
                undo(note)
            raise
        else:
            discard(*notes)
        finally:
            discard(*(old for _, old in kept))


@contextmanager
def replace_file(path: str | os.PathLike[str]) -> Iterator[Path]:
    """Write a file whole or not at all; as `replace_files`.

    Yields
    ------
    Path
        A hidden name beside it to write to.
    """
    with replace_files([path]) as (draft,):
        yield draft
