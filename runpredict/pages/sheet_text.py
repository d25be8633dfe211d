"""What a kiln sheet says, in words, for every form it may be printed in."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from runpredict.answers.check import Answer
from runpredict.pages.advice_words import (
    catch_help,
    catch_words,
    run_words,
    summary,
    wax_words,
)
from runpredict.pages.heat_words import heat_words
from runpredict.pages.piece import Piece, drawn_piece
from runpredict.pages.plain import percent
from runpredict.pages.told import ToldPiece, told_firings
from runpredict.pages.words import CAUTION, basis_short, basis_words, tolerated
from runpredict.units import LengthUnits, format_distance

Progress = Callable[[float], None]

POTS_A_PAGE = 24
MOST_NAME = 200  # letters of a name that are shown
JOINERS = "\u200c\u200d"  # within words of some scripts; they turn nothing round
TITLE = "Kiln sheet"
DETAIL_TITLE = "Pot by pot"
HEADINGS = ("done", "", "pot", "risk", "what to do", "bare foot", "ran")
HOW_TO_READ = (
    "Risk is the chance that any layer of a pot runs past its foot. Of twenty like it, one runs "
    "less than the first length of a range and one more than the second."
)
CURVES = (
    "The curves show how the risk falls where one layer stops higher, or all of them leave a wider "
    "bare band (long dashes), and how it rises with the coats of one layer and with the hold "
    "(dashed: a cone lower)."
)
ANGLE = (
    "Wall angles are from the horizontal: 90° upright, less where the wall faces up, more where it "
    "overhangs, as under the belly of a bowl."
)
NONE_OVER = (
    "With all done as told, every pot is within the tolerance; common practice keeps runny glazes "
    "low in the kiln all the same."
)
WHERE = (
    "These stay over the risk whatever is changed: on the lowest shelf or at its edge, with "
    "nothing below or touching them and no work of others near, each in its catch dish:"
)


@dataclass(frozen=True)
class LayerText:
    """One layer in words."""

    number: str
    glaze: str
    ends: str
    run: str
    spread: str
    risk: str


@dataclass(frozen=True)
class PieceText:
    """One pot in words, and what is drawn of it.

    Attributes
    ----------
    place : int
        Its row in the answer.
    brief, bare : str
        Its line of the kiln sheet: what to do, and the bare band to leave.
    catch : str
        What it should stand on if it is fired as planned.
    """

    piece: Piece
    place: int
    name: str
    over: bool
    risk: str
    brief: str
    bare: str
    catch: str
    wax: str
    blame: str
    change: str
    why: str
    basis: str
    layers: tuple[LayerText, ...]

    @property
    def picture(self) -> str:
        """What the picture shows, for those who cannot see it."""
        ends = "; ".join(
            f"layer {layer.number} put on down to {layer.ends} above the foot, likely to run "
            f"{layer.run}"
            for layer in self.layers
        )
        return f"Side view of the pot and its wall laid straight: {ends}."


@dataclass(frozen=True)
class FiringText:
    """One firing in words: its pots, the most at risk first.

    Attributes
    ----------
    heat, fired_on : str
        Cone or schedule; the date, "" where it is not known.
    summary : str
        How many need something, and what.
    apart : tuple of str
        Pots that stay over the risk whatever is changed.
    """

    name: str
    heat: str
    fired_on: str
    summary: str
    where: str
    apart: tuple[str, ...]
    pieces: tuple[PieceText, ...]

    @property
    def pages(self) -> list[tuple[PieceText, ...]]:
        """The pots of each page of the kiln sheet."""
        starts = range(0, len(self.pieces), POTS_A_PAGE)
        return [self.pieces[start : start + POTS_A_PAGE] for start in starts]


@dataclass(frozen=True)
class SheetText:
    """A whole sheet in words, and the answer its curves are drawn from."""

    answer: Answer
    title: str
    how: str
    catch_help: str
    basis: str
    caution: str
    ran: str
    firings: tuple[FiringText, ...]


def shown_name(name: object) -> str:
    """A name as it may be printed: short, on one line, and turning no text around it round."""
    flat = " ".join(str(name)[: 2 * MOST_NAME].split())
    plain = "".join(c if c.isprintable() or c in JOINERS else "?" for c in flat)
    return plain if len(plain) <= MOST_NAME else f"{plain[: MOST_NAME - 1]}…"


def _named(sentence: str, names: list[str]) -> str:
    """A sentence with each name in it as it may be printed."""
    for name in sorted(set(names), key=len, reverse=True):
        if shown_name(name) != name:
            sentence = sentence.replace(name, shown_name(name))
    return sentence


def sheet_text(answer: Answer, units: LengthUnits = "mm") -> SheetText:
    """The words of a kiln sheet.

    Parameters
    ----------
    answer : Answer
    units : "mm" or "in"

    Returns
    -------
    SheetText
    """
    firings = []
    counts = summary(answer, units)["summary"]
    heat = heat_words(answer.tables, units)
    for (name, pieces), count in zip(told_firings(answer, units), counts, strict=True):
        texts = tuple(_piece_text(answer, told, units) for told in pieces)
        apart = tuple(piece.name for piece in texts if piece.piece.on_dish)
        where = WHERE if apart else NONE_OVER
        fired = heat[name]
        firings.append(
            FiringText(shown_name(name), fired.heat, fired.fired_on,
                       f"{count[:1].upper()}{count[1:]}", where, apart, texts)
        )  # fmt: skip
    return SheetText(
        answer=answer,
        title=TITLE,
        how=f"{tolerated(answer.tolerance)} {HOW_TO_READ} {CURVES} {ANGLE}",
        catch_help=catch_help(answer.tolerance),
        basis=basis_words(answer),
        caution=CAUTION,
        ran=f"{'.' * 10} {units}",
        firings=tuple(firings),
    )


def _piece_text(answer: Answer, told: ToldPiece, units: LengthUnits) -> PieceText:
    row, blamed = told.piece, told.blamed
    layers = told.layers.sort_values("layer")
    names = layers["glaze"].astype(str).tolist()
    drawn = drawn_piece(answer, told.place, units)
    return PieceText(
        piece=drawn,
        place=told.place,
        name=shown_name(row["piece"]),
        over=bool(row["risk"] > answer.tolerance),
        risk=percent(row["risk"]),
        brief=_named(told.brief, names),
        bare=_bare_words(drawn, units),
        catch=catch_words(row, units),
        wax=wax_words(row["wax_height_mm"], units),
        blame=f"{shown_name(blamed['glaze'])} (layer {blamed['layer']})",
        change=_named(row["advice"], names),
        why=_named(f"{blamed['reason']}.", names),
        basis=basis_short(answer),
        layers=tuple(_layer_text(layer, units) for _, layer in layers.iterrows()),
    )


def _bare_words(drawn: Piece, units: LengthUnits) -> str:
    """The bare band to leave: as advised, or as planned where a cookie takes its place."""
    band, planned = (
        format_distance(mm, units).replace(" ", "\N{NO-BREAK SPACE}")
        for mm in (drawn.band_mm, drawn.planned_band_mm)
    )
    return band if np.isnan(drawn.wax_mm) else f"{band}, on a cookie {planned}"


def _layer_text(layer: pd.Series, units: LengthUnits) -> LayerText:
    run, spread = run_words(layer, units)
    return LayerText(
        number=str(layer["layer"]),
        glaze=shown_name(layer["glaze"]),
        ends=format_distance(layer["lower_edge_mm"], units),
        run=run,
        spread=spread,
        risk=percent(layer["risk"]),
    )


def counted(sheet: SheetText, progress: Progress | None) -> Callable[[], None]:
    """To be called after each piece of a sheet: tells the share that is done."""
    count = sum(len(firing.pieces) for firing in sheet.firings)
    numbers = itertools.count(1)

    def done() -> None:
        if progress is not None:
            progress(next(numbers) / count)

    return done
