"""`runpredict review` and `runpredict next` as a potter types them."""

import re
from pathlib import Path

import pandas as pd
import pytest
from helpers.tables import written_in

from runpredict.commands import main as cli
from runpredict.logbook.book import Logbook
from runpredict.logbook.results import Outcome

SAMPLE = cli.sample_folder()
REVIEW_TABLES = {
    "past_foot", "predicted_seen", "surprises", "by_glaze", "by_pair", "by_body", "by_firing",
    "batches", "effects", "combinations", "by_month", "scores", "reliability", "changes",
}  # fmt: skip


@pytest.fixture(autouse=True)
def own_cache(tmp_path_factory, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.getbasetemp() / "cache"))


def sample(*roles):
    names = {"plan": "layers"}
    options = []
    for role in roles:
        options += [f"--{role}", str(SAMPLE / f"{names.get(role, role)}.csv")]
    return options


LOG = sample("log", "glazes", "recipes", "schedules")
PLAN = sample("plan", "glazes", "recipes", "schedules")


def test_review_answers_every_question(capsys):
    assert cli.main(["review", *LOG, "--long"]) == 0
    out = capsys.readouterr().out
    for words in ("ran past the foot", "Told against seen", "glazes move more or less", "pairs",
                  "stop at", "By month", "By firing", "off by",
                  "Since the log without"):  # fmt: skip
        assert words in out
    assert "nan" not in out


def test_review_writes_every_table(tmp_path, capsys):
    assert cli.main(["review", *LOG, "--out", str(tmp_path)]) == 0
    written = {Path(name).stem.removeprefix("review_") for name in written_in(tmp_path)}
    assert written == REVIEW_TABLES
    told = pd.read_csv(tmp_path / "review_predicted_seen.csv")
    assert list(told.columns[:10]) == [
        "piece", "firing", "layer", "glaze", "run_p05_mm", "run_p50_mm", "run_p95_mm", "run_mm",
        "past_foot", "risk",
    ]  # fmt: skip
    assert len(told) == len(pd.read_csv(SAMPLE / "log.csv"))
    assert "model" in pd.read_csv(tmp_path / "review_scores.csv").columns


def test_review_in_inches(capsys):
    assert cli.main(["review", *LOG, "--long", "--units", "in"]) == 0
    out = capsys.readouterr().out
    assert re.search(r"\d/\d+ in", out) and " mm" not in out


def test_review_since_a_firing(capsys):
    firings = pd.read_csv(SAMPLE / "log.csv")["firing"].drop_duplicates().tolist()
    assert cli.main(["review", *LOG, "--long", "--since", firings[-2]]) == 0
    assert f"Since the log without {firings[-2]}, {firings[-1]}" in capsys.readouterr().out


def test_review_since_a_firing_that_is_not_there(capsys):
    assert cli.main(["review", *LOG, "--since", "monday"]) == 2
    caught = capsys.readouterr()
    assert caught.err.startswith('since: "monday" is not a firing of the log')
    assert caught.out == ""


def test_next_without_a_log_and_with_one(tmp_path, capsys):
    assert cli.main(["next", *PLAN]) == 0
    alone = capsys.readouterr().out
    assert cli.main(["next", *PLAN, *sample("log"), "--out", str(tmp_path)]) == 0
    taught = capsys.readouterr().out
    assert alone != taught
    assert float(taught.split()[0]) < float(alone.split()[0])
    assert written_in(tmp_path) <= {"next.csv", "next_layers.csv", "next_schedules.csv"}
    again = ["--plan", str(tmp_path / "next_layers.csv"), *PLAN[2:]]
    again += ["--schedules", str(tmp_path / "next_schedules.csv")] * (
        "next_schedules.csv" in written_in(tmp_path)
    )
    assert cli.main(["check", *again]) == 0


def test_next_counts(capsys):
    assert cli.main(["next", *PLAN, "--count", "2"]) == 0
    assert " ".join(capsys.readouterr().out.split()).count("This tells you") == 2
    assert cli.main(["next", *PLAN, "--count", "0"]) == 2
    assert capsys.readouterr().err == "--count: 0 is too few; give 1 or more.\n"


def test_both_take_a_logbook(tmp_path, capsys):
    files = [str(SAMPLE / f"{name}.csv") for name in ("glazes", "recipes", "schedules", "log")]
    plan = str(SAMPLE / "layers.csv")
    assert cli.main(["import", *files, plan, "--logbook", str(tmp_path)]) == 0
    capsys.readouterr()
    assert cli.main(["review", "--logbook", str(tmp_path)]) == 0
    from_book = capsys.readouterr().out
    assert cli.main(["review", *LOG]) == 0
    assert from_book == capsys.readouterr().out
    with Logbook.open(tmp_path) as log:
        log.record("mug 1", [Outcome(1, past_foot="no")], firing="Dabchick")
    assert cli.main(["review", "--logbook", str(tmp_path)]) == 0
    parts = capsys.readouterr().out.split("\n\n")
    assert "logged layers ran past the foot" in parts[0]
    asked = " ".join(parts[1].split())
    assert asked.startswith("5 pots of firing Dabchick have no result: were they fine?")
    assert cli.main(["next", "--logbook", str(tmp_path), "--count", "1"]) == 0
    assert "This tells you" in " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize(
    ("command", "missing"), [("review", "--log: is missing"), ("next", "--plan: is missing")]
)
def test_a_missing_table_is_named(command, missing, capsys):
    assert cli.main([command, *sample("glazes")]) == 2
    assert capsys.readouterr().err.startswith(missing)


@pytest.mark.parametrize("command", ["review", "next"])
def test_nothing_is_written_where_nothing_can_be(command, tmp_path, capsys):
    place = tmp_path / "a file"
    place.write_text("mine", encoding="utf-8")
    options = LOG if command == "review" else PLAN
    assert cli.main([command, *options, "--out", str(place)]) == 2
    caught = capsys.readouterr()
    assert len(caught.err.splitlines()) == 1 and caught.out == ""
    assert place.read_text(encoding="utf-8") == "mine"


def test_combinations_are_told_printed_and_kept_to_one_glaze(tmp_path, capsys):
    tables = sample("plan", "log", "glazes", "recipes", "schedules")
    sheet = tmp_path / "low.html"
    assert cli.main(["combinations", *tables, "--sheet", str(sheet)]) == 0
    whole = capsys.readouterr().out
    page = sheet.read_text(encoding="utf-8")
    for words in ("Wet Hawser", "Flag Locker", "anywhere", "Not known yet"):
        assert words in whole and words in page
    assert cli.main(["combinations", "flag locker", *tables, "--units", "in"]) == 0
    one = capsys.readouterr().out
    assert "Flag Locker" in one and "Wet Hawser" not in one
    assert cli.main(["combinations", *tables, "--sheet", str(sheet)]) == 2
    assert "low.html: is there already" in capsys.readouterr().err
    assert cli.main(["combinations", "gloop", *tables]) == 2
    assert '"gloop" is not among the glazes' in capsys.readouterr().err
