"""Files on their way to their names, and what a run that was killed left of them.

Every name in use carries the machine and the process it belongs to, so that the next run knows
what nobody will finish.
"""

from __future__ import annotations

import json
import os
import platform
import re
import secrets
import time
import zlib
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import Literal

Purpose = Literal["new", "old", "undo"]

_NAME = re.compile(r"\.runpredict-([0-9a-f]{8})-(\d+)-[0-9a-f]{16}\.(new|old|undo)")
_MACHINE = f"{zlib.crc32(platform.node().encode()):08x}"
_LEFT_AFTER_S = 24 * 3600.0
"""A name of another machine is left over after a day; no write takes as long."""
_mine: set[str] = set()


def _hidden(folder: Path, purpose: Purpose) -> Path:
    """A name nobody can guess, this process's own."""
    name = f".runpredict-{_MACHINE}-{os.getpid()}-{secrets.token_hex(8)}.{purpose}"
    _mine.add(name)
    return folder / name


def create_hidden(folder: Path, purpose: Purpose = "new") -> Path:
    """Make an empty file in a folder that no other can have made, nor a link stand for.

    Raises
    ------
    OSError
    """
    file = _hidden(folder, purpose)
    flags = os.O_CREAT | os.O_EXCL | os.O_WRONLY | getattr(os, "O_NOFOLLOW", 0)
    os.close(os.open(file, flags, 0o666))
    return file


def keep_old(file: Path) -> Path | None:
    """A second name for what a file holds, until its new content stands; None if there is none.

    Raises
    ------
    OSError
    """
    old = _hidden(file.parent, "old")
    try:
        os.link(file, old, follow_symlinks=False)
    except FileNotFoundError:
        return None
    except (OSError, NotImplementedError):  # some sticks and cards know no hard links
        old = create_hidden(file.parent, "old")
        old.write_bytes(file.read_bytes())
    return old


def write_undo(folder: Path, kept: Sequence[tuple[Path, Path | None]]) -> Path:
    """Note in a folder what stood there, for `undo`; whole or not at all.

    Raises
    ------
    OSError
    """
    draft = create_hidden(folder)
    note = [[file.name, old and old.name] for file, old in kept]
    draft.write_text(json.dumps(note), encoding="utf-8")
    final = _hidden(folder, "undo")
    os.replace(draft, final)
    return final


def undo(note: Path) -> None:
    """Put back what stood in a folder before some files were replaced.

    Raises
    ------
    OSError
    """
    for name, old in json.loads(note.read_text(encoding="utf-8")):
        if os.path.basename(name) != name or (old and not _NAME.fullmatch(old)):
            continue  # not as we write them
        if old is None:
            (note.parent / name).unlink(missing_ok=True)
        else:
            with suppress(FileNotFoundError):
                os.replace(note.parent / old, note.parent / name)
    discard(note)


def discard(*files: Path | None) -> None:
    """Take hidden files away; a folder that refuses keeps them."""
    for file in filter(None, files):
        with suppress(OSError):
            file.unlink(missing_ok=True)
        _mine.discard(file.name)


def _is_left(entry: os.DirEntry[str]) -> bool:
    """Whether nobody is at work on a hidden file, and it is ours."""
    match = _NAME.fullmatch(entry.name)
    if match is None or entry.name in _mine or not entry.is_file(follow_symlinks=False):
        return False
    made = entry.stat(follow_symlinks=False)
    if hasattr(os, "geteuid") and made.st_uid != os.geteuid():
        return False
    if match[1] != _MACHINE or os.name != "posix":
        return time.time() - made.st_mtime > _LEFT_AFTER_S
    return int(match[2]) == os.getpid() or not _runs(int(match[2]))


def _runs(process: int) -> bool:
    try:
        os.kill(process, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except OSError:
        return True
    return True


def clear_leftovers(folder: Path) -> None:
    """Undo in a folder what a killed run had half done, and take its hidden files away."""
    with suppress(OSError):
        with os.scandir(folder) as entries:
            left = [Path(entry.path) for entry in entries if _is_left(entry)]
        for note in (file for file in left if file.suffix == ".undo"):
            claimed = _hidden(folder, "undo")
            with suppress(OSError, ValueError, TypeError):  # another run was first; or no note
                os.rename(note, claimed)
                undo(claimed)
        discard(*left)
