"""Who waits for whom: only who needs something worked out, and nobody for what nobody wants."""

import threading
from contextlib import contextmanager
from unittest import mock

import pytest
from helpers.bench import Visitor, bench, number_told
from helpers.crowd import at_once
from helpers.processes import PATIENCE_S, until

from runpredict.bench import load_pages, memo, plan_pages, studio

pytestmark = pytest.mark.filterwarnings("ignore::runpredict.errors.TableWarning")
POT = "/pot?piece=mug+2&firing=Dabchick"


@pytest.fixture(scope="module")
def app(tmp_path_factory):
    with bench(tmp_path_factory.mktemp("none"), learning=False) as made:
        Visitor(made).get("/")  # the lists are worked out
        yield made


@pytest.fixture
def visitor(app):
    return Visitor(app)


@contextmanager
def somebody_at_work():
    """Another question is being worked out for as long as the block lasts."""
    begun, over = threading.Event(), threading.Event()

    def work():
        with memo.working():
            begun.set()
            over.wait(PATIENCE_S)

    thread = threading.Thread(target=work)
    thread.start()
    assert begun.wait(PATIENCE_S)
    try:
        yield
    finally:
        over.set()
        thread.join()


def test_pages_that_work_nothing_out_never_wait(visitor):
    """Lists that are known, the kiln, the glazes, a known pot, a form with a fault, and a save."""
    visitor.get(POT)
    fields = visitor.fields("/pot")
    with somebody_at_work():
        for address in ("/", "/load", "/load?firing=Dabchick", "/kiln", "/kiln?firing=Dabchick",
                        "/glazes", "/glaze?name=Ninepenny+Clear", "/back", POT):  # fmt: skip
            assert visitor.get(address).status_code == 200
        assert visitor.post("/pot/answer", fields | {"foot_mm": "wide"}).status_code == 200
        assert "No answer yet" in visitor.text
        visitor.post("/pot", fields | {"do": "save", "lower_edge_mm-1": "9"})
        assert visitor.page.status_code == 303


def test_only_the_newest_question_of_a_page_is_worked_out(app, visitor):
    """Seven are typed while somebody else's is worked out; two pages of one device are two."""
    visitor.get(POT)
    fields, codes = visitor.fields("/pot"), {}
    edges = [("one", 20), ("one", 21), ("one", 22), ("other", 23), ("one", 24), ("", 25), ("", 26)]
    asked = mock.Mock(side_effect=studio.answer)

    def ask(asker, edge):
        mine = Visitor(app)
        mine.client = visitor.client  # the same device
        mine.post("/pot/answer", fields | {"asker": asker, "lower_edge_mm-2": str(edge)})
        codes[edge] = mine.page.status_code

    with mock.patch.object(studio, "answer", asked):
        threads = [threading.Thread(target=ask, args=each) for each in edges]
        with somebody_at_work():
            before = memo._places._value
            for count, thread in enumerate(threads, 1):
                thread.start()
                until(lambda count=count: memo._places._value == before - count)
        for thread in threads:
            thread.join()
    assert codes == {20: 409, 21: 409, 22: 409, 23: 200, 24: 200, 25: 200, 26: 200}
    assert asked.call_count == 4


def test_too_many_questions_at_once_are_told_so(app):
    visitors = [Visitor(app) for _ in range(3)]
    for visitor in visitors:
        visitor.get(POT)
    with mock.patch.object(memo, "_places", threading.BoundedSemaphore(1)), somebody_at_work():
        for edge, visitor in enumerate(visitors, 30):
            fields = visitor.fields("/pot") | {"lower_edge_mm-2": str(edge)}
            assert visitor.post("/pot/answer", fields).status_code == 503
            assert "try again in a moment" in visitor.text
    visitors[0].get(POT)
    assert number_told(visitors[0].text)


def test_too_many_sheets_at_once_are_told_so(app):
    codes = []

    def ask():
        visitor = Visitor(app)
        codes.append(visitor.get("/sheet.html?firing=Dabchick").status_code)
        if codes[-1] == 503:
            assert "Several sheets are being drawn" in visitor.text

    with load_pages.DRAWING:
        threads = [threading.Thread(target=ask) for _ in range(load_pages.SHEETS_AT_ONCE + 2)]
        for thread in threads:
            thread.start()
        until(lambda: len(codes) == 2)
    for thread in threads:
        thread.join()
    assert sorted(codes) == [200] * load_pages.SHEETS_AT_ONCE + [503] * 2


def test_a_tower_of_layers_is_kept_and_not_worked_out(visitor):
    visitor.get(POT)
    for _ in range(plan_pages.MOST_ASKED - 1):
        visitor.send("/pot", "add")
        edges = visitor.fields("/pot")
        last = max(int(name.split("-")[1]) for name in edges if name.startswith("glaze-"))
        changed = {f"glaze-{last}": "Wet Hawser", "piece": "tower"}
        visitor.send("/pot", "ask", **changed)
    assert "works out pots of up to 8 layers" in visitor.text
    assert 'class="number"' not in visitor.text
    visitor.send("/pot", "save")
    assert visitor.page.status_code == 303


def test_the_newest_of_each_asker():
    newest = memo.Newest(most=2)
    first, second, other = newest.ask("one"), newest.ask("one"), newest.ask("other")
    assert (first(), second(), other()) == (False, True, True)
    newest.ask("third")
    assert second()  # forgotten, and so not called old


def test_a_result_is_worked_out_once_however_many_ask():
    kept, asked = memo.Memo(3), []
    at_once(lambda: kept.get("key", lambda: asked.append(1) or 5) for _ in range(8))
    assert asked == [1]
    assert kept.kept("key") == 5
    assert kept.kept("none") is None
