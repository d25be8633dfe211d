"""Files read and written whole, every failure in one sentence."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from errno import EISDIR
from pathlib import Path
from typing import NoReturn

from runpredict.errors import BadInput, Fault

__all__ = ["read_bytes", "reason_of", "refuse_file", "replace_file", "temporary_for"]


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
        If it is not there or cannot be read.
    """
    try:
        return path.read_bytes()
    except FileNotFoundError:
        refuse_file(path.name, f"there is no such file in {path.parent}; check the name.")
    except OSError as fault:
        refuse_file(path.name, f"cannot be read ({reason_of(fault)}); give a file you may read.")


def temporary_for(file: Path) -> Path:
    """Hidden name beside a file, this process's own, to write to before the file gets its name."""
    return file.with_name(f".{file.name}.{os.getpid()}.tmp")


@contextmanager
def replace_file(path: str | os.PathLike[str]) -> Iterator[Path]:
    """Write a file whole or not at all.

    Parameters
    ----------
    path : path
        File to make or to replace; its folder is made when missing.

    Yields
    ------
    Path
        A temporary name beside it to write to, renamed when the block ends well.

    Raises
    ------
    BadInput
        If the folder or the file cannot be written; what stood there is unchanged.
    """
    file = Path(path)
    temporary = temporary_for(file)
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        if file.is_dir():
            raise IsADirectoryError(EISDIR, os.strerror(EISDIR), str(file))
        yield temporary
        os.replace(temporary, file)
    except OSError as fault:
        refuse_file(file.name, f"cannot be written ({reason_of(fault)}); nothing was changed.")
    finally:
        with suppress(OSError):  # a read-only disk refuses even to unlink what is not there
            temporary.unlink(missing_ok=True)
