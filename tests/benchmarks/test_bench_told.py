"""What each column is worth: regret with and without it; run with -m slow, -s shows it.

In three studios of other physics that tell all (`helpers.kinds.telling`), after 100 and 1,000
pieces, of the log's model as it was fitted, without its trials: with nothing told, with one thing
alone, with all, and with all but one.
"""

import warnings

import numpy as np
import pandas as pd
import pytest
from helpers.judge import regret_per_piece
from helpers.kinds.telling import TELLS, telling

from runpredict.errors import TableWarning
from runpredict.model.features import features_of
from runpredict.model.learned import Log, learn
from runpredict.model.outcomes import outcomes_of
from runpredict.model.stacks import stacks_of
from runpredict.tables.plan import check_plan

pytestmark = pytest.mark.slow

STUDIOS = (("school", 1), ("careful", 1), ("rules", 1))
SIZES = (100, 1000)
DRAWS = 150


def regret(made, size, kept):
    """Mean regret with these columns and no others of what the studio may tell."""
    gone = [c for names in TELLS.values() for c in names if c not in kept]
    others = {} if made.recipes is None else {"recipes": made.recipes}
    log = made.logs[size].drop(columns=gone, errors="ignore")
    plan = made.plan.drop(columns=gone, errors="ignore")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", TableWarning)
        tables = check_plan(plan, made.glazes, log=log, **others)
    logged = stacks_of(features_of(tables.log, tables.glazes, tables.schedules))
    outcomes = outcomes_of(tables.log, logged)
    studio = learn(logged, Log.of(logged, outcomes)).studio
    asked = stacks_of(features_of(tables.plan, tables.glazes, tables.schedules))
    told = studio.chances(asked).piece_risk(asked)
    return regret_per_piece(made.truth["p_true"].to_numpy(), told).mean()


def ways():
    """Name -> columns that are told."""
    every = {c for names in TELLS.values() for c in names}
    found = {"nothing told": set(), "all told": every}
    for name, columns in TELLS.items():
        found[f"only {name}"] = set(columns)
        found[f"all but {name}"] = every - set(columns)
    return found


def test_what_each_column_is_worth():
    table = {}
    for kind, seed in STUDIOS:
        made = telling(kind, seed, draws=DRAWS)
        for size in SIZES:
            table[kind, size] = {n: regret(made, size, kept) for n, kept in ways().items()}
            print(f"{kind} {size}: {pd.Series(table[kind, size]).round(4).to_dict()}", flush=True)
    table = pd.DataFrame(table)
    mean = table.mean(axis=1)
    print(table.round(3).to_string(), mean.round(3).to_string(), sep="\n")
    assert np.isfinite(table.to_numpy()).all()
    assert mean["all told"] < mean["nothing told"]
