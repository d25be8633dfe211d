"""Names of fired pieces used again: what came of one pot is never taken for another's."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from runpredict.errors import Fault
from runpredict.logbook.rows import Change, Incoming, Key, Stored, has_result, laid_otherwise


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
        if given is None or change.key[:2] not in fired or has_result(given):
            continue
        origin = incoming.origins[change.key]
        if old is None or old.retired:
            faults.append(Fault(origin.file, origin.row, "layer", _further(change)))
        elif has_result(old.row):
            for name in laid_otherwise(given, old.row):
                message = _other(change, name, old.row.cells[name], given.cells[name])
                faults.append(Fault(origin.file, origin.row, name, message))
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
