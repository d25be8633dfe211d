"""What came of a layer in the kiln: how it is told, what is written of it, what is still open."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, TypeAlias

import numpy as np
import pandas as pd

from runpredict.errors import Fault, refuse_file, refuse_other
from runpredict.logbook.rows import Change, Incoming, Key, Row, Stored, laid_otherwise
from runpredict.tables.firings import firings_in_order, keyed_firings
from runpredict.tables.rows import split_results
from runpredict.units import LengthUnits, format_distance

Word: TypeAlias = Literal["", "fine", "ran", "past"]
"""What is said of a layer: nothing yet, its edge is above the foot, it ran so far, it passed it."""

MAX_RUN_MM = 1e6
"""Far over what a table takes; more may be no number that a computer holds."""


@dataclass(frozen=True)
class Outcome:
    """What a layer did in the kiln.

    Parameters
    ----------
    layer : int
        1 = against the clay.
    run_mm : float or None
        How far its lower edge moved; NaN takes an earlier reading back, None leaves it. [mm]
    past_foot : str or None
        ``yes`` or ``no``; blank takes an earlier word back, None leaves it.
    note : str
        Added to the layer's note.
    """

    layer: int
    run_mm: float | None = None
    past_foot: str | None = None
    note: str = ""

    def __post_init__(self) -> None:
        """Refuse what is no outcome.

        Raises
        ------
        BadInput
        """
        whole, number = (int, np.integer), (int, float, np.integer, np.floating)
        refuse_other(self.layer, whole, "layer", "its number, 1 against the clay")
        refuse_other(self.run_mm, (*number, type(None)), "run_mm", "a number of mm, or None")
        refuse_other(self.past_foot, (str, type(None)), "past_foot", 'yes, no, "" or None')
        refuse_other(self.note, str, "note", "text")
        if self.run_mm is not None and abs(self.run_mm) > MAX_RUN_MM:
            refuse_file("run_mm", "is longer than any pot; give mm, such as 9.5.")


def word_of(run_mm: float, past_foot: str) -> Word:
    """The word for what is written of a layer.

    Parameters
    ----------
    run_mm : float
        NaN where it was not measured. [mm]
    past_foot : str
        ``yes``, ``no`` or blank.
    """
    if past_foot == "yes":
        return "past"
    if not math.isnan(run_mm):
        return "ran"
    return "fine" if past_foot == "no" else ""


def outcome_of(
    layer: int, word: Word, run_mm: float, lower_edge_mm: float, units: LengthUnits = "mm"
) -> Outcome:
    """What a word and a length say, the one rule for whoever asks after a firing.

    Parameters
    ----------
    layer : int
    word : {"", "fine", "ran", "past"}
        Blank takes back what was written.
    run_mm : float
        How far it ran, of a layer past the foot at least; NaN where it was not measured. [mm]
    lower_edge_mm : float
        How far above the foot it ended. [mm]
    units : "mm" or "in"
        To tell lengths in.

    Raises
    ------
    ValueError : if word and length contradict each other.

    Examples
    --------
    >>> outcome_of(1, "past", 20.0, 6.0).past_foot, outcome_of(1, "ran", 4.0, 6.0).past_foot
    ('yes', 'no')
    """
    measured = not math.isnan(run_mm)
    if word == "ran" and not measured:
        raise ValueError("say how far it ran, or that it is fine.")
    if measured and run_mm < 0:
        raise ValueError(f"{run_mm:.4g} mm is less than 0 mm; give how far its edge moved down.")
    if measured and word in ("", "fine"):
        raise ValueError("a length needs the word ran or past with it.")
    if word == "ran" and run_mm > lower_edge_mm:
        ran, edge = (format_distance(length_mm, units) for length_mm in (run_mm, lower_edge_mm))
        raise ValueError(f"a run of {ran} from {edge} above the foot is past it.")
    return Outcome(layer, run_mm, {"": "", "past": "yes"}.get(word, "no"))


def has_result(row: Row) -> bool:
    """Whether the row of a layer says what came of it, or that its piece was lost."""
    cells = row.cells
    return cells["run_mm"] is not None or bool(cells["past_foot"] or cells["lost"])


def with_outcome(row: Row, outcome: Outcome) -> Row:
    """The row of a layer with what came of it."""
    cells = dict(row.cells)
    if outcome.run_mm is not None:
        cells["run_mm"] = None if math.isnan(outcome.run_mm) else float(outcome.run_mm)
    if outcome.past_foot is not None:
        cells["past_foot"] = outcome.past_foot
    if outcome.note and outcome.note not in cells["note"].split("; "):
        cells["note"] = "; ".join(filter(None, (cells["note"], outcome.note)))
    return Row(cells, row.extra)


def rest_of_pot(written: Sequence[bool], past: Sequence[bool]) -> list[bool]:
    """Whether "all the rest: fine" means each layer of a pot.

    It means those without a result, but none of a pot with a layer past the foot: what that one
    carried along has to be looked at.

    Parameters
    ----------
    written : sequence of bool
        Whether anything is written of each layer.
    past : sequence of bool
        Whether it went past the foot.

    Examples
    --------
    >>> rest_of_pot([True, False], [False, False]), rest_of_pot([True, False], [True, False])
    ([False, True], [False, False])
    """
    return [not known and not any(past) for known in written]


def forgotten_pots(layers: pd.DataFrame) -> dict[str, int]:
    """How many pots have no result, of each firing of which other pots have one.

    Parameters
    ----------
    layers : DataFrame
        As `Logbook.layers` returns.

    Returns
    -------
    dict of int
        By `firings.firing_key`, the newest firing first; layers with neither a firing's name nor
        a date are in none.
    """
    planned, fired = (
        part.assign(firing=keyed_firings(part)).query("firing != ''")
        for part in split_results(layers)
    )
    counts = planned.drop_duplicates(["firing", "piece"])["firing"].value_counts()
    newest = reversed(firings_in_order(fired))
    return {name: int(counts[name]) for name in newest if name in counts}


def results_inherited(
    changes: Sequence[Change], stored: Mapping[Key, Stored], incoming: Incoming
) -> list[Fault]:
    """One fault for each layer that would take over what came of another pot.

    That is a layer with a result that is to get another glaze, other coats or other edges, or a
    further layer of a piece with results. A row that tells its result again is a correction.

    Parameters
    ----------
    changes : sequence of Change
        Of layers, as they would be written.
    stored : mapping of Stored by key
        What is logged.
    incoming : Incoming
        What the changes were made from.
    """
    fired = {key[:2] for key, old in stored.items() if not old.retired and has_result(old.row)}
    faults = []
    for change in changes:
        given, old = incoming.rows.get(change.key), stored.get(change.key)
        inside = change.key[2]
        if given is None or inside or change.key[:2] not in fired or has_result(given):
            continue
        origin = incoming.origins[change.key]
        if old is None or old.retired:
            faults.append(origin.fault("layer", _further(change)))
        elif has_result(old.row):
            for name in laid_otherwise(given, old.row):
                message = _other(change, name, old.row.cells[name], given.cells[name])
                faults.append(origin.fault(name, message))
    return faults


def _further(change: Change) -> str:
    piece = change.row.cells["piece"]
    return (
        f'"{piece}" was fired without this layer and has its results; if this is a new pot, give '
        "it another name or firing; if the layer was forgotten, give its result with it."
    )


def _other(change: Change, name: str, was: Any, becomes: Any) -> str:
    piece = change.row.cells["piece"]
    if name != "glaze":
        was, becomes = f"{was:g}", f"{becomes:g}"
    return (
        f'"{piece}" was fired with {was} here and has its result; if this is a new pot with '
        f"{becomes}, give it another name or firing; if {was} was wrong, give the result again "
        f'with this row, or take it back first: runpredict remove "{piece}" --result.'
    )
