"""Photos of pots, in a folder beside the logbook: made small, and without where they were taken."""

from __future__ import annotations

import hashlib
import io
import re
import threading
import warnings
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from runpredict.errors import BadInput, Fault, refuse_file
from runpredict.tables.files import read_bytes, replace_file

if TYPE_CHECKING:
    from PIL import Image

FOLDER = "photos"
MOST_BYTES = 16 * 2**20
"""Of a photo as it comes: a phone's is 2 to 8 MB."""
MOST_PIXELS = 64_000_000
"""Bounds the memory that one takes while it is made small, to some 200 MB."""
LONGEST_PX = 2000
QUALITY = 85
FORMATS = ("JPEG", "PNG", "WEBP")
_EXIF, _FILM_MM = 0x8769, 0xA405  # Exif 2.3: its own list, and FocalLengthIn35mmFilm in it
_SAFE = re.compile(r"[^/\\\0-\x1f]{1,150}")
_ONE_AT_A_TIME = threading.Lock()


@dataclass(frozen=True)
class Photo:
    """What is known of a photo that is kept: its size, and its focal length as on film, if told."""

    width_px: int
    height_px: int
    film_mm: float | None


def made_small(content: bytes, name: str) -> bytes:
    """A photo as it is kept: JPEG, at most `LONGEST_PX` long, of its notes the focal length alone.

    Parameters
    ----------
    content : bytes
        As a phone wrote it.
    name : str
        To blame.

    Raises
    ------
    BadInput : if it is no photo, damaged, or larger than allowed.
    """
    from PIL import Image, ImageOps  # noqa: PLC0415 - for photos only

    if len(content) > MOST_BYTES:
        refuse_file(name, f"is larger than {MOST_BYTES // 2**20} MB; take it smaller.")
    try:
        with _ONE_AT_A_TIME, warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of its notes, which are not kept
            image = Image.open(io.BytesIO(content), formats=FORMATS)
            if image.width * image.height > MOST_PIXELS:
                _refuse_large(name)
            film_mm = _film_mm(image)
            image.draft("RGB", (LONGEST_PX, LONGEST_PX))  # a JPEG is read smaller where it can be
            upright = ImageOps.exif_transpose(image).convert("RGB")
            upright.thumbnail((LONGEST_PX, LONGEST_PX))
            notes = Image.Exif()
            if film_mm is not None:
                notes.get_ifd(_EXIF)[_FILM_MM] = round(film_mm)
            small = io.BytesIO()
            upright.save(small, "JPEG", quality=QUALITY, exif=notes)
    except BadInput:
        raise
    except Image.DecompressionBombError:
        _refuse_large(name)
    except Exception:  # whatever a damaged file makes a reader of it raise
        refuse_file(name, "cannot be read as a photo; give a whole JPEG, PNG or WebP.")
    return small.getvalue()


def _refuse_large(name: str) -> NoReturn:
    refuse_file(name, f"has more than {MOST_PIXELS // 10**6} million pixels; take it smaller.")


def _film_mm(image: Image.Image) -> float | None:
    told = image.getexif().get_ifd(_EXIF).get(_FILM_MM)
    return float(told) if isinstance(told, int) and 8 <= told <= 1000 else None


def keep_photo(folder: Path, piece: str, content: bytes, name: str) -> str:
    """Keep a photo beside the logbook of a folder, under a name that no other photo has.

    Returns
    -------
    str
        That name, for the column ``photo``.

    Raises
    ------
    BadInput : as `made_small`, or if it cannot be written.
    """
    small = made_small(content, name)
    words = re.sub(r"[^a-z0-9]+", "-", piece.casefold()).strip("-")[:40] or "pot"
    kept = f"{words}-{_digest(small)}.jpg"
    _write(folder / FOLDER / kept, small)
    return kept


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()[:12]


def _write(file: Path, content: bytes) -> None:
    with replace_file(file, private=True) as draft:
        draft.write_bytes(content)


def photo_file(folder: Path, name: str) -> Path | None:
    """Where a photo of a logbook is; None where there is none, or the name leads elsewhere."""
    if not _SAFE.fullmatch(name) or name.startswith("."):
        return None
    file = folder / FOLDER / name
    return file if file.is_file() and not file.is_symlink() else None


def photos_of(folder: Path, names: Iterable[str]) -> list[Path]:
    """Photos of a logbook that are there, each once."""
    found = (photo_file(folder, name) for name in dict.fromkeys(names))
    return [file for file in found if file is not None]


def look_at(file: Path) -> Photo:
    """What is known of a photo that is kept.

    Raises
    ------
    BadInput : if it is no photo any more.
    """
    from PIL import Image  # noqa: PLC0415 - for photos only

    try:
        with Image.open(file, formats=FORMATS) as image:
            return Photo(image.width, image.height, _film_mm(image))
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        refuse_file(file.name, "cannot be read as a photo any more; take another.")


def take_along(names: Iterable[str], tables: Iterable[Path], folder: Path) -> list[Fault]:
    """Keep the photos that stand beside some tables, as an export leaves them, or next to them.

    Parameters
    ----------
    names : iterable of str
        As in the column ``photo``.
    tables : iterable of Path
        Folders of the tables.
    folder : Path
        Of the logbook.

    Returns
    -------
    list of Fault
        Why a photo was not taken along.
    """
    places = [place for table in tables for place in (table / FOLDER, table)]
    faults: list[Fault] = []
    for name in dict.fromkeys(names):
        if not _SAFE.fullmatch(name) or name.startswith(".") or photo_file(folder, name):
            continue
        found = next((place / name for place in places if (place / name).is_file()), None)
        if found is None:
            continue
        try:
            content = read_bytes(found)
            ours = name.endswith(f"-{_digest(content)}.jpg")
            _write(folder / FOLDER / name, content if ours else made_small(content, name))
        except BadInput as bad:
            faults += bad.faults
    return faults
