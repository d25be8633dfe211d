"""Who may use the pages, and what may be sent to them."""

import http.client
import io
import re
import socket
import threading
import urllib.request
from contextlib import closing, suppress

import pytest
from helpers.bench import HOST, Visitor, bench
from helpers.processes import PATIENCE_S
from waitress.wasyncore import close_all
from werkzeug.test import create_environ, run_wsgi_app

from runpredict.bench import guard
from runpredict.bench.door import DEVICES_NAME, MOST_FILE_BYTES, YEAR_S, Door, digest
from runpredict.bench.guard import MOST_BYTES, Hosts, form_token
from runpredict.bench.serve import door_of, listen, server_of, where_to_find
from runpredict.bench.session import Session
from runpredict.commands.options import sample_folder
from runpredict.errors import BadInput
from runpredict.logbook import photos

pytestmark = pytest.mark.filterwarnings("ignore::runpredict.errors.TableWarning")


@pytest.fixture
def visitor(app):
    visitor = Visitor(app)
    visitor.get("/pot")
    return visitor


class Clock:
    """A clock that is set by hand."""

    now = 1000.0

    def __call__(self):
        return self.now


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def shown():
    return []


@pytest.fixture
def door(tmp_path, shown, clock):
    return Door(tmp_path / "kept" / DEVICES_NAME, shown.append, clock)


@pytest.mark.parametrize(
    "host",
    ["evil.example", "evil.example:8737", "127.0.0.1", "127.0.0.1:80", "localhost:8737.evil"],
)
def test_a_foreign_host_is_refused(app, host):
    # Not by the client of tests, which cannot read every such host itself.
    pages, status, _ = run_wsgi_app(app, create_environ(headers={"Host": host}))
    assert status.startswith("403")
    assert b"mug" not in b"".join(pages)


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "http://127.0.0.1:9999"},
        {"Origin": f"https://evil.example/{HOST}"},
        {"Origin": "null"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
@pytest.mark.parametrize("action", ["/pot", "/units"])
def test_a_foreign_origin_is_refused(visitor, headers, action):
    visitor.send(action, headers=headers)
    assert visitor.page.status_code == 403


@pytest.mark.parametrize("token", ["", "x", "é" * 40, form_token("another device")])
def test_a_form_without_its_token_is_refused(visitor, token):
    visitor.send("/pot", form_token=token)
    assert visitor.page.status_code == 403


def test_every_address_that_changes_something_wants_the_token(app, visitor):
    changing = [rule for rule in app.url_map.iter_rules() if "POST" in rule.methods]
    assert len(changing) >= 6
    for rule in changing:
        if rule.endpoint != "door.pair":
            reply = visitor.client.post(rule.rule, data={}, headers={"Host": HOST})
            assert reply.status_code == 403, rule


def test_every_page_carries_the_policy(app, visitor):
    addresses = [
        "/",
        "/pot",
        "/load",
        "/kiln",
        "/back",
        "/glazes",
        "/glaze",
        "/nowhere",
        "/welcome",
    ]
    for address in addresses:
        headers = visitor.get(address).headers
        policy = headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert headers["X-Content-Type-Options"] == "nosniff"
        assert not re.search(
            r"<script(?! src=)|\son\w+=|style=|javascript:|https?://", visitor.text
        )


def test_the_cookie_is_kept_from_scripts_and_from_forms_of_other_sites(app):
    reply = app.test_client().get("/", headers={"Host": HOST})
    (cookie,) = reply.headers.getlist("Set-Cookie")
    assert "HttpOnly" in cookie
    assert "SameSite=Lax" in cookie  # sent along a link, never with a form of another site


def test_a_form_of_another_site_does_not_replace_the_cookie(app):
    """A browser sends it without the cookie, but would take a new one from the answer."""
    sent = {"Host": HOST, "Origin": "http://evil.example", "Sec-Fetch-Site": "cross-site"}
    reply = app.test_client().post("/pot", data={"do": "save"}, headers=sent)
    assert reply.status_code == 403
    assert "Set-Cookie" not in reply.headers


def test_a_form_without_a_cookie_needs_a_token_nobody_can_work_out(app):
    reply = app.test_client().post(
        "/pot", data={"form_token": form_token("")}, headers={"Host": HOST}
    )
    assert reply.status_code == 403


def test_more_than_a_form_holds_is_refused(visitor):
    visitor.send("/pot", piece="x" * (MOST_BYTES + 1))
    assert visitor.page.status_code == 413


def sent_photo(client, size):
    """What comes of a photo of so many bytes, without a token."""
    photo = (io.BytesIO(b"x" * size), "pot.jpg")
    return client.post("/photo", data={"photo": photo}, headers={"Host": HOST}).status_code


def test_a_photo_may_be_larger_than_a_form_but_not_without_end(app):
    client = app.test_client()
    assert sent_photo(client, 2 * MOST_BYTES) == 403  # read to its end, where no token is
    assert sent_photo(client, MOST_BYTES + photos.MOST_BYTES) == 413


def test_no_photo_is_read_of_a_device_that_is_not_let_in(tmp_path, door):
    with bench(tmp_path / "none", door=door, learning=False) as app:
        assert sent_photo(app.test_client(), 2 * MOST_BYTES) == 413


@pytest.mark.parametrize("back", ["//evil.example", "http://evil.example", "/\\evil.example", "x"])
def test_units_never_lead_elsewhere(visitor, back):
    visitor.send("/units", units="in", back=back)
    assert visitor.page.headers["Location"] == "/"


def test_a_code_lets_one_device_in_once(door, shown):
    first = shown[-1]
    device = door.let_in(first)
    assert door.knows(device)
    assert shown[-1] != first
    assert door.let_in(first) is None
    assert not door.knows("")
    assert not door.knows("guess")


def test_wrong_codes_close_the_door_for_a_minute(door, shown, clock):
    wrong = "0000 0001" if shown[-1] != "0000 0001" else "0000 0002"
    for _ in range(5):
        assert door.let_in(wrong) is None
    assert len(shown) == 2
    assert door.let_in(shown[-1]) is None
    clock.now += 59
    assert door.let_in(shown[-1]) is None
    clock.now += 2
    assert door.let_in(shown[-1])


def test_devices_stay_let_in_but_their_tokens_are_not_kept(door, shown, tmp_path, clock):
    device = door.let_in(shown[-1])
    file = tmp_path / "kept" / DEVICES_NAME
    assert device not in file.read_text()
    assert file.stat().st_mode & 0o077 == 0
    assert Door(file, shown.append, clock).knows(device)


def test_a_device_is_forgotten_while_the_page_runs(door, shown, tmp_path):
    first = door.let_in(shown[-1])
    (tmp_path / "kept" / DEVICES_NAME).unlink()
    assert not door.knows(first)
    second = door.let_in(shown[-1])
    assert door.knows(second)
    assert not door.knows(first)


def test_what_any_web_page_may_have_sent_tries_no_code(tmp_path, door, shown):
    """HEAD and OPTIONS need no form of ours; a form of another site is refused before."""
    with bench(tmp_path / "none", door=door, learning=False) as app:
        client = app.test_client()
        for _ in range(6):
            assert client.head("/pair", headers={"Host": HOST}).status_code == 200
            client.options("/pair", headers={"Host": HOST})
            foreign = {"Host": HOST, "Origin": "http://evil.example"}
            assert client.post("/pair", data={"code": "1"}, headers=foreign).status_code == 403
        assert len(shown) == 1
        assert door.let_in(shown[-1])


def test_a_device_that_is_not_let_in_sees_nothing(tmp_path, door, shown):
    with bench(tmp_path / "none", door=door, learning=False) as app:
        stranger, friend = Visitor(app), Visitor(app)
        for address in ("/", "/pot", "/kiln", "/sheet.html?firing=Dabchick", "/welcome"):
            assert stranger.get(address).headers["Location"] == "/pair", address
        stranger.post("/pot", {"do": "save"})
        assert stranger.page.status_code == 403
        stranger.get("/pair")
        stranger.send("/pair", code="0")
        assert stranger.page.status_code == 403
        friend.get("/pair")
        friend.send("/pair", code=shown[-1])
        friend.follow()
        assert "mug 1" in friend.text
        friend.get("/pot")
        friend.send("/pot", "save", **{"glaze-1": "Lamp Room"})
        assert friend.page.status_code == 303
        stranger.client.set_cookie("bench_device_8737", "guess", domain="127.0.0.1")
        assert stranger.get("/").headers["Location"] == "/pair"


SPOILT = (
    b"", b"{broken", b"7", b"null", b"[" * 100_000, b"\xff\xfe\x00", b'{"a": 1}', b'[1, null, {}]',
    b'{"DIGEST": {"let_in": "today", "seen": 0}}', b'{"DIGEST": {"let_in": NaN, "seen": 0}}',
    b'{"DIGEST": {"let_in": 1e999, "seen": 0}}', b'{"DIGEST": {"let_in": true, "seen": 0}}',
    b'{"DIGEST": null}', b'{"DIGEST": []}', b'{"DIGEST": {"let_in": 9e12, "seen": 9e12}}',
    b'"' + b"x" * (2 * MOST_FILE_BYTES) + b'"',
)  # fmt: skip


@pytest.mark.parametrize("spoilt", SPOILT)
def test_an_odd_file_of_devices_lets_nobody_in_and_takes_the_next(tmp_path, shown, clock, spoilt):
    file = tmp_path / DEVICES_NAME
    file.write_bytes(spoilt.replace(b"DIGEST", digest("device").encode()))
    door = Door(file, shown.append, clock)
    assert not door.knows("device")
    assert door.knows(door.let_in(shown[-1]))


def test_a_folder_in_the_place_of_the_file_is_told(tmp_path, shown, clock):
    (tmp_path / DEVICES_NAME).mkdir()
    door = Door(tmp_path / DEVICES_NAME, shown.append, clock)
    assert not door.knows("device")
    with pytest.raises(BadInput, match="cannot be written"):
        door.let_in(shown[-1])


def test_devices_let_in_before_there_were_dates_stay(tmp_path, shown):
    (tmp_path / DEVICES_NAME).write_text(f'["{digest("device")}"]')
    assert Door(tmp_path / DEVICES_NAME, shown.append).knows("device")


def test_a_pairing_ends_after_a_year(tmp_path, shown):
    at = Clock()
    door = Door(tmp_path / DEVICES_NAME, shown.append, now=at)
    device = door.let_in(shown[-1], "Mozilla/5.0 (Linux; Android 14)")
    at.now += YEAR_S - 10
    assert door.knows(device)
    (kept,) = door.devices().values()
    assert (kept.kind, kept.let_in, kept.seen) == ("Android", 1000.0, at.now)
    at.now += 20
    assert not door.knows(device)


def test_a_device_is_forgotten_on_the_page(tmp_path, shown):
    door = Door(tmp_path / "kept" / DEVICES_NAME, shown.append)
    with bench(tmp_path / "none", door=door, learning=False) as app:
        one, other = Visitor(app), Visitor(app)
        for visitor in (one, other):
            visitor.get("/pair")
            visitor.send("/pair", code=shown[-1], headers={"User-Agent": "X iPhone"})
        one.get("/devices")
        assert one.text.count("iPhone") == 4  # of each its name, and what its button says
        assert one.text.count("this one") == 1
        mine = digest(one.client.get_cookie("bench_device_8737", "127.0.0.1").value)
        (others,) = set(door.devices()) - {mine}
        one.post("/devices", one.fields("/devices") | {"device": others})
        assert other.get("/").headers["Location"] == "/pair"
        assert one.get("/").status_code == 200
        for crafted in ("", "none", "x" * 5000, "\0", "../../etc"):
            one.get("/devices")
            one.post("/devices", one.fields("/devices") | {"device": crafted})
            assert one.page.status_code == 303
        assert set(door.devices()) == {mine}


def test_the_address_at_the_terminal_lets_this_machine_in_and_nobody_else(tmp_path, shown):
    """Another user of the machine reaches the port, but cannot read the terminal."""
    door = Door(tmp_path / "kept" / DEVICES_NAME, shown.append)
    (line,) = where_to_find(8737, False, door)
    with bench(tmp_path / "none", door=door, learning=False) as app:
        other, owner = Visitor(app), Visitor(app)
        for key in ("", "guess", "é", door.key[:-1], "x" * 5000):
            other.get(f"/enter?key={key}")
            assert other.follow().headers["Location"] == "/pair"
        assert (
            app.test_client()
            .head(f"/enter?key={door.key}", headers={"Host": HOST})
            .headers.getlist("Set-Cookie")
            == []
        )
        owner.get(line.rsplit("8737", 1)[1])
        assert owner.page.headers["Location"] == "/"
        assert "mug 1" in owner.follow().get_data(as_text=True)
        owner.get(line.rsplit("8737", 1)[1])  # opened again, it is the same device
        assert len(door.devices()) == 1


def test_only_the_invented_studio_on_this_machine_has_no_door(tmp_path):
    with closing(Session(tmp_path, sample_folder(), 0.05, invented=True)) as demo:
        assert door_of(demo, share=False) is None
        assert door_of(demo, share=True).devices() == {}
        with pytest.raises(BadInput, match="--demo"):
            demo.open_own()
    assert not any(tmp_path.iterdir())
    with closing(Session(tmp_path, sample_folder(), 0.05)) as own:
        assert door_of(own, share=False) is not None


def test_a_demo_never_opens_her_own_logbook(tmp_path, app):
    visitor = Visitor(app)
    visitor.get("/pot")
    token = visitor.fields("/pot")["form_token"]
    visitor.post("/welcome", {"form_token": token, "studio": "own"})
    assert visitor.page.status_code == 400
    assert "--demo" in visitor.text
    assert "Invented studio" in visitor.get("/").get_data(as_text=True)


def test_names_of_this_machine_are_its_own():
    alone, shared = Hosts(8737, False), Hosts(8737, True)
    for host in ("127.0.0.1:8737", "localhost:8737", "LocalHost:8737", "[::1]:8737"):
        assert host in alone
        assert host in shared
    name = f"{socket.gethostname().casefold()}:8737"
    assert name in shared
    assert name not in alone
    for host in (
        "",
        ":",
        ":8737",
        "127.0.0.1",
        "[::1]",
        "[::1",
        "evil:8737",
        "127.0.0.1:8737:8737",
    ):
        assert host not in shared


def test_port_80_goes_without_saying():
    hosts = Hosts(80, False)
    for host in ("127.0.0.1", "localhost", "[::1]", "127.0.0.1:80", "[::1]:80"):
        assert host in hosts
    assert "127.0.0.1:8080" not in hosts
    assert where_to_find(80, False, None) == ["The bench page is at http://127.0.0.1/"]


def test_names_are_looked_up_when_they_are_asked_for(monkeypatch, clock):
    names = ["10.0.0.1"]
    asked = []
    monkeypatch.setattr(guard, "_own_addresses", lambda: asked.append(1) or list(names))
    hosts = Hosts(8737, True, clock)
    assert "127.0.0.1:8737" in hosts
    assert not asked
    assert "10.0.0.1:8737" in hosts
    names[:] = ["10.0.0.2"]  # on another network
    clock.now += 60
    assert "10.0.0.2:8737" in hosts
    assert "10.0.0.1:8737" not in hosts
    assert len(asked) == 2  # however often somebody asks by odd names


def test_a_port_that_is_taken_is_told():
    with listen(0, False) as first, pytest.raises(BadInput, match="cannot be used"):
        listen(first.getsockname()[1], False)
    with pytest.raises(BadInput, match="cannot be used"):
        listen(99999, False)


@pytest.fixture
def served(tmp_path):
    """The pages behind the server itself."""
    listener = listen(0, False)
    session = Session(tmp_path, sample_folder(), 0.05, invented=True)
    server = server_of(session, listener, False, None)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    yield listener.getsockname()
    server.task_dispatcher.shutdown()
    # In the thread that runs it, as nobody else may touch its sockets while it waits on them.
    server.trigger.pull_trigger(lambda: close_all(server._map))
    thread.join(timeout=PATIENCE_S)
    session.close()


def test_the_server_listens_on_loopback_and_says_nothing_of_itself(served):
    host, port = served
    assert host == "127.0.0.1"
    with urllib.request.urlopen(f"http://{host}:{port}/", timeout=PATIENCE_S) as reply:
        assert b"mug 1" in reply.read()
        assert "Server" not in reply.headers


def test_the_server_refuses_what_is_too_long(served):
    host, port = served
    connection = http.client.HTTPConnection(host, port, timeout=PATIENCE_S)
    connection.request("GET", "/", headers={"X-Long": "x" * 70_000})
    assert connection.getresponse().status == 431
    connection.close()
    connection = http.client.HTTPConnection(host, port, timeout=PATIENCE_S)
    with suppress(ConnectionError):  # it may hang up before all is sent
        connection.request("POST", "/pot", b"x" * 3_000_000)
        assert connection.getresponse().status == 413
    connection.close()


@pytest.mark.parametrize(
    "target", ["/static/../app.py", "/static/%2e%2e/app.py", "/picture/../x.svg"]
)
def test_no_file_but_its_own_is_served(app, target):
    assert app.test_client().get(target, headers={"Host": HOST}).status_code == 404
