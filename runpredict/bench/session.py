"""What every page reaches for: the studio that is open, the pictures, and the reader's units."""

from __future__ import annotations

import shutil
import tempfile
import threading
from collections.abc import Collection
from dataclasses import replace
from pathlib import Path

from flask import Response, after_this_request, current_app, g, request
from werkzeug.exceptions import RequestEntityTooLarge

from runpredict.bench.memo import working
from runpredict.bench.pictures import Gallery
from runpredict.bench.studio import Pot, Snapshot, Studio
from runpredict.errors import refuse_file
from runpredict.logbook.forms import import_files
from runpredict.logbook.schema import FILE_NAME
from runpredict.tables.plan import PlanTables
from runpredict.units import LengthUnits
from runpredict.words.loads import LoadWords, loads_in_words
from runpredict.words.pots import FiringWords, in_firings, pots_in_words


class Session:
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
        Open the invented studio, whatever there is, and never the potter's own.
    """

    def __init__(
        self, folder: Path, samples: Path, tolerance: float, invented: bool = False
    ) -> None:
        self.folder, self._samples, self._tolerance = folder, samples, tolerance
        self.only_invented = invented
        self.gallery = Gallery()
        self.studio: Studio | None = None
        self._lock = threading.Lock()
        self._passing: Path | None = None
        self._opened: list[Studio] = []
        if invented:
            self.open_invented()
        elif (folder / FILE_NAME).exists():
            self.open_own()

    def open_own(self) -> None:
        """Open the potter's own logbook, an empty one where there is none.

        Raises
        ------
        BadInput : the pages were started on the invented studio alone.
        """
        if self.only_invented:
            refuse_file("The page", "was started with --demo; start it without for your logbook.")
        with self._lock:
            if self.studio is None or self.studio.invented:
                self._put(Studio(self.folder, self._tolerance))

    def open_invented(self) -> None:
        """Open a copy of the invented studio, which goes when the pages stop."""
        with self._lock:
            if self.studio is not None:
                return
            self._passing = Path(tempfile.mkdtemp(prefix="invented-studio-"))
            try:
                import_files(sorted(self._samples.glob("*.csv")), self._passing)
                self._put(Studio(self._passing, self._tolerance, invented=True))
            except BaseException:  # stopped at once, too: nobody closes a session that is not made
                shutil.rmtree(self._passing, ignore_errors=True)
                raise

    def planned(self, snapshot: Snapshot, only: str | None = None) -> dict[str, FiringWords]:
        """Every planned firing, or one, in the reader's units; what changed alone is judged."""
        studio, read_in = open_studio(), units()
        key = studio.key(snapshot, read_in)
        marks = {
            pot: mark
            for firing, pots in snapshot.firing_marks.items()
            if only in (None, firing)
            for pot, mark in pots
        }

        def changed() -> list[Pot]:
            return [pot for pot, mark in marks.items() if told.get(pot, ("", None))[0] != mark]

        told = studio.told.kept(key) or {}
        if changed():
            with working():
                told = studio.told.kept(key) or {}
                alike: dict[float, set[Pot]] = {}
                for pot in changed():
                    alike.setdefault(studio.tolerance_in(pot[1]), set()).add(pot)
                told = {pot: words for pot, words in told.items() if pot in snapshot.marks}
                for some in alike.values():
                    answer = studio.ask(_asking_about(some, snapshot))
                    for words in pots_in_words(answer, read_in):
                        pot = (words.piece, words.firing)
                        told[pot] = marks[pot], words
                studio.told.put(key, told)
        firings = in_firings([told[pot][1] for pot in marks], {})
        return {firing.firing: firing for firing in firings}

    def load(self, snapshot: Snapshot, firing: str) -> LoadWords:
        """What a planned firing needs as a whole, at other heats too: as long as judging it."""
        studio, pots = open_studio(), snapshot.firing_marks.get(firing, ())

        def work() -> LoadWords:
            answer = studio.ask(_asking_about({pot for pot, _ in pots}, snapshot))
            return loads_in_words(answer).get(firing, LoadWords())

        if not pots:
            return LoadWords()
        found: LoadWords = studio.memo.get(studio.key(snapshot, "load", firing, pots), work)
        return found

    def _put(self, studio: Studio) -> None:
        # The one before stays open until the end: a request may still be at it.
        self._opened.append(studio)
        self.studio = studio

    def close(self) -> None:
        """Close every logbook, draw nothing more, and take the invented studio away."""
        self.gallery.close()
        for studio in self._opened:
            studio.close()
        if self._passing is not None:
            shutil.rmtree(self._passing, ignore_errors=True)


def _asking_about(pots: Collection[Pot], snapshot: Snapshot) -> PlanTables:
    plan = snapshot.tables.plan
    named = zip(plan["piece"], plan["firing"], strict=True)
    rows = plan.loc[[pot in pots for pot in named]].reset_index(drop=True)
    return replace(snapshot.tables, plan=rows)


def session() -> Session:
    """The session of the application that is running."""
    found: Session = current_app.extensions["session"]
    return found


def open_studio() -> Studio:
    """The studio that is open; pages that need one are not reached without."""
    studio = session().studio
    assert studio is not None
    return studio


def units() -> LengthUnits:
    """Units of this page: those of the form that was sent, else those the device reads in."""
    if "units" not in g:
        try:
            sent = request.form.get("units")
        except RequestEntityTooLarge:  # then a page that says so is all there is to show
            sent = None
        g.units = _units(sent or request.cookies.get("units"))
    chosen: LengthUnits = g.units
    return chosen


def switch_units() -> tuple[LengthUnits, LengthUnits] | None:
    """The units of the form that was sent, and those that its button changes them to.

    None where that was another button. The page is then in the new ones, and the device keeps
    them.
    """
    kind, _, chosen = request.form.get("do", "").partition("-")
    if kind != "units":
        return None
    was = units()
    remember_units(chosen)
    return was, units()


def remember_units(chosen: str) -> None:
    """Show this page in other units, and have the device keep them."""
    g.units = _units(chosen)

    @after_this_request
    def keep(answer: Response) -> Response:
        answer.set_cookie("units", units(), max_age=10**8, httponly=True, samesite="Lax", path="/")
        return answer


def _units(text: str | None) -> LengthUnits:
    return "in" if text == "in" else "mm"


def named_pot() -> Pot:
    """The pot that an address names."""
    return request.args.get("piece", "")[:300], request.args.get("firing", "")[:300]
