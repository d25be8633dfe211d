"""Files written whole or not at all, never over what a potter made, whatever stops the run."""

import os
import re
import stat
import subprocess
import sys
import threading
import time
from pathlib import Path

import pandas as pd
import pytest
from helpers.tables import faults_of

from runpredict.errors import BadInput
from runpredict.tables.csv_files import write_table, write_tables
from runpredict.tables.files import draft_in, read_bytes, refuse_unasked, replace_file

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


def test_an_answer_goes_to_a_folder_of_its_own_unless_asked(tmp_path):
    files = [tmp_path / name for name in NAMES]
    refuse_unasked(files, tmp_path)
    refuse_unasked([tmp_path / "new" / "a.csv"], tmp_path / "new")
    (tmp_path / ".DS_Store").touch()
    refuse_unasked(files, tmp_path)
    write_all(tmp_path, "one")
    (fault,) = faults_of(refuse_unasked, files, tmp_path)
    assert fault.startswith(f"{tmp_path}: is not empty; give a folder of its own, or --replace")
    refuse_unasked(files, tmp_path, replace=True)
    write_all(tmp_path, "two")
    assert words_in(tmp_path) == ["two"] * 3


def test_a_file_that_is_there_is_refused_unless_asked(tmp_path):
    write_all(tmp_path, "one")
    faults = faults_of(refuse_unasked, [tmp_path / name for name in (*NAMES, "new.csv")])
    assert [fault.split(":")[0] for fault in faults] == list(NAMES)
    assert "is there already; write elsewhere, or give --replace" in faults[0]
    refuse_unasked([tmp_path / name for name in NAMES], replace=True)


@pytest.mark.parametrize("link", [None, os.symlink, os.link])
def test_an_input_is_never_written_over_by_any_name(tmp_path, link):
    write_all(tmp_path, "one")
    read = tmp_path / "a.csv"
    if link:
        link(read, tmp_path / "other.csv")
        read = tmp_path / "other.csv"
    for folder in (None, tmp_path):
        asked = {"folder": folder, "inputs": [None, read], "replace": True}
        (fault,) = faults_of(refuse_unasked, [tmp_path / "a.csv"], **asked)
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
    names = {draft_in(tmp_path).name for _ in range(50)}
    assert len(names) == 50
    assert all(re.fullmatch(r"\.runpredict-[0-9a-f]{16}\.part", n) for n in names)
    monkeypatch.setattr("secrets.token_hex", lambda size: "0" * 2 * size)
    (tmp_path / "hers").write_text("hers", encoding="utf-8")
    planted = draft_in(tmp_path)
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
    assert all(re.fullmatch(r"w\d", word) for word in words_in(tmp_path))
    assert {file.name for file in tmp_path.iterdir()} == set(NAMES)


KILLED = """
import os, sys
from pathlib import Path
from runpredict.tables.files import replace_files
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

for name in ("replace", "unlink", "open"):
    count(os, name)
paths = [Path(sys.argv[2], name) for name in ("a.csv", "b.csv", "c.csv")]
with replace_files(paths) as drafts:
    for draft in drafts:
        draft.write_text("piece\\nnew\\n", encoding="utf-8")
"""


def kill_after(folder, steps):
    """Write a set in a process that ends, without a word, after some steps on the disk."""
    words = [sys.executable, "-c", KILLED, str(steps), str(folder)]
    return subprocess.run(words, check=False, capture_output=True).returncode


@pytest.mark.parametrize("old", [True, False])
def test_each_file_of_a_killed_set_is_old_or_new(tmp_path, old):
    statuses = []
    for steps in range(12):
        folder = tmp_path / str(steps)
        folder.mkdir()
        if old:
            write_all(folder, "old")
        statuses.append(kill_after(folder, steps))
        assert set(words_in(folder)) <= {"old" if old else "", "new"}
        left = {file.name for file in folder.iterdir()} - set(NAMES)
        assert all(name.startswith(".runpredict-") for name in left)
    assert set(statuses) == {0, 9}


def test_a_draft_that_a_killed_run_left_is_taken_away_after_a_day(tmp_path):
    drafts = [draft_in(tmp_path) for _ in range(2)]
    long_ago = time.time() - 25 * 3600
    os.utime(drafts[0], (long_ago, long_ago))
    (tmp_path / "hers.part").touch()
    os.utime(tmp_path / "hers.part", (long_ago, long_ago))
    write_table(answer("new"), tmp_path / "a.csv")
    assert {file.name for file in tmp_path.iterdir()} == {drafts[1].name, "hers.part", "a.csv"}


def test_what_cannot_be_written_leaves_what_stood(tmp_path, monkeypatch):
    write_all(tmp_path, "old")
    whole = os.replace

    def fails(draft, file):
        if Path(file).name == failing:
            raise PermissionError(13, "Permission denied")
        whole(draft, file)

    monkeypatch.setattr(os, "replace", fails)
    failing = "a.csv"
    assert "nothing was changed" in faults_of(write_all, tmp_path, "new")[0]
    assert words_in(tmp_path) == ["old"] * 3
    failing = "b.csv"
    assert "a.csv stands already" in faults_of(write_all, tmp_path, "new")[0]
    assert words_in(tmp_path) == ["new", "old", "old"]
    assert {file.name for file in tmp_path.iterdir()} == set(NAMES)


def test_what_was_written_is_on_disk_before_it_has_its_name(tmp_path, monkeypatch):
    file, order = tmp_path / "kept.csv", []
    fsync, rename = os.fsync, os.replace
    monkeypatch.setattr(os, "fsync", lambda handle: (order.append("disk"), fsync(handle)))
    monkeypatch.setattr(os, "replace", lambda *names: (order.append("name"), rename(*names)))
    with replace_file(file) as draft:
        draft.write_text("piece\n")
    assert order == ["disk", "name"]
    assert file.read_text() == "piece\n"


def test_a_block_that_fails_leaves_nothing(tmp_path):
    with pytest.raises(ZeroDivisionError), replace_file(tmp_path / "a.csv") as draft:
        draft.write_text("half", encoding="utf-8")
        raise ZeroDivisionError
    assert list(tmp_path.iterdir()) == []


def test_the_folder_one_is_in_is_named(monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(BadInput, match=r"^\.: cannot be read \("):
        read_bytes(Path())


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_named_pipe_is_refused_and_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "layers.csv")
    (fault,) = faults_of(read_bytes, tmp_path / "layers.csv")
    assert fault.startswith("layers.csv: cannot be read (a pipe, not a file)")
