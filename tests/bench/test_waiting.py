"""Who waits for whom: only who needs something worked out, and nobody for what nobody wants."""

import socket
import threading
from contextlib import contextmanager
from unittest import mock

import pytest
from helpers.bench import HOST, Visitor, bench, number_told
from helpers.crowd import at_once
from helpers.processes import PATIENCE_S, until
from waitress.wasyncore import close_all

from runpredict.bench import load_pages, memo, plan_pages, studio
from runpredict.bench.serve import listen, server_of
from runpredict.bench.session import Session
from runpredict.commands.options import sample_folder

pytestmark = pytest.mark.filterwarnings("ignore::runpredict.errors.TableWarning")
POT = "/pot?piece=mug+2&firing=Dabchick"


@pytest.fixture(scope="module")
def app(tmp_path_factory):
    with bench(tmp_path_factory.mktemp("none"), learning=False) as made:
        for address in ("/", "/load?firing=Dabchick"):  # the lists are worked out
            Visitor(made).get(address)
        yield made


@contextmanager
def somebody_at_work():
    """Another question is being worked out for as long as the block lasts, and nobody waits."""
    begun, over, in_time = threading.Event(), threading.Event(), []

    def work():
        with memo.working():
            begun.set()
            in_time.append(over.wait(PATIENCE_S))

    thread = threading.Thread(target=work)
    thread.start()
    assert begun.wait(PATIENCE_S)
    try:
        yield
    finally:
        over.set()
        thread.join()
    assert in_time == [True]


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


def test_a_question_whose_asker_has_gone_is_not_worked_out(app, visitor):
    visitor.get(POT)
    sent = {"data": visitor.fields("/pot") | {"lower_edge_mm-2": "27"}, "headers": {"Host": HOST}}
    asked = mock.Mock(side_effect=studio.answer)
    with mock.patch.object(studio, "answer", asked):
        for gone, code in ((True, 503), (False, 200)):
            overrides = {"waitress.client_disconnected": lambda gone=gone: gone}
            reply = visitor.client.post("/pot/answer", environ_overrides=overrides, **sent)
            assert reply.status_code == code
    assert asked.call_count == 1


def test_a_browser_that_hangs_up_is_seen_to_be_gone(tmp_path):
    """Questions behind the server itself: nine are given up, and none of them is worked out."""
    session = Session(tmp_path, sample_folder(), 0.05, invented=True)
    asked = mock.Mock(side_effect=studio.answer)
    listener = listen(0, False)
    server = server_of(session, listener, False, None)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        with mock.patch.object(studio, "answer", asked), somebody_at_work():
            before = memo._places._value
            address = listener.getsockname()
            sockets = [socket.create_connection(address) for _ in range(9)]
            for one in sockets:
                one.sendall(f"GET {POT} HTTP/1.1\r\nHost: 127.0.0.1:{address[1]}\r\n\r\n".encode())
            until(lambda: memo._places._value == before - 9)
            for one in sockets:
                one.close()
            until(lambda: not any(channel.connected for channel in server.active_channels.values()))
        until(lambda: memo._places._value == before + 1)
        assert asked.call_count == 0
    finally:
        server.task_dispatcher.shutdown()
        server.trigger.pull_trigger(lambda: close_all(server._map))
        thread.join(timeout=PATIENCE_S)
        session.close()


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

    asked = mock.Mock(side_effect=studio.answer)
    with load_pages.DRAWING, mock.patch.object(studio, "answer", asked):
        threads = [threading.Thread(target=ask) for _ in range(load_pages.SHEETS_AT_ONCE + 2)]
        for thread in threads:
            thread.start()
        until(lambda: len(codes) == 2 and asked.call_count == load_pages.SHEETS_AT_ONCE)
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
