"""Files read and written whole, none of hers written over unasked, each failure in one sentence."""

from __future__ import annotations

import os
import secrets
import time
from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from errno import EISDIR
from pathlib import Path

from runpredict.errors import Fault, raise_faults, refuse_file, refuse_other

MAX_FILE_BYTES = 256 * 2**20
"""No table of a studio is larger, and what is made of a larger one may not fit into memory."""
_DRAFT = ".runpredict-{}.part"
_LEFT_AFTER_S = 24 * 3600.0
"""A draft so old is of a run that was killed; no write takes as long."""


def as_path(path: str | os.PathLike[str], name: str = "the file") -> Path:
    """A path given in any way.

    Raises
    ------
    BadInput : if it is none, or one that no file can have.
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

    Raises
    ------
    BadInput : if it is not there, cannot be read, or is larger than `MAX_FILE_BYTES`.
    """
    name = path.name or str(path)
    try:
        if path.is_fifo():  # which is waited for until somebody writes to it
            raise OSError(0, "a pipe, not a file")
        with path.open("rb") as file:
            content = file.read(MAX_FILE_BYTES + 1)
    except FileNotFoundError:
        refuse_file(name, f"there is no such file in {path.parent}; check the name.")
    except (OSError, ValueError) as fault:  # ValueError: a name that holds a null
        reason = reason_of(fault) if isinstance(fault, OSError) else str(fault)
        refuse_file(name, f"cannot be read ({reason}); give a file you may read.")
    if len(content) > MAX_FILE_BYTES:
        refuse_file(
            name,
            f"is larger than {MAX_FILE_BYTES // 2**20} MB, too much for one table; split it.",
        )
    return content


def draft_in(folder: Path, private: bool = False) -> Path:
    """An empty file in a folder, under a hidden name that no other can have made, nor a link.

    With `private` no other user of the machine may read it. Drafts that a killed run left there
    long ago are taken away.

    Raises
    ------
    OSError
    """
    for left in folder.glob(_DRAFT.format("*")):
        with suppress(OSError):
            if time.time() - left.lstat().st_mtime > _LEFT_AFTER_S:
                left.unlink()
    file = folder / _DRAFT.format(secrets.token_hex(8))
    flags = os.O_CREAT | os.O_EXCL | os.O_WRONLY | getattr(os, "O_NOFOLLOW", 0)
    os.close(os.open(file, flags, 0o600 if private else 0o666))
    return file


@contextmanager
def replace_files(
    paths: Sequence[str | os.PathLike[str]], *, private: bool = False
) -> Iterator[list[Path]]:
    """Write some files, each whole or not at all.

    Parameters
    ----------
    paths : sequence of path
        Files to make or to replace; their folders are made when missing.
    private : bool
        No other user of the machine may read them, nor a folder that is made.

    Yields
    ------
    list of Path
        A draft beside each to write to; all get their names when the block ends well.

    Raises
    ------
    BadInput : if a folder or a file cannot be written.
    """
    files = [as_path(path) for path in paths]
    named: list[str] = []
    with ExitStack() as cleanup:
        at = files[0] if files else Path()
        try:
            drafts = []
            for at in files:
                at.parent.mkdir(0o700 if private else 0o777, parents=True, exist_ok=True)
                if at.is_dir():
                    raise IsADirectoryError(EISDIR, os.strerror(EISDIR), str(at))
                drafts.append(draft_in(at.parent, private))
                cleanup.callback(_discard, drafts[-1])
            yield drafts
            for draft, at in zip(drafts, files, strict=True):
                with draft.open("r+b") as written:
                    os.fsync(written.fileno())  # or a power cut leaves the name and no content
                os.replace(draft, at)
                named.append(at.name)
        except OSError as fault:
            done = f"{', '.join(named)} stands already" if named else "nothing was changed"
            refuse_file(at.name, f"cannot be written ({reason_of(fault)}); {done}.")


def _discard(draft: Path) -> None:
    with suppress(OSError):  # a folder that refuses keeps it
        draft.unlink(missing_ok=True)


@contextmanager
def replace_file(path: str | os.PathLike[str], *, private: bool = False) -> Iterator[Path]:
    """Write a file whole or not at all; as `replace_files`.

    Yields
    ------
    Path
        A hidden name beside it to write to.
    """
    with replace_files([path], private=private) as (draft,):
        yield draft


def refuse_unasked(
    files: Iterable[str | os.PathLike[str]],
    folder: str | os.PathLike[str] | None = None,
    *,
    inputs: Iterable[str | os.PathLike[str] | None] = (),
    replace: bool = False,
) -> None:
    """Refuse to write over what is there.

    Parameters
    ----------
    files : iterable of path
        To be written.
    folder : path, optional
        Of those that belong together, which is to be new or empty.
    inputs : iterable of path or None
        Files that are read; never written over.
    replace : bool
        What is there and is not read may be written over.

    Raises
    ------
    BadInput : with each file that is in the way.
    """
    read = [Path(path) for path in inputs if path is not None]
    own = None if folder is None else Path(folder)
    faults = []
    try:
        if own is not None and not replace and _is_filled(own):
            message = "is not empty; give a folder of its own, or --replace to write over it."
            faults.append(Fault(str(own), None, None, message))
        for file in map(Path, files):
            if any(other.exists() and file.exists() and file.samefile(other) for other in read):
                message = "is one of the tables that are read; write the answer elsewhere."
            elif replace or file.parent == own or not os.path.lexists(file) or file.is_dir():
                continue  # writing tells what is wrong with a folder
            else:
                message = "is there already; write elsewhere, or give --replace to write over it."
            faults.append(Fault(file.name, None, None, message))
    except (OSError, ValueError) as fault:
        refuse_file(str(own or "out"), f"cannot be looked at ({fault}); write elsewhere.")
    raise_faults(faults)


def _is_filled(folder: Path) -> bool:
    """Whether a folder holds anything but hidden files."""
    return folder.is_dir() and any(not file.name.startswith(".") for file in folder.iterdir())
