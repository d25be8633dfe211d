"""The effects a log can teach: their names, and which of them act on which edge.

An effect is a step in the natural log of mobility. Those of a firing and of a piece are groups of
their own (`posterior`); all others are columns here, each with a family and a name.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import sparse

from runpredict.arrays import AnyArray, Floats, Indices
from runpredict.model import rules
from runpredict.model.features import Stacks

# Families, and the spread expected of each; those of the rules are in `rules`. Natural log of
# mobility; common practice, no source, checked against simulated studios.
PAIR_EDGE_SD = 0.6  # one edge of a pair against the other
ORDER_SD = 0.3  # a glaze under others against the same one over them
METHOD_SD = 0.12  # natural log of thickness: dip, pour, brush, spray against the hand
OVER_SD = 0.2  # all edges over glaze
RAMP_SD = 0.3  # a heating rate e times as fast
SLOW_RAMP_C_PER_H = 60.0
RAMP_LOG_MOST = 1.2  # beyond this rates count as this
ALIKE_FAMILIES = ("pair", "pair edge", "order", "order below")

Effect = tuple[str, Any]


@dataclass(frozen=True)
class Terms:
    """Coefficients of effects in edges: flat arrays, one entry a term.

    Attributes
    ----------
    piece, edge : ndarray of int
    effect : list of Effect
    coefficient : ndarray
    """

    piece: Indices
    edge: Indices
    effect: list[Effect]
    coefficient: Floats


def pair_of_edge(stacks: Stacks) -> tuple[AnyArray, AnyArray]:
    """Glaze over and glaze under, by number, of the pair each edge belongs to; -1 for none.

    Returns
    -------
    over, under : ndarray of int, shape (n, k)
        The first edge shares its pair with the second.
    """
    over, under = np.full_like(stacks.glaze, -1), np.full_like(stacks.glaze, -1)
    over[:, 1:], under[:, 1:] = stacks.glaze[:, 1:], stacks.glaze[:, :-1]
    if over.shape[1] > 1:
        over[:, 0], under[:, 0] = over[:, 1], under[:, 1]
    alone = ~stacks.present | (stacks.present.sum(axis=1) < 2)[:, None]
    over[alone], under[alone] = -1, -1
    return over, under


def terms_of(stacks: Stacks) -> Terms:
    """Every effect on every edge that is there.

    Parameters
    ----------
    stacks : Stacks of n pieces

    Returns
    -------
    Terms
    """
    parts: list[tuple[AnyArray, AnyArray, list[Effect], Floats]] = []

    def add(where: AnyArray, family: str, names: AnyArray, amount: Any) -> None:
        piece, edge = np.nonzero(where & stacks.present)
        picked = np.broadcast_to(names, stacks.present.shape)[piece, edge]
        values = np.broadcast_to(np.asarray(amount, dtype=float), stacks.present.shape)
        parts.append((piece, edge, [(family, name) for name in picked], values[piece, edge]))

    everywhere = stacks.present
    glaze = _names(stacks, stacks.glaze)
    for j in range(stacks.present.shape[1]):
        share = stacks.shares[:, :, j]
        coat = 2.0 * share * ~stacks.measured[:, [j]]
        there = everywhere & stacks.present[:, [j]]
        add(there, "glaze", glaze[:, [j]], share)
        add(there & ~stacks.measured[:, [j]], "hand", np.array(""), coat)
        add(there & ~stacks.measured[:, [j]], "method", stacks.method[:, [j]], coat)
    over, under = pair_of_edge(stacks)
    upper = np.arange(stacks.present.shape[1]) > 0
    paired = over >= 0
    pair = np.empty(over.shape, dtype=object)
    for i, k in zip(*np.nonzero(paired), strict=True):
        pair[i, k] = (stacks.glazes[over[i, k]], stacks.glazes[under[i, k]])
    add(paired, "pair", pair, 1.0)
    add(paired, "pair edge", pair, np.where(upper, 0.5, -0.5))
    for family, where in (("order", paired), ("order below", paired & ~upper)):
        add(where, family, _names(stacks, under), 0.5)
        add(where, family, _names(stacks, over), -0.5)
    add(paired & upper, "over", np.array(""), 1.0)
    add(everywhere, "kiln", np.array(""), 1.0)
    add(everywhere, "body", stacks.body[:, None], 1.0)
    ramp = np.clip(np.log(stacks.ramp_c_per_h / SLOW_RAMP_C_PER_H), -RAMP_LOG_MOST, RAMP_LOG_MOST)
    add(everywhere, "ramp", np.array(""), ramp[:, None])
    return Terms(
        piece=np.concatenate([part[0] for part in parts]),
        edge=np.concatenate([part[1] for part in parts]),
        effect=[effect for part in parts for effect in part[2]],
        coefficient=np.concatenate([part[3] for part in parts]),
    )


def _names(stacks: Stacks, codes: AnyArray) -> AnyArray:
    return np.array([*stacks.glazes, ""], dtype=object)[codes]


def design(terms: Terms, shape: tuple[int, int], known: dict[Effect, int]) -> sparse.csr_array:
    """Terms as a matrix.

    Parameters
    ----------
    terms : Terms of n pieces with up to k layers
    shape : (n, k)
    known : dict
        Column of each effect; terms of others are left out.

    Returns
    -------
    sparse array, shape (n k, number known), edge k of piece i in row i K + k
    """
    column = np.array([known.get(effect, -1) for effect in terms.effect], dtype=np.intp)
    kept = column >= 0
    rows = terms.piece * shape[1] + terms.edge
    return sparse.csr_array(
        (terms.coefficient[kept], (rows[kept], column[kept])),
        shape=(shape[0] * shape[1], len(known)),
    )


def prior_of(
    effects: Sequence[Effect], glaze_prior: dict[str, tuple[float, float]]
) -> tuple[Floats, Floats]:
    """Mean and spread expected of each effect.

    Parameters
    ----------
    effects : sequence of Effect, length p
    glaze_prior : dict
        Mean and spread of each glaze.

    Returns
    -------
    mean, sd : ndarray, shape (p,)
    """
    common = {
        "pair": (rules.PAIR_MEAN, rules.PAIR_SD),
        "pair edge": (0.0, PAIR_EDGE_SD),
        "order": (0.0, ORDER_SD),
        "order below": (0.0, ORDER_SD),
        "body": (0.0, rules.BODY_SD),
        "kiln": (0.0, rules.KILN_SD),
        "over": (0.0, OVER_SD),
        "ramp": (0.0, RAMP_SD),
        "hand": (0.0, rules.HAND_SD),
        "method": (0.0, METHOD_SD),
    }
    both = [glaze_prior[name] if family == "glaze" else common[family] for family, name in effects]
    table = np.array(both, dtype=float).reshape(-1, 2)
    return table[:, 0], table[:, 1]
