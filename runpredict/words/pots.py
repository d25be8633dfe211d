"""A pot in words, once: terminal, notebook, sheet and page only lay it out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from runpredict.answers.check import Answer
from runpredict.answers.pools import pools_of
from runpredict.arrays import Objects, rows_of
from runpredict.tables.firings import firing_words
from runpredict.units import LengthUnits, format_distance
from runpredict.words.advice import (
    catch_words,
    counts,
    run_length,
    run_sentence,
    run_words,
    sentences,
    wax_words,
)
from runpredict.words.basis import basis_short, reasons
from runpredict.words.loads import LoadWords, loads_in_words
from runpredict.words.plain import percent, shown_name

LIKELY = 0.5
VERDICTS = {
    "fits": "Should stay on the pot",
    "near": "Could run past the foot",
    "over": "Likely to run past the foot",
}
"""How a chance is called, by its tone; common practice, no source."""
NEEDS = {
    "dish": "Not on these pots: another glaze, or caught",
    "pedestal": "Meant to run: pedestal and catch dish",
    "several": "More than one change",
    "cookie": "On a cookie, as planned",
    "coat": "Fewer coats",
    "thickness": "Put a layer on thinner",
    "edge": "Stop a layer higher",
    "wax": "Leave more foot bare",
    "none": "Load as planned",
}
"""What pots need, what is hardest to do first."""


def tone(chance: float, tolerance: float) -> str:
    """A key of `VERDICTS`: within what is tolerated, over it, or likely to pass."""
    if chance <= tolerance:
        return "fits"
    return "near" if chance < LIKELY else "over"


def risk_words(chance: float, tolerance: float) -> str:
    """A chance as told beside its verdict: over what is tolerated never reads as just that.

    Examples
    --------
    >>> risk_words(0.049, 0.05), risk_words(0.051, 0.05), risk_words(0.12, 0.05)
    ('5 %', 'over 5 %', '12 %')
    """
    told = percent(chance)
    return f"over {told}" if chance > tolerance and told == percent(tolerance) else told


@dataclass(frozen=True)
class LayerWords:
    """One layer in words."""

    number: int
    glaze: str
    ends: str
    run: str
    spread: str
    risk: str
    why: str


@dataclass(frozen=True)
class PotWords:
    """One pot in words.

    Attributes
    ----------
    place : int
        Its row in the answer that told of it.
    piece, firing : str
        As the tables have them; `name` is its name as it may be shown.
    chance : float
        Of its running past the foot.
    over : bool
        Whether that is more than what is tolerated.
    tone : str
        A key of `VERDICTS`.
    need : str
        A key of `NEEDS`.
    advice, brief, room : str
        What to do, in sentences and as short as a line of the kiln sheet is; what could end lower
        on a safe pot, "" for nothing.
    blame, culprit, run, why : str
        The layer to blame, its glaze alone, how far it runs, and what that rests on.
    wax, bare : str
        The bare band that is enough alone, and the one to leave.
    catch : str
        What it should stand on if it is fired as planned.
    maker : str
        Who glazed it, as it may be shown; blank where that is not told.
    pool : str
        What stands in its well, "" where no layer inside is told.
    """

    place: int
    piece: str
    firing: str
    name: str
    chance: float
    risk: str
    over: bool
    tone: str
    need: str
    advice: str
    brief: str
    room: str
    blame: str
    culprit: str
    run: str
    why: str
    wax: str
    bare: str
    catch: str
    basis: str
    maker: str
    pool: str
    _rows: list[Any] = field(repr=False)
    _units: LengthUnits = field(repr=False)

    @property
    def verdict(self) -> str:
        """What may become of it, in words."""
        return VERDICTS[self.tone]

    @property
    def on_dish(self) -> bool:
        """Whether it stays over whatever is changed, so that it is to be caught."""
        return self.need in ("dish", "pedestal")

    @property
    def to_change(self) -> bool:
        """Whether what it needs is a change of its glaze, not something to stand on."""
        return self.need not in ("none", "cookie") and not self.on_dish

    @cached_property
    def layers(self) -> tuple[LayerWords, ...]:
        """Its layers, the one against the clay first; made when they are asked for."""
        return tuple(_layer_words(row, self._units) for row in self._rows)

    @property
    def glazes(self) -> list[str]:
        """The names in its sentences."""
        return [layer.glaze for layer in self.layers]

    @property
    def picture(self) -> str:
        """What its pictures show, for those who cannot see them."""
        return "; ".join(
            f"layer {layer.number}, {layer.glaze}, put on down to {layer.ends} above the foot, "
            f"likely to run {layer.run}"
            for layer in self.layers
        )


@dataclass(frozen=True)
class FiringWords:
    """One firing in words: its pots, the most at risk first.

    Attributes
    ----------
    firing : str
        As the tables have it; `name` is its name as it may be shown.
    summary : str
        How many pots need something, and what.
    load : LoadWords
        What it needs as a whole, where that was asked for.
    """

    firing: str
    name: str
    summary: str
    pots: tuple[PotWords, ...]
    load: LoadWords

    @property
    def by_need(self) -> dict[str, list[PotWords]]:
        """Its pots by what they need, in the words and the order of `NEEDS`."""
        groups = {
            words: [pot for pot in self.pots if pot.need == need] for need, words in NEEDS.items()
        }
        return {words: pots for words, pots in groups.items() if pots}


class _Names:
    """The names in sentences, each as it may be shown."""

    def __init__(self, names: Iterable[object]) -> None:
        odd = {str(name): shown_name(name) for name in names}
        longest = sorted(odd, key=len, reverse=True)
        self._odd = {name: odd[name] for name in longest if odd[name] != name}

    def shown(self, sentence: str) -> str:
        for name, instead in self._odd.items():
            sentence = sentence.replace(name, instead)
        return sentence


def firings_in_words(
    answer: Answer, units: LengthUnits = "mm", as_a_whole: bool = False
) -> list[FiringWords]:
    """Every firing of an answer, and each of its pots.

    Parameters
    ----------
    answer : Answer
    units : "mm" or "in"
    as_a_whole : bool
        Also what each load needs at another heat, which has to be worked out.
    """
    return in_firings(pots_in_words(answer, units), loads_in_words(answer) if as_a_whole else {})


def in_firings(pots: Iterable[PotWords], loads: Mapping[str, LoadWords]) -> list[FiringWords]:
    """Pots by their firings, the most at risk first; a load not given is left out."""
    of_firing: dict[str, list[PotWords]] = {}
    for pot in pots:
        of_firing.setdefault(pot.firing, []).append(pot)
    return [
        FiringWords(
            firing=firing,
            name=shown_name(firing_words(firing)),
            summary=counts(Counter("dish" if pot.on_dish else pot.need for pot in some))["summary"],
            pots=tuple(sorted(some, key=lambda pot: -pot.chance)),
            load=loads.get(firing, LoadWords()),
        )
        for firing, some in of_firing.items()
    ]


def pots_in_words(answer: Answer, units: LengthUnits = "mm") -> list[PotWords]:
    """Every pot of an answer, in its order."""
    why = reasons(answer.features, answer.neighbour, answer.predictor.seen(), units)
    rows = list(rows_of(answer.layers.assign(reason=why)))
    pieces = answer.pieces.assign(place=range(len(answer.pieces)))
    needs, bare = _needs(answer, units), _bare(answer, units)
    wax_alone_mm = 1e3 * np.where(needs == "wax", answer.advice(units).changed[:, 0], np.nan)
    to_do = sentences(answer, units)
    of_piece: dict[Any, Any] = answer.layers.groupby(["firing", "piece"], sort=False).indices
    names, basis = _Names(answer.layers["glaze"].unique()), basis_short(answer)

    hands = (answer.features[name] for name in ("firing", "piece", "glazed_by"))
    makers = {(firing, piece): maker for firing, piece, maker in zip(*hands, strict=True)}
    pools = {(row.firing, row.piece): row for row in rows_of(pools_of(answer))}

    def pot(row: Any) -> PotWords:
        place, chance, blamed = row.place, float(row.risk), rows[answer.blamed[row.place]]
        return PotWords(
            place=place,
            piece=str(row.piece),
            firing=str(row.firing),
            name=shown_name(row.piece),
            chance=chance,
            risk=risk_words(chance, answer.tolerance),
            over=chance > answer.tolerance,
            tone=tone(chance, answer.tolerance),
            need=needs[place],
            advice=names.shown(to_do[place].advice),
            brief=names.shown(to_do[place].brief),
            room=names.shown(to_do[place].room),
            blame=f"{shown_name(blamed.glaze)} (layer {blamed.layer})",
            culprit=shown_name(blamed.glaze),
            run=run_sentence(blamed, units),
            why=f"{blamed.reason}.",
            wax=wax_words(row, chance > answer.tolerance, units, wax_alone_mm[place]),
            bare=bare[place],
            catch=catch_words(row, units),
            basis=basis,
            maker=shown_name(makers.get((row.firing, row.piece), "")),
            pool=_pool_words(pools.get((row.firing, row.piece)), units),
            _rows=sorted(
                (rows[at] for at in of_piece[row.firing, row.piece]), key=lambda row: row.layer
            ),
            _units=units,
        )

    return [*map(pot, rows_of(pieces))]


def _layer_words(row: Any, units: LengthUnits) -> LayerWords:
    run, spread = run_words(row, units)
    return LayerWords(
        number=int(row.layer),
        glaze=shown_name(row.glaze),
        ends=format_distance(row.lower_edge_mm, units),
        run=run,
        spread=spread,
        risk=percent(row.risk),
        why=f"{row.reason}.",
    )


def _pool_words(pool: Any, units: LengthUnits) -> str:
    """What stands in a well, as a rough number."""
    if pool is None:
        return ""
    usual, most = run_length(pool.pool_mm, units), run_length(pool.pool_most_mm, units)
    about = "" if usual.startswith("under") else "about "
    more = "" if usual == most else f", up to {most}"
    width = format_distance(pool.floor_mm, units)
    return (
        f"{about}{usual} of glaze in the well{more}, if its floor is as wide as the foot, {width}."
    )


def _needs(answer: Answer, units: LengthUnits) -> Objects:
    """The key of `NEEDS` of each piece."""
    advised = answer.advice(units)
    several = (advised.kind != "").sum(axis=1) > 1
    single = np.where(several, "several", advised.kind[:, 0])
    return np.where(advised.word == "change", single, advised.word)


def _bare(answer: Answer, units: LengthUnits) -> list[str]:
    """The bare band to leave on each piece: as advised, or as planned where it is caught."""
    advised = answer.advice(units)
    wax_mm = 1e3 * np.where(advised.kind == "wax", advised.changed, np.nan)
    planned = np.full(len(wax_mm), np.inf)
    np.minimum.at(planned, answer.stacks.at[0], answer.layers["lower_edge_mm"].to_numpy())
    return [
        format_band(now, units)
        if np.isnan(wax).all()
        else f"{format_band(np.nanmax(wax), units)}, as planned {format_band(now, units)}"
        for wax, now in zip(wax_mm, planned, strict=True)
    ]


def format_band(band_mm: float, units: LengthUnits) -> str:
    """A bare band, never broken between two lines."""
    return format_distance(band_mm, units).replace(" ", "\N{NO-BREAK SPACE}")
