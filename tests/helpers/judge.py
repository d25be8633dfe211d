"""Studios to be judged on, the tool's answer on each, and the figures it gets.

Expected regret: the log loss above that of an observer who knows all that lasts of the studio,
without the luck of one outcome.
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from helpers.kinds import KINDS
from helpers.kinds.studio import SIZES
from helpers.studios import studio as film_studio
from runpredict import check
from runpredict.errors import BadInput
from runpredict.tables.plan import check_plan

CLIP = 1e-4
ADVISED = 0.05  # over this a pot is told to need something
UNSEEN_MM = 0.1  # nobody sees a run that misses its range by less
RECIPES = ("recipes", "materials", "schedules")


@dataclass(frozen=True)
class Judged:
    """A studio as a potter would hand it over, and what is true of its plan."""

    name: str
    kind: str
    glazes: pd.DataFrame
    others: dict  # recipes, materials and schedules, where there are such
    logs: dict  # size -> table; 0 is none
    plan: pd.DataFrame
    p_true: np.ndarray  # (n,) chance that some layer of a piece passes, in the plan's order
    run_mm: np.ndarray  # by planned layer, in truth
    past: np.ndarray  # by planned layer, bool


def regret_per_piece(p_true, told):
    """Log loss that is expected of what was told, less that of the truth itself, by piece."""
    p, q = np.clip(p_true, CLIP, 1 - CLIP), np.clip(told, CLIP, 1 - CLIP)
    return p * np.log(p / q) + (1 - p) * np.log((1 - p) / (1 - q))


def figures(judged, told, layers=None):
    """Every figure of one set of chances, as a dict.

    Parameters
    ----------
    told : (n,) chances, in the order of the planned pieces
    layers : DataFrame or None
        The tool's `layers`, for the coverage of its ranges on layers that stopped.
    """
    found = {
        "regret": regret_per_piece(judged.p_true, told).mean(),
        "told over seen": told.mean() / judged.p_true.mean(),
        "over 5 % for each": (told > ADVISED).sum() / judged.p_true.sum(),
        "coverage": np.nan,
    }
    if layers is not None:
        run, stopped = judged.run_mm, ~judged.past & ~np.isnan(judged.run_mm)
        low = layers["run_p05_mm"].to_numpy(float) - UNSEEN_MM
        high = layers["run_p95_mm"].to_numpy(float) + UNSEEN_MM
        found["coverage"] = ((run >= low) & (run <= high))[stopped].mean()
    return found


def answer_of(judged, size):
    """The tool's answer on the plan after `size` logged pieces."""
    log = judged.logs[size]
    return check(judged.plan, judged.glazes, log, **judged.others)


def outcomes_of(log):
    """(n,) whether any layer of each logged piece passed, in the log's order."""
    passed = log["past_foot"].fillna("").isin(["yes", "y"])
    return passed.groupby([log["firing"], log["piece"]], sort=False).any().to_numpy()


def readable(log, plan, glazes, others):
    """The log's pieces that can be read, as checked tables; the rest is left out whole."""
    while True:
        try:
            check_plan(plan, glazes, log=log, **others)
            return log.reset_index(drop=True)
        except BadInput as fault:
            if any(each.file != "log" or each.row is None for each in fault.faults):
                raise
            rows = [each.row - 2 for each in fault.faults]
            keys = pd.MultiIndex.from_frame(log[["firing", "piece"]])
            log = log.loc[~keys.isin(keys[rows])].reset_index(drop=True)


def own_studio(kind, seed, draws):
    """One of our own kinds; see `helpers.kinds`."""
    made = KINDS[kind](seed, draws=draws)
    others = {} if made.recipes is None else {"recipes": made.recipes}
    logs = {size: readable(log, made.plan, made.glazes, others) for size, log in made.logs.items()}
    return Judged(
        name=f"{kind}_{seed}",
        kind=kind,
        glazes=made.glazes,
        others=others,
        logs={0: None} | logs,
        plan=made.plan,
        p_true=made.truth["p_true"].to_numpy(),
        run_mm=made.truth_layers["run_mm"].to_numpy(),
        past=made.truth_layers["past_foot"].eq("yes").to_numpy(),
    )


def mixed_films(seed, draws):
    """A studio of mixed films; see `helpers.studios`."""
    world = film_studio(seed, logged=max(SIZES), draws=draws)
    number = world.log.groupby(["firing", "piece"], sort=False).ngroup()
    logs = {size: world.log.loc[number < size].reset_index(drop=True) for size in SIZES}
    return Judged(
        name=f"films_{seed}",
        kind="films",
        glazes=world.glazes,
        others={},
        logs={0: None} | logs,
        plan=world.plan,
        p_true=world.oracle,
        run_mm=world.run_mm,
        past=world.past_by_layer,
    )


def given_studio(folder):
    """A studio from a folder of tables: glazes, plan, truth, log_NNNN, and others where there."""
    folder = Path(folder)
    glazes, plan = _raw(folder, "glazes"), _raw(folder, "plan")
    others = {name: _raw(folder, name) for name in RECIPES if (folder / f"{name}.csv").exists()}
    logs = {
        int(path.stem[4:]): readable(_raw(folder, path.stem), plan, glazes, others)
        for path in sorted(folder.glob("log_*.csv"))
    }
    truth = pd.read_csv(folder / "truth.csv")
    by_layer = truth
    if (folder / "truth_layers.csv").exists():
        by_layer = pd.read_csv(folder / "truth_layers.csv")
    keys = ["firing", "piece"]
    p_name = "p_true" if "p_true" in truth else "oracle_piece"
    order = pd.MultiIndex.from_frame(plan.drop_duplicates(keys)[keys])
    p_true = truth.drop_duplicates(keys).set_index(keys)[p_name].loc[order].to_numpy()
    rows = pd.MultiIndex.from_frame(plan[[*keys, "layer"]].astype({"layer": int}))
    by_layer = by_layer.set_index([*keys, "layer"]).loc[rows]
    return Judged(
        name=folder.name,
        kind=folder.name.rsplit("_", 1)[0],
        glazes=glazes,
        others=others,
        logs={0: None} | logs,
        plan=plan,
        p_true=p_true,
        run_mm=by_layer["run_mm"].to_numpy(float),
        past=by_layer["past_foot"].isin(["yes", 1, True]).to_numpy(),
    )


def given_studios(folders):
    """Folders of studios below these folders (`os.pathsep` between them), as a list of paths."""
    return [
        path
        for folder in folders
        for path in sorted(Path(folder).iterdir())
        if (path / "truth.csv").exists()
    ]


def _raw(folder, name):
    return pd.read_csv(folder / f"{name}.csv", dtype=str, keep_default_na=False)
