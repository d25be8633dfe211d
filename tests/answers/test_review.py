"""Looking back: every number of a review against the log it is about, or a planted truth."""

import numpy as np
import pandas as pd
import pytest
from helpers.pieces import MANY_HOLDS, glazes, pieces
from helpers.studios import studio
from helpers.tables import ANALYSIS, STIFF_WT, calm_studio, faults_of, layers

from runpredict import check, review
from runpredict.answers.check import predictor_of
from runpredict.answers.combinations import combinations_of
from runpredict.answers.review import UNLIKELY, look_back
from runpredict.answers.review_effects import BARE
from runpredict.model.trial import LEAST_FIRINGS
from runpredict.physics.chemistry import OXIDES
from runpredict.tables.plan import check_plan
from runpredict.units import parse_length_mm
from runpredict.words.answers import answer_text
from runpredict.words.basis import basis_short
from runpredict.words.review_tables import combination_changes, review_tables
from runpredict.words.reviews import review_text, surprise_words

pytestmark = MANY_HOLDS

PIECES = 120
RESULT = {"past_foot": "no", "run_mm": 2.0, "fired_on": ""}


@pytest.fixture(scope="module")
def world(tmp_path_factory):
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("cache")))
        yield studio(5, logged=PIECES, planned=8)


@pytest.fixture(scope="module")
def found(world):
    return review(world.log, world.glazes)


def test_layers_past_the_foot_are_those_of_the_log(world, found):
    past = world.log.loc[world.log["past_foot"] == "yes"]
    assert len(past) > 10
    keys = ["piece", "firing", "layer", "glaze", "body", "lower_edge_mm"]
    assert found.past_foot[keys].to_dict("records") == past[keys].to_dict("records")


def test_over_is_the_glaze_beneath_that_it_meets():
    """By the spans on the wall alone: layer, glaze, lower and upper edge."""
    built = {
        "above only": ([("A", 60, 90), ("B", 5, 40)], [BARE, BARE]),
        "not the row before": ([("A", 5, 90), ("B", 60, 90), ("C", 10, 40)], [BARE, "A", "A"]),
        "touching ends": ([("A", 40, 90), ("B", 5, 40)], [BARE, BARE]),
        "the nearer of two": ([("A", 5, 90), ("B", 5, 90), ("C", 10, 40)], [BARE, "A", "B"]),
        "itself": ([("A", 5, 90), ("A", 50, 90)], [BARE, "A"]),
        "apart from all": ([("A", 60, 90), ("B", 60, 90), ("C", 5, 20)], [BARE, "A", BARE]),
    }
    rows = [
        {**RESULT, "piece": piece, "layer": k, "glaze": glaze, "lower_edge_mm": float(low),
         "upper_edge_mm": float(high), "fired_on": "2024-05-01"}
        for piece, (spans, _) in built.items() for k, (glaze, low, high) in enumerate(spans, 1)
    ]  # fmt: skip
    jars = pd.DataFrame([{"glaze": name, "source": "jar"} for name in "ABC"])
    found = review(layers(*rows), jars)
    seen = found.predicted_seen.groupby("piece", sort=False)["over"].agg(list)
    assert seen.to_dict() == {piece: over for piece, (_, over) in built.items()}
    pairs = set(zip(found.by_pair["over"], found.by_pair["under"], strict=True))
    assert pairs == {("B", "A"), ("C", "A"), ("C", "B"), ("A", "A")}
    of_two = found.by_pair.loc[found.by_pair["over"] != found.by_pair["under"]]
    assert of_two["than_either"].notna().all()


def test_a_liner_that_was_carried_past_is_not_to_blame():
    """A stiff liner fires on its own shelf for years, and passes only under a runny glaze."""
    stiff = {"glaze": "still", "lower_edge_mm": 8.0}
    alone = [
        {**stiff, "piece": f"plain {k}", "firing": f"f{k % 4}", "past_foot": "no", "run_mm": 0.0}
        for k in range(12)
    ]
    over = {"glaze": "sea", "layer": 2, "lower_edge_mm": 14.0, "coats": 3}
    both = [
        {**layer, "piece": f"two {k}", "firing": f"f{k % 4}", "past_foot": "yes", "run_mm": np.nan}
        for k in range(4)
        for layer in (stiff, over)
    ]
    stiff_glaze = {"glaze": "still", "source": "analysis", **STIFF_WT}
    found = review(layers(*alone, *both), pd.DataFrame([ANALYSIS, stiff_glaze]))
    assert found.past_foot["to_blame"].tolist() == ["sea"] * 8
    by_glaze = found.by_glaze.set_index("glaze")
    assert by_glaze["past_foot"].to_dict() == {"sea": 4, "still": 4}
    assert by_glaze["to_blame"].to_dict() == {"sea": 4, "still": 0}
    text = " ".join(review_text(found, long=True).split())
    assert "sea: 4 of 4 layers ran past the foot." in text
    assert "- still: " not in text
    carried = [row[2] for row in review_tables(found)[0].rows if "carried by sea" in row[2]]
    assert carried == ["still (layer 1), carried by sea"] * 4


@pytest.mark.filterwarnings("ignore::runpredict.errors.TableWarning")
def test_no_pair_is_told_that_does_not_meet():
    """Random pots of up to three layers, many of whose neighbours in the table never touch."""
    log = pieces(19, 200).assign(past_foot="no", run_mm=np.nan)
    rng = np.random.default_rng(4)
    low = rng.uniform(0, 60, len(log)).round(1)
    log = log.assign(lower_edge_mm=low, upper_edge_mm=low + rng.uniform(5, 60, len(log)).round(1))
    seen = review(log, glazes()).predicted_seen
    apart = 0
    for _, rows in log.assign(over=seen["over"]).groupby("piece", sort=False):
        spans = list(rows[["glaze", "lower_edge_mm", "upper_edge_mm", "over"]].itertuples())
        for k, row in enumerate(spans):
            met = [below.glaze for below in spans[:k]
                   if min(below.upper_edge_mm, row.upper_edge_mm)
                   > max(below.lower_edge_mm, row.lower_edge_mm)]  # fmt: skip
            others = [glaze for glaze in met if glaze != row.glaze]
            assert row.over == (others[-1] if others else met[-1] if met else BARE)
            apart += k > 0 and row.over != spans[k - 1].glaze
    assert apart > 50


def test_told_and_seen_are_of_the_same_layer(world, found):
    told = found.predicted_seen
    assert told["piece"].tolist() == world.log["piece"].tolist()
    assert told["past_foot"].tolist() == world.log["past_foot"].tolist()
    stopped = world.log["past_foot"] == "no"
    same = told.loc[stopped, "run_mm"].fillna(-1) == world.log.loc[stopped, "run_mm"].fillna(-1)
    assert same.mean() > 0.98  # a run that contradicts its word is not shown as measured
    assert (told["run_p05_mm"] <= told["run_p50_mm"]).all()
    assert (told["run_p50_mm"] <= told["run_p95_mm"]).all()
    assert told["risk"].between(0, 1).all()


def test_what_is_told_has_not_seen_the_firing(world, found):
    """It does worse than a model that has, and as well as its scores say."""
    seen = found.predicted_seen
    past = seen["past_foot"] == "yes"
    knowing = check(world.log, world.glazes, world.log).layers["risk"]

    def loss(chance):
        chance = np.clip(chance, 0.002, 0.998)
        return -np.log(np.where(past, chance, 1 - chance)).mean()

    assert loss(seen["risk"]) > 1.1 * loss(knowing)
    assert loss(seen["risk"]) < loss(np.full(len(past), past.mean()))


def test_every_layer_is_counted_once_in_every_table(world, found):
    past = int((world.log["past_foot"] == "yes").sum())
    measured = int(found.predicted_seen["run_mm"].notna().sum())
    for table in (found.by_glaze, found.by_body, found.by_firing):
        assert table["layers"].sum() == len(world.log)
        assert table["past_foot"].sum() == past
        assert table["measured"].sum() == measured
        assert table["expected"].sum() == pytest.approx(found.predicted_seen["risk"].sum(), abs=0.5)
    assert found.by_pair["layers"].sum() == (found.predicted_seen["over"] != BARE).sum()
    assert found.by_firing["pieces"].sum() == PIECES == found.pieces
    assert found.by_firing["firing"].tolist() == world.log["firing"].drop_duplicates().tolist()


def test_a_slip_of_the_pen_is_named(world):
    """A mug that stayed where it was, written down as past the foot, among results that agree."""
    mine = (world.log["layer"] == 1) & ~world.log["piece"].duplicated(keep=False)
    quiet = world.log.loc[mine & (world.log["run_mm"] <= 1.0)].sort_values("run_mm").iloc[[0]]
    slip = world.log.copy()
    slip.loc[quiet.index, ["past_foot", "run_mm"]] = ["yes", np.nan]
    found = review(slip, world.glazes)
    surprises = found.surprises
    row = surprises.loc[surprises["piece"] == quiet["piece"].item()].iloc[0]
    assert row["slip"] == "yes" and row["past_foot"] == "yes"
    assert "Looks like a slip: check it." in review_text(found)
    assert (surprises["slip"] == "yes").sum() < 0.05 * len(slip)


def test_what_is_told_adds_up_to_what_is_seen(found):
    """Within three standard errors of as many independent pieces, doubled for shared firings."""
    risk = found.predicted_seen["risk"]
    error = np.sqrt((risk * (1 - risk)).sum())
    past = (found.predicted_seen["past_foot"] == "yes").sum()
    assert abs(risk.sum() - past) < 6 * error


def test_means_are_of_the_measured_layers(world, found):
    seen = found.predicted_seen.loc[found.predicted_seen["run_mm"].notna()]
    means = seen.groupby("glaze")[["run_mm", "run_p50_mm"]].mean()
    table = found.by_glaze.set_index("glaze").loc[means.index]
    assert table["run_mm"].to_numpy() == pytest.approx(means["run_mm"].to_numpy(), abs=0.01)
    assert table["run_p50_mm"].to_numpy() == pytest.approx(means["run_p50_mm"].to_numpy(), abs=0.01)


def test_a_glaze_with_a_wrong_analysis_stands_out(world, found):
    """Given the analysis of a far stiffer glaze, what the log saw of it must be called more."""
    known = found.by_glaze.loc[found.by_glaze["jar"] == "no"]
    runner = known.sort_values("run_mm")["glaze"].iloc[-1]
    glazes = world.glazes.copy()
    wrong = [STIFF_WT.get(oxide, 0.0) for oxide in OXIDES]
    glazes.loc[glazes["glaze"] == runner, list(OXIDES)] = wrong
    planted = review(world.log, glazes).effects.set_index(["family", "name"])
    before = found.effects.set_index(["family", "name"])
    row = planted.loc[("glaze", runner)]
    assert row["low"] > 1
    assert row["factor"] > 3 * before.loc[("glaze", runner), "factor"]
    assert row["run_factor"] > 1.5 * before.loc[("glaze", runner), "run_factor"]


def test_effects_are_in_order_and_count_their_rows(world, found):
    effects = found.effects
    assert (effects["low"] <= effects["factor"]).all()
    assert (effects["factor"] <= effects["high"]).all()
    rows = effects.loc[effects["family"] == "kiln", "rows"].item()
    assert rows == len(world.log)
    more = effects["factor"] > 1.02
    less = effects["factor"] < 0.98
    one_way = effects["family"].isin(["glaze", "pair", "body", "kiln"])  # others act both ways
    more, less = more & one_way, less & one_way
    assert (effects.loc[more, "run_factor"] >= 1).all()
    assert (effects.loc[less, "run_factor"] <= 1).all()


@pytest.fixture(scope="module")
def calm():
    return calm_studio()


def test_the_combinations_of_a_review_are_those_over_the_buckets(world, found):
    """One place for how low a glaze may end; what was not fired is left out."""
    tables = check_plan(None, world.glazes, log=world.log)
    page = combinations_of(tables, predictor_of(tables)[0])
    pd.testing.assert_frame_equal(found.combinations, page)
    safer, lower = combination_changes(found, "mm")
    usual = page.loc[page["coats"] == page["usual_coats"].round().clip(1, 2)]
    assert len(safer) > 3 and len(usual) == len(page) / 2
    by_name = {
        f"{row.over} over {row.under}" if row.under else row.over: row for row in usual.itertuples()
    }
    for change in safer + lower:
        row = by_name[change.name.rsplit(", ", 1)[0]]
        assert change.came == f"{row.past} of {row.fired}"
        _, stop, length = change.do.removesuffix(" or more").partition(" at ")
        at = parse_length_mm(length) if stop else np.nan
        if change in lower:
            assert not row.past and at <= row.usual_edge_mm - 5.0 + 1.0
        elif np.isfinite(row.rest_mm):
            assert change.do.startswith("stop all else") and 0.0 <= at - row.rest_mm < 1.0
        elif np.isfinite(at):
            assert at > row.usual_edge_mm and 0.0 <= at - row.lowest_edge_mm < 1.0
        else:
            assert change.do in ("not again", "on a cookie", "on a cookie until 5 are fired")
            assert np.isnan(row.lowest_edge_mm) and (row.past or row.word == "cookie")
    named = {change.name.rsplit(", ", 1)[0] for change in safer}
    assert {name for name, row in by_name.items() if row.past and row.word != "keep"} <= named | {
        name for name, row in by_name.items() if row.lowest_edge_mm <= row.usual_edge_mm
    }
    text = " ".join(review_text(found).split())
    for change in safer[:4]:
        assert f"{change.name}: {change.do}; it ends {change.now} up now" in text


def test_a_calm_glaze_is_told_to_end_lower_in_both_places(calm):
    found = review(*calm)
    safer, lower = combination_changes(found, "in")
    assert not safer and {change.name.split(",")[0] for change in lower} >= {"still"}
    whole = review_text(found, "in", long=True)
    for change in lower:
        assert f"{change.name}: {change.do}; it ends {change.now} up now" in " ".join(whole.split())
        assert any(change.do in line and change.name in line for line in whole.splitlines())
    log = calm[0].copy()
    log.loc[log.index[log["glaze"] == "still"], ["past_foot", "run_mm"]] = ["yes", np.nan]
    assert not [row for row in combination_changes(review(log, calm[1]), "mm")[1]
                if row.name.startswith("still")]  # fmt: skip


def test_months_are_counted_pot_by_pot(calm):
    """By hand, from the log; a pot lost otherwise and one on a cookie among them."""
    log = calm[0].copy()
    log["fired_on"] = log["firing"].map(
        {"f0": "2025-11-20", "f1": "2025-12-05", "f2": "2026-02-10", "f3": "2026-03-01"}
    )
    first = log["firing"] == "f3"
    log["lost"], log["on_cookie"] = "", np.where(first, "yes", "")
    cracked = log.index[first][0]
    log.loc[cracked, ["lost", "past_foot", "run_mm"]] = ["cracked", "", np.nan]
    log.loc[log.index[first][1], ["past_foot", "run_mm"]] = ["yes", np.nan]
    found = review(log, calm[1])
    months = found.by_month.set_index("month")
    assert months.index.tolist() == ["2025-11", "2025-12", "2026-02", "2026-03"]
    count = log.groupby("firing").size()
    assert months["pots"].tolist() == [count["f0"], count["f1"], count["f2"], count["f3"] - 1]
    assert months["past_foot"].tolist() == [0, 0, 0, 1]
    assert months["lost"].tolist() == [0, 0, 0, 1]
    assert months["on_cookie"].tolist() == [0, 0, 0, count["f3"]]
    assert months["expected"].sum() == pytest.approx(found.predicted_seen["risk"].sum(), rel=0.05)
    text = " ".join(review_text(found).split())
    assert "1 was lost otherwise." in text
    winter = count["f1"] + count["f2"]
    assert (
        f"since March 2026: 1 of {count['f3'] - 1} pots ran past the foot; in the season before "
        f"0 of {winter}." in text
    )
    assert f"1 of {count['f3'] - 1} pots past the foot, " in text
    assert f"1 lost otherwise, {count['f3']} on cookies." in text
    order = [
        text.index(words)
        for words in (
            "ran past the foot, on",
            "came as a surprise",
            "What to change",
            "This season",
            "were told to run",
        )
    ]
    assert order == sorted(order)
    undated = review(calm[0].assign(fired_on=""), calm[1])
    assert "Give each firing its day (fired_on)" in review_text(undated)


def test_one_count_of_surprises_in_every_place(world):
    log = world.log.copy()
    still = log.loc[(log["past_foot"] == "no") & (log["run_mm"] <= 1.0)].index[:4]
    log.loc[still, ["past_foot", "run_mm"]] = ["yes", np.nan]
    found = review(log, world.glazes)
    seen = found.predicted_seen.loc[found.predicted_seen["past_foot"] != ""]
    told = np.where(seen["past_foot"] == "yes", seen["risk"], 1 - seen["risk"])
    count = int((told < UNLIKELY).sum())
    assert count > 0
    words = f"{count} of {len(seen)} results came as a surprise: told to be less than 10 % likely."
    assert words in surprise_words(found)
    assert words in " ".join(review_text(found).split())
    assert review_text(found, long=True).count("came as a surprise") == 1
    assert (found.surprises["told"] < UNLIKELY).sum() == count


def test_before_any_trial_the_words_say_so_and_what_it_takes(world):
    """One count, that of the model: with a firing less there is no trial, with as many there is."""
    firings = world.log["firing"].drop_duplicates().tolist()
    few = world.log.loc[world.log["firing"].isin(firings[: LEAST_FIRINGS - 1])]
    last = world.log["firing"] == firings[-1]
    plan = world.log.loc[last].assign(run_mm=np.nan, past_foot="", firing="to come")
    takes = f"that takes results from {LEAST_FIRINGS} firings."
    words = [
        review_text(review(few, world.glazes), long=True),
        answer_text(check(plan, world.glazes, few)),
    ]
    for text, count in zip(words, (2, 1), strict=True):
        flat = " ".join(text.split())
        assert "has not been tried yet on firings it had not seen" in flat
        assert flat.count(takes) == count
        assert "% from the log" not in flat
    assert basis_short(check(plan, world.glazes, few)).endswith("not yet tried")
    enough = world.log.loc[world.log["firing"].isin(firings[:LEAST_FIRINGS])]
    assert "not been tried" not in answer_text(check(plan, world.glazes, enough))


def test_changes_are_against_the_log_without_the_newest_firing(world, found):
    newest = world.log["firing"].iloc[-1]
    assert found.new_firings == (newest,)
    earlier = world.log.loc[world.log["firing"] != newest]
    before = review(earlier, world.glazes).effects.set_index(["family", "name"])["factor"]
    moved = found.changes.loc[found.changes["kind"] == "glaze"]
    fired = set(world.log.loc[world.log["firing"] == newest, "glaze"])
    assert set(moved["name"]) <= fired
    for row in moved.itertuples():
        assert row.before == pytest.approx(before[("glaze", row.name)])
    told = found.changes.loc[found.changes["kind"] == "told of them"].iloc[0]
    new = world.log.loc[world.log["firing"] == newest]
    plan = new.assign(run_mm=np.nan, past_foot="")
    assert told["before"] == pytest.approx(check(plan, world.glazes, earlier).pieces["risk"].sum())
    assert told["now"] == new.groupby("piece")["past_foot"].agg(lambda w: (w == "yes").any()).sum()


def test_since_takes_a_firing_and_all_after_it(world):
    firings = world.log["firing"].drop_duplicates().tolist()
    found = review(world.log, world.glazes, since=firings[-3])
    assert found.new_firings == tuple(firings[-3:])


def test_the_newest_firing_is_so_by_date():
    log = layers(
        {**RESULT, "piece": "a", "firing": "second", "fired_on": "2024-05-02"},
        {**RESULT, "piece": "b", "firing": "first", "fired_on": "2024-05-01"},
    )
    assert review(log, pd.DataFrame([ANALYSIS])).new_firings == ("second",)


def test_one_firing_is_told_by_the_rules_and_nothing_has_changed():
    log = layers({**RESULT, "piece": "a"}, {**RESULT, "piece": "b", "past_foot": "yes"})
    found = review(log, pd.DataFrame([ANALYSIS]))
    assert found.told_by == "rules"
    assert found.scores.empty and found.reliability.empty and found.changes.empty
    told = check(log, pd.DataFrame([ANALYSIS])).layers
    assert found.predicted_seen["risk"].tolist() == pytest.approx(told["risk"].tolist())
    text = review_text(found)
    assert "cannot be told yet" in text and "cannot be told yet" in review_text(found, long=True)
    assert "nan" not in text


@pytest.mark.parametrize(
    ("results", "past"),
    [
        ([{"past_foot": "yes"}], 1),
        ([{"past_foot": "no"}], 0),
        ([{"run_mm": 0.0}], 0),
        ([{"run_mm": 60.0, "past_foot": ""}], 1),
        ([{"run_mm": 30.0, "past_foot": "yes"}, {"past_foot": "no"}], 1),
        ([{"past_foot": "yes"}, {"past_foot": "yes"}, {"past_foot": "yes"}], 3),
    ],
)
@pytest.mark.filterwarnings("ignore::runpredict.errors.TableWarning")
def test_odd_logs_are_looked_back_on(results, past):
    log = layers(*({"piece": f"p{i}", "firing": f"f{i}", **r} for i, r in enumerate(results)))
    log = log.assign(run_mm=log.get("run_mm", np.nan), past_foot=log.get("past_foot", ""))
    glazes = pd.DataFrame([{"glaze": "sea", "source": "jar"}])
    found = review(log, glazes)
    assert len(found.past_foot) == past
    assert found.by_glaze["jar"].tolist() == ["yes"]
    assert "nan" not in review_text(found)


def test_a_log_without_results_is_refused():
    (fault,) = faults_of(review, layers({}), pd.DataFrame([ANALYSIS]))
    assert fault.startswith("log: holds no result; write down")


def test_only_surprises_may_be_said_from_python(world, monkeypatch):
    monkeypatch.setattr("runpredict.answers.review.look_back", lambda tables, *_: tables)
    log, glazes = world.log, world.glazes
    assert review(log, glazes, only_surprises=True).only_surprises
    assert not review(log, glazes).only_surprises


def test_a_firing_that_is_not_in_the_log_is_refused():
    (fault,) = faults_of(review, layers(RESULT), pd.DataFrame([ANALYSIS]), since="monday")
    assert fault == 'since: "monday" is not a firing of the log; its newest are "f1".'


@pytest.mark.parametrize("tolerance", [0.0, 1.0, float("nan")])
def test_a_tolerance_that_is_none_is_refused(tolerance):
    (fault,) = faults_of(review, layers(RESULT), pd.DataFrame([ANALYSIS]), tolerance=tolerance)
    assert fault.startswith("tolerance: ")


def test_faults_of_the_log_are_told_by_row():
    (fault,) = faults_of(review, layers({**RESULT, "glaze": "foam"}), pd.DataFrame([ANALYSIS]))
    assert fault.startswith('log, index 0, column glaze: "foam" is not in glazes')


def test_the_text_begins_with_the_number_that_matters(world, found):
    text = review_text(found)
    past = int((world.log["past_foot"] == "yes").sum())
    assert text.startswith(f"{past} of {len(world.log)} logged layers ran past the foot")
    assert all(len(line) <= 130 for line in text.splitlines())
    assert len(text.splitlines()) <= 40 and "What to change:" in text
    whole = review_text(found, long=True)
    assert "off by" in whole and "could end" in whole and "Since the log without" in whole
    assert "log loss" not in whole.lower()
    assert " in " in review_text(found, "in")


def test_progress_is_told_from_nothing_to_all(world, tmp_path, monkeypatch):
    from runpredict.tables.plan import check_plan

    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    told = []
    look_back(check_plan(None, world.glazes, log=world.log.head(40)), progress=told.append)
    assert told == sorted(told)
    assert told[-1] == pytest.approx(1.0)
