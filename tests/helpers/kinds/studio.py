"""From what an invented studio fired to the tables it keeps, and to the chances of its plan."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from helpers.kinds.pots import Pots, as_table

SIZES = (30, 100, 300, 1000)
PLANNED = 300
DRAWS = 400
SEEN_BEYOND_MM = 15.0  # of what ran past the foot no more can be measured


@dataclass(frozen=True)
class Studio:
    """Tables of a studio, what became of its plan, and who made it."""

    kind: str
    glazes: pd.DataFrame
    recipes: pd.DataFrame | None
    logs: dict  # size -> table of the newest pieces written down
    unwritten: dict  # size -> pieces fired beside them of which nothing was written
    plan: pd.DataFrame
    truth: pd.DataFrame  # a row a planned piece
    truth_layers: pd.DataFrame  # a row a planned layer
    maker: object  # what fires: .fire(pots, rng), .glazes
    pots: Pots  # the plan
    fired: Pots  # all that was fired before
    results: tuple  # what became of those: run_mm (n, 3), past (n, 3)
    wrote: np.ndarray  # (n,) which of those were written down


@dataclass(frozen=True)
class Notes:
    """How a studio keeps its book, as shares of rows."""

    run_read: float = 0.6  # a run is measured where the layer stopped
    run_if_past: float = 0.0  # a lower bound is written where it passed
    blank: float = 0.01  # nothing was written of a layer
    wrong_word: float = 0.0  # yes for no or no for yes
    slipped: float = 0.0  # a length in cm, or an edge in inches
    nought: float = 0.0  # cone 06 for cone 6
    step_mm: float = 1.0  # a run is read to this


def chances(maker, pots, rng, draws=DRAWS):
    """(n,) share of re-simulations in which some layer passes, and (n, 3) by layer."""
    by_layer = np.zeros(pots.glaze.shape)
    by_piece = np.zeros(len(pots))
    for _ in range(draws):
        past = maker.fire(pots, rng)[1]
        by_layer += past
        by_piece += past.any(axis=1)
    return by_piece / draws, by_layer / draws


def written(rng, table, pots, run_mm, past, notes):
    """The table with its results, as they would be written down."""
    row, layer = np.nonzero(pots.there)
    run, passed = run_mm[row, layer], past[row, layer]
    n = len(table)
    wrong = rng.random(n) < notes.wrong_word
    word = np.where(passed ^ wrong, "yes", "no").astype(object)
    share = np.where(passed, notes.run_if_past, notes.run_read)
    down_to_foot = table["lower_edge_mm"].to_numpy(float)
    at_most = np.where(passed, down_to_foot + SEEN_BEYOND_MM, down_to_foot)
    read = (np.minimum(run, at_most) / notes.step_mm).round() * notes.step_mm
    read = np.where(rng.random(n) < share, read, np.nan)
    read = np.where(wrong & ~passed, np.nan, read)
    slip = rng.random(n) < notes.slipped
    which = rng.random(n) < 0.5
    lower = table["lower_edge_mm"].to_numpy(float)
    lower = np.where(slip & which & (lower > 8), (lower / 25.4).round(2), lower)
    read = np.where(slip & ~which, (read / 10).round(1), read)
    word[rng.random(n) < notes.blank] = ""
    nought = (rng.random(len(pots)) < notes.nought)[row]
    cone = np.where(nought, "0" + table["cone"].astype(str), table["cone"])
    read = np.where(word == "", np.nan, read)
    return table.assign(past_foot=word, run_mm=read, lower_edge_mm=lower, cone=cone)


def newest(table, size):
    """The newest `size` pieces, in their order."""
    number = table.groupby(["firing", "piece"], sort=False).ngroup()
    return table.loc[number >= number.max() + 1 - size].reset_index(drop=True)


def kept_book(kind, maker, fired, results, plan, rng, notes, *, wrote=None, draws=DRAWS):
    """The studio's tables.

    Parameters
    ----------
    maker : has `glazes` (Glazes) and `fire(pots, rng)` -> run_mm (n, 3), past (n, 3)
    fired, plan : Pots
        In the order of firings.
    results : run_mm, past of `fired`
    wrote : (n,) bool
        Which fired pieces were written down; None is all.

    Returns
    -------
    Studio
    """
    run_mm, past = results
    wrote = np.ones(len(fired), dtype=bool) if wrote is None else wrote
    names = maker.glazes.names
    as_glazed = as_table(fired, _piece_names(fired, 0), names)
    table = written(rng, as_glazed, fired, run_mm, past, notes)
    told = wrote[np.nonzero(fired.there)[0]]
    book = table.loc[told].reset_index(drop=True)
    logs = {size: newest(book, size) for size in SIZES}
    unwritten = {}
    if not wrote.all():
        rest = as_glazed.loc[~told]
        for size, log in logs.items():
            since = rest["fired_on"] >= log["fired_on"].min()
            unwritten[size] = rest.loc[since].reset_index(drop=True)
    first = int(fired.firing.max()) + 1
    plan_names = _piece_names(plan, first)
    plan_table = as_table(plan, plan_names, names, first)
    truth, truth_layers = _truth(maker, plan, plan_table, plan_names, rng, draws)
    return Studio(kind, maker.glazes.table, maker.glazes.recipes, logs, unwritten, plan_table,
                  truth, truth_layers, maker, plan, fired, results, wrote)  # fmt: skip


def _piece_names(pots, first):
    order = pd.Series(pots.firing).groupby(pots.firing).cumcount().to_numpy() + 1
    return [
        f"{form} {firing + first + 1}-{k}"
        for form, firing, k in zip(pots.form, pots.firing, order, strict=True)
    ]


def _truth(maker, plan, table, names, rng, draws):
    run_mm, past = maker.fire(plan, rng)
    p_piece, p_layer = chances(maker, plan, rng, draws)
    row, layer = np.nonzero(plan.there)
    by_layer = table[["piece", "firing", "layer", "lower_edge_mm"]].assign(
        run_mm=run_mm[row, layer].round(2),
        past_foot=np.where(past[row, layer], "yes", "no"),
        p_true_layer=p_layer[row, layer],
    )
    firing = table.drop_duplicates(["firing", "piece"])["firing"].to_numpy()
    by_piece = pd.DataFrame(
        {
            "piece": names,
            "firing": firing,
            "past_foot": np.where(past.any(axis=1), "yes", "no"),
            "p_true": p_piece.round(4),
            "n_sim": draws,
        }
    )
    return by_piece, by_layer


def write_studio(studio, folder):
    """Write a studio's tables into a folder, which is made."""
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    tables = {"glazes": studio.glazes, "plan": studio.plan, "truth": studio.truth,
              "truth_layers": studio.truth_layers}  # fmt: skip
    if studio.recipes is not None:
        tables["recipes"] = studio.recipes
    tables |= {f"log_{size:04d}": log for size, log in studio.logs.items()}
    tables |= {f"unwritten_{size:04d}": rest for size, rest in studio.unwritten.items()}
    for name, table in tables.items():
        table.to_csv(folder / f"{name}.csv", index=False, float_format="%g")
