"""The cheapest change that is enough for a piece: one thing, a cookie, or two at once.

Every change is tried exactly as it will be told, on the lines of either ruler and as far off as a
hand may be, before it is told. What costs the pot least comes first; where nothing of the list is
enough, the piece is said not to be one for this glaze. Heat is of the whole firing: see `load`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, fields, replace
from itertools import groupby
from typing import Any

import numpy as np

from runpredict.answers import decisions, moves
from runpredict.answers.decisions import Ask
from runpredict.answers.moves import EDGES, MOST_MOVES, Move, Reach
from runpredict.answers.willing import AS_DELIVERED, Willing
from runpredict.arrays import AnyArray, Bools, Floats, Indices, Objects
from runpredict.model.features import FIRED_SHARE
from runpredict.model.stacks import Stacks
from runpredict.units import LengthUnits

# A pot that is likelier to run past than not is no pot for a cookie while anything else helps.
LIKELY = 0.5
RULERS: tuple[LengthUnits, ...] = ("mm", "in")
# Of more second changes than that, beside one first, all are tried at once before each.
MANY = 4
# A glaze made to grow crystals: zinc for them, hardly any alumina to hinder them, moles a unity
# of fluxes. Common practice, no source.
CRYSTAL_ZINC_MOL, CRYSTAL_ALUMINA_MOL = 0.4, 0.15


@dataclass(frozen=True)
class Case:
    """Pieces that ask for advice, and what may be told to them.

    Attributes
    ----------
    ask : Ask for n pieces
    goal : ndarray, shape (n,)
        Risk at or under which a change is enough: the tolerance, or less where a change that
        saves no more would cost more than it saves.
    willing : Willing
    """

    ask: Ask
    goal: Floats
    willing: Willing = AS_DELIVERED

    def take(self, pieces: Indices) -> Case:
        """The same for some of the pieces."""
        return replace(self, ask=self.ask.take(pieces), goal=self.goal[pieces])


@dataclass(frozen=True)
class Advice:
    """What is enough for each of n pieces.

    Attributes
    ----------
    word : ndarray of str, shape (n,)
        `none` (safe as planned), `change`, `cookie` (as planned, on a cookie), `dish` (nothing of
        these is enough), or `pedestal` (a glaze that is meant to run, which is caught in a dish
        as a matter of course).
    kind : ndarray of str, shape (n, 2)
        `wax`, `edge`, `coat` or `thickness` (what fewer coats make of a layer that was
        measured), the order in which they are told; "" for none.
    layer : ndarray of int, shape (n, 2)
        The layer it is made to, 0 where it is made to none.
    planned, changed : ndarray, shape (n, 2)
        Band or lower edge [m], number of coats, or thickness of the dry layer [m].
    risk : ndarray, shape (n,)
        Of each piece changed so; as planned where nothing is changed.
    """

    word: Objects
    kind: Objects
    layer: Indices
    planned: Floats
    changed: Floats
    risk: Floats

    @classmethod
    def joined(cls, parts: Sequence[Advice]) -> Advice:
        """Some pieces' after the others'."""
        names = [field.name for field in fields(cls)]
        return cls(**{n: np.concatenate([getattr(part, n) for part in parts]) for n in names})

    def take(self, pieces: AnyArray | slice) -> Advice:
        """The same for some of the pieces."""
        return Advice(**{field.name: getattr(self, field.name)[pieces] for field in fields(self)})

    def told_in(self, units: LengthUnits) -> Advice:
        """The same as it is told on a ruler, its risk as it was."""
        return replace(self, changed=moves.as_told(self.kind, self.changed, units))

    def made(self, stacks: Stacks) -> Stacks:
        """The n pieces with every change made as it is told."""
        for place in reversed(range(MOST_MOVES)):  # the bare band last: nothing reaches into it
            layer = np.maximum(self.layer[:, place] - 1, 0)
            stacks = moves.with_change(
                stacks, self.kind[:, place], layer, np.nan_to_num(self.changed[:, place])
            )
        return stacks

    @classmethod
    def nothing(cls, risk: Floats) -> Advice:
        """No change for pieces of these risks."""
        count = len(risk)
        shape = (count, MOST_MOVES)
        return cls(
            word=np.full(count, "none", dtype=object),
            kind=np.full(shape, "", dtype=object),
            layer=np.zeros(shape, dtype=np.intp),
            planned=np.full(shape, np.nan),
            changed=np.full(shape, np.nan),
            risk=np.array(risk, dtype=float),
        )


def advise(
    ask: Ask,
    risk: Floats,
    meant_to_run: Bools,
    on_cookie: Bools,
    willing: Willing = AS_DELIVERED,
) -> Advice:
    """The cheapest change that is enough for each piece.

    Parameters
    ----------
    ask : Ask for n pieces
    risk : ndarray, shape (n,)
        As planned.
    meant_to_run : ndarray of bool, shape (n,)
        From `is_meant_to_run`.
    on_cookie : ndarray of bool, shape (n,)
        Whether a cookie holds what may run.
    willing : Willing
    """
    advice = Advice.nothing(risk)
    over = risk > ask.tolerance
    advice.word[over] = np.where(meant_to_run[over], "pedestal", "dish")
    lost = willing.lost_at(ask.tolerance)
    case = Case(ask, np.minimum(ask.tolerance, risk - willing.reglaze / lost))
    left = np.flatnonzero(over & ~meant_to_run)
    # Over what is tolerated a loss always costs more than a cookie: see `Willing.lost_at`.
    cookie = on_cookie & ("cookie" in willing.kinds)
    every = [way for way in moves.ways(ask.stacks.present.shape[1]) if _is_willing(way, willing)]
    hardly = [way for way in every if len(way) == 1 and _hardly_shows(way[0])]
    left = _tried(case, hardly, left, risk, advice)
    on_one = left[cookie[left] & (risk[left] < LIKELY)]
    advice.word[on_one] = "cookie"
    left = np.setdiff1d(left, on_one)
    left = _tried(case, [way for way in every if way not in hardly], left, risk, advice)
    return advice


def _hardly_shows(move: Move) -> bool:
    return move.kind == "wax" or (move.kind in EDGES and move.little)


def _is_willing(way: tuple[Move, ...], willing: Willing) -> bool:
    words = {"wax": "wax", "top edge": "edge", "edge": "edge", "coat": "coats"}
    return all(words[move.kind] in willing.kinds for move in way)


def _tried(
    case: Case, ways: Sequence[tuple[Move, ...]], left: Indices, risk: Floats, advice: Advice
) -> Indices:
    """Write down what of some ways is enough for some pieces; those that are left over."""
    hopeless = np.zeros((len(risk), len(EDGES)), dtype=bool)
    bounded = False
    for _, group in groupby(ways, lambda way: (len(way), way[0], way[-1].kind)):
        alike = list(group)
        if not len(left):
            break
        if len(alike[0]) > 1 and not bounded:
            bounded = True
            hopeless[left] = _beyond_hope(case.take(left))
        kinds = {move.kind for move in alike[0]}
        covered = [kind not in kinds for kind in EDGES]
        beyond = np.asarray(hopeless[:, covered].any(axis=1))
        if len(alike) > MANY:
            worth = left[~beyond[left]]
            every = (alike[0][0], *(way[1] for way in alike))
            beyond[worth] = _too_little(case.take(worth), every)
        for way in alike:
            worth = left[~beyond[left]]
            if len(worth):
                left = np.setdiff1d(left, _try(case, way, worth, risk, advice))
    return left


def _beyond_hope(case: Case) -> Bools:
    """Whether all changes at once but those of one kind of edge are too little, (n, 2)."""
    each = range(case.ask.stacks.present.shape[1])
    every = [Move("wax"), Move("top edge")]
    every += [Move(kind, k, little=kind == "coat") for kind in ("edge", "coat") for k in each]
    some = [[move for move in every if move.kind != left_out] for left_out in EDGES]
    return np.stack([_too_little(case, kept) for kept in some], axis=1)


def _too_little(case: Case, some: Iterable[Move]) -> Bools:
    """Whether even so many changes at once, each as far as it may go, are not enough, (n,).

    What is settled here spares most of the combinations, since fewer changes are never safer.
    """
    stacks = changed = case.ask.stacks
    for move in some:
        far = moves.reach(stacks, move, ())
        amount = far.at(np.ones(len(far.start)))
        if move.kind in EDGES:  # none lower than the others have it already
            amount = np.maximum(amount, decisions.pick(changed.lower_m, far.layer))
        changed = _placed(changed, move, far, amount)
    return np.asarray(case.ask.risk(changed) > case.goal)


def _placed(stacks: Stacks, move: Move, far: Reach, amount: Floats, off: Any = 0.0) -> Stacks:
    kind = moves.told_kind(stacks, move, far.layer)
    kind[~far.possible] = ""
    return moves.with_change(stacks, kind, far.layer, amount, off)


def _try(case: Case, way: tuple[Move, ...], left: Indices, risk: Floats, advice: Advice) -> Indices:
    """Write down for which of some pieces a way is enough, and how much of it; those pieces."""
    part = case.take(left)
    reaches = [moves.reach(part.ask.stacks, move, way) for move in way]
    possible = np.logical_and.reduce([far.possible for far in reaches])
    left, part = left[possible], part.take(np.flatnonzero(possible))
    if not len(left):
        return left
    reaches = [far.take(possible) for far in reaches]
    finest = np.max([far.steps for far in reaches], axis=0)
    tried = _Trial(part, way, reaches, finest)
    count = decisions.least_safe(tried.low, part.goal, risk[left], finest)
    # Low edges are the worst but where an edge comes upon another: there the rest is tried, too.
    some = np.flatnonzero(count >= 0)
    doubtful = some[tried.worst(count[some], some) > part.goal[some]]
    if len(doubtful):
        count[doubtful] = tried.least(doubtful, count[doubtful])
    enough = np.flatnonzero(count >= 0)
    if len(enough):
        _write_down(advice, tried, left, count / finest, enough)
    return left[enough]


@dataclass(frozen=True)
class _Trial:
    """A way being tried on n pieces."""

    case: Case
    way: tuple[Move, ...]
    reaches: list[Reach]
    finest: Indices

    def low(self, count: Indices, who: Indices) -> Floats:
        """Risk after so many steps, every edge as low as a hand may end."""
        ask, amounts = self._amounts(count, who)
        stacks = ask.stacks
        for kind, layer, amount in amounts:
            stacks = moves.with_change(stacks, kind, layer, _thicker(kind, amount), -moves.HAND_M)
        return ask.risk(stacks)

    def worst(self, count: Indices, who: Indices) -> Floats:
        """Highest risk after so many steps, told on either ruler, wherever a hand may end."""
        ask, amounts = self._amounts(count, who)
        found = np.zeros(len(who))
        for units in RULERS:
            base, on_wall = ask.stacks, []
            for kind, layer, amount in amounts:
                told = moves.as_told(kind, amount, units)
                if np.isin(kind, ("wax", "edge")).any():
                    on_wall.append((kind, layer, told))
                else:
                    base = moves.with_change(base, kind, layer, _thicker(kind, told))
            for stacks in _by_hand(base, on_wall):
                found = np.maximum(found, ask.risk(stacks))
        return found

    def least(self, who: Indices, count: Indices) -> Indices:
        """Least number of steps above some that is enough wherever a hand may end; -1 for none."""
        part = _Trial(
            self.case.take(who), self.way, [far.take(who) for far in self.reaches], self.finest[who]
        )
        each = np.arange(len(who))
        more = decisions.least_safe(
            lambda steps, some: part.worst(count[some] + steps, some),
            part.case.goal,
            part.worst(count, each),
            part.finest - count,
        )
        return np.where(more < 0, -1, count + more)

    def _amounts(
        self, count: Indices, who: Indices
    ) -> tuple[Ask, list[tuple[Objects, Indices, Floats]]]:
        ask = self.case.ask.take(who)
        found = []
        for move, far in zip(self.way, self.reaches, strict=True):
            some = far.take(who)
            kind = moves.told_kind(ask.stacks, move, some.layer)
            found.append((kind, some.layer, some.at(count / self.finest[who])))
        return ask, found


def _thicker(kind: Objects, amount: Floats) -> Floats:
    """A thickness as much over what is told as a hand may be; the rest as it is."""
    return np.where(kind == "thickness", (1.0 + moves.HAND_SHARE) * amount, amount)


def _by_hand(stacks: Stacks, changes: list[tuple[Objects, Indices, Floats]]) -> Iterator[Stacks]:
    """The pieces with every edge as far off as a hand may end, in each way that matters."""
    if not changes:
        yield stacks
    for place, (kind, layer, amount) in enumerate(changes):
        if place and changes[0][0][0] == "wax":
            return  # a band comes first, since edges are found from it
        for off in moves.hand_offsets(stacks, kind, layer, amount):
            made = moves.with_change(stacks, kind, layer, amount, off)
            yield from _by_hand(made, changes[:place] + changes[place + 1 :])


def _write_down(
    advice: Advice, tried: _Trial, pieces: Indices, share: Floats, enough: Indices
) -> None:
    at, stacks = pieces[enough], tried.case.ask.stacks
    advice.word[at] = "change"
    for place, (move, far) in enumerate(zip(tried.way, tried.reaches, strict=True)):
        kind = moves.told_kind(stacks, move, far.layer)
        planned = decisions.pick(stacks.lower_m, far.layer)
        planned = np.where(kind == "coat", decisions.pick(stacks.coats, far.layer), planned)
        dry_m = decisions.pick(stacks.thickness_m, far.layer) / FIRED_SHARE
        advice.kind[at, place] = kind[enough]
        advice.layer[at, place] = far.layer[enough] + 1
        advice.planned[at, place] = np.where(kind == "thickness", dry_m, planned)[enough]
        advice.changed[at, place] = far.at(share)[enough]
    part = tried.case.ask.take(enough)
    advice.risk[at] = part.risk(advice.take(at).told_in("mm").made(part.stacks))


def is_meant_to_run(stacks: Stacks) -> Bools:
    """Whether a piece bears a glaze that grows crystals, which runs as a matter of course."""
    zinc = stacks.zinc_mol >= CRYSTAL_ZINC_MOL
    return np.asarray((zinc & (stacks.alumina_mol <= CRYSTAL_ALUMINA_MOL)).any(axis=1))
