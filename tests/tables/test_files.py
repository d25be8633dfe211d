"""Files written whole or not at all, never over what a potter made, whatever stops the run."""

import hashlib
import os
import re
import stat
import subprocess
import sys
import threading
from pathlib import Path

import pandas as pd
import pytest
from helpers.tables import faults_of, written_in

from runpredict.errors import BadInput
from runpredict.tables.csv_files import write_table, write_tables
from runpredict.tables.files import read_bytes, replace_file
from runpredict.tables.marks import MARKS_NAME, refuse_unasked
from runpredict.tables.unfinished import create_hidden

NAMES = ("a.csv", "b.csv", "c.csv")


def answer(word):
    return pd.DataFrame({"piece": [word] * 3})


def write_all(folder, word):
    write_tables({folder / name: answer(word) for name in NAMES})


def words_in(folder):
    """The word each file of the set holds; a file that is not there has none."""
    return [
        (folder / name).read_text(encoding="utf-8").split()[1] if (folder / name).exists() else ""
        for name in NAMES
    ]


def test_an_earlier_answer_may_be_replaced(tmp_path):
    write_all(tmp_path, "one")
    refuse_unasked([tmp_path / name for name in NAMES])
    write_all(tmp_path, "two")
    refuse_unasked([tmp_path / name for name in NAMES])
    assert words_in(tmp_path) == ["two"] * 3
    marks = (tmp_path / MARKS_NAME).read_text(encoding="utf-8")
    assert hashlib.sha256((tmp_path / "a.csv").read_bytes()).hexdigest() in marks


def test_what_she_changed_or_made_is_refused(tmp_path):
    write_all(tmp_path, "one")
    (tmp_path / "a.csv").write_text("piece\nhers\n", encoding="utf-8")
    write_table(answer("hers"), tmp_path / "new.csv")
    faults = faults_of(refuse_unasked, [tmp_path / name for name in (*NAMES, "new.csv")])
    assert [fault.split(":")[0] for fault in faults] == ["a.csv", "new.csv"]
    assert "is not as an earlier answer left it" in faults[0]


def test_an_answer_copied_under_another_name_is_hers(tmp_path):
    write_all(tmp_path, "one")
    (tmp_path / "mine.csv").write_bytes((tmp_path / "a.csv").read_bytes())
    assert len(faults_of(refuse_unasked, [tmp_path / "mine.csv"])) == 1


@pytest.mark.parametrize("link", [None, os.symlink, os.link])
def test_an_input_is_never_written_over_by_any_name(tmp_path, link):
    write_all(tmp_path, "one")
    read = tmp_path / "a.csv"
    if link:
        link(read, tmp_path / "other.csv")
        read = tmp_path / "other.csv"
    (fault,) = faults_of(refuse_unasked, [tmp_path / "a.csv"], [None, read])
    assert fault.startswith("a.csv: is one of the tables that are read")


def test_a_link_under_the_name_is_replaced_and_not_followed(tmp_path):
    hers = tmp_path / "hers.csv"
    write_table(answer("hers"), hers)
    (tmp_path / "out.csv").symlink_to(hers)
    assert len(faults_of(refuse_unasked, [tmp_path / "out.csv"])) == 1
    write_table(answer("new"), tmp_path / "out.csv")
    assert "hers" in hers.read_text(encoding="utf-8")
    assert not (tmp_path / "out.csv").is_symlink()


def test_hidden_names_cannot_be_guessed_nor_stood_for(tmp_path, monkeypatch):
    names = {create_hidden(tmp_path).name for _ in range(50)}
    assert len(names) == 50
    assert all(re.fullmatch(r"\.runpredict-[0-9a-f]{8}-\d+-[0-9a-f]{16}\.new", n) for n in names)
    monkeypatch.setattr("secrets.token_hex", lambda size: "0" * 2 * size)
    (tmp_path / "hers").write_text("hers", encoding="utf-8")
    planted = create_hidden(tmp_path)
    planted.unlink()
    planted.symlink_to(tmp_path / "hers")
    assert "file exists" in faults_of(write_table, answer("new"), tmp_path / "a.csv")[0]
    assert (tmp_path / "hers").read_text(encoding="utf-8") == "hers"


@pytest.mark.skipif(os.name != "posix", reason="modes of files")
def test_a_new_file_has_the_mode_of_any_new_file(tmp_path):
    (tmp_path / "plain").touch()
    write_table(answer("new"), tmp_path / "a.csv")
    modes = [stat.S_IMODE((tmp_path / name).stat().st_mode) for name in ("plain", "a.csv")]
    assert modes[0] == modes[1]


def test_many_threads_may_write_one_set(tmp_path):
    faults = []

    def work(number):
        try:
            for _ in range(10):
                write_all(tmp_path, f"w{number}")
        except BadInput as bad:
            faults.append(bad)

    crowd = [threading.Thread(target=work, args=(number,)) for number in range(8)]
    for thread in crowd:
        thread.start()
    for thread in crowd:
        thread.join()
    assert faults == []
    assert len(set(words_in(tmp_path))) == 1
    assert written_in(tmp_path) == set(NAMES)
    refuse_unasked([tmp_path / name for name in NAMES])


KILLED = """
import os, sys
from pathlib import Path
from runpredict.tables.files import replace_files
from runpredict.tables.marks import mark_answers
left = int(sys.argv[1])

def count(module, name):
    whole = getattr(module, name)
    def step(*given, **named):
        global left
        left -= 1
        if left < 0:
            os._exit(9)
        return whole(*given, **named)
    setattr(module, name, step)

for name in ("replace", "link", "unlink", "open", "write"):
    count(os, name)
paths = [Path(sys.argv[2], name) for name in ("a.csv", "b.csv", "c.csv")]
with replace_files(paths) as drafts:
    for draft in drafts:
        draft.write_text("piece\\nnew\\n", encoding="utf-8")
    mark_answers(drafts, paths)
"""


def kill_after(folder, steps):
    """Write a set in a process that ends, without a word, after some steps on the disk."""
    words = [sys.executable, "-c", KILLED, str(steps), str(folder)]
    return subprocess.run(words, check=False, capture_output=True).returncode


@pytest.mark.parametrize("start", [0, 9, 18])
@pytest.mark.parametrize("old", [True, False])
def test_a_killed_set_is_old_or_new_at_the_next_run(tmp_path, start, old):
    statuses = []
    for steps in range(start, start + 9):
        folder = tmp_path / str(steps)
        folder.mkdir()
        if old:
            write_all(folder, "old")
        statuses.append(kill_after(folder, steps))
        with pytest.raises(BadInput):
            read_bytes(folder / "other.csv")  # the next run, whatever it does here
        assert words_in(folder) in (["old" if old else ""] * 3, ["new"] * 3)
        assert written_in(folder) <= set(NAMES)
    assert set(statuses) <= {0, 9}
    assert 9 in statuses


def test_a_write_that_fails_in_the_middle_puts_back_what_stood(tmp_path, monkeypatch):
    write_all(tmp_path, "old")
    whole, calls = os.replace, []

    def fails(draft, file):
        calls.append(file)
        if Path(file).name == "c.csv" and len(calls) < 6:
            raise PermissionError(13, "Permission denied")
        whole(draft, file)

    monkeypatch.setattr(os, "replace", fails)
    assert "nothing was changed" in faults_of(write_all, tmp_path, "new")[0]
    assert words_in(tmp_path) == ["old"] * 3
    assert written_in(tmp_path) == set(NAMES)


def test_a_note_that_we_did_not_write_undoes_nothing(tmp_path):
    hers = tmp_path / "sub" / "hers.csv"
    hers.parent.mkdir()
    hers.write_text("hers", encoding="utf-8")
    note = create_hidden(tmp_path, "undo")
    note.write_text('[["sub/hers.csv", null], ["x", "../hers.csv"], 3]', encoding="utf-8")
    gone = note.with_name(note.name.replace(f"-{os.getpid()}-", "-4194305-"))
    note.rename(gone)
    (tmp_path / note.name.replace(".undo", ".new")).symlink_to(hers)
    write_table(answer("new"), tmp_path / "a.csv")
    assert hers.read_text(encoding="utf-8") == "hers"
    assert not gone.exists()


def test_another_process_at_work_is_left_alone(tmp_path):
    ours = create_hidden(tmp_path)
    parent = ours.with_name(ours.name.replace(f"-{os.getpid()}-", f"-{os.getppid()}-"))
    parent.touch()
    write_table(answer("new"), tmp_path / "a.csv")
    assert ours.exists()
    assert parent.exists()


def test_a_block_that_fails_leaves_nothing(tmp_path):
    with pytest.raises(ZeroDivisionError), replace_file(tmp_path / "a.csv") as draft:
        draft.write_text("half", encoding="utf-8")
        raise ZeroDivisionError
    assert list(tmp_path.iterdir()) == []
