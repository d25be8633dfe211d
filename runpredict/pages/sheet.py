"""The kiln sheet: one HTML page to print and tape to the kiln, which needs nothing beside itself.

Pictures and style are within; a policy in its head forbids whatever a name might smuggle in to
run or to load, and the template escapes every word that is put into it. Its style for print is
the paper: any browser prints it, or saves it as PDF.
"""

from __future__ import annotations

import itertools
import os
from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path

from runpredict.answers.check import Answer
from runpredict.drawings.curves import curves_figure
from runpredict.drawings.piece import drawn_piece
from runpredict.drawings.pot import key_figure, side_figure, small_figure, wall_figure
from runpredict.errors import refuse_file
from runpredict.pages.html import Drawing, drawing, template
from runpredict.patience import long_work
from runpredict.tables.files import replace_file
from runpredict.units import LengthUnits
from runpredict.words.advice import catch_help
from runpredict.words.basis import CAUTION, basis_words, tolerated
from runpredict.words.heat import heat_words
from runpredict.words.loads import costs_words
from runpredict.words.pots import PotWords, firings_in_words

Progress = Callable[[float], None]

POTS_A_PAGE = 24
HEADINGS = ("done", "", "pot", "risk", "glazes", "what to do", "bare foot", "ran", "past foot")
HOW_TO_READ = (
    "Risk is the chance that any layer of a pot runs past its foot. Of twenty like it, one runs "
    "less than the first length of a range and one more than the second. The curves show how the "
    "risk falls where one layer stops higher, or all of them leave a wider bare band (long "
    "dashes), and how it rises with the coats of one layer and with the hold (dashed: a cone "
    "lower). Wall angles are from the horizontal: 90° upright, less where the wall faces up, more "
    "where it overhangs, as under the belly of a bowl."
)
NONE_OVER = (
    "With all done as told, every pot is within the tolerance; common practice keeps runny glazes "
    "low in the kiln all the same."
)
WHERE = (
    "These stay over the risk whatever is changed: on the lowest shelf or at its edge, with "
    "nothing below or touching them and no work of others near, each caught as told:"
)


@long_work("write_sheet")
def write_sheet(
    answer: Answer,
    path: str | os.PathLike[str],
    units: LengthUnits = "mm",
    progress: Progress | None = None,
    *,
    by_maker: bool = False,
) -> None:
    """Write the kiln sheet of an answer.

    Parameters
    ----------
    answer : Answer
    path : path
        Ends in .html.
    units : "mm" or "in"
    progress : callable, optional
        Told the share that is done, from 0 to 1.
    by_maker : bool
        Sort the pots of a firing by who glazed them, those of nobody named last.

    Raises
    ------
    BadInput : another ending, or a file that cannot be written; what stood there is unchanged.
    """
    file = Path(path)
    kind = file.suffix.lower()
    if kind == ".pdf":
        refuse_file(
            file.name,
            f"is made by a browser: write the sheet to {file.with_suffix('.html').name}, open it "
            "and print it, to paper or as PDF.",
        )
    if kind != ".html":
        refuse_file(file.name, "is no kind of sheet; give a name that ends in .html.")
    with replace_file(file) as temporary:
        page = sheet_html(answer, units, progress, by_maker=by_maker)
        temporary.write_text(page, encoding="utf-8", newline="\n")


def sheet_html(
    answer: Answer,
    units: LengthUnits = "mm",
    progress: Progress | None = None,
    *,
    by_maker: bool = False,
) -> str:
    """The kiln sheet as one HTML page.

    Parameters
    ----------
    progress : callable, optional
        Told the share that is done, from 0 to 1.
    by_maker : bool
        As for `write_sheet`.

    Returns
    -------
    str
        First what is taped to the kiln, a page for each 24 pots of a firing; then each pot with
        its pictures and curves, the most at risk first.
    """
    done = itertools.count(1)

    def views(pot: PotWords) -> list[Drawing]:
        piece = drawn_piece(answer, pot.place, units)
        figures = (
            side_figure(piece, units),
            wall_figure(piece, units),
            curves_figure(answer, pot.place, units),
        )
        if progress is not None:
            progress(next(done) / len(answer.pieces))
        return [drawing(figure) for figure in figures]

    firings = firings_in_words(answer, units, as_a_whole=True)
    if by_maker:
        firings = [replace(firing, pots=_by_maker(firing.pots)) for firing in firings]
    return template("sheet.html").render(
        firings=firings,
        heats=heat_words(answer.tables, units),
        most=POTS_A_PAGE,
        headings=HEADINGS,
        where=WHERE,
        none_over=NONE_OVER,
        how=(
            f"{tolerated(answer.tolerance)} {HOW_TO_READ}",
            catch_help(answer.tolerance),
            basis_words(answer),
        ),
        costs=costs_words(answer.willing, answer.tolerance),
        caution=CAUTION,
        ran=f"{'.' * 10} {units}",
        views=views,
        small=lambda pot: drawing(small_figure(drawn_piece(answer, pot.place, units))),
        key=drawing(key_figure()),
    )


def _by_maker(pots: Iterable[PotWords]) -> tuple[PotWords, ...]:
    return tuple(sorted(pots, key=lambda pot: (not pot.maker, pot.maker.casefold())))
