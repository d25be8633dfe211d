"""What a log teaches: effects fitted to its outcomes with the film that will predict.

Each outcome, an interval of the run, is an interval of the margin of an edge. The margins are taken
as a line in the effects, the effects are fitted to it, and the line is drawn anew about what was
found, until nothing moves: what is fitted is what predicts. The prior is that of the rules, so
that a log without a result answers as they do.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from runpredict.arrays import Bools, Floats, Indices
from runpredict.model import effects, fit, priors
from runpredict.model.effects import Effect
from runpredict.model.estimator import CensoredMarginClassifier
from runpredict.model.line import Edges
from runpredict.model.outcomes import Outcomes
from runpredict.model.readings import Readings
from runpredict.model.stacks import Stacks
from runpredict.model.studio import Studio, prior_by_glaze

MOST_ROUNDS = 10  # times the line is drawn anew
# Log of the likelihood: a line that gains less, and so little a row more, is the last.
LEAST_GAIN, LEAST_GAIN_A_ROW = 0.05, 1e-4
LEAST_SHARE = 0.02  # of the way to where a line points, below which none of it is gone
MOST_EFFECTS = 800  # of which the covariance is kept; a log of forty glazes has fewer
RARE = ("pair", "combination", "firing")  # families that may be left out beyond that
LEAST_RUN_M = 2e-3  # a run shorter than this is known only as no longer; contact lines hold it


@dataclass(frozen=True)
class Log:
    """A log's outcomes, edge by edge.

    Attributes
    ----------
    piece, edge : ndarray of int, shape (m,)
    near_m, far_m : ndarray, shape (m,)
        Ends of the interval of each run; the nearer 0 where it may not have run, the farther
        inf where it passed the foot. [m]
    at_foot : ndarray of bool, shape (m,)
        Whether all that is known is on which side of the foot it ended.
    """

    piece: Indices
    edge: Indices
    near_m: Floats
    far_m: Floats
    at_foot: Bools

    @classmethod
    def of(cls, stacks: Stacks, outcomes: Outcomes) -> Log:
        """All edges of which something is known."""
        used = stacks.glazed & ~np.isnan(outcomes.upper_m) & (stacks.thickness_m > 0)
        piece, edge = np.nonzero(used)
        near, far = outcomes.lower_m[piece, edge], outcomes.upper_m[piece, edge]
        reach = stacks.lower_m[piece, edge]
        at_foot = np.isclose(np.where(np.isfinite(far), far, near), reach)
        near = np.where(near >= LEAST_RUN_M, near, 0.0)
        return cls(piece, edge, near, np.maximum(far, np.maximum(near, LEAST_RUN_M)), at_foot)

    def ends(self, near: Floats, far: Floats) -> tuple[Floats, Floats]:
        """Interval of each margin, open where its run may be none, or went past the foot."""
        lower = np.where(self.near_m > 0, near, -np.inf)
        return lower, np.where(np.isfinite(self.far_m), far, np.inf)

    def only(self, kept: Bools) -> Log:
        """Some of the edges."""
        return Log(
            self.piece[kept],
            self.edge[kept],
            self.near_m[kept],
            self.far_m[kept],
            self.at_foot[kept],
        )


@dataclass(frozen=True)
class Learned:
    """A fit of a log.

    Attributes
    ----------
    studio : Studio
    weight : ndarray, shape (m,)
        How much each edge of the `Log` counted: near 0 for one that nothing explains.
    sound : bool
        False where no fit was found; then the studio is the one without a log.
    """

    studio: Studio
    weight: Floats
    sound: bool


def learn(
    stacks: Stacks,
    log: Log,
    start: Studio | None = None,
    progress: Callable[[float], None] | None = None,
) -> Learned:
    """Train on a log.

    Parameters
    ----------
    stacks : Stacks
    log : Log
    start : Studio, optional
        About whose effects the first line is drawn; about those of the prior without it.
    progress : callable (share done), optional
    """
    known, dropped_variance = _asked_about(stacks, log)
    mean, sd = effects.prior_of(known, prior_by_glaze(stacks))
    family = _families(known)
    prior = fit.Prior(mean, sd, family, priors.NOISE_SD)
    model = CensoredMarginClassifier(
        mean, sd, None, noise_sd=priors.NOISE_SD, family=family, warm_start=True
    )
    edges, readings = _edges(stacks, log, known), Readings.of(stacks, known)
    paired = priors.paired_variance(stacks) + dropped_variance
    of_piece = np.stack([priors.coat_variance(stacks), paired], axis=1)
    waves = log.at_foot * priors.wave_variance(stacks.lower_m[log.piece, log.edge])
    of_edge = np.column_stack([of_piece[log.piece], waves])
    if not len(log.piece):
        nothing = fit.Evidence(None, log.near_m, log.far_m, of_edge)
        return Learned(_studio(stacks, known, fit.start_of(nothing, prior)), np.ones(0), True)
    of_all = np.concatenate([of_edge, readings.parts])
    about = mean if start is None else start.means_of(known, mean)
    fitted: fit.Fitted | None = None
    for done in range(MOST_ROUNDS):
        try:
            _fit(model, (edges, readings), log, about, of_edge)
            fitted = model.fitted_
        except (ValueError, np.linalg.LinAlgError):
            return Learned(Studio(), np.ones(len(log.piece)), False)
        if not np.isfinite(fitted.covariance).all():
            return Learned(Studio(), np.ones(len(log.piece)), False)

        def height(at: Floats, spreads: fit.Fitted = fitted) -> float:
            near, far = edges.margins(at)
            ends = readings.ends(*log.ends(-near, -far), at)
            return fit.peak_height(at, *ends, of_all, prior, spreads)

        about, gain = _climbed(height, about, fitted.mean)
        model.fitted_ = fitted = replace(fitted, mean=about)
        if progress is not None:
            progress((done + 1) / MOST_ROUNDS)
        if gain < LEAST_GAIN + LEAST_GAIN_A_ROW * len(log.piece):
            break
    assert fitted is not None
    return Learned(_studio(stacks, known, fitted), fitted.weight[: len(log.piece)], True)


def _climbed(
    height: Callable[[Floats], float], start: Floats, toward: Floats
) -> tuple[Floats, float]:
    """As far toward a point as it goes up, halved until it does, and how much that gained."""
    before = height(start)
    share = 1.0
    while share > LEAST_SHARE:
        there = start + share * (toward - start)
        gain = height(there) - before
        if gain > 0.0:
            return there, gain
        share *= 0.5
    return start, 0.0


def _asked_about(stacks: Stacks, log: Log) -> tuple[dict[Effect, int], Floats]:
    """Effects that are learned, and the variance of each piece by those that are left out.

    A log has more pairs than it can tell apart; beyond `MOST_EFFECTS` the rarest pairs and firings
    stay as they are expected.
    """
    found = effects.effects_in([stacks])
    known = {effect: i for i, effect in enumerate(found)}
    left_out = np.zeros(len(stacks.present))
    if len(found) <= MOST_EFFECTS:
        return known, left_out
    design = effects.piece_design(stacks, known)
    counted = np.bincount(log.piece, minlength=len(stacks.present)).astype(float)
    rows = np.bincount(design.columns, counted[design.rows], len(found))
    rare = [effect for effect in found if effect[0] in RARE]
    rare.sort(key=lambda effect: (rows[known[_of_pots(effect)]], repr(effect)))
    out = set(rare[: len(found) - MOST_EFFECTS])
    for family in ("combination", "firing"):
        mine = [i for effect, i in known.items() if effect[0] == family and effect in out]
        here = np.isin(design.columns, mine)
        # A pair is left out with its combination, or nearly so: as much again.
        variance = priors.FAMILIES[family].sd ** 2 * (2.0 if family == "combination" else 1.0)
        share = design.values[here] ** 2 * variance
        left_out += np.bincount(design.rows[here], share, len(left_out))
    return {e: i for i, e in enumerate(e for e in found if e not in out)}, left_out


def _of_pots(effect: Effect) -> Effect:
    """The effect on whole pots that has the rows of a pair."""
    return ("combination", effect[1]) if effect[0] == "pair" else effect


def _families(known: dict[Effect, int]) -> Indices:
    """Number of the family of each effect, -1 where its spread is not learned."""
    learned = [name for name, family in priors.FAMILIES.items() if family.learned]
    numbers = {name: i for i, name in enumerate([*learned, "glaze"])}
    return np.array([numbers.get(family, -1) for family, _ in known], dtype=np.intp)


def _edges(stacks: Stacks, log: Log, known: dict[Effect, int]) -> Edges:
    far = np.where(np.isfinite(log.far_m), log.far_m, np.maximum(log.near_m, LEAST_RUN_M))
    near = np.where(log.near_m > 0, log.near_m, far)
    return Edges(stacks, known, log.piece, log.edge, (near, far))


def _fit(
    model: CensoredMarginClassifier,
    seen: tuple[Edges, Readings],
    log: Log,
    about: Floats,
    parts: Floats,
) -> None:
    """Fit the line about some effects: what is left of each margin lies within its interval."""
    edges, readings = seen
    line = edges.line(about)
    given = line.slope @ about
    lower, upper = log.ends(*(given - margin for margin in line.margin))
    rows = readings.beside(fit.Evidence(line.slope, lower, upper, parts, line.stretch, about))
    past = np.append(np.isinf(log.far_m), np.zeros(len(readings.read), dtype=bool))
    model.fit(
        rows.design,
        past,
        rows.lower,
        rows.upper,
        variances=rows.parts,
        stretch=rows.stretch,
        about=about,
    )


def _studio(stacks: Stacks, known: dict[Effect, int], fitted: fit.Fitted) -> Studio:
    names, counts = np.unique(stacks.glaze_name[stacks.present].astype(str), return_counts=True)
    coats, pairs, waves = fitted.part_scale
    return Studio(
        known=known,
        mean=fitted.mean,
        covariance=fitted.covariance,
        sd=fitted.sd,
        noise_sd=fitted.noise_sd,
        pair_variance=float(priors.PAIRED_VARIANCE * pairs),
        coat_sd=float(priors.COAT_SD * np.sqrt(coats)),
        wave_m=float(priors.WAVE_M * np.sqrt(waves)),
        mix=fitted.mix,
        seen={str(n): int(c) for n, c in zip(names, counts, strict=True)},
    )
