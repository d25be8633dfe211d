"""The effects a log can teach: their names, and which of them act on what.

An effect is a step in the natural log of mobility of a melt, of a choice of layers that moves, or
of a whole piece; the bends of the film are effects as well. Each has a family, of `priors.FAMILIES`
or ``glaze``, and a name.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from runpredict.arrays import AnyArray, Bools, Floats, Indices, Objects
from runpredict.model.priors import FAMILIES, HELD_M
from runpredict.model.stacks import Stacks
from runpredict.physics import speeds

Effect = tuple[str, Any]

SLOW_RAMP_C_PER_H = 60.0
RAMP_LOG_MOST = 1.2  # beyond this rates count as this
BENDS = ("mixing", "height", "over", "wall", "thickness", "held", "way")
MOST_LOG = 2.0  # of what is held and of the power of the way
LEAST_POWER, MOST_POWER = -0.8, 2.0  # of slope and thickness, where more is never safer
# What every log is asked about, whether or not a row bears on it.
COMMON: tuple[Effect, ...] = tuple(
    (family, "") for family in ("kiln", "alone", "together", "ramp", "hand", *BENDS)
)


def effects_in(parts: Iterable[Stacks]) -> list[Effect]:
    """Every effect that acts on some pieces, each once, in an order of their names."""
    found: set[Effect] = set(COMMON)
    for stacks in parts:
        if stacks.surprising.any():
            found.add(("written", ""))
        for name in set(stacks.glaze_name[stacks.present]):
            found |= {(family, name) for family in ("glaze", "single", "covers", "covered")}
        found |= {("method", name) for name in set(stacks.method[stacks.present])}
        pricked, witnessed = ~np.isnan(stacks.needle_log), np.isfinite(stacks.heat_log)
        found |= {("coat", name) for name in set(stacks.glaze_name[pricked])}
        for names, named in _heat_of(stacks):
            found |= {("heat", name) for name in set(names[witnessed & named])}
        for family, names in stacks.named_besides.items():
            found |= {(family, name) for name in set(names.ravel()) if name}
        found |= {("body", name) for name in set(stacks.body)}
        found |= {("firing", name) for name in set(stacks.firing) if name is not None}
        for over, under in _pairs(stacks):
            code = np.unique(over * len(stacks.glazes) + under)
            pairs = [_pair(stacks, int(c)) for c in code]
            found |= {(family, pair) for pair in pairs for family in ("pair", "combination")}
    return sorted(found, key=repr)


def _heat_of(stacks: Stacks) -> list[tuple[Objects, Bools]]:
    """By whose name each piece has its heat, and where: by its kiln's, by its shelf's besides."""
    kiln, shelf = (stacks.named_besides[family] for family in ("which kiln", "shelf"))
    return [(kiln, np.full(len(kiln), True)), (shelf, shelf != "")]


def _pair(stacks: Stacks, code: int) -> tuple[str, str]:
    return stacks.glazes[code // len(stacks.glazes)], stacks.glazes[code % len(stacks.glazes)]


def _pairs(stacks: Stacks) -> Iterable[tuple[Indices, Indices]]:
    """Glazes over and under each other in any choice, by number."""
    k = stacks.present.shape[1]
    steps = range(1, k) if k <= speeds.ALL_CHOICES else range(1, speeds.ALL_CHOICES)
    for step in steps:
        under, over = stacks.glaze[:, :-step], stacks.glaze[:, step:]
        both = (under >= 0) & (over >= 0) & (under != over)
        yield over[both], under[both]


@dataclass(frozen=True)
class Moving:
    """The choices of layers that may move on some pieces, see `speeds.choices`.

    Attributes
    ----------
    part : ndarray of bool, shape (n, c, k)
        Layers of each choice.
    valid : ndarray of bool, shape (n, c)
        Whether all its layers are on the piece.
    """

    part: Bools
    valid: Bools

    @classmethod
    def of(cls, stacks: Stacks) -> Moving:
        """All choices on some pieces."""
        taken, loose = speeds.choices(stacks.present.shape[1])
        part = taken & stacks.present[:, None]
        whole = (stacks.present[:, None] | ~taken).all(axis=2)
        return cls(part, np.where(loose, part.any(axis=2), whole))

    def shares(self, melt_log: Floats, mixing: float) -> Floats:
        """Part of each melt in the log speed of each choice, were all equally thick, (n, c, k).

        For what is not known alone, which must not hang on where or how thick the layers are.
        """
        top = np.where(self.part, melt_log[:, None], -np.inf).max(axis=2, keepdims=True)
        with np.errstate(invalid="ignore", under="ignore"):
            melt = np.where(self.part, np.exp(melt_log[:, None] - top), 0.0)
        part = self.part.astype(float)
        outer = np.cumsum(part[..., ::-1], axis=2)[..., ::-1] - part
        flux = melt * ((outer + part) ** 3 - outer**3)
        apart = flux / np.maximum(flux.sum(axis=2, keepdims=True), speeds.TINY)
        one = part / np.maximum(part.sum(axis=2, keepdims=True), 1.0)
        return np.asarray((1.0 - mixing) * apart + mixing * one, dtype=float)


@dataclass(frozen=True)
class Design:
    """Coefficients of effects, mostly none.

    Attributes
    ----------
    rows, columns : ndarray of int
    values : ndarray
    shape : (int, int)
    """

    rows: Indices
    columns: Indices
    values: Floats
    shape: tuple[int, int]

    def times(self, effects: Floats) -> Floats:
        """Sum of the effects in each row, shape (rows,)."""
        step = self.values * effects[self.columns]
        return np.bincount(self.rows, step, self.shape[0]).astype(float)

    def sparse(self) -> Any:
        """As a sparse array of scipy, which is loaded only where there is a log."""
        from scipy.sparse import csr_array  # noqa: PLC0415

        return csr_array((self.values, (self.rows, self.columns)), shape=self.shape)

    def padded(self) -> tuple[Indices, Floats]:
        """Columns and coefficients row by row, (rows, most in a row); 0 where there is none."""
        order = np.argsort(self.rows, kind="stable")
        rows = self.rows[order]
        counts = np.bincount(rows, minlength=self.shape[0])
        place = np.arange(len(rows)) - (np.cumsum(counts) - counts)[rows]
        wide = (self.shape[0], int(counts.max(initial=0)))
        columns, values = np.zeros(wide, dtype=np.intp), np.zeros(wide)
        columns[rows, place], values[rows, place] = self.columns[order], self.values[order]
        return columns, values

    def dense(self) -> Floats:
        """As it is, shape (rows, columns)."""
        found = np.zeros(self.shape)
        np.add.at(found, (self.rows, self.columns), self.values)
        return found


class _Columns:
    """Coefficients of effects, gathered."""

    def __init__(self, shape: tuple[int, ...], known: dict[Effect, int]) -> None:
        self.shape, self.known = shape, known
        self.rows: list[AnyArray] = []
        self.columns: list[AnyArray] = []
        self.values: list[AnyArray] = []

    def add(self, column: AnyArray | int, amount: Floats | float) -> None:
        """A coefficient wherever the column is not -1."""
        column = np.broadcast_to(column, self.shape)
        amount = np.broadcast_to(np.asarray(amount, dtype=float), self.shape)
        at = np.flatnonzero((column >= 0) & (amount != 0))
        self.rows.append(at)
        self.columns.append(column.ravel()[at])
        self.values.append(amount.ravel()[at])

    def add_to(self, part: tuple[slice | int, ...], column: AnyArray, amount: Floats) -> None:
        """The same for a part of the rows."""
        whole = np.full(self.shape, -1, dtype=np.intp)
        whole[part] = column
        amounts = np.zeros(self.shape)
        amounts[part] = amount
        self.add(whole, amounts)

    def common(self, family: str) -> int:
        """Column of what has no name."""
        return self.known.get((family, ""), -1)

    def named(self, family: str, names: AnyArray) -> Indices:
        """Column of an effect of a family for each name, -1 where it is not known."""
        unique, place = np.unique(names.astype(str), return_inverse=True)
        found = np.array([self.known.get((family, name), -1) for name in unique], dtype=np.intp)
        return found[place.reshape(names.shape)] if len(found) else np.full(names.shape, -1)

    def of_glazes(self, family: str, glazes: tuple[str, ...]) -> Indices:
        """Column of an effect of a family for each glaze by number, -1 last, for none."""
        names = [*((family, name) for name in glazes), (family, None)]
        return np.array([self.known.get(name, -1) for name in names], dtype=np.intp)

    def design(self) -> Design:
        """All of them, a row for each place of the shape."""
        return Design(
            rows=np.concatenate(self.rows).astype(np.intp),
            columns=np.concatenate(self.columns).astype(np.intp),
            values=np.concatenate(self.values),
            shape=(int(np.prod(self.shape)), len(self.known)),
        )


def melt_design(stacks: Stacks, known: dict[Effect, int]) -> Design:
    """Coefficients in the log mobility of each melt, layer j of piece i in row i k + j.

    Parameters
    ----------
    stacks : Stacks of n pieces with up to k layers
    known : dict
        Column of each effect; others are left out.

    Returns
    -------
    Design, shape (n k, number known)
    """
    columns = _Columns(stacks.present.shape, known)
    columns.add(columns.of_glazes("glaze", stacks.glazes)[stacks.glaze], 1.0)
    columns.add(columns.named("batch", stacks.named_besides["batch"]), 1.0)
    _add_coats(columns, stacks, stacks.present & ~stacks.measured)
    return columns.design()


def _add_coats(columns: _Columns, stacks: Stacks, mine: Bools) -> None:
    """What thickens some of the layers, as it acts on their mobility."""
    coat = np.where(mine, 2.0, 0.0)
    columns.add(columns.common("hand"), coat)
    columns.add(columns.named("method", stacks.method), coat)
    columns.add(columns.named("glazed by", stacks.named_besides["glazed by"])[:, None], coat)
    columns.add(columns.named("coat", np.where(stacks.dip_told, stacks.glaze_name, "")), coat)


def needle_design(stacks: Stacks, known: dict[Effect, int]) -> Design:
    """Coefficients in twice `Stacks.needle_log` of each layer, as `melt_design`."""
    columns = _Columns(stacks.present.shape, known)
    _add_coats(columns, stacks, ~np.isnan(stacks.needle_log))
    return columns.design()


def heat_design(stacks: Stacks, known: dict[Effect, int]) -> Design:
    """Coefficients in `Stacks.heat_log` of each piece, as `melt_design`, (n, known)."""
    columns = _Columns(stacks.heat_log.shape, known)
    _add_heat(columns, stacks, np.isfinite(stacks.heat_log))
    return columns.design()


def _add_heat(columns: _Columns, stacks: Stacks, mine: Bools) -> None:
    for names, named in _heat_of(stacks):
        columns.add(columns.named("heat", names), np.where(mine & named, 1.0, 0.0))


def choice_design(stacks: Stacks, known: dict[Effect, int]) -> Design:
    """Coefficients in the log speed of each choice of layers, as `melt_design`, (n c, known)."""
    moving = Moving.of(stacks)
    n, count, _ = moving.part.shape
    columns = _Columns((n, count), known)
    pairs = [_choice_pairs(stacks, moving.part[:, c]) for c in range(count)]
    several = np.stack([sum((both for _, both in pair), np.zeros(n)) for pair in pairs], axis=1)
    columns.add(columns.common("alone"), np.where(moving.valid & (several == 0), 1.0, 0.0))
    columns.add(columns.common("together"), np.where(moving.valid & (several > 0), 1.0, 0.0))
    single = columns.of_glazes("single", stacks.glazes)[stacks.glaze]
    first = np.take_along_axis(single, moving.part.argmax(axis=2), axis=1)
    columns.add(np.where(several == 0, first, -1), np.where(moving.valid, 1.0, 0.0))
    for c in range(count):
        for code, both in pairs[c]:
            amount = both * moving.valid[:, c] / np.maximum(several[:, c], 1.0)
            column = _pair_columns(stacks, known, "pair", code, both)
            columns.add_to((slice(None), c), column, amount)
    return columns.design()


def _choice_pairs(stacks: Stacks, part: Bools) -> list[tuple[Indices, Floats]]:
    """Layers of a choice that lie next to each other: their glazes as a code, and if two."""
    below = np.full(len(part), -1, dtype=np.intp)
    found = []
    for j in range(part.shape[1]):
        over = stacks.glaze[:, j]
        both = part[:, j] & (below >= 0) & (below != over)
        if both.any():
            found.append((over * len(stacks.glazes) + below, both.astype(float)))
        below = np.where(part[:, j], over, below)
    return found


def _pair_columns(
    stacks: Stacks, known: dict[Effect, int], family: str, code: Indices, both: Floats
) -> Indices:
    unique, place = np.unique(np.where(both > 0, code, -1), return_inverse=True)
    found = np.array(
        [known.get((family, _pair(stacks, int(c))), -1) if c >= 0 else -1 for c in unique],
        dtype=np.intp,
    )
    return found[place]


def piece_design(stacks: Stacks, known: dict[Effect, int]) -> Design:
    """Coefficients in every margin of each piece, as `melt_design`, (n, known)."""
    columns = _Columns((len(stacks.body),), known)
    columns.add(columns.common("kiln"), 1.0)
    columns.add(columns.common("written"), stacks.surprising.astype(float))
    columns.add(columns.named("body", stacks.body), 1.0)
    ramp = np.clip(np.log(stacks.ramp_c_per_h / SLOW_RAMP_C_PER_H), -RAMP_LOG_MOST, RAMP_LOG_MOST)
    columns.add(columns.common("ramp"), ramp)
    columns.add(columns.named("firing", stacks.firing), 1.0)
    besides = stacks.named_besides
    for family in ("which kiln", "shelf", "spot"):
        columns.add(columns.named(family, besides[family]), 1.0)
    _add_heat(columns, stacks, np.isnan(stacks.heat_log))
    pairs = _choice_pairs(stacks, stacks.solid)
    several = np.maximum(sum((both for _, both in pairs), np.zeros(len(stacks.body))), 1.0)
    count = len(stacks.glazes)
    for code, both in pairs:
        columns.add(_pair_columns(stacks, known, "combination", code, both), both / several)
        for family, glaze in (("covers", code // count), ("covered", code % count)):
            column = columns.of_glazes(family, stacks.glazes)[glaze]
            columns.add(np.where(both > 0, column, -1), both / several)
    return columns.design()


def bends_of(known: dict[Effect, int], mean: Floats) -> tuple[speeds.Bends, float]:
    """The film's bends, and the power of the slope, as the effects say."""
    mixing, height, over, wall, thickness, held, way = (
        float(mean[known[(name, "")]]) for name in BENDS
    )
    return (
        speeds.Bends(
            mixing=_share(mixing),
            height=_share(height),
            over=_share(over),
            thickness=float(np.clip(thickness, LEAST_POWER, MOST_POWER)),
            held_m=HELD_M * float(np.exp(min(held, MOST_LOG))),
            way=float(np.exp(min(way, MOST_LOG))),
        ),
        float(np.clip(wall, LEAST_POWER, MOST_POWER)),
    )


def _share(odds_log: float) -> float:
    return float(1.0 / (1.0 + np.exp(-odds_log)))


def prior_of(
    effects: Iterable[Effect], by_glaze: dict[str, tuple[float, float]]
) -> tuple[Floats, Floats]:
    """Mean and spread expected of each effect, shape (p,) both.

    Parameters
    ----------
    effects : iterable of Effect
    by_glaze : dict
        Mean and spread of each glaze.
    """
    both = [
        by_glaze[name] if family == "glaze" else FAMILIES[family][:2] for family, name in effects
    ]
    table = np.array(both, dtype=float).reshape(-1, 2)
    return table[:, 0], table[:, 1]
