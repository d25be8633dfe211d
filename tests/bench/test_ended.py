"""How the page ends: from outside, in any moment, and with it whatever it started."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from helpers.browser import Page
from helpers.processes import PATIENCE_S, end_group, members, needs_proc, started, until

TESTS = Path(__file__).parents[1]


def learners(group):
    """Processes of a group that learn, or are about to."""
    return [number for number, words in members(group).items() if "spawn_main" in words]


@pytest.fixture
def page(tmp_path):
    """A page over the invented studio, whose copy lies in a folder of the test's."""
    passing = tmp_path / "passing"
    passing.mkdir()
    with Page(tmp_path / "none", "--demo", TMPDIR=str(passing)) as made:
        made.passing = passing
        yield made


@needs_proc
def test_the_learner_ends_with_a_page_that_is_killed():
    process = started(
        [sys.executable, "-m", "helpers.endless_learning"],
        stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
        env=os.environ | {"PYTHONPATH": str(TESTS)},
    )  # fmt: skip
    try:
        until(lambda: learners(process.pid))
        process.kill()
        process.wait(timeout=PATIENCE_S)
        until(lambda: not members(process.pid))
    finally:
        end_group(process)


@needs_proc
@pytest.mark.parametrize("name", ["SIGTERM", "SIGHUP", "SIGINT"])
def test_a_page_that_is_ended_cleans_up(page, name):
    """While it learns its log; Ctrl-C and a terminal that closes reach the learner as well."""
    until(lambda: learners(page.process.pid))
    assert list(page.passing.glob("invented-studio-*"))
    if name == "SIGTERM":
        told = page.stop()
    else:
        os.killpg(page.process.pid, getattr(signal, name))
        told = page.process.communicate(timeout=PATIENCE_S)[1]
    assert page.process.returncode == 0
    assert told == ""
    assert not list(page.passing.iterdir())
    until(lambda: not members(page.process.pid))


@needs_proc
def test_a_page_that_is_ended_while_it_starts_leaves_nothing(tmp_path):
    page = Page(tmp_path / "none", "--demo", TMPDIR=str(tmp_path))
    try:
        until(lambda: list(tmp_path.glob("invented-studio-*")))
        told = page.stop()
        assert "Traceback" not in told
        assert not list(tmp_path.iterdir())
        until(lambda: not members(page.process.pid))
    finally:
        end_group(page.process)


def test_a_page_that_is_to_outlive_its_terminal_does(tmp_path):
    ignoring = [signal.SIGHUP]  # as nohup has it
    with Page(tmp_path / "none", "--demo", ignoring=ignoring) as page:
        page.process.send_signal(signal.SIGHUP)
        page.learned()
        assert page.process.poll() is None


@needs_proc
def test_no_page_of_a_test_is_left_after_its_failure(tmp_path):
    with pytest.raises(ZeroDivisionError), Page(tmp_path / "none", "--demo") as page:
        raise ZeroDivisionError
    until(lambda: not members(page.process.pid))  # whoever is killed is gone a moment later
