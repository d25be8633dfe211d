"""The walk through a kiln that was opened, and taking back."""

import io
import os
import pty
import signal
import sys
from pathlib import Path

import pandas as pd
import pytest
from helpers.logbook_driver import run
from helpers.processes import PATIENCE_S, end_group, needs_proc, started, until, waits
from helpers.tables import layers

from runpredict.commands import record_walk
from runpredict.logbook.book import Logbook
from runpredict.logbook.results import Outcome
from runpredict.tables.csv_files import write_table

TESTS = Path(__file__).parents[1]
PLAN = layers(
    {"piece": "mug", "lower_edge_mm": 6.0},
    {"piece": "bowl", "lower_edge_mm": 8.0},
    {"piece": "mug", "layer": 2, "lower_edge_mm": 40.0},
    {"piece": "vase", "firing": "f2"},
)
GLAZES = pd.DataFrame([{"glaze": "sea", "source": "jar"}])


@pytest.fixture
def kiln(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    write_table(PLAN, "layers.csv")
    write_table(GLAZES, "glazes.csv")
    assert run(["import", "layers.csv", "glazes.csv"]) == 0

    def answer(*lines, words=("--firing", "f1")):
        monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{line}\n" for line in lines)))
        return run(["record", *words])

    return answer


def results():
    """Run (-1 for not measured) and past_foot by piece and layer, of the firing f1."""
    with Logbook.open("logbook") as log:
        frame = log.layers()
    frame = frame.loc[frame["firing"] == "f1"].fillna({"run_mm": -1.0})
    cells = zip(frame["run_mm"], frame["past_foot"], strict=True)
    return dict(zip(zip(frame["piece"], frame["layer"], strict=True), cells, strict=True))


def test_pot_by_pot_layer_by_layer_with_one_key(kiln, capsys):
    capsys.readouterr()
    assert kiln("", "1/2 in", "p") == 0
    told = capsys.readouterr().out
    asked = [line.split(" (")[0] for line in told.splitlines() if "above the foot" in line]
    assert asked == ["mug, layer 1, sea", "mug, layer 2, sea", "bowl, layer 1, sea"]
    assert "f1: 3 layers on 2 pots, 0 of them written already." in told
    assert "eye protection" in told
    assert "Logged: mug, layer 2, sea: ran 13 mm (1/2 in), not past the foot." in told
    assert told.endswith("3 of 3 layers have their result. See what it says: runpredict review.\n")
    assert results() == {("mug", 1): (-1.0, "no"), ("mug", 2): (pytest.approx(12.7), "no"),
                         ("bowl", 1): (-1.0, "yes")}  # fmt: skip


def test_it_goes_on_where_it_stopped(kiln, capsys):
    kiln("2", "q", "never read")
    assert "1 of 3 layers have their result. 2 to go" in capsys.readouterr().out
    kiln("3", "4")
    assert results() == {("mug", 1): (2.0, "no"), ("mug", 2): (3.0, "no"), ("bowl", 1): (4.0, "no")}
    capsys.readouterr()
    assert kiln("9") == 0
    told = capsys.readouterr().out
    assert "above the foot" not in told and "3 of 3 layers" in told


def test_the_end_of_a_pipe_is_a_stop(kiln):
    assert kiln("2") == 0
    assert results()["mug", 1] == (2.0, "no")
    assert results()["mug", 2] == (-1.0, "")


def test_back_mends_and_enter_there_keeps(kiln, capsys):
    kiln("2", "b", "3", "b", "b", "", "p 45", "q")
    assert results()["mug", 1] == (3.0, "no")
    assert results()["mug", 2] == (45.0, "yes")
    told = capsys.readouterr().out
    assert "written: ran 2 mm (1/16 in), not past the foot, Enter keeps it" in told
    assert "This is the first layer." in told
    kiln("b", "b", "fine", "q")
    assert results()["mug", 1] == (-1.0, "no"), "a measured run is taken back by the word fine"


def test_the_rest_is_fine_in_one_step(kiln, capsys):
    assert kiln("f", "y") == 0
    told = capsys.readouterr().out
    assert told.count("2 pots have no result yet; keep all as fine? y/n") == 1
    assert "Logged: 2 pots, not past the foot." in told
    assert told.endswith("3 of 3 layers have their result. See what it says: runpredict review.\n")
    assert results() == dict.fromkeys([("mug", 1), ("mug", 2), ("bowl", 1)], (-1.0, "no"))
    with Logbook.open("logbook") as log:
        history = log.changes()
        assert log.layers().query("firing == 'f2'")["past_foot"].tolist() == [""]
    written = history.loc[history["action"] == "record"]
    assert set(written["origin"]) == {"all the rest: fine"}
    assert written["entry"].nunique() == 1


def test_the_rest_is_fine_but_for_a_pot_past_the_foot(kiln, capsys):
    kiln("p", "f", "y")
    told = capsys.readouterr().out
    assert "1 pot has no result yet; keep it as fine? y/n" in told
    assert results() == {
        ("mug", 1): (-1.0, "yes"),
        ("mug", 2): (-1.0, ""),
        ("bowl", 1): (-1.0, "no"),
    }
    assert told.count("mug, layer 2, sea (") == 2, "it is still asked of by itself"
    kiln("f", "4")
    assert (
        "No pot is left: each has its results, or a layer past the foot." in capsys.readouterr().out
    )
    assert results()["mug", 2] == (4.0, "no")


@pytest.mark.parametrize(
    ("first", "then", "question"),
    [
        (["2", "f", "y"], [], "2 pots have no result yet, 1 of them only of some layers; keep all"),
        (["s", "2", "3"], ["f", "y"], "1 pot has no result yet of some layers; keep it as fine?"),
    ],
)
def test_what_was_answered_stays_when_the_rest_is_fine(kiln, capsys, first, then, question):
    kiln(*first)
    if then:
        kiln(*then)
    assert question in capsys.readouterr().out
    assert {past for _, past in results().values()} == {"no"}
    assert max(run for run, _ in results().values()) == (3.0 if then else 2.0)


@pytest.mark.parametrize(
    ("answers", "asked"),
    [(["n", "4"], 1), (["b", "4"], 1), (["perhaps", "", "f", "n", "4"], 4)],
)
def test_the_rest_is_fine_only_on_a_yes(kiln, capsys, answers, asked):
    kiln("f", *answers, "q")
    assert capsys.readouterr().out.count("keep all as fine? y/n") == asked
    assert results() == {("mug", 1): (4.0, "no"), ("mug", 2): (-1.0, ""), ("bowl", 1): (-1.0, "")}


@pytest.mark.parametrize("answers", [["q", "y"], []])
def test_a_stop_at_the_question_of_the_rest_keeps_nothing(kiln, capsys, answers):
    assert kiln("f", *answers) == 0
    assert "0 of 3 layers have their result. 3 to go" in capsys.readouterr().out
    assert {past for _, past in results().values()} == {""}


def test_the_rest_is_what_is_left_when_yes_is_said(kiln, capsys, monkeypatch):
    """Somebody writes another pot of the kiln while the question stands."""
    ask = record_walk._hear

    def meanwhile(question):
        if "keep all" in question:
            with Logbook.open("logbook") as log:
                log.record("bowl", [Outcome(1, 5.0, "no")])
        return ask(question)

    monkeypatch.setattr(record_walk, "_hear", meanwhile)
    kiln("f", "y")
    told = capsys.readouterr().out
    assert "Logged: 1 pot, not past the foot." in told and "3 of 3 layers" in told
    assert results()["bowl", 1] == (5.0, "no")


def test_help_tells_of_the_rest(capsys):
    with pytest.raises(SystemExit):
        run(["record", "--help"])
    assert "the rest: fine" in " ".join(capsys.readouterr().out.split())


def test_skipped_layers_are_asked_the_next_time(kiln, capsys):
    kiln("s", "3", "s")
    assert "1 of 3 layers have their result. 2 to go" in capsys.readouterr().out
    kiln("1", "2")
    assert results() == {("mug", 1): (1.0, "no"), ("mug", 2): (3.0, "no"), ("bowl", 1): (2.0, "no")}


@pytest.mark.parametrize(
    ("answer", "sentence"),
    [
        ("a bit", '"a bit" is not a length'),
        ("9", "a run of 9 mm from 6 mm above the foot is past it. Type p 9 if"),
        ("3+", "type p if it passed the foot"),
        ("p 400", "longer than the wall"),
        ("-3", "less than 0 mm"),
        ("3/8", "has no unit; write 3/8 in"),
        ("?", ""),
    ],
)
def test_what_is_no_answer_is_asked_again(kiln, capsys, answer, sentence):
    words = [answer, "4", "q"]
    if answer == "p 400":  # what passed the foot may have run on over the shelf: told, and taken
        words = ["400", *words[1:]]
        sentence = "above the foot is past it"
    assert kiln(*words) == 0
    assert sentence in capsys.readouterr().err
    assert results()["mug", 1] == (4.0, "no")


@pytest.mark.parametrize(
    ("answer", "stored"),
    [("20+", (20.0, "yes")), ("~4", (4.0, "no")), ("Past", (-1.0, "yes")), ("N", (-1.0, "no"))],
)
def test_answers_as_people_give_them(kiln, answer, stored):
    kiln(answer)
    assert results()["mug", 1] == stored


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ([], '--firing: is missing; give the firing you have opened, one of "f1", "f2".'),
        (["--firing", "f9"], '"f9" is no firing in the logbook; its firings are "f1", "f2".'),
        (["--firing", "f1", "--layer", "1"], "record: has no piece; name the piece"),
    ],
)
def test_which_firing_is_asked(kiln, capsys, words, sentence):
    assert kiln(words=words) == 2
    assert sentence in capsys.readouterr().err


def test_the_only_firing_that_waits_needs_no_name(kiln, capsys):
    kiln("", "", "")
    assert kiln("", words=[]) == 0
    assert "f2: 1 of 1 layers" in capsys.readouterr().out
    assert kiln(words=[]) == 2
    assert "no planned pot in the logbook waits" in capsys.readouterr().err


def test_a_firing_without_a_name_is_walked_by_its_date(kiln):
    unnamed = layers({"firing": "", "fired_on": "2026-03-08"}, {"firing": "", "cone": "7",
                     "fired_on": "2026-04-08"})  # fmt: skip
    write_table(unnamed, "more.csv")
    run(["import", "more.csv"])
    assert kiln("3", words=["--firing", "2026-04-08"]) == 0
    with Logbook.open("logbook") as log:
        frame = log.layers().query("firing == ''")
    assert frame["run_mm"].tolist()[1] == 3.0 and pd.isna(frame["run_mm"].iloc[0])


def pots():
    with Logbook.open("logbook") as log:
        return log.layers().query("firing == 'f1'").set_index(["piece", "layer"])


def test_a_pot_lost_otherwise_is_not_asked_for_again(kiln, capsys):
    kiln("lost cracked", "4")
    told = capsys.readouterr().out
    assert "Logged: mug, layer 1, sea: lost: cracked." in told
    assert "mug, layer 2" not in told and "3 of 3 layers have their result" in told
    assert pots()["lost"].to_dict() == {("mug", 1): "cracked", ("mug", 2): "cracked",
                                        ("bowl", 1): ""}  # fmt: skip
    assert results()["mug", 1] == (-1.0, "") and results()["bowl", 1] == (4.0, "no")
    assert run(["remove", "mug", "--firing", "f1", "--result"]) == 0
    assert set(pots()["lost"]) == {""}


def test_the_rest_is_fine_but_for_a_pot_that_was_lost(kiln, capsys):
    kiln("lost cracked", "f", "y")
    assert "1 pot has no result yet; keep it as fine? y/n" in capsys.readouterr().out
    assert results() == {("mug", 1): (-1.0, ""), ("mug", 2): (-1.0, ""), ("bowl", 1): (-1.0, "no")}


def test_what_else_may_be_told_is_folded_under_one_word(kiln, capsys):
    kiln("m", "q")
    told = capsys.readouterr().out
    assert told.count("witness_cone 6 flat: ") == 1 and told.count("lost cracked: ") == 1
    kiln("Witness 5 half", "note Crawled at the rim", "2", "q")
    told = capsys.readouterr().out
    assert "witness_cone 6 flat: " not in told
    assert "Logged: mug, layer 1, sea: cone that went down: 5 half." in told
    assert "Logged: mug, layer 1, sea: note: Crawled at the rim." in told
    assert "sea: ran 2 mm (1/16 in), not past the foot; cone that went down: 5 half." in told
    assert set(pots().loc["mug", "witness_cone"]) == {"5 half"}
    assert pots().loc[("mug", 1), "note"] == "Crawled at the rim"
    kiln("q")
    assert "witness_cone 6 flat: " in capsys.readouterr().out  # it has been used


@pytest.mark.parametrize(
    ("answer", "sentence"),
    [
        ("lost", "Say what, such as lost cracked."),
        ("lost sold", '"sold" is none of cracked, shivered'),
        ("witness 99", '"99" is not a cone known here'),
        ("note", "Type what you want to keep"),
    ],
)
def test_what_cannot_be_told_so_is_asked_again(kiln, capsys, answer, sentence):
    kiln(answer, "q")
    assert sentence in capsys.readouterr().err
    assert set(pots()["lost"]) == {""} and set(pots()["note"]) == {""}


def test_record_tells_it_of_a_named_pot(kiln, capsys):
    words = ["record", "mug", "--firing", "f1"]
    assert run([*words, "--lost", "stuck", "--witness-cone", "6 flat"]) == 0
    assert set(pots().loc["mug", "lost"]) == {"stuck"}
    assert run([*words, "--lost", "unknown", "--layer", "1", "--past-foot", "no"]) == 0
    assert set(pots().loc["mug", "lost"]) == {""} and results()["mug", 1] == (-1.0, "no")
    assert run([*words, "--layer", "2", "--run", "50", "--past-foot", "no"]) == 2
    assert "a run of 50 mm from 40 mm above the foot is past it" in capsys.readouterr().err
    assert results()["mug", 2] == (-1.0, "")


@needs_proc
def test_an_interrupt_at_a_terminal_loses_nothing(kiln):
    """A real process on a real (pseudo) terminal, stopped by Ctrl-C at the second question."""
    ours, theirs = pty.openpty()
    process = started(
        [sys.executable, "-m", "helpers.logbook_driver", "record", "--firing", "f1"],
        stdin=theirs, stdout=theirs, stderr=theirs,
        env={**os.environ, "PYTHONPATH": os.pathsep.join([str(TESTS), str(TESTS.parent)])},
    )  # fmt: skip
    os.close(theirs)
    told = b""
    try:
        for layer in (1, 2):
            while f"mug, layer {layer}, sea (".encode() not in told:
                told += os.read(ours, 4096)
            if layer == 1:
                os.write(ours, b"2.5\n")
        until(
            lambda: waits(process)
        )  # a signal just before it reads is not heard until it has read
        process.send_signal(signal.SIGINT)  # as the terminal does for Ctrl-C
        assert process.wait(timeout=PATIENCE_S) == 0
        while b"1 of 3 layers" not in told:
            told += os.read(ours, 4096)
    finally:
        end_group(process)
    os.close(ours)
    assert b"Traceback" not in told
    assert results()["mug", 1] == (2.5, "no")
    assert results()["mug", 2] == (-1.0, "")


def test_remove_takes_back_by_name(kiln, capsys):
    kiln("2")
    capsys.readouterr()
    assert run(["remove", "mug"]) == 2
    assert 'runpredict remove "mug" --result' in capsys.readouterr().err
    assert run(["remove", "mug", "--result"]) == 0
    told = capsys.readouterr().out
    assert "Taken back: mug (f1), layer 1, sea (ran 2 mm (1/16 in), not past the foot)." in told
    assert "layer 2" not in told
    assert run(["remove", "mug", "--firing", "f1"]) == 0
    assert results() == {("bowl", 1): (-1.0, "")}
    run(["export", "out"])
    history = pd.read_csv("out/history.csv")
    assert set(history["action"]) == {"import", "record", "remove"}
    assert set(history.loc[history["change"] == "removed", "row"]) == {
        "piece mug; firing f1; layer 1", "piece mug; firing f1; layer 2",
    }  # fmt: skip
