"""What every page reaches for: the studio that is open, the pictures, and the reader's units."""

from __future__ import annotations

import shutil
import tempfile
import threading
from functools import partial
from pathlib import Path

from flask import current_app, request

from runpredict.answers.check import Answer
from runpredict.bench.memo import Memo
from runpredict.bench.pictures import Gallery
from runpredict.bench.shown import PotShown, pots_shown
from runpredict.bench.studio import Pot, Studio
from runpredict.logbook.book import FILE_NAME, import_files
from runpredict.units import LengthUnits

MOST_SHOWN = 200


class Desk:
    """The studio that the pages are open on; none until there is a logbook.

    Parameters
    ----------
    folder : Path
        Of the potter's own logbook, whether it is there or not.
    samples : Path
        The tables of the invented studio.
    tolerance : float
        Chance of running past the foot that is tolerated.
    invented : bool
        Open the invented studio, whatever there is.
    """

    def __init__(
        self, folder: Path, samples: Path, tolerance: float, invented: bool = False
    ) -> None:
        self.folder, self._samples, self._tolerance = folder, samples, tolerance
        self.gallery = Gallery()
        self._shown: Memo[list[PotShown]] = Memo(MOST_SHOWN)
        self.studio: Studio | None = None
        self._lock = threading.Lock()
        self._passing: Path | None = None
        self._opened: list[Studio] = []
        if invented:
            self.open_invented()
        elif (folder / FILE_NAME).exists():
            self.open_own()

    def open_own(self) -> None:
        """Open the potter's own logbook, an empty one where there is none."""
        with self._lock:
            if self.studio is None or self.studio.invented:
                self._put(Studio(self.folder, self._tolerance))

    def open_invented(self) -> None:
        """Open a copy of the invented studio, which goes when the pages stop."""
        with self._lock:
            if self.studio is not None:
                return
            self._passing = Path(tempfile.mkdtemp(prefix="invented-studio-"))
            import_files(sorted(self._samples.glob("*.csv")), self._passing)
            self._put(Studio(self._passing, self._tolerance, invented=True))

    def shown(self, answer: Answer) -> list[PotShown]:
        """Every pot of an answer in words, in the reader's units."""
        read_in = units()
        work = partial(pots_shown, answer, read_in, self.gallery)
        return self._shown.get((id(answer), read_in), work, of=answer)

    def _put(self, studio: Studio) -> None:
        # The one before stays open until the end: a request may still be at it.
        self._opened.append(studio)
        self.studio = studio

    def close(self) -> None:
        """Close every logbook, and take the invented studio away."""
        for studio in self._opened:
            studio.close()
        if self._passing is not None:
            shutil.rmtree(self._passing, ignore_errors=True)


def desk() -> Desk:
    """The desk of the application that is running."""
    found: Desk = current_app.extensions["desk"]
    return found


def open_studio() -> Studio:
    """The studio that is open; pages that need one are not reached without."""
    studio = desk().studio
    assert studio is not None
    return studio


def units() -> LengthUnits:
    """Units this device reads in."""
    return "in" if request.cookies.get("units") == "in" else "mm"


def named_pot() -> Pot:
    """The pot that an address names."""
    return request.args.get("piece", "")[:300], request.args.get("firing", "")[:300]
