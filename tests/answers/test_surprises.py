"""A log of surprises only: how it is told, what is asked, and what is remembered."""

import numpy as np
import pytest
from helpers.judge import Judged, own_studio

from runpredict import check
from runpredict.answers.surprises import surprising_share
from runpredict.answers.willing import kept_willing
from runpredict.commands import main as cli
from runpredict.tables.csv_files import write_table
from runpredict.tables.plan import check_plan

pytestmark = pytest.mark.filterwarnings("ignore::runpredict.errors.TableWarning")


@pytest.fixture(scope="module")
def studio() -> Judged:
    """Careful people of whose pots only the surprising ones are in the book."""
    return own_studio("surprises", 21, 100)


def test_said_so_the_rest_is_told_as_often_as_it_passes(studio):
    seen = studio.p_true.mean()
    for size in (100, 300):
        plain, said = (
            check(
                studio.plan, studio.glazes, studio.logs[size], only_surprises=word, **studio.others
            )
            .pieces["risk"]
            .to_numpy()
            for word in (False, True)
        )
        assert abs(np.log(said.mean() / seen)) < abs(np.log(plain.mean() / seen))


def test_a_log_of_surprises_is_asked_about_and_a_usual_one_is_not(studio):
    log = studio.logs[100]
    number = log.groupby(["firing", "piece"], sort=False).ngroup()
    passed = log["past_foot"].eq("yes").groupby(number).transform("any")
    pots = [number[passed].unique(), number[~passed].unique()]
    many = log.loc[number.isin([*pots[0][:10], *pots[1][:20]])]
    few = log.loc[number.isin([*pots[0][:1], *pots[1][:40]])]
    found = [
        surprising_share(
            check_plan(studio.plan, studio.glazes, log=rows.reset_index(drop=True), **studio.others)
        )
        for rows in (many, few)
    ]
    assert found == [(10, 30), None]


def test_the_word_is_remembered_by_the_logbook(studio, tmp_path, capsys):
    book = ["--logbook", str(tmp_path / "book")]
    log = studio.logs[100]
    number = log.groupby(["firing", "piece"], sort=False).ngroup()
    passed = log["past_foot"].eq("yes").groupby(number).transform("any")
    kept = [*number[passed].unique()[:10], *number[~passed].unique()[:20]]
    tables = {"glazes": studio.glazes, "log": log.loc[number.isin(kept)],
              "plan": studio.plan.head(6), **studio.others}  # fmt: skip
    for name, table in tables.items():
        write_table(table, tmp_path / f"{name}.csv")
    files = [str(tmp_path / f"{name}.csv") for name in tables]
    assert cli.main(["import", *files, *book]) == 0
    capsys.readouterr()

    def told(*words):
        assert cli.main(["check", *book, *words]) == 0
        return capsys.readouterr().out

    asked = told()
    assert "10 of the 30 pots in the log ran past the foot" in " ".join(asked.split())
    said = told("--written", "surprises")
    assert kept_willing(tmp_path / "book").written == "surprises"
    assert "--written" not in said
    assert told() == said, "it is remembered"
    assert "--written" not in told("--written", "all")
