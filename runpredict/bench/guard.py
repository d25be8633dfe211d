"""Who may use the pages: this machine alone, or devices that were let in with a one-time code.

Every request names a host that is ours; every change comes from a page of ours (its Origin, and
a token that only a page shown to this device has).
"""

from __future__ import annotations

import hashlib
import hmac
import math
import socket
import threading
import time
from collections.abc import Callable, Iterable
from contextlib import suppress
from urllib.parse import urlsplit

from flask import Flask, Response, abort, g, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from runpredict.bench.door import YEAR_S, Door, new_device
from runpredict.logbook import photos

MOST_BYTES = 256 * 1024
"""Of one request: the results of a kiln of 500 pots are about 100 kB."""
MOST_FIELDS = 8000
LOOPBACK = frozenset({"127.0.0.1", "localhost", "[::1]"})
LOOKED_UP_S = 20.0

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",  # with none a browser hides the Origin of its own forms
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
}
SAFE = ("GET", "HEAD", "OPTIONS")


class Hosts:
    """Names by which a browser may call this machine, with the port of the pages.

    Names and addresses on the network are looked up when one of them is asked for, since a machine
    gets others when it changes its network.

    Parameters
    ----------
    port : int
    share : bool
        Whether the pages are served to the network too.
    clock : callable
        Seconds.
    """

    def __init__(self, port: int, share: bool, clock: Callable[[], float] = time.monotonic) -> None:
        self.port, self._share, self._clock = port, share, clock
        self._lock = threading.Lock()
        self._names: frozenset[str] = frozenset()
        self._looked_up = -math.inf

    def __contains__(self, host: str) -> bool:
        """Whether a request's Host is ours; port 80 goes without saying."""
        name, colon, port = host.casefold().rpartition(":")
        if not colon or "]" in port:  # no port, or an address of IPv6 without one
            name, port = host.casefold(), "80"
        if port != str(self.port):
            return False
        return name in LOOPBACK or (self._share and name in self._own_names())

    def _own_names(self) -> frozenset[str]:
        with self._lock:
            if self._clock() - self._looked_up >= LOOKED_UP_S:
                self._names = frozenset(name.casefold() for name in _own_addresses())
                self._looked_up = self._clock()
            return self._names


def _own_addresses() -> Iterable[str]:
    name = socket.gethostname()
    yield name
    yield f"{name}.local"
    with suppress(OSError, UnicodeError):
        yield from socket.gethostbyname_ex(name)[2]
    address = lan_address()
    if address:
        yield address


def lan_address() -> str | None:
    """The address of this machine on its network; nothing is sent to find it."""
    with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.connect(("192.0.2.1", 9))  # an address for documents, RFC 5737
        return str(probe.getsockname()[0])
    return None


def form_token(device: str) -> str:
    """What a form must send back: only a page shown to this device can tell it."""
    return hashlib.sha256(f"form {device}".encode("utf-8", "replace")).hexdigest()[:40]


def guard(app: Flask, hosts: Hosts, door: Door | None) -> None:
    """Put the checks before every request, and the headers on every response.

    Parameters
    ----------
    app : Flask
    hosts : Hosts
    door : Door or None
        None where whoever reaches the pages may use them.
    """
    app.config.update(
        MAX_CONTENT_LENGTH=MOST_BYTES, MAX_FORM_MEMORY_SIZE=MOST_BYTES, MAX_FORM_PARTS=MOST_FIELDS
    )
    cookie = f"bench_device_{hosts.port}"

    @app.before_request
    def _check() -> AnyResponse | None:
        if request.host not in hosts:
            abort(403, "This page answers only to its own address.")
        g.device = request.cookies.get(cookie, "")
        if request.endpoint == "photo.keep" and (door is None or door.knows(g.device)):
            request.max_content_length = MOST_BYTES + photos.MOST_BYTES
        g.new_device = ""
        if request.method not in SAFE:
            _refuse_foreign()
        if door is None and not g.device:
            g.device = g.new_device = new_device()
        if request.method not in SAFE:
            _refuse_tokenless()
        if door is not None and not door.knows(g.device) and request.endpoint not in OPEN_TO_ALL:
            return redirect(url_for("door.pair"))
        return None

    @app.after_request
    def _finish(response: Response) -> Response:
        for name, value in HEADERS.items():
            response.headers.setdefault(name, value)
        response.headers.setdefault("Content-Security-Policy", POLICY)
        response.headers.setdefault("Cache-Control", "no-store")
        if g.get("new_device"):
            response.set_cookie(
                cookie, g.new_device, max_age=YEAR_S, httponly=True, samesite="Lax", path="/"
            )  # Strict would hide it when a link in a mail is followed, and a new one replace it
        return response

    app.jinja_env.globals["form_token"] = lambda: form_token(g.device)


OPEN_TO_ALL = frozenset({"door.pair", "door.enter", "static"})


def _refuse_foreign() -> None:
    """A change comes from a page of ours."""
    origin = request.headers.get("Origin")
    ours = urlsplit(origin).netloc.casefold() == request.host.casefold() if origin else True
    if not ours or request.headers.get("Sec-Fetch-Site", "same-origin") not in (
        "same-origin",
        "none",
    ):
        abort(403, "That came from a page that is not ours, so it was refused.")


def _refuse_tokenless() -> None:
    """... and from one that was shown to this device."""
    if request.endpoint == "door.pair":  # a device that is not in yet has no token
        return
    sent = request.form.get("form_token", "")
    if not hmac.compare_digest(sent.encode("utf-8", "replace"), form_token(g.device).encode()):
        abort(
            403,
            "This page had been open since before this device was let in, so nothing was kept. "
            "Go back, load the page again, and send it once more.",
        )
