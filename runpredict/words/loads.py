"""What a whole load needs, as planned and at less heat, and what that costs, in words."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from runpredict.answers.check import Answer
from runpredict.answers.load import doubtful, load_of, pots_logged
from runpredict.answers.willing import Willing
from runpredict.arrays import rows_of
from runpredict.words.plain import percent, shown_name

MOST_NAMED = 8  # pots in a sentence
HEADINGS = (
    "",
    "need some\N{SOFT HYPHEN}thing",
    "pots lost if left",
    "cost if left",
    "cost on cookies",
)


class LoadWords(NamedTuple):
    """One firing as a whole, in words.

    Attributes
    ----------
    lines : tuple of str
        At most two: how many pots need something at less heat, and what the choices cost; none
        of a firing that needs nothing. With no log or a short one a third, `unlogged`.
    unlogged : str
        Which of the others are better put on a cookie until there is a longer log, "" for none.
    as_told : str
        What following the advice costs.
    rows : tuple of tuples of str
        The same as a small table under `HEADINGS`.
    """

    lines: tuple[str, ...] = ()
    as_told: str = ""
    rows: tuple[tuple[str, ...], ...] = ()
    unlogged: str = ""


def loads_in_words(answer: Answer) -> dict[str, LoadWords]:
    """What each firing of an answer needs as a whole, by its name."""
    found: dict[str, list[Any]] = {}
    for row in rows_of(load_of(answer)):
        found.setdefault(str(row.firing), []).append(row)
    pots = answer.pieces.loc[doubtful(answer)].groupby("firing")["piece"].agg(list)
    logged, words = pots_logged(answer), {}
    for firing, rows in found.items():
        others = bool(rows[0].need_something)
        unlogged = _unlogged(pots.get(firing, []), logged, others)
        lines = (unlogged,) if unlogged else ()
        if others:
            told = (_cost(rows[0].cost_as_told), tuple(map(_cells, rows)))
            words[firing] = LoadWords(_lines(answer, rows) + lines, *told, unlogged)
        else:
            words[firing] = LoadWords(lines, unlogged=unlogged)
    return words


def _unlogged(pots: list[str], logged: int, others: bool) -> str:
    if not pots:
        return ""
    named = "; ".join(map(shown_name, pots[:MOST_NAMED]))
    more = f" and {len(pots) - MOST_NAMED} more" if len(pots) > MOST_NAMED else ""
    known = f"Only {logged} pot{'s' if logged > 1 else ''} logged yet" if logged else "No log yet"
    under = f"also under {len(pots)} of the others" if others else f"under {len(pots)} of these"
    return f"{known}: a cookie is safer {under}: {named}{more}."


def costs_words(willing: Willing, tolerance: float) -> str:
    """In what costs are counted.

    Examples
    --------
    >>> costs_words(Willing(), 0.05)
    'Costs count a lost pot and its shelf 20, a cookie 1, a pot glazed otherwise 0.5.'
    """
    return (
        f"Costs count a lost pot and its shelf {willing.lost_at(tolerance):g}, a cookie "
        f"{willing.cookie:g}, a pot glazed otherwise {willing.reglaze:g}."
    )


def _lines(answer: Answer, rows: list[Any]) -> tuple[str, ...]:
    planned, others = rows[0], rows[1:]
    need = [f"{row.need_something} {_choice(row)}" for row in others]
    left = [f"{_choice(row)} {_cost(row.cost_left)}" for row in others]
    cost = (
        f"Cost as told {_cost(planned.cost_as_told)}, with every pot over "
        f"{percent(answer.tolerance)} on a cookie {_cost(planned.cost_on_cookies)}; with all left "
        f"as it is {', '.join([_cost(planned.cost_left), *left])}."
    )
    return (f"At less heat would need something: {', '.join(need)}.", cost) if need else (cost,)


def _choice(row: Any) -> str:
    """The heat of a row, as "at cone 5", "with half the hold (8 min)"."""
    if row.choice == "planned":
        return "as planned"
    if row.choice == "cone":
        return f"at cone {row.cone}" if row.cone else "a cone lower"
    if row.choice == "no hold":
        return "without the hold"
    return "with half the hold" + ("" if np.isnan(row.hold_min) else f" ({row.hold_min:g} min)")


def _cells(row: Any) -> tuple[str, ...]:
    costs = (_cost(row.cost_left), _cost(row.cost_on_cookies))
    return (_choice(row), f"{row.need_something} of {row.pots}", _pots(row.pots_lost), *costs)


def _pots(count: float) -> str:
    return "under 1" if count < 1 else f"about {count:.0f}"


def _cost(cost: float) -> str:
    return f"{cost:.1f}" if cost < 9.95 else f"{cost:.0f}"
