"""Answers as plain text for a terminal."""

from __future__ import annotations

from runpredict.answers.check import Answer
from runpredict.errors import printable
from runpredict.units import LengthUnits
from runpredict.words.advice import catch_help
from runpredict.words.basis import CAUTION, basis_words, tolerated
from runpredict.words.loads import costs_words
from runpredict.words.plain import columns, paragraph
from runpredict.words.pots import PotWords, firings_in_words

DEMO_HEADLINE = "Sample studio, invented: no real potter, glaze or result."
HEADINGS = (
    "risk",
    "piece",
    "layer to blame",
    "its run (5 to 95 %)",
    "wax alone",
    "cookie, as planned",
)
HOW_TO_READ = (
    "Wax alone: the bare band above the foot that is enough if nothing else is changed. Cookie, as "
    "planned: how wide and how high, where nothing is changed."
)


def answer_text(
    answer: Answer, units: LengthUnits = "mm", forgotten: str = "", need_only: bool = False
) -> str:
    """A table a firing, the pieces most at risk first, and what the numbers rest on.

    Parameters
    ----------
    answer : Answer
    units : "mm" or "in"
    forgotten : str
        A sentence on pots whose results were not written.
    need_only : bool
        List only what needs something, and only name the rest.

    Returns
    -------
    str
    """
    parts = [paragraph(tolerated(answer.tolerance))]
    for firing in firings_in_words(answer, units, as_a_whole=True):
        lines = (f"Firing {firing.name}: {firing.summary}.", *firing.load.lines)
        parts.append("\n".join(map(paragraph, lines)))
        shown = [pot for pot in firing.pots if pot.over or not need_only]
        if shown:
            numbers = [(pot.risk, pot.name, pot.blame, pot.run, pot.wax, pot.catch)
                       for pot in shown]  # fmt: skip
            parts.append(columns(HEADINGS, numbers))
        over = [(pot.name, f"{pot.advice} Why: {pot.why}") for pot in firing.pots if pot.over]
        parts += [columns(("piece", "what to do"), over)] if over else []
        safe = [_safe(pot, need_only) for pot in firing.pots if not pot.over]
        parts += [paragraph(f"Safe as planned: {'; '.join(safe)}.")] if safe else []
    parts += [paragraph(printable(forgotten))] if forgotten else []
    help_words = " ".join(
        (HOW_TO_READ, catch_help(answer.tolerance), costs_words(answer.willing, answer.tolerance))
    )
    return "\n\n".join([*parts, *map(paragraph, (help_words, basis_words(answer), CAUTION))])


def _safe(pot: PotWords, need_only: bool) -> str:
    """A safe pot by its name, and what could end lower on it."""
    room = pot.advice.removeprefix("Safe as planned.").strip().removesuffix(" and stay safe.")
    return f"{pot.name} ({room})" if room and not need_only else pot.name
