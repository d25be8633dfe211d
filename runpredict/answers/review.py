"""Looking back on a log: what ran, what was told, what each glaze does here, what changed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from runpredict.answers.check import predictor_of
from runpredict.answers.combinations import combinations_of
from runpredict.answers.questions import (
    DEFAULT_TOLERANCE,
    checked_tolerance,
    portions,
)
from runpredict.answers.review_effects import (
    BARE,
    TOLD_FAMILIES,
    effect_name,
    effects_of,
    glaze_to_blame,
    glaze_under,
    since_batches,
    than_either,
)
from runpredict.arrays import Floats
from runpredict.errors import BadInput, Fault
from runpredict.model.chances import within_range
from runpredict.model.effects import effects_in
from runpredict.model.features import features_of
from runpredict.model.outcomes import outcomes_of
from runpredict.model.predictors import Predictor, RulesPredictor
from runpredict.model.stacks import Stacks, stacks_of
from runpredict.patience import long_work
from runpredict.tables.firings import firing_words, firings_in_order, named_firing
from runpredict.tables.plan import PlanTables, check_plan
from runpredict.tables.rows import split_results

if TYPE_CHECKING:
    from runpredict.model.predictors import Trial
    from runpredict.model.studio import Studio


UNLIKELY = 0.1  # a result that was told to be less likely than this is a surprise
# A result that counts less than this is likelier than not of the widest part of the noise.
SLIP_COUNTED = 0.15


@dataclass(frozen=True)
class Review:
    """What `review` found. All tables are ready for CSV; lengths in mm.

    Attributes
    ----------
    past_foot : DataFrame, one row a layer that ran past the foot
        piece, firing, fired_on, layer, glaze, over (the glaze under it that it meets, or "bare
        clay"), to_blame (the glaze that carried it: its own, unless more than half of what drives
        it is another's), body, lower_edge_mm, run_mm, risk and run_p50_mm as told without having
        seen its firing.
    predicted_seen : DataFrame, one row a layer of a piece with any result
        piece, firing, layer, glaze, run_p05_mm, run_p50_mm, run_p95_mm, run_mm (where it was
        measured and ended above the foot), past_foot ("yes", "no" or "" for not known), risk,
        over, body, inside ("yes" or "no": the run within the range told), to_blame ("" of a layer
        that did not pass).
    surprises : DataFrame, one row a layer that did what was told to be unlikely
        piece, firing, layer, glaze, past_foot, run_mm, risk, run_p50_mm, counted (how much the
        result counted in what was learned, 0 to 1), slip ("yes" where nothing that was learned
        explains it: check it) and told (the chance that was told of what it did: under `UNLIKELY`
        of all but slips); slips first, then the least likely.
    by_glaze, by_pair, by_body, by_firing : DataFrame
        layers (whose end is known), past_foot (how many passed), expected (how many were told
        to), measured (runs), run_mm and run_p50_mm (means of the measured layers, seen and told),
        inside (share).
        By glaze also to_blame (how many passed that no other glaze carried) and jar ("yes" or
        "no"). By pair (over, under) also than_either, low, high: its
        fluidity as a multiple of that of the runnier of the two alone, with a 90 % interval. By
        firing also pieces, and factor, low, high on the mobility of all glazes in it.
    batches : DataFrame
        As `since_batches`.
    effects : DataFrame, one row an effect
        family, name, factor on fluidity (on thickness for hand, method, glazed by and coat), low
        and high ends of
        its 90 % interval, rows of the log it rests on, run_factor (all runs of those rows as a
        multiple of what they were without it), run_low and run_high (at the ends of the interval).
    combinations : DataFrame
        As `combinations_of`, of what was fired alone.
    by_month : DataFrame, one row a month, the newest last
        month ("2026-03", "" for no date), pots (with a result), past_foot and expected (how many
        of them ran past the foot, and were told to), lost (for another reason), on_cookie (as far
        as it was written).
    scores : DataFrame, index learned (what is answered), rules and base rate
        log_loss and brier out of fold; without rows where there are too few firings.
    reliability : DataFrame
        predicted, seen, pieces in ten bins of the chance told.
    changes : DataFrame
        kind, name, before, now: factors of the effects that the newest firings say something
        of, and scores (how far off the risks told were, root mean square; share of the runs
        within the range told), without those firings and with them; and the pieces of them that
        were told to pass the foot before they were seen ("told of them"), and that did.
    new_firings : tuple of str
    basis : str
        Who answers now: `rules` or `learned`.
    told_by : str
        Who told the predictions: `held back` (models that had not seen the firing) or `rules`.
    pieces, firings : int
        With a result.
    interval_coverage : float
        Share of the measured runs within the range told for them, NaN if none.
    tolerance : float
    """

    past_foot: pd.DataFrame
    predicted_seen: pd.DataFrame
    surprises: pd.DataFrame
    by_glaze: pd.DataFrame
    by_pair: pd.DataFrame
    by_body: pd.DataFrame
    by_firing: pd.DataFrame
    batches: pd.DataFrame
    effects: pd.DataFrame
    combinations: pd.DataFrame
    by_month: pd.DataFrame
    scores: pd.DataFrame
    reliability: pd.DataFrame
    changes: pd.DataFrame
    new_firings: tuple[str, ...]
    basis: str
    told_by: str
    pieces: int
    firings: int
    interval_coverage: float
    tolerance: float

    def tables(self) -> dict[str, pd.DataFrame]:
        """Every table by its name, indices as columns."""
        found = {field.name: getattr(self, field.name) for field in fields(self)}
        named = {name: table for name, table in found.items() if isinstance(table, pd.DataFrame)}
        scores = self.scores.rename_axis("model").reset_index()
        return named | {"scores": scores, "reliability": self.reliability.reset_index(drop=True)}


@long_work("review")
def review(
    log: pd.DataFrame,
    glazes: pd.DataFrame,
    *,
    recipes: pd.DataFrame | None = None,
    materials: pd.DataFrame | None = None,
    schedules: pd.DataFrame | None = None,
    since: str | None = None,
    tolerance: float = DEFAULT_TOLERANCE,
    only_surprises: bool = False,
) -> Review:
    """What a log says of the glazes, and of the tool.

    Parameters
    ----------
    log, glazes, recipes, materials, schedules : DataFrame
        The tables of those names.
    since : str, optional
        The first of the firings that count as new; the newest alone when it is left out.
    tolerance : float
        Highest acceptable chance that a piece passes its foot, for how low a glaze could come.
    only_surprises : bool
        As for `check`.

    Raises
    ------
    BadInput : with every fault of every table, a log without results, or no such firing.
    """
    tables = check_plan(
        None, glazes, log=log, recipes=recipes, materials=materials, schedules=schedules
    )
    return look_back(replace(tables, only_surprises=only_surprises), since, tolerance)


def look_back(
    tables: PlanTables,
    since: str | None = None,
    tolerance: float = DEFAULT_TOLERANCE,
    progress: Callable[[float], None] | None = None,
) -> Review:
    """`review` for tables that have been read; `progress` is called while logs are learned.

    Raises
    ------
    BadInput : a log without results, no such firing, or a tolerance that is none.
    """
    checked_tolerance(tolerance)
    _, log = split_results(tables.log)
    if log.empty:
        message = "holds no result; write down past_foot or run_mm of a layer first."
        raise BadInput([Fault("log", None, None, message)])
    new = new_firings(log, since)
    only = set(log["firing"]) == set(new)
    predictor, trial = predictor_of(tables, _part(progress, 0.0, 1.0 if only else 0.5))
    stacks = stacks_of(features_of(log, tables.glazes, tables.schedules))
    told = _told(stacks, trial)
    seen = _predicted_seen(log, stacks, told[1:])
    seen["to_blame"] = glaze_to_blame(seen, stacks, predictor)
    effects = effects_of(predictor, stacks, log)
    return Review(
        past_foot=_past_foot(seen, log),
        predicted_seen=seen,
        surprises=_surprises(seen, stacks, trial),
        by_glaze=_by_glaze(seen, stacks),
        by_pair=_by_pair(seen, predictor.studio, stacks),
        by_body=_grouped(seen, ["body"]),
        by_firing=_by_firing(seen, log, effects),
        batches=since_batches(predictor, stacks, log),
        effects=effects,
        combinations=combinations_of(
            replace(tables, plan=tables.plan.iloc[:0]), predictor, tolerance
        ),
        by_month=_by_month(tables.log, log, outcomes_of(log, stacks).past, told[0]),
        scores=pd.DataFrame(columns=["log_loss", "brier"]) if trial is None else trial.scores,
        reliability=(
            pd.DataFrame(columns=["predicted", "seen", "pieces"])
            if trial is None
            else trial.reliability
        ),
        changes=_changes(tables, log, new, (effects, trial), _part(progress, 0.5, 1.0)),
        new_firings=new,
        basis=predictor.basis,
        told_by="rules" if trial is None else "held back",
        pieces=len(stacks.present),
        firings=len(set(stacks.firing)),
        interval_coverage=float("nan") if trial is None else trial.interval_coverage,
        tolerance=tolerance,
    )


def _part(
    progress: Callable[[float], None] | None, start: float, end: float
) -> Callable[[float], None] | None:
    """Progress of a part of the work; None where nobody is told."""
    return None if progress is None else lambda done: progress(start + (end - start) * done)


def new_firings(log: pd.DataFrame, since: str | None = None) -> tuple[str, ...]:
    """The firings that count as new, in order.

    Parameters
    ----------
    log : DataFrame
        Layers with results.
    since : str, optional
        The first of them; the newest alone when it is left out.

    Returns
    -------
    tuple of str
        By date where every firing has one, else in the order of the log.

    Raises
    ------
    BadInput : no such firing in the log.
    """
    names = firings_in_order(log)
    if since is None:
        return tuple(names[-1:])
    meant = named_firing(names, since)
    starts = [at for at, name in enumerate(names) if name.strip() == meant]
    if not starts:
        listed = ", ".join(f'"{firing_words(name)}"' for name in names[-20:])
        message = f'"{since}" is not a firing of the log; its newest are {listed}.'
        raise BadInput([Fault("since", None, None, message)])
    return tuple(names[starts[0] :])


def _told(stacks: Stacks, trial: Trial | None) -> tuple[Floats, Floats, Floats]:
    """Chance told of each piece (n,) and layer (n, k), and its run's quantiles [mm] (n, k, 3)."""
    if trial is not None:
        return trial.held.risk, trial.held.layer_risk, trial.held.runs_mm
    parts = []
    for part in portions(stacks):
        chances = RulesPredictor().chances(part)
        layer_risk, risk = chances.risk(part)
        parts.append((risk, layer_risk, 1e3 * chances.run_quantiles_m(part)))
    risk, layer_risk, runs_mm = (np.concatenate(some) for some in zip(*parts, strict=True))
    return risk, layer_risk, runs_mm


def _predicted_seen(log: pd.DataFrame, stacks: Stacks, told: tuple[Floats, Floats]) -> pd.DataFrame:
    at = stacks.at
    risk, runs_mm = told
    outcomes = outcomes_of(log, stacks)
    table = log[["piece", "firing", "layer", "glaze"]].copy()
    for column, name in enumerate(("run_p05_mm", "run_p50_mm", "run_p95_mm")):
        table[name] = runs_mm[..., column][at].astype(float).round(2)
    table["run_mm"] = log["run_mm"].where(~np.isnan(outcomes.run_mm[at]))
    upper = outcomes.upper_m[at]
    table["past_foot"] = np.where(np.isnan(upper), "", np.where(np.isinf(upper), "yes", "no"))
    table["risk"] = risk[at]
    table["over"] = glaze_under(stacks)[at]
    table["body"] = stacks.body[at[0]]
    inside = within_range(table["run_mm"], table["run_p05_mm"], table["run_p95_mm"])
    table["inside"] = np.where(table["run_mm"].isna(), "", np.where(inside, "yes", "no"))
    return table


def _past_foot(seen: pd.DataFrame, log: pd.DataFrame) -> pd.DataFrame:
    columns = ["piece", "firing", "fired_on", "layer", "glaze", "over", "to_blame", "body",
               "lower_edge_mm", "run_mm", "risk", "run_p50_mm"]  # fmt: skip
    table = seen.assign(
        fired_on=log["fired_on"], lower_edge_mm=log["lower_edge_mm"], run_mm=log["run_mm"]
    )
    return table.loc[table["past_foot"] == "yes", columns].reset_index(drop=True)


def _surprises(seen: pd.DataFrame, stacks: Stacks, trial: Trial | None) -> pd.DataFrame:
    """Results that were told to be unlikely, or that nothing learned explains."""
    counted = np.full(len(seen), np.nan)
    if trial is not None:
        counted = trial.doubted[stacks.at]
    told = np.where(seen["past_foot"] == "yes", seen["risk"], 1.0 - seen["risk"])
    slip = counted < SLIP_COUNTED
    odd = seen["past_foot"].ne("") & (slip | (told < UNLIKELY))
    named = ["piece", "firing", "layer", "glaze", "past_foot", "run_mm", "risk", "run_p50_mm"]
    table = seen[named].assign(
        counted=np.round(counted, 3), slip=np.where(slip, "yes", "no"), told=told
    )
    table = table.loc[odd].sort_values(["slip", "told"], ascending=[False, True], kind="stable")
    return table.reset_index(drop=True)


def _grouped(seen: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    """Told against seen, summed over the layers of each group."""
    known = seen["past_foot"].ne("")
    measured = seen["run_mm"].notna()
    counted = seen[keys].assign(
        layers=known.astype(int),
        past_foot=seen["past_foot"].eq("yes").astype(int),
        expected=seen["risk"].where(known, 0.0),
        measured=measured.astype(int),
        run_mm=seen["run_mm"],
        run_p50_mm=seen["run_p50_mm"].where(measured),
        inside=seen["inside"].eq("yes").where(measured).astype(float),
    )
    how = {name: "sum" for name in ("layers", "past_foot", "expected", "measured")}
    how |= {name: "mean" for name in ("run_mm", "run_p50_mm", "inside")}
    table = counted.groupby(keys, sort=False, dropna=False).agg(how).reset_index()
    order = table.sort_values(["past_foot", "layers"], ascending=False, kind="stable")
    return order.round({"expected": 2, "run_mm": 2, "run_p50_mm": 2}).reset_index(drop=True)


def _by_glaze(seen: pd.DataFrame, stacks: Stacks) -> pd.DataFrame:
    table = _grouped(seen, ["glaze"])
    at = stacks.present
    known = dict(zip(stacks.glaze_name[at], stacks.chemistry_known[at], strict=True))
    alone = seen.loc[seen["to_blame"] == seen["glaze"], "glaze"].value_counts()
    table["to_blame"] = table["glaze"].map(alone).fillna(0).astype(int)
    table["jar"] = np.where(table["glaze"].map(known), "no", "yes")
    return table


def _by_firing(seen: pd.DataFrame, log: pd.DataFrame, effects: pd.DataFrame) -> pd.DataFrame:
    table = _grouped(seen, ["firing"])
    pieces = log.drop_duplicates(["firing", "piece"])["firing"].value_counts()
    order = {name: i for i, name in enumerate(firings_in_order(log))}
    table.insert(1, "pieces", table["firing"].map(pieces))
    kiln = effects.loc[effects["family"] == "firing"].set_index("name")
    for name in ("factor", "low", "high"):
        table[name] = table["firing"].map(kiln[name]).astype(float)
    return table.sort_values("firing", key=lambda names: names.map(order)).reset_index(drop=True)


def _by_pair(seen: pd.DataFrame, studio: Studio | None, stacks: Stacks) -> pd.DataFrame:
    layered = seen.loc[seen["over"] != BARE].rename(columns={"glaze": "over", "over": "under"})
    table = _grouped(layered, ["over", "under"])
    than = {} if studio is None else than_either(studio, stacks)
    nothing = (np.nan, np.nan, np.nan)
    rows = [than.get(pair, nothing) for pair in zip(table["over"], table["under"], strict=True)]
    table[["than_either", "low", "high"]] = np.array(rows, dtype=float).reshape(-1, 3)
    return table


def _by_month(whole: pd.DataFrame, log: pd.DataFrame, past: Floats, risk: Floats) -> pd.DataFrame:
    """Pots by the month they were fired in: `past` and `risk` of each that has a result, (n,)."""
    pot = ["firing", "piece"]
    fired = log.drop_duplicates(pot)[pot].assign(pots=~np.isnan(past), past_foot=past == 1.0)
    fired["expected"] = np.where(fired["pots"], risk, 0.0)
    each = whole.groupby(pot, sort=False).agg(
        month=("fired_on", "max"),
        lost=("lost", lambda words: words.ne("").any()),
        on_cookie=("on_cookie", lambda words: words.eq("yes").any()),
    )
    each = each.join(fired.set_index(pot))
    each["month"] = each["month"].str[:7]
    counted = ["pots", "past_foot", "expected", "lost", "on_cookie"]
    each[counted] = each[counted].astype(float).fillna(0.0)
    by_month = each.groupby("month")[counted].sum().reset_index()
    whole_numbers = dict.fromkeys(("pots", "past_foot", "lost", "on_cookie"), int)
    return by_month.astype(whole_numbers).round({"expected": 2})


def _changes(
    tables: PlanTables,
    log: pd.DataFrame,
    new: tuple[str, ...],
    now: tuple[pd.DataFrame, Trial | None],
    progress: Callable[[float], None] | None,
) -> pd.DataFrame:
    """How factors and scores moved with the newest firings; no rows where there was no log."""
    earlier = log.loc[~log["firing"].isin(new)].reset_index(drop=True)
    columns = ["kind", "name", "before", "now"]
    if earlier.empty:
        return pd.DataFrame(columns=columns)
    predictor, trial = predictor_of(replace(tables, log=earlier), progress)
    old = stacks_of(features_of(earlier, tables.glazes, tables.schedules))
    before = effects_of(predictor, old, earlier)
    keys = ["family", "name"]
    both = before.merge(now[0], on=keys, suffixes=("_before", "_now"))
    pots = stacks_of(features_of(log.loc[log["firing"].isin(new)], tables.glazes, tables.schedules))
    acting = {(family, effect_name(name)) for family, name in effects_in([pots])}
    keyed = zip(both["family"], both["name"], strict=True)
    touched = both["family"].isin(TOLD_FAMILIES) & np.array([key in acting for key in keyed], bool)
    both = both.loc[touched, [*keys, "factor_before", "factor_now"]]
    moved = np.abs(np.log(both["factor_now"].to_numpy(float) / both["factor_before"]))
    both = both.iloc[np.argsort(-np.asarray(moved), kind="stable")]
    parts = [
        both.set_axis(columns, axis=1),
        pd.DataFrame(_score_changes(trial, now[1]), columns=columns),
        pd.DataFrame(_forward(tables, log, new, predictor), columns=columns),
    ]
    return pd.concat([part for part in parts if len(part)], ignore_index=True)


def _score_changes(before: Trial | None, now: Trial | None) -> list[tuple[str, str, float, float]]:
    """Scores out of fold, without the newest firings and with them."""
    if before is None or now is None:
        return []
    both = (before, now)
    off = [float(np.sqrt(trial.scores["brier"]["learned"])) for trial in both]
    held = [trial.interval_coverage for trial in both]
    return [("score", "risk off by", off[0], off[1]), ("score", "runs in range", held[0], held[1])]


def _forward(
    tables: PlanTables, log: pd.DataFrame, new: tuple[str, ...], predictor: Predictor
) -> list[tuple[str, str, float, float]]:
    """What was told of the newest firings before they were seen, and what was seen."""
    latest = log.loc[log["firing"].isin(new)].reset_index(drop=True)
    stacks = stacks_of(features_of(latest, tables.glazes, tables.schedules))
    past = outcomes_of(latest, stacks).past
    risk = predictor.chances(stacks).risk(stacks)[1]
    known = ~np.isnan(past)
    if not known.any():
        return []
    return [("told of them", "pieces past the foot", float(risk[known].sum()), past[known].sum())]
