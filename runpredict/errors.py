"""The one kind of error a reader of tables meets, how it is raised, and what only warns."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import NoReturn

SHOWN_FAULTS = 20
"""How many faults are told at a time; the rest are counted."""
NAMED_ROWS = 3
"""Of rows that have the same fault; the rest are counted."""


_JOINERS = "\u200c\u200d"
"""Within words of some scripts; they turn nothing round."""


def printable(text: str) -> str:
    """Text on one line that does nothing to a terminal; what cannot be shown is a ``?``."""
    if text.isprintable():
        return text
    return "".join(char if char.isprintable() or char in _JOINERS else "?" for char in text)


def quoted(text: str, most: int = 40) -> str:
    """What somebody typed, in quotes, for a sentence: on one line and short."""
    flat = printable(text)
    return f'"{flat}"' if len(flat) <= most else f'"{flat[: most - 3]}..."'


@dataclass(frozen=True)
class Place:
    """Where a row stands, in words that its reader finds again.

    Parameters
    ----------
    file : str
        File or table.
    row : int or None
        As a spreadsheet counts (the header is row 1); None for the whole file.
    index : str or None
        Label of the row of a DataFrame, which goes before `row`; None for a file.

    Examples
    --------
    >>> print(Place("plan", 3, "jug"), Place("layers.csv", 3), sep="; ")
    plan, index jug; layers.csv, row 3
    """

    file: str
    row: int | None = None
    index: str | None = None

    @property
    def in_file(self) -> str:
        """The row without its file."""
        if self.index is not None:
            return f"index {self.index}"
        return "" if self.row is None else f"row {self.row}"

    def __str__(self) -> str:
        return ", ".join(part for part in (self.file, self.in_file) if part)

    def fault(self, column: str | None, message: str) -> Fault:
        """What is wrong here."""
        return Fault(self.file, self.row, column, message, self.index)


@dataclass(frozen=True)
class Fault:
    """What is wrong, where, and what would be right.

    Parameters
    ----------
    file : str
        File or table the fault is in.
    row : int or None
        Row as a spreadsheet counts (the header is row 1); None for the whole file.
    column : str or None
        Column heading; None for the whole row.
    message : str
        One sentence, what would be right included.
    index : str, optional
        Label of the row, where the table was given as a DataFrame.

    Examples
    --------
    >>> print(Fault("glazes.csv", 7, "SiO2", '"sixty" is not a number; give weight percent.'))
    glazes.csv, row 7, column SiO2: "sixty" is not a number; give weight percent.
    """

    file: str
    row: int | None
    column: str | None
    message: str
    index: str | None = None

    def __str__(self) -> str:
        where = str(Place(self.file, self.row, self.index))
        if self.column is not None:
            where += f", column {self.column}"
        return printable(f"{where}: {self.message}")


class BadInput(ValueError):  # noqa: N818 - it names what the potter gave, not a fault of ours
    """All faults found in what was given, raised once.

    Parameters
    ----------
    faults : iterable of Fault
        At least one, in the order a reader would mend them.

    Attributes
    ----------
    faults : tuple of Fault
        Every fault. ``str`` tells once what several rows have, and leaves out what comes after
        the first twenty sentences.
    """

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults: tuple[Fault, ...] = tuple(faults)
        super().__init__(self.faults)

    def __str__(self) -> str:
        alike: dict[tuple[object, ...], dict[Fault, None]] = {}
        for fault in self.faults:
            key = (fault.file, fault.row is None, fault.column, fault.message)
            alike.setdefault(key, {})[fault] = None
        lines = [_told_once(list(faults)) for faults in list(alike.values())[:SHOWN_FAULTS]]
        hidden = len(alike) - SHOWN_FAULTS
        if hidden > 0:
            lines.append(f"... and {hidden} more")
        return "\n".join(lines)


def _told_once(alike: list[Fault]) -> str:
    """Faults that say the same of several rows, in one sentence."""
    first = alike[0]
    if len(alike) == 1:
        return str(first)
    rows = [str(one.row if one.index is None else one.index) for one in alike]
    shown, left = rows[:NAMED_ROWS], len(rows) - NAMED_ROWS
    last = f"{left} more" if left > 0 else shown.pop()
    where = f"{first.file}, {'rows' if first.index is None else 'index'} {', '.join(shown)}"
    return str(Fault(f"{where} and {last}", None, first.column, first.message))


class TableWarning(UserWarning):
    """Something in a table that is odd but can be used as it stands.

    Parameters
    ----------
    fault : Fault

    Attributes
    ----------
    fault : Fault
        What is odd, and where.
    """

    def __init__(self, fault: Fault) -> None:
        self.fault = fault
        super().__init__(fault)


def raise_faults(faults: Iterable[Fault]) -> None:
    """Raise `BadInput` with all of them, if there are any.

    Raises
    ------
    BadInput
    """
    found = tuple(faults)
    if found:
        raise BadInput(found)


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
    BadInput : Always.
    """
    raise BadInput([Fault(name, row, None, message)])


def refuse_other(value: object, kind: type | tuple[type, ...], name: str, right: str) -> None:
    """Refuse what a caller from Python gave that is of another kind.

    Parameters
    ----------
    value : object
        What was given.
    kind : type or tuple of type
        What it should be.
    name : str
        Of the parameter.
    right : str
        What it should be, in words.

    Raises
    ------
    BadInput
    """
    if not isinstance(value, kind):
        given = f"a {type(value).__name__}".replace("a NoneType", "None")
        refuse_file(name, f"is given as {given}; give {right}.")
