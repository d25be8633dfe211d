"""What a check sheet says, in words, for every form it may be printed in."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass

import pandas as pd

from runpredict.answers.check import Answer
from runpredict.pages.piece import Piece, drawn_piece
from runpredict.pages.plain import percent
from runpredict.pages.told import ToldPiece, told_firings
from runpredict.pages.words import CAUTION, basis_words, cookie_words, headline, wax_words
from runpredict.units import LengthUnits, format_distance

Progress = Callable[[float], None]

MOST_NAME = 200  # letters of a name that are shown
JOINERS = "\u200c\u200d"  # within words of some scripts; they turn nothing round
TITLE = "Check sheet"
HOW_TO_READ = (
    "Risk is the chance that any layer of a piece runs past its foot. Of twenty like it, one runs "
    "less than the first length of a range and one more than the second."
)
NONE_OVER = (
    "No piece is over that; common practice keeps runny glazes low in the kiln all the same."
)
WHERE = (
    "Set these on the lowest shelf or at its edge, where nothing stands below them and nothing "
    "touches them, with a guarded shelf under each:"
)
BASIS = {
    "rules": "physics and rules of thumb",
    "blend": "the log and rules of thumb, blended",
    "learned": "the log of this studio",
}


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
    """One piece in words, and what is drawn of it."""

    piece: Piece
    name: str
    over: bool
    risk: str
    wax: str
    cookie: str
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
        return f"Side view of the piece and its wall laid straight: {ends}."


@dataclass(frozen=True)
class FiringText:
    """One firing in words: its pieces, the most at risk first."""

    name: str
    headline: str
    where: str
    apart: tuple[str, ...]
    pieces: tuple[PieceText, ...]


@dataclass(frozen=True)
class SheetText:
    """A whole sheet in words."""

    title: str
    how: str
    basis: str
    caution: str
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
    """The words of a check sheet.

    Parameters
    ----------
    answer : Answer
    units : "mm" or "in"

    Returns
    -------
    SheetText
    """
    firings = []
    for name, pieces in told_firings(answer, units):
        texts = tuple(_piece_text(answer, told, units) for told in pieces)
        apart = tuple(piece.name for piece in texts if piece.over)
        over = headline(len(apart), len(texts), answer.tolerance)
        where = WHERE if apart else NONE_OVER
        firings.append(FiringText(shown_name(name), over, where, apart, texts))
    return SheetText(TITLE, HOW_TO_READ, basis_words(answer), CAUTION, tuple(firings))


def _piece_text(answer: Answer, told: ToldPiece, units: LengthUnits) -> PieceText:
    row, blamed = told.piece, told.blamed
    layers = told.layers.sort_values("layer")
    names = layers["glaze"].astype(str).tolist()
    return PieceText(
        piece=drawn_piece(answer, row),
        name=shown_name(row["piece"]),
        over=bool(row["risk"] > answer.tolerance),
        risk=percent(row["risk"]),
        wax=wax_words(row["wax_height_mm"], units),
        cookie=cookie_words(row, units),
        blame=f"{shown_name(blamed['glaze'])} (layer {blamed['layer']})",
        change=_named(row["advice"], names),
        why=_named(f"{blamed['reason']}.", names),
        basis=BASIS[blamed["basis"]],
        layers=tuple(_layer_text(layer, units) for _, layer in layers.iterrows()),
    )


def _layer_text(layer: pd.Series, units: LengthUnits) -> LayerText:
    low, run, high = (
        format_distance(layer[name], units) for name in ("run_p05_mm", "run_p50_mm", "run_p95_mm")
    )
    return LayerText(
        number=str(layer["layer"]),
        glaze=shown_name(layer["glaze"]),
        ends=format_distance(layer["lower_edge_mm"], units),
        run=run,
        spread=f"{low} to {high}",
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
