"""Who may use the pages: this machine alone, or devices that were let in with a one-time code.

Every request names a host that is ours; every change comes from a page of ours (its Origin, and
a token that only a page shown to this device has).
"""

from __future__ import annotations

import hashlib
import hmac
import json
import secrets
import socket
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable
from contextlib import suppress
from pathlib import Path
from urllib.parse import urlsplit

from flask import Flask, Response, abort, g, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from runpredict.logbook import photos
from runpredict.tables.files import replace_file

DEVICES_NAME = "paired-devices.json"
MOST_BYTES = 256 * 1024
"""Of one request: the results of a kiln of 500 pots are about 100 kB."""
MOST_FIELDS = 8000
TRIES_A_MINUTE = 5
CODE_DIGITS = 8
COOKIE_S = 180 * 24 * 3600

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


def hosts_of(port: int, share: bool) -> frozenset[str]:
    """Names by which a browser may call this machine, with the port."""
    names = {"127.0.0.1", "localhost", "[::1]"}
    if share:
        names |= set(_own_addresses())
    return frozenset(f"{name}:{port}".casefold() for name in names)


def _own_addresses() -> Iterable[str]:
    name = socket.gethostname()
    yield name
    yield f"{name}.local"
    with suppress(OSError):
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


class Door:
    """The one-time code that lets a device in, and the devices that were let in.

    Parameters
    ----------
    file : Path or None
        Where digests of the devices' tokens are kept, so that they stay paired; whoever takes it
        away has forgotten them all, at once. None to forget them when the pages stop.
    show : callable
        Told each new code.
    clock : callable
        Seconds, for the rate of tries.
    """

    def __init__(
        self,
        file: Path | None,
        show: Callable[[str], None],
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._file, self._show, self._clock = file, show, clock
        self._lock = threading.Lock()
        self._wrong: deque[float] = deque()
        self._unfiled: set[str] = set()
        self._code = ""
        self._renew()

    def _devices(self) -> set[str]:
        """Digests of all that were let in and not forgotten since; the file is small."""
        if self._file is None:
            return self._unfiled
        try:
            kept = json.loads(self._file.read_text(encoding="ascii"))
        except (OSError, ValueError):
            return set()
        return set(map(str, kept)) if isinstance(kept, list) else set()

    def _renew(self) -> None:
        self._code = "".join(secrets.choice("0123456789") for _ in range(CODE_DIGITS))
        self._show(f"{self._code[:4]} {self._code[4:]}")

    def knows(self, device: str) -> bool:
        """Whether a device was let in."""
        return bool(device) and _digest(device) in self._devices()

    def wait_s(self) -> float:
        """How long until another code may be tried; 0 for at once."""
        now = self._clock()
        while self._wrong and now - self._wrong[0] >= 60.0:
            self._wrong.popleft()
        return 60.0 - (now - self._wrong[0]) if len(self._wrong) >= TRIES_A_MINUTE else 0.0

    def let_in(self, typed: str) -> str | None:
        """The token of a new device if the code is right, which is then used up.

        Five wrong codes in a minute, from whomever, close the door until the minute is over, and
        there is a new code then.
        """
        digits = "".join(char for char in typed if char.isdecimal() and char.isascii())
        with self._lock:
            if self.wait_s():
                return None
            if not hmac.compare_digest(digits, self._code):
                self._wrong.append(self._clock())
                if self.wait_s():
                    self._renew()
                return None
            device = new_device()
            self._keep({*self._devices(), _digest(device)})
            self._renew()
            return device

    def _keep(self, devices: set[str]) -> None:
        if self._file is None:
            self._unfiled = devices
            return
        self._file.parent.mkdir(parents=True, exist_ok=True)
        with replace_file(self._file) as temporary:
            temporary.chmod(0o600)
            temporary.write_text(json.dumps(sorted(devices)), encoding="ascii")


def new_device() -> str:
    """A token nobody can guess."""
    return secrets.token_urlsafe(32)


def _digest(device: str) -> str:
    return hashlib.sha256(f"device {device}".encode("utf-8", "replace")).hexdigest()


def form_token(device: str) -> str:
    """What a form must send back: only a page shown to this device can tell it."""
    return hashlib.sha256(f"form {device}".encode("utf-8", "replace")).hexdigest()[:40]


def guard(app: Flask, hosts: frozenset[str], door: Door | None) -> None:
    """Put the checks before every request, and the headers on every response.

    Parameters
    ----------
    app : Flask
    hosts : frozenset of str
        As `hosts_of`.
    door : Door or None
        None on loopback, where whoever is at this machine may use the pages.
    """
    app.config.update(
        MAX_CONTENT_LENGTH=MOST_BYTES, MAX_FORM_MEMORY_SIZE=MOST_BYTES, MAX_FORM_PARTS=MOST_FIELDS
    )
    port = next(iter(hosts)).rsplit(":", 1)[1]
    cookie = f"bench_device_{port}"

    @app.before_request
    def _check() -> AnyResponse | None:
        if request.host.casefold() not in hosts:
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
                cookie, g.new_device, max_age=COOKIE_S, httponly=True, samesite="Lax", path="/"
            )  # Strict would hide it when a link in a mail is followed, and a new one replace it
        return response

    app.jinja_env.globals["form_token"] = lambda: form_token(g.device)


OPEN_TO_ALL = frozenset({"door.pair", "static"})


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
