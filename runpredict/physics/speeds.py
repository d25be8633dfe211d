"""How fast layers of molten glaze go that lie over each other.

Three times the speed [1/m · m², per unit of what `film` calls the factor], natural log, of the
front of some layers on clay and of their step over what goes on below an edge.

References
----------
Whitham, G. B., Linear and Nonlinear Waves (1974), ch. 2.3 (speed of a shock).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from itertools import combinations
from typing import NamedTuple

import numpy as np

from runpredict.arrays import Bools, Floats, Indices

TINY, TINY_M = 1e-300, 1e-12  # stand for none where a number is divided by or its log is taken
ALL_CHOICES = 4  # layers of which every choice is looked at
# A glaze thinner than this moves less than as one of a pair: the choice that has it fades with it.
FADES_BELOW_M = 0.05e-3
USUAL_THICKNESS_M = 0.25e-3  # fired; the thickness about which a power of it turns. Our choice.


@dataclass(frozen=True)
class Bends:
    """How a studio's glaze moves where the film leaves it open.

    Attributes
    ----------
    mixing : float, 0 to 1
        Share of melts that became one, against melts that stayed apart, in the log of each speed.
    height : float, 0 to below 1
        By what power of its height glaze higher up is readier to run than the film says.
    over : float, 0 to 1
        How far a step over glaze goes with what it rides on, against a rigid base; in its log.
    thickness : float, above -1
        Power of the thickness of what moves besides the film's own.
    held_m : float
        A film that would creep less than this stays where it is, held by its contact line. [m]
    way : float, 0 or more
        Power of the way besides the film's own by which a longer run takes more mobility.
    """

    mixing: float = 0.5
    height: float = 0.0
    over: float = 1.0
    thickness: float = 0.0
    held_m: float = 0.0
    way: float = 0.0


def choices(layers: int) -> tuple[Bools, Bools]:
    """The choices of layers that may move over the rest.

    Of up to `ALL_CHOICES` layers every one; of more each layer alone, and all from one of them
    outward or inward.

    Returns
    -------
    taken : ndarray of bool, shape (c, layers)
    loose : ndarray of bool, shape (c,)
        Whether what there is of them in a band counts, or only all of them.
    """
    if layers <= ALL_CHOICES:
        number = np.arange(1, 2**layers)
        taken = ((number[:, None] >> np.arange(layers)) & 1).astype(bool)
        return taken, np.zeros(len(taken), dtype=bool)
    each = np.arange(layers)
    onward = each >= each[:, None]
    taken = np.concatenate([np.eye(layers, dtype=bool), onward, onward.T])
    return taken, np.arange(len(taken)) >= layers


class Some(NamedTuple):
    """Layers that may move, choice by choice: as they lie, or some of them hardly there.

    A choice may be quicker than its layers alone, and a stiff layer in it slow it again as it
    grows; so that more never holds back, what moved with less of it still does.

    Attributes
    ----------
    taken, thin : ndarray of bool, shape (s, k)
        Layers of it; those as thin as may be and still count.
    least : ndarray of int, shape (s,)
        So many of its layers there must be in a band for it to count.
    first : ndarray of int, shape (c,)
        Where each choice of `choices` begins.
    """

    taken: Bools
    thin: Bools
    least: Indices
    first: Indices


@cache
def some_of(layers: int) -> Some:
    """What may move of up to so many layers."""
    taken: list[Bools] = []
    thin: list[Bools] = []
    least: list[int] = []
    first = []
    for choice, loose in zip(*choices(layers), strict=True):
        first.append(len(taken))
        own = np.flatnonzero(choice)
        for size in range(1 if loose else len(own)):
            for some in combinations(own, size):
                taken.append(choice)
                thin.append(np.isin(np.arange(layers), some))
                least.append(1 if loose else len(own))
    return Some(np.array(taken), np.array(thin), np.array(least), np.array(first))


def speeds_log(
    layer_m: Floats, glaze: Indices, base: Bools, melt_log: Floats, bends: Bends
) -> tuple[Floats, Floats]:
    """Log speed of every choice of layers.

    Parameters
    ----------
    layer_m : ndarray, shape (k, b, n)
        Thickness of each layer in each band of n pieces. [m]
    glaze : ndarray of int, shape (k, n)
        Which layers are of one glaze.
    base : ndarray of bool, shape (a, k, n)
        Which layers go on just below each of some edges.
    melt_log : ndarray, shape (k, n)
        Natural log of the mobility of each layer's melt. [1/m]

    Returns
    -------
    front : ndarray, shape (c, b, n)
        Of the front on clay of each choice, -inf where it is none.
    step : ndarray, shape (a, c, b, n)
        Of each edge, as a step over its base where it has one.

    Notes
    -----
    Layers apart (immiscible fluids flowing side by side, Bird, Stewart & Lightfoot, Transport
    Phenomena, ch. 2): with A the glaze from a layer's inner face out and B that from its outer
    face out, it adds m (A³ - B³) / 3 to the flux q, and the front goes at q(H) / H. A step of
    height H - h over a base h that goes on below it moves as [q(H) - q(h)] / (H - h)
    (Rankine-Hugoniot, e.g. Whitham, ch. 2.3), no faster than the surface.
    Melts that became one have the mean log mobility, by thickness.
    """
    some = some_of(len(layer_m))
    thin_m = np.minimum(layer_m, FADES_BELOW_M)
    part_m = np.where(some.thin[..., None, None], thin_m, layer_m)
    part_m *= some.taken[..., None, None]
    valid = (part_m > 0).sum(axis=1) >= some.least[:, None, None]
    melts = _Melts(melt_log, np.asarray(layer_m.any(axis=1)), bends.mixing)
    whole = melts.pile(part_m.swapaxes(0, 1))
    fades = _fades_log(part_m, glaze)
    if bends.thickness:
        fades += 2.0 * bends.thickness * np.log(whole.height_m / USUAL_THICKNESS_M)
    front = np.where(valid, melts.front_log(whole) + fades, -np.inf)
    step = np.empty((len(base), *front.shape))
    if not len(base):
        return np.maximum.reduceat(front, some.first), step[:, some.first]
    one = some.taken.sum(axis=1) == 1
    rides = (base[:, None, :, None] & (part_m[one] > 0)).any(axis=2)
    step[:, one] = np.where(rides, -np.inf, front[one])
    over = _Pile(*(each[~one] for each in whole))
    below = melts.pile(part_m[~one, j] * base[:, None, j, None] for j in range(len(melt_log)))
    rest = melts.pile(part_m[~one, j] * ~base[:, None, j, None] for j in range(len(melt_log)))
    speed = melts.step_log(over, below, rest, bends.over) + fades[~one]
    step[:, ~one] = np.where(valid[~one] & (rest.height_m > TINY_M), speed, -np.inf)
    return np.maximum.reduceat(front, some.first), np.maximum.reduceat(step, some.first, axis=1)


class _Pile(NamedTuple):
    """Some layers over each other: their height [m], three times their flux, and the like.

    Of arrays (..., b, n), as are the sum of the log mobilities, each times its thickness, and
    three times the speed of the surface.
    """

    height_m: Floats
    flux: Floats
    melt_m: Floats
    surface: Floats


class _Melts:
    """Speeds of films whose melts lie between those of layers apart and one melt of all."""

    def __init__(self, melt_log: Floats, there: Bools, mixing: float) -> None:
        top = np.where(there, melt_log, -np.inf).max(axis=0)
        self.top_log = np.where(np.isfinite(top), top, 0.0)
        self.melt_log, self.mixing = melt_log, mixing
        with np.errstate(under="ignore"):
            self.melt = np.exp(np.minimum(melt_log - self.top_log, 0.0))

    def pile(self, layers_m: Iterable[Floats]) -> _Pile:
        """Layers (..., b, n) one over the other, in the order they were applied."""
        height = flux = melt_m = surface = square = cube = np.zeros(())
        each = list(zip(layers_m, self.melt, self.melt_log, strict=True))
        for layer_m, melt, melt_log in reversed(each):
            height = height + layer_m
            square, squared = height * height, square
            cube, cubed = square * height, cube
            flux = flux + melt * (cube - cubed)
            surface = surface + melt * (square - squared)
            melt_m = melt_m + melt_log * layer_m
        return _Pile(np.maximum(height, TINY_M), flux, melt_m, 1.5 * surface)

    def _between(self, apart: Floats, of: _Pile, square: Floats) -> Floats:
        """Log speed between melts apart and one melt of all of a pile, (..., b, n)."""
        apart_log = self.top_log + np.log(np.maximum(apart, TINY))
        if self.mixing == 0.0:
            return apart_log
        one_log = of.melt_m / of.height_m + np.log(np.maximum(square, TINY))
        return np.asarray((1.0 - self.mixing) * apart_log + self.mixing * one_log, dtype=float)

    def front_log(self, pile: _Pile) -> Floats:
        """On clay, (..., b, n)."""
        return self._between(pile.flux / pile.height_m, pile, pile.height_m**2)

    def step_log(self, whole: _Pile, base: _Pile, rest: _Pile, over: float) -> Floats:
        """Of a pile over those of its layers that go on below, (..., b, n)."""
        height, depth, gone = whole.height_m, base.height_m, rest.height_m
        shock = np.minimum((whole.flux - base.flux) / gone, whole.surface)
        square = np.minimum(height**2 + height * depth + depth**2, 1.5 * height**2)
        wet = self._between(shock, whole, square)
        dry = self._between(rest.flux / gone, rest, gone**2)
        return np.asarray(dry + over * np.maximum(wet - dry, 0.0), dtype=float)


def _fades_log(part_m: Floats, glaze: Indices) -> Floats:
    """What a choice of several glazes loses where one of them is hardly there, (s, b, n)."""
    there = part_m > 0
    least = np.full(part_m[:, 0].shape, np.inf)
    several = np.zeros(least.shape, dtype=bool)
    for j in range(len(glaze)):
        thickness_m = part_m[:, j]
        for i in range(len(glaze)):
            alike = glaze[i] == glaze[j]
            if i != j and alike.any():
                thickness_m = thickness_m + alike * part_m[:, i]
            if i < j and not alike.all():
                several |= there[:, i] & there[:, j] & ~alike
        least = np.where(there[:, j], np.minimum(least, thickness_m), least)
    share = np.where(several, np.minimum(least / FADES_BELOW_M, 1.0), 1.0)
    return np.log(np.maximum(share, TINY))
