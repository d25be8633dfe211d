"""What expected regret does when each constant of the model is halved and doubled.

`python -m helpers.constants FOLDER [FOLDER ...]` from the folder `tests`, each a folder of studios
as `python -m helpers.make_studios` writes them. A row a constant: regret with no log and after 100
logged pots less that of the model as it is, mean over the kinds of studios and the worst of them.
"""

import sys
import warnings
from contextlib import contextmanager

import pandas as pd

from helpers.judge import given_studio, given_studios, regret_per_piece
from runpredict.model import effects, features, fit, learned, mixture, outcomes, priors, trial
from runpredict.model.features import features_of
from runpredict.model.outcomes import outcomes_of
from runpredict.model.stacks import stacks_of
from runpredict.model.studio import Studio
from runpredict.tables.plan import check_plan

SIZES = (0, 100)
FACTORS = (0.5, 2.0)
MODULES = (effects, features, fit, learned, mixture, outcomes, priors, trial)
NUMBERS = {
    "GLAZE_SD", "ORDINARY_LOG10_PA_S", "WORD_BESIDE_CHEMISTRY", "COAT_SD", "COAT_SHARE",
    "NOISE_SD", "HELD_M", "WAVE_M", "PAIRED_VARIANCE", "FIRED_SHARE", "READING_MM",
    "READING_SHARE", "LEAST_RUN_M", "SHARES_TRUST", "SPREAD_TRUST", "FAMILY_TRUST", "MOST_STRETCH",
    "SHIFT_SCALE", "FACTOR_SCALE", "DEGREES", "WRONG_WORDS", "FOLDS",
}  # fmt: skip
OF_TABLES = {"FIRED_SHARE", "READING_MM", "READING_SHARE", "FIRST_COAT_MM", "NEXT_COAT_MM"}
TABLES = ("WORD_SHIFT", "JAR_SD", "FIRST_COAT_MM", "NEXT_COAT_MM")


def constants():
    """Every constant by name: of the families mean and spread, numbers, tables by a factor."""
    return [
        *(f"{name} sd" for name in priors.FAMILIES),
        *(f"{name} mean" for name, family in priors.FAMILIES.items() if family.mean),
        *sorted(NUMBERS),
        *TABLES,
    ]


@contextmanager
def changed(name, factor):
    """One constant times a factor, for as long as the block lasts."""
    old = []

    def put(place, key, value):
        old.append((place, key, place[key]))
        place[key] = value

    family, _, part = name.rpartition(" ")
    if family:
        now = priors.FAMILIES[family]
        put(priors.FAMILIES, family, now._replace(**{part: factor * getattr(now, part)}))
    for module in MODULES if not family else ():
        now = vars(module).get(name)
        if isinstance(now, dict):
            put(vars(module), name, {key: factor * value for key, value in now.items()})
        elif now is not None:
            put(vars(module), name, type(now)(factor * now))
    try:
        yield
    finally:
        for place, key, value in reversed(old):
            place[key] = value


def prepared(studios):
    """Each studio with its plan and its logs as the model takes them."""
    return [(judged, {size: _stacked(judged, size) for size in SIZES if size in judged.logs})
            for judged in studios]  # fmt: skip


def _stacked(judged, size):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        tables = check_plan(judged.plan, judged.glazes, log=judged.logs[size], **judged.others)
    plan = stacks_of(features_of(tables.plan, tables.glazes, tables.schedules))
    if not size:
        return plan, None
    log = stacks_of(features_of(tables.log, tables.glazes, tables.schedules))
    return plan, (log, outcomes_of(tables.log, log))


def regrets(studios):
    """Mean regret by kind of studio and logged pieces, of studios that are `prepared`."""
    found = []
    for judged, stacked in studios:
        for size, (plan, log) in stacked.items():
            if log is None:
                predictor = Studio(
                    noise_sd=priors.NOISE_SD,
                    pair_variance=priors.PAIRED_VARIANCE,
                    coat_sd=priors.COAT_SD,
                    wave_m=priors.WAVE_M,
                )
            else:
                predictor = trial.train(*log)[0]
            told = predictor.chances(plan).piece_risk(plan)
            regret = regret_per_piece(judged.p_true, told).mean()
            found.append({"kind": judged.kind, "size": size, "regret": regret})
    return pd.DataFrame(found).groupby(["kind", "size"])["regret"].mean()


def main(folders):
    studios = [given_studio(path) for path in given_studios(folders)]
    stacked = prepared(studios)
    as_it_is = regrets(stacked)
    print("as it is", as_it_is.round(3).to_dict())
    for name in constants():
        for factor in FACTORS:
            with changed(name, factor):
                again = prepared(studios) if name in OF_TABLES else stacked
                less = (regrets(again) - as_it_is).groupby("size").agg(["mean", "max"])
            cells = " ".join(
                f"{size}: {row['mean']:+.4f} ({row['max']:+.3f})" for size, row in less.iterrows()
            )
            print(f"{name} x {factor:g}: {cells}", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
