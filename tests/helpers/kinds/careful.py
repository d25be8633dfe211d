"""Careful people who learn, and the same with only surprises written down."""

import numpy as np

from helpers.kinds.fronts import Fronts
from helpers.kinds.glazes import invented, with_words
from helpers.kinds.people import People
from helpers.kinds.pots import joined
from helpers.kinds.studio import DRAWS, PLANNED, SIZES, Notes, kept_book

A_FIRING = 14
UNLOGGED_FIRINGS = 12  # before the book begins
OTHERS_WRITTEN = 0.08


def careful(seed, *, surprises=False, draws=DRAWS):
    """People who learn; 1 to 5 % of pots pass. An odd seed mixes recipes, an even one buys jars.

    Parameters
    ----------
    surprises : bool
        Whether only pots that passed, nearly did, or ran farther than usual are written down,
        and a few others.
    """
    rng = np.random.default_rng([161, seed, int(surprises)])
    jars = seed % 2 == 0
    count = int(rng.integers(9, 13))
    glazes = invented(rng, count, recipes=0.0 if jars else 0.9, jars=1.0 if jars else 0.0)
    strength = {"mixing": 0.15, "crystals": 1.6, "drips": 0.3} if surprises else {}
    kiln = Fronts(rng, glazes, **strength)
    kiln.glazes = with_words(rng, glazes, kiln.runs())
    people = People(
        rng, kiln.runs(), caution=rng.uniform(0.9, 1.8), hand=kiln.hand,
        cones=("6",) if seed % 3 else ("5", "6", "6"), holds=(0.0, 5.0, 10.0) if jars else (10.0,),
        bodies=("white stoneware", "speckled buff") if jars else ("white stoneware",),
        brushed=0.8 if jars else 0.05, ramp=100.0 if jars else np.nan,
        shrink=0.92 if surprises else 0.95, well=0.5 if surprises else 0.4,
    )  # fmt: skip
    fired, runs, pasts, wrote, written_pieces = [], [], [], [], 0
    number = 0
    while written_pieces < max(SIZES):
        batch = people.choose(rng, A_FIRING, max(number - UNLOGGED_FIRINGS, 0))
        run_mm, past = kiln.fire(batch.changed(firing=np.zeros(A_FIRING, dtype=int)), rng)
        told = np.ones(A_FIRING, dtype=bool)
        if surprises:
            told = people.surprise(batch, run_mm, past) | (rng.random(A_FIRING) < OTHERS_WRITTEN)
        people.learn(batch, run_mm, past)
        number += 1
        if number > UNLOGGED_FIRINGS:
            batch = batch.changed(firing=np.full(A_FIRING, number - UNLOGGED_FIRINGS - 1))
            fired.append(batch)
            runs.append(run_mm)
            pasts.append(past)
            wrote.append(told)
            written_pieces += int(told.sum())
    planned = [people.choose(rng, A_FIRING, k) for k in range(-(-PLANNED // A_FIRING))]
    plan = joined(planned).take(np.arange(PLANNED))
    notes = Notes(run_read=0.5, run_if_past=0.2, wrong_word=0.003, slipped=0.003, nought=0.004)
    return kept_book(
        "surprises" if surprises else "careful", kiln, joined(fired),
        (np.concatenate(runs), np.concatenate(pasts)), plan, rng, notes,
        wrote=np.concatenate(wrote) if surprises else None, draws=draws,
    )  # fmt: skip


def surprises_only(seed, *, draws=DRAWS):
    """Careful people of whose pots only the surprising ones are in the book."""
    return careful(seed, surprises=True, draws=draws)
