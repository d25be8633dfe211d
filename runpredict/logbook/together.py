"""Changes that many pots share, each one entry: a firing as a whole, pots that move to another."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from runpredict.errors import BadInput, Fault, raise_faults, refuse_file
from runpredict.logbook.overtaken import Overtaken, refuse_fired, refuse_overtaken, refuse_taken
from runpredict.logbook.reading import ReadLogbook
from runpredict.logbook.results import Outcome, with_outcome
from runpredict.logbook.rows import (
    Change,
    Key,
    Row,
    Stored,
    cells_typed,
    faults_together,
    frame_of,
    key_of,
)
from runpredict.logbook.schema import transaction
from runpredict.logbook.store import add_rows, newest_rows
from runpredict.tables.columns import TableKind
from runpredict.tables.firings import (
    firing_key,
    firing_words,
    keyed_firings,
    named_firing,
    shared_cells,
)
from runpredict.tables.names import match_name

CHANGED_SINCE = "was changed by somebody else since you opened it; look at it as it is now."


class TogetherLogbook(ReadLogbook):
    """What is written of several pots at once, all of it or nothing."""

    def change_firing(self, firing: str, cells: Mapping[str, str], was: Mapping[str, str]) -> str:
        """Change what all pots of a firing share, of those that were fired too.

        Parameters
        ----------
        firing : str
            Its key, as `firings.firing_key`.
        cells : mapping of str
            What to write, as typed: of ``firing`` and `firings.SHARED`; the rest stays.
        was : mapping of str
            What stood there when she looked, by the same names.

        Returns
        -------
        str
            Its key now.

        Raises
        ------
        BadInput : A cell that cannot be read, no such firing, or a name that another one has.
        Overtaken : if it said something else by now.
        """
        typed, before = cells_typed("layers", cells), cells_typed("layers", was)
        with self._telling(), transaction(self._connection):
            stored = newest_rows(self._connection, "layers")
            standing = {key: old for key, old in stored.items() if not old.retired}
            mine = {key: old for key, old in standing.items() if key[1] == firing}
            if not mine:
                refuse_file(firing_words(firing), "has no pot any more.")
            frame = frame_of("layers", [old.row for old in mine.values()], [])
            now = shared_cells(frame)
            if any(now[name] != before[name] != typed[name] != now[name] for name in typed):
                raise Overtaken(Fault(firing_words(firing), None, None, CHANGED_SINCE), frame)
            to = firing_key(*(str(typed.get(name, now[name])) for name in ("firing", "fired_on")))
            others = {key[1].strip() for key in standing if key[1] != firing}
            if to != firing and match_name(to.strip(), others):
                message = "is another firing already; move the pots into that one instead."
                raise BadInput([Fault(firing_words(to), None, "firing", message)])
            changes: dict[TableKind, list[Change]] = {
                "layers": moved("layers", stored, mine, typed)
            }
            if "firing" in typed:
                planned = newest_rows(self._connection, "schedules")
                its = {k: old for k, old in planned.items() if k[0] == firing and not old.retired}
                name = {"firing": typed["firing"]}
                changes["schedules"] = moved("schedules", planned, its, name)
            self._add_together(changes, {"layers": stored}, f"firing {firing_words(to)}")
        return to

    def move_pieces(self, marks: Mapping[Key, str], to: str) -> str:
        """Move planned pots to another firing, whose heat, kiln and day they take.

        In their own firing they take what most of its pots say.

        Parameters
        ----------
        marks : mapping of str by (piece, firing)
            As `marked` told them when she looked.
        to : str
            The firing's name or date; a new name makes a new one of the same heat, blank takes
            them out of any.

        Returns
        -------
        str
            Key of that firing.

        Raises
        ------
        BadInput : A pot that has been fired, or a name that cannot be kept.
        Overtaken : if a pot was written to since it had its mark.
        Taken : if that firing has a pot of this name already.
        """
        with self._telling(), transaction(self._connection):
            stored = newest_rows(self._connection, "layers")
            for pot, mark in marks.items():
                refuse_overtaken("layers", stored, [pot], mark)
            refuse_fired(stored, marks)
            cells = self._cells_there(stored, to)
            mine = {k: old for k, old in stored.items() if k[:2] in marks and not old.retired}
            changes = moved("layers", stored, mine, cells)
            refuse_taken(stored, {c.key[:2] for c in changes if not c.retired} - marks.keys())
            key = firing_key(cells["firing"], cells["fired_on"])
            self._add_together(
                {"layers": changes}, {"layers": stored}, f"to firing {firing_words(key)}"
            )
        return key

    def rename_glaze(self, glaze: str, name: str, mark: str) -> str:
        """Give a glaze another name; its recipe and all its pots, fired ones too, follow.

        Parameters
        ----------
        glaze, name : str
            As it is logged, and as it is to be called.
        mark : str
            Of the glaze when it was read.

        Returns
        -------
        str
            Its name now.

        Raises
        ------
        BadInput : A name that cannot be kept, or that another glaze has.
        Overtaken : if the glaze was written to since.
        """
        cells = cells_typed("glazes", {"glaze": name})
        if not cells["glaze"]:
            raise BadInput([Fault(glaze, None, "glaze", "give a glaze's name.")])
        with self._telling(), transaction(self._connection):
            kinds: tuple[TableKind, ...] = ("glazes", "recipes", "layers")
            stored = {kind: newest_rows(self._connection, kind) for kind in kinds}
            refuse_overtaken("glazes", stored["glazes"], [(glaze,)], mark)
            others = {k[0] for k, old in stored["glazes"].items() if not old.retired} - {glaze}
            if match_name(cells["glaze"], others):
                message = "is another glaze already; give another name."
                raise BadInput([Fault(name[:40], None, "glaze", message)])
            changes = {
                kind: moved(
                    kind,
                    rows,
                    {
                        key: old
                        for key, old in rows.items()
                        if not old.retired and old.row.cells["glaze"] == glaze
                    },
                    cells,
                )
                for kind, rows in stored.items()
            }
            self._add_together(changes, stored, f"glaze {glaze}")
        return str(cells["glaze"])

    def rename_batch(self, glaze: str, batch: str, name: str) -> str:
        """Give a batch of a glaze another name, or that of another batch that it was all along.

        Parameters
        ----------
        glaze, batch, name : str
            As they are logged, and as the batch is to be called.

        Returns
        -------
        str
            Its name now; all its pots, fired ones too, follow.

        Raises
        ------
        BadInput : A name that cannot be kept, or a batch that no pot has.
        """
        cells = cells_typed("layers", {"batch": name})
        if not cells["batch"]:
            raise BadInput([Fault(batch, None, "batch", "give the batch a name.")])
        with self._telling(), transaction(self._connection):
            stored = newest_rows(self._connection, "layers")
            hers = {
                key: old
                for key, old in stored.items()
                if not old.retired and old.row.cells["glaze"] == glaze
            }
            mine = {key: old for key, old in hers.items() if old.row.cells["batch"] == batch}
            # What is sent again has its new name already.
            known = {old.row.cells["batch"] for old in hers.values()} & {batch, cells["batch"]}
            if not (batch and known):
                message = f"is no batch of {glaze} that a pot has; look at its list again."
                refuse_file(batch or "A blank", message)
            changes: dict[TableKind, list[Change]] = {
                "layers": moved("layers", stored, mine, cells)
            }
            self._add_together(changes, {"layers": stored}, f"batch {batch} of {glaze}")
        return str(cells["batch"])

    def take_back_fine(self, asked: pd.DataFrame) -> pd.DataFrame:
        """Take back in one step that layers did not pass the foot, where nothing else is told.

        Parameters
        ----------
        asked : DataFrame
            Rows of `layers`. What says something else by now stays as it is.

        Returns
        -------
        DataFrame
            The layers written.
        """
        named = (asked["piece"], keyed_firings(asked), asked["side"], asked["layer"])
        with self._telling(), transaction(self._connection):
            stored = newest_rows(self._connection, "layers")
            standing = {key: stored[key] for key in zip(*named, strict=True) if key in stored}
            changes = [
                Change(key, with_outcome(old.row, Outcome(key[3], past_foot="")), old.revision + 1)
                for key, old in standing.items()
                if not old.retired
                and old.row.cells["past_foot"] == "no"
                and old.row.cells["run_mm"] is None
            ]
            self._add_together({"layers": changes}, {"layers": stored}, "not all the rest: fine")
        return frame_of("layers", [change.row for change in changes], [])

    def _cells_there(self, stored: Mapping[Key, Stored], to: str) -> dict[str, Any]:
        """What a pot says of its firing once it is in that one."""
        rows = [(key[1], old.row) for key, old in stored.items() if not old.retired]
        meant = named_firing(dict.fromkeys(key for key, _ in rows), to)
        there = [row for key, row in rows if key.strip() == meant] if meant else []
        if there:
            return shared_cells(frame_of("layers", there, []))
        cells = cells_typed("layers", {"firing": meant, "fired_on": ""})
        schedules = newest_rows(self._connection, "schedules")
        typed = {key[0] for key, old in schedules.items() if not old.retired}
        scheduled = match_name(meant, typed) if meant else None
        if scheduled:
            blank = cells_typed("layers", dict.fromkeys(("cone", "hold_min", "ramp_c_per_h"), ""))
            return {**cells, **blank, "firing": scheduled}
        return cells

    def _add_together(
        self,
        changes: Mapping[TableKind, list[Change]],
        stored: Mapping[TableKind, Mapping[Key, Stored]],
        origin: str,
    ) -> None:
        for kind, standing in stored.items():
            raise_faults(faults_together(kind, changes[kind], standing, {}))
        add_rows(self._connection, self.file, changes, {}, "record", origin)


def moved(
    kind: TableKind,
    stored: Mapping[Key, Stored],
    mine: Mapping[Key, Stored],
    cells: Mapping[str, Any],
) -> list[Change]:
    """What has to be written so that some rows say this, under the key that they then have."""
    changes = []
    for key, old in mine.items():
        row = Row(old.row.cells | dict(cells), old.row.extra)
        to = key_of(kind, row)
        if to != key:
            changes.append(Change(key, old.row, old.revision + 1, retired=True))
            before = stored.get(to)
            changes.append(Change(to, row, before.revision + 1 if before else 1))
        elif row != old.row:
            changes.append(Change(key, row, old.revision + 1))
    return changes
