"""Answers as plain text for a terminal."""

from __future__ import annotations

from runpredict.answers.check import Answer
from runpredict.errors import printable
from runpredict.units import LengthUnits
from runpredict.words.advice import catch_help
from runpredict.words.basis import CAUTION, basis_words, tolerated
from runpredict.words.plain import columns, paragraph
from runpredict.words.pots import firings_in_words

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


def answer_text(answer: Answer, units: LengthUnits = "mm", forgotten: str = "") -> str:
    """A table a firing, the pieces most at risk first, and what the numbers rest on.

    Parameters
    ----------
    answer : Answer
    units : "mm" or "in"
    forgotten : str
        A sentence on pots whose results were not written.

    Returns
    -------
    str
    """
    parts = [paragraph(tolerated(answer.tolerance))]
    for firing in firings_in_words(answer, units):
        parts.append(paragraph(f"Firing {firing.name}: {firing.summary}."))
        numbers = [
            (pot.risk, pot.name, pot.blame, pot.run, pot.wax, pot.catch) for pot in firing.pots
        ]
        parts.append(columns(HEADINGS, numbers))
        what_to_do = [(pot.name, f"{pot.advice} Why: {pot.why}") for pot in firing.pots]
        parts.append(columns(("piece", "what to do"), what_to_do))
    parts += [paragraph(printable(forgotten))] if forgotten else []
    help_words = f"{HOW_TO_READ} {catch_help(answer.tolerance)}"
    return "\n\n".join([*parts, *map(paragraph, (help_words, basis_words(answer), CAUTION))])
