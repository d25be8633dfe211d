"""The words of a recipe for its raw materials: refused where unknown, told where one stands in.

Apart from `recipes`, which works out melts, so that an import loads no chemistry.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from runpredict.errors import quoted
from runpredict.physics.material_words import MaterialNames, names_beside
from runpredict.physics.materials import stand_ins
from runpredict.tables.cells import Table
from runpredict.tables.names import HINTED_NAMES


def blame_materials(table: Table, own: Iterable[str]) -> None:
    """Blame every line of a recipe whose material is not known.

    Parameters
    ----------
    table : Table
        Recipes; a fault names the glaze, its line, and the nearest names of materials.
    own : iterable of str
        Names of the potter's own materials.
    """
    names = names_beside(own)
    typed = table.frame["material"]
    unknown = [name for name in typed.unique() if name and not names.find(name)]
    why = {
        name: _why_unknown(name, names, hint=count < HINTED_NAMES)
        for count, name in enumerate(unknown)
    }
    for position in np.flatnonzero(typed.isin(unknown)):
        row = table.frame.iloc[position]
        table.blame(
            int(position),
            "material",
            f"{quoted(row['glaze'])} calls for {quoted(row['material'])}, which "
            f"{why[row['material']]}",
        )


def _why_unknown(name: str, names: MaterialNames, *, hint: bool) -> str:
    near = " or ".join(f'"{other}"' for other in names.nearest(name)) if hint else ""
    if names.is_vague(name):
        which = f"name which, such as {near}, or " if near else ""
        return f"is no one material; {which}give its analysis in the materials table."
    meant = f" (did you mean {near}?)" if near else ""
    return (
        f"is not in the materials{meant}; mend the name, or give its analysis in the materials "
        "table."
    )


def stand_in_note(name: str, names: MaterialNames) -> str:
    """What to say of a word for a material that differs much from one lot to another.

    Parameters
    ----------
    name : str
        As typed in a recipe.

    Returns
    -------
    str
        A sentence; blank where the word means a material of narrower spread, or her own.
    """
    material = names.find(name)
    if material not in stand_ins() or material in names.own:
        return ""
    return (
        f'{quoted(name)} is taken for a typical one ("{material}"); one differs much from '
        "another, so the range told is wider. Its own analysis, in the materials table, would "
        "narrow it."
    )


def warn_stand_ins(table: Table, own: Iterable[str]) -> None:
    """Tell once of each word that a typical material stands in for, as `stand_in_note` does.

    Parameters
    ----------
    table, own
        As for `blame_materials`.
    """
    names = names_beside(own)
    typed = table.frame["material"]
    for position in np.flatnonzero(~typed.duplicated()):
        if note := stand_in_note(typed.iloc[position], names):
            table.warn(int(position), "material", note)
