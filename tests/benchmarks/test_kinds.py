"""The invented studios are what they say: seeds, pass rates, chances, no harm in less glaze."""

import dataclasses
from functools import cache

import numpy as np
import pandas as pd
import pytest
from helpers import make_studios
from helpers.judge import (
    Judged,
    figures,
    given_studio,
    given_studios,
    own_studio,
    readable,
    regret_per_piece,
)
from helpers.kinds import KINDS, PASSING
from helpers.kinds.people import People
from helpers.kinds.pots import dry_mm, joined, typical_mm
from helpers.kinds.school import natural_melt_log10
from helpers.kinds.studio import SIZES, Notes, chances, newest, write_studio, written
from helpers.kinds.threes import tiles
from helpers.skill import peer_chances
from pandas.testing import assert_frame_equal
from refit.melt_measurements import read_measurements

from runpredict.datafiles import OXIDES
from runpredict.errors import BadInput
from runpredict.tables.plan import check_plan

pytestmark = pytest.mark.filterwarnings("ignore::runpredict.errors.TableWarning")

# Whoever writes down surprises only has to fire thousands of pots: seconds a studio.
SLOW = {"surprises": pytest.mark.slow}
EVERY_KIND = pytest.mark.parametrize(
    "kind", [pytest.param(kind, marks=SLOW.get(kind, ())) for kind in KINDS]
)
DRAWS = 60


@cache
def studio_of(kind, seed=1):
    return KINDS[kind](seed, draws=DRAWS)


def tables_of(studio):
    """Every table of a studio by name."""
    tables = {"glazes": studio.glazes, "plan": studio.plan, "truth": studio.truth}
    tables["truth_layers"] = studio.truth_layers
    tables |= {f"log {size}": log for size, log in studio.logs.items()}
    return tables | {f"unwritten {size}": rest for size, rest in studio.unwritten.items()}


@EVERY_KIND
def test_a_seed_gives_the_same_studio_again_and_another_gives_another(kind):
    first, again = tables_of(studio_of(kind)), tables_of(KINDS[kind](1, draws=DRAWS))
    assert first.keys() == again.keys()
    for name, table in first.items():
        assert_frame_equal(table, again[name])
    other = tables_of(studio_of(kind, 2))
    assert all(not table.equals(other[name]) for name, table in first.items())


@EVERY_KIND
def test_no_two_studios_of_a_seed_share_their_chance(kind):
    rates = {
        other: studio_of(other).truth["p_true"].mean() for other in {*KINDS} - {*SLOW} | {kind}
    }
    assert sum(np.isclose(rates[kind], rate) for rate in rates.values()) == 1


@EVERY_KIND
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_share_that_passes_is_as_stated(kind, seed):
    low, high = PASSING[kind]
    studio = studio_of(kind, seed)
    assert low <= studio.truth["p_true"].mean() <= high
    if not studio.unwritten:
        assert low <= passed_share(studio.logs[max(SIZES)]) <= high + 0.05


def passed_share(log):
    return log["past_foot"].eq("yes").groupby([log["firing"], log["piece"]]).any().mean()


@EVERY_KIND
def test_true_chances_agree_with_a_redraw(kind):
    """Two counts of one chance differ as two counts do; and the fate of the plan is such a draw."""
    studio = studio_of(kind)
    told = studio.truth["p_true"].to_numpy()
    again = chances(studio.maker, studio.pots, np.random.default_rng(99), draws=2 * DRAWS)[0]
    middle = (told + 2 * again) / 3
    spread = middle * (1 - middle) * (1 / DRAWS + 0.5 / DRAWS)
    open_ones = middle * (1 - middle) > 0.01
    squares = (told - again)[open_ones] ** 2 / spread[open_ones]
    assert 0.75 < squares.mean() < 1.3
    for low, high in [(0.0, 0.1), (0.1, 0.5), (0.5, 0.9), (0.9, 1.01)]:
        chosen = (again >= low) & (again < high)
        assert abs((told - again)[chosen].sum()) < 5 * np.sqrt(spread[chosen].sum()) + 1e-9
    past = studio.truth["past_foot"].eq("yes").to_numpy()
    assert past[middle == 0].sum() <= 3
    assert abs((past - middle).sum()) < 6 * np.sqrt((middle * (1 - middle)).sum())


@EVERY_KIND
def test_what_was_fired_was_fired_in_the_same_kiln(kind):
    """The log's results are a draw of what re-simulation tells of its pots."""
    studio = studio_of(kind)
    by_pot = chances(studio.maker, studio.fired, np.random.default_rng(5), draws=12)[0]
    past = studio.results[1].any(axis=1)
    firing = studio.fired.firing
    off = np.bincount(firing, past - by_pot)
    assert abs(off.sum()) < 5 * np.sqrt((off**2).sum())


CHANGES = {
    "a coat more": lambda pots: {"coats": pots.coats + 1},
    "a coat more of the first": lambda pots: {"coats": pots.coats + np.array([1, 0, 0])},
    "a coat more of the second": lambda pots: {"coats": pots.coats + np.array([0, 1, 0])},
    "a coat more of the third": lambda pots: {"coats": pots.coats + np.array([0, 0, 1])},
    "thicker by the needle": lambda pots: {"measured_mm": 1.2 * pots.measured_mm},
    "ten minutes longer": lambda pots: {"hold_min": pots.hold_min + 10},
    "a cone hotter": lambda pots: {"cone": np.array([HOTTER[c] for c in pots.cone], dtype=object)},
    "steeper": lambda pots: {"wall_deg": pots.wall_deg + 4 * (pots.wall_deg < 86)},
    "all nearer the foot": lambda pots: {
        "lower_mm": np.where(pots.there, pots.lower_mm - 1.5, 0.0),
        "upper_mm": np.where(pots.there, pots.upper_mm - 1.5, 0.0),
    },
}  # fmt: skip
HOTTER = {"4": "5", "5": "6", "6": "7", "7": "8", "8": "8"}


@EVERY_KIND
@pytest.mark.parametrize("change", CHANGES)
def test_more_glaze_heat_or_slope_is_never_safer(kind, change):
    """Pot by pot with the same luck, and not for want of pots that change."""
    studio = studio_of(kind)
    more = studio.pots.changed(**CHANGES[change](studio.pots))
    worse = 0
    for seed in range(8):
        before = studio.maker.fire(studio.pots, np.random.default_rng(seed))[1].any(axis=1)
        after = studio.maker.fire(more, np.random.default_rng(seed))[1].any(axis=1)
        assert not (before & ~after).any()
        worse += (after & ~before).sum()
    assert worse > 0


@EVERY_KIND
def test_tables_are_in_the_potters_format(kind):
    studio = studio_of(kind)
    others = {} if studio.recipes is None else {"recipes": studio.recipes}
    for size, log in studio.logs.items():
        tables = check_plan(studio.plan, studio.glazes, log=log, **others)
        assert len(tables.log) == len(log)
        assert log.groupby(["firing", "piece"]).ngroups == size
        assert log["fired_on"].is_monotonic_increasing
        assert log["fired_on"].max() < studio.plan["fired_on"].min()
        assert log["layer"].max() <= 3
    assert_frame_equal(newest(studio.logs[1000], 100), studio.logs[100])
    assert studio.plan["run_mm"].isna().all()
    assert studio.plan["past_foot"].eq("").all()
    assert len(studio.truth) >= 250


@EVERY_KIND
def test_a_studio_is_read_back_as_it_was_written(kind, tmp_path):
    made = studio_of(kind)
    write_studio(made, tmp_path / f"{kind}_1")
    (folder,) = given_studios([tmp_path])
    read = given_studio(folder)
    assert (read.kind, read.name) == (kind, f"{kind}_1")
    np.testing.assert_allclose(read.p_true, made.truth["p_true"], atol=1e-4)
    np.testing.assert_allclose(read.run_mm, made.truth_layers["run_mm"], rtol=1e-3)
    np.testing.assert_array_equal(read.past, made.truth_layers["past_foot"].eq("yes"))
    assert read.logs.keys() == {0, *SIZES}
    assert [len(read.logs[size]) for size in SIZES] == [len(made.logs[size]) for size in SIZES]
    assert (folder / "unwritten_0030.csv").exists() == (kind == "surprises")


def test_studios_are_written_by_name_and_seed(tmp_path, capsys):
    words = [str(tmp_path), "--kind", "threes", "school", "--seed", "4", "5", "--draws", "3"]
    make_studios.main(words)
    names = ["threes_4", "threes_5", "school_4", "school_5"]
    assert capsys.readouterr().out.split() == [str(tmp_path / name) for name in names]
    judged, written_one = own_studio("threes", 4, 3), given_studio(tmp_path / "threes_4")
    np.testing.assert_array_equal(judged.p_true, written_one.p_true.round(4))
    assert judged.logs.keys() == written_one.logs.keys()


def test_pieces_that_no_one_can_read_are_left_out_whole():
    made = studio_of("rules")
    log = made.logs[100].astype(object)
    log.loc[[3, 40], "past_foot"] = "a bit"
    log.loc[60, "method"] = "splash"
    others = {"recipes": made.recipes}
    kept = readable(log, made.plan, made.glazes, others)
    spoiled = {tuple(log.loc[row, ["firing", "piece"]]) for row in (3, 40, 60)}
    left = {tuple(row) for row in kept[["firing", "piece"]].to_numpy()}
    assert not spoiled & left
    assert len(left) == 100 - len(spoiled)
    with pytest.raises(BadInput, match="glaze"):
        readable(log, made.plan, made.glazes.drop(columns="glaze"), others)


def test_figures_are_what_they_say():
    judged = Judged("a", "a", None, {}, {}, None, np.array([0.1, 0.5]), np.array([3.55, 9.0, 30.0]),
                    np.array([False, False, True]))  # fmt: skip
    layers = pd.DataFrame({"run_p05_mm": [1.0, 10.0, 0.0], "run_p95_mm": [3.5, 20.0, 1.0]})
    found = figures(judged, np.array([0.3, 0.6]), layers)
    assert found["told over seen"] == pytest.approx(1.5)
    assert found["over 5 % for each"] == pytest.approx(2 / 0.6)
    assert found["coverage"] == 0.5
    assert figures(judged, judged.p_true)["regret"] == 0.0


@pytest.mark.slow
def test_only_surprises_are_in_the_book_of_surprises():
    studio = studio_of("surprises")
    log, rest = studio.logs[1000], studio.unwritten[1000]
    assert passed_share(log) > 3 * studio.truth["p_true"].mean()
    names = set(zip(log["firing"], log["piece"], strict=True))
    unwritten = set(zip(rest["firing"], rest["piece"], strict=True))
    assert not names & unwritten
    assert len(unwritten) > 2 * len(names)
    assert rest["past_foot"].eq("").all()
    past = studio.results[1].any(axis=1)
    assert not (past & ~studio.wrote).any()
    assert (studio.wrote & ~past).any()


def a_firing(people, count=40):
    return people.choose(np.random.default_rng(3), count, 0)


def test_people_widen_a_band_after_a_pass_and_narrow_it_when_all_stopped_well_above():
    rng = np.random.default_rng(0)
    people = People(rng, np.linspace(-1, 1, 5))
    pots = a_firing(people)
    before = dict(people.band)
    people.learn(pots, np.zeros(pots.glaze.shape), np.zeros(pots.glaze.shape, dtype=bool))
    fired = {tuple(int(c) for c in row if c >= 0) for row in pots.glaze}
    assert all(people.band[stack] < before[stack] for stack in fired)
    between = dict(people.band)
    people.learn(pots, pots.lower_mm.copy(), pots.there)
    assert all(people.band[stack] > 1.4 * between[stack] for stack in fired)
    half = pots.lower_mm * 0.7
    after = dict(people.band)
    people.learn(pots, half, np.zeros(pots.glaze.shape, dtype=bool))
    assert people.band == after


def test_people_come_back_to_their_favourites():
    people = People(np.random.default_rng(0), np.linspace(-1, 1, 12))
    pots = a_firing(people)
    people.learn(pots, np.zeros(pots.glaze.shape), np.zeros(pots.glaze.shape, dtype=bool))
    liked = set(people.favourites)
    again = people.choose(np.random.default_rng(4), 200, 1)
    share = np.mean([tuple(int(c) for c in row if c >= 0) in liked for row in again.glaze])
    assert share > 0.7


def test_a_school_is_large_and_has_hot_corners_and_many_hands():
    studio = studio_of("school")
    assert 30 <= len(studio.glazes) <= 80
    log = studio.logs[1000]
    assert log["glazed_by"].nunique() >= 12
    school, pots = studio.maker, studio.pots
    runs = []
    for where in (np.unravel_index(school.hot_c.argmin(), school.hot_c.shape),
                  np.unravel_index(school.hot_c.argmax(), school.hot_c.shape)):  # fmt: skip
        hidden = pots.hidden | {
            name: np.full(len(pots), place)
            for name, place in zip(("kiln", "shelf", "spot"), where, strict=True)
        }
        hidden["told"] = np.ones(len(pots), dtype=bool)
        moved = dataclasses.replace(pots, hidden=hidden)
        runs.append(school.fire(moved, np.random.default_rng(1))[0].sum())
    assert runs[1] > 1.2 * runs[0]


def test_a_tester_tries_every_single_and_pair():
    studio = studio_of("threes")
    count = len(studio.glazes)
    stack, cone, late = tiles(np.random.default_rng(0), studio.maker.glazes, ("5", "6", "8"))
    assert (np.diff(late) >= 0).all()
    assert all(len(set(cone[late == day])) == 1 for day in np.unique(late))
    tried = {(*row, c) for row, c in zip(stack.tolist(), cone.tolist(), strict=True)}
    assert {(a, -1, -1, c) for a in range(count) for c in range(3)} <= tried
    assert sum(row[1] >= 0 and row[2] < 0 for row in stack.tolist()) == 3 * count * (count - 1)


def test_the_schools_melt_is_near_measured_natural_melts():
    """Its coefficients are from memory; open measurements say whether they are right."""
    table = read_measurements().rows
    moles = table.reindex(columns=list(OXIDES)).to_numpy(float)
    moles = np.nan_to_num(moles) / np.nansum(moles, axis=1, keepdims=True)
    x = pd.DataFrame(moles, columns=list(OXIDES))
    strange = x[["B2O3", "Li2O", "SrO", "BaO", "ZnO", "PbO", "Bi2O3"]].sum(axis=1) < 0.001
    natural = strange & x["SiO2"].between(0.45, 0.8) & (x["Al2O3"] > 0.08)
    natural &= (x["Na2O"] + x["K2O"] > 0.02) & (x["MgO"] + x["CaO"] > 0.02)
    natural &= table["temperature_c"] > 1000
    natural = natural.to_numpy()
    assert natural.sum() > 1000
    told = natural_melt_log10(moles, table["temperature_c"].to_numpy(float))
    off = (told - table["log10_viscosity"].to_numpy(float))[natural]
    assert np.median(np.abs(off)) < 0.55


def test_coats_are_about_what_the_hand_or_the_needle_says():
    pots = joined([studio_of("careful").pots] * 40)
    thick = dry_mm(np.random.default_rng(0), pots, 1.3, 0.2)
    read = ~np.isnan(pots.measured_mm)
    assert np.median((thick / pots.measured_mm)[read]) == pytest.approx(1.0, abs=0.02)
    by_hand = pots.there & ~read
    assert np.median((thick / 1.3)[by_hand] / typical_mm(pots)[by_hand]) == pytest.approx(
        1, abs=0.02
    )
    assert (thick[~pots.there] == 0).all()


def test_notes_are_as_wrong_as_they_say():
    studio = studio_of("rules")
    pots = studio.pots
    past = np.zeros(pots.glaze.shape, dtype=bool)
    notes = Notes(run_read=0.5, wrong_word=0.1, slipped=0.1, blank=0.05, nought=0.02)
    many, clean = joined([pots] * 20), pd.concat([studio.plan] * 20, ignore_index=True)
    args = (many, np.tile(2.0 * pots.there, (20, 1)), np.tile(past, (20, 1)))
    table = written(np.random.default_rng(0), clean, *args, notes)
    assert table["past_foot"].eq("yes").mean() == pytest.approx(0.095, abs=0.01)
    assert table["past_foot"].eq("").mean() == pytest.approx(0.05, abs=0.01)
    slipped = table["lower_edge_mm"].ne(clean["lower_edge_mm"])
    assert slipped.mean() == pytest.approx(0.05 * clean["lower_edge_mm"].gt(8).mean(), abs=0.01)
    assert table["run_mm"].notna().mean() == pytest.approx(0.5 * 0.9 * 0.95, abs=0.02)
    assert table["cone"].str.startswith("0").mean() == pytest.approx(0.02, abs=0.01)


def test_regret_is_what_the_lost_knowledge_costs():
    """Kullback and Leibler (1951): log 2 less the entropy where a half is told; 0 for truth."""
    p = np.array([0.2, 0.9])
    np.testing.assert_allclose(regret_per_piece(p, p), 0.0, atol=1e-12)
    entropy = -(p * np.log(p) + (1 - p) * np.log(1 - p))
    np.testing.assert_allclose(regret_per_piece(p, np.full(2, 0.5)), np.log(2) - entropy)
    assert np.isfinite(regret_per_piece(np.array([0.0, 1.0]), np.array([1.0, 0.0]))).all()


def peers_on(kind, size, **changed):
    made = studio_of(kind)
    others = {} if made.recipes is None else {"recipes": made.recipes}
    log = made.logs[size].assign(**changed)
    return made.truth["p_true"].to_numpy(), peer_chances(log, made.plan, made.glazes, others)


def test_with_nothing_to_tell_apart_the_peers_tell_the_base_rate():
    _, told = peers_on("rules", 30, past_foot="no", run_mm=np.nan)
    assert len(told) == 5
    for chance in told.values():
        np.testing.assert_allclose(chance, 0.5 / 31)


@pytest.mark.slow
def test_the_peers_learn_and_tell_of_the_pots_in_their_order():
    p_true, told = peers_on("threes", 300)
    for name in told.keys() - {"base rate"}:
        assert told[name][p_true > 0.8].mean() > told[name][p_true < 0.2].mean() + 0.2, name
