"""A logbook that is deleted, replaced or spoilt while the page is open: told so, in a sentence."""

import shutil
import sqlite3
from contextlib import closing

import pandas as pd
import pytest
from helpers.bench import Visitor, bench

from runpredict.commands.options import sample_folder
from runpredict.errors import BadInput
from runpredict.logbook.book import Logbook
from runpredict.logbook.forms import import_files
from runpredict.logbook.results import Outcome
from runpredict.logbook.schema import FILE_NAME

pytestmark = pytest.mark.filterwarnings("ignore::runpredict.errors.TableWarning")

ADDRESSES = (
    "/", "/pot", "/pot?piece=mug+1&firing=Dabchick", "/load", "/load?firing=Dabchick", "/kiln",
    "/kiln?firing=Dabchick", "/glazes", "/glaze?name=Ninepenny+Clear",
    "/sheet.html?firing=Dabchick", "/back",
)  # fmt: skip
POT = "/pot?piece=mug+1&firing=Dabchick"


@pytest.fixture
def folder(tmp_path):
    import_files(sorted(sample_folder().glob("*.csv")), tmp_path / "mine")
    return tmp_path / "mine"


@pytest.fixture
def visitor(folder):
    with bench(folder, invented=False, learning=False) as app:
        made = Visitor(app)
        made.get(POT)
        yield made


def refused(visitor):
    """What every page and a save tell, one sentence and the same one."""
    fields = visitor.fields("/pot")
    replies = [visitor.get(address) for address in ADDRESSES]
    replies.append(visitor.post("/pot", fields | {"do": "save", "lower_edge_mm-1": "11"}))
    assert {reply.status_code for reply in replies} == {400}
    told = {reply.text.split('role="alert">')[1].split("</p>")[0] for reply in replies}
    (sentence,) = told
    assert sentence.startswith(FILE_NAME)
    assert sentence.count(". ") == 0
    return sentence


@pytest.mark.parametrize("what", ["file", "folder"])
def test_one_that_is_gone_is_told_and_found_again(visitor, folder, what):
    gone = folder / FILE_NAME if what == "file" else folder
    aside = folder.parent / "aside"
    gone.rename(aside)
    fields = visitor.fields("/pot")
    assert "was moved away or deleted" in refused(visitor)
    aside.rename(gone)
    visitor.post("/pot", fields | {"do": "save", "lower_edge_mm-1": "11"})
    visitor.follow()
    assert "Kept in the logbook" in visitor.text


def test_one_that_is_replaced_is_told(visitor, folder):
    import_files([sample_folder() / "glazes.csv"], folder.parent / "other")
    (folder.parent / "other" / FILE_NAME).rename(folder / FILE_NAME)
    assert "was replaced by another file" in refused(visitor)
    with Logbook.open(folder) as book:
        assert book.layers().empty


def spoil(file, how):
    """Write another content into the file that is open."""
    if how == "another program's":
        with closing(sqlite3.connect(file.with_name("other.db"))) as other:
            other.execute("CREATE TABLE layers (piece)")
            other.commit()
        file.write_bytes(file.with_name("other.db").read_bytes())
    else:
        file.write_bytes({"no text": b"\0\xff" * 9000, "empty": b""}[how])


@pytest.mark.parametrize("how", ["no text", "empty", "another program's"])
def test_one_that_is_spoilt_where_it_is_is_told(visitor, folder, how):
    spoil(folder / FILE_NAME, how)
    assert "is damaged or not a logbook" in refused(visitor)


def test_an_older_copy_put_in_its_place_is_what_counts(visitor, folder):
    copy = folder.parent / "copy"
    shutil.copyfile(folder / FILE_NAME, copy)
    old = visitor.fields("/pot")
    for edge in ("11", "12"):
        visitor.send("/pot", "save", **{"lower_edge_mm-1": edge})
        visitor.follow()
    newer = visitor.fields("/pot")
    shutil.copyfile(copy, folder / FILE_NAME)
    visitor.get(POT)
    assert visitor.fields("/pot") == old
    visitor.post("/pot", newer | {"do": "save"})
    assert visitor.page.status_code == 409


def test_whoever_writes_to_one_that_is_gone_is_told(folder):
    with Logbook.open(folder) as book:
        before = book.layers()
        aside = folder / "aside"
        (folder / FILE_NAME).rename(aside)
        for ask in (book.layers, lambda: book.record("mug 1", [Outcome(1, past_foot="no")])):
            with pytest.raises(BadInput, match="was moved away or deleted"):
                ask()
        aside.rename(folder / FILE_NAME)
        pd.testing.assert_frame_equal(book.layers(), before)
