"""Serving the pages: on this machine alone, or to devices let in from the studio's own network."""

from __future__ import annotations

import logging
import signal
import socket
import sys
import warnings
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

import waitress
from waitress.server import BaseWSGIServer

from runpredict.bench.app import make_app
from runpredict.bench.door import DEVICES_NAME, Door
from runpredict.bench.guard import MOST_BYTES, Hosts, lan_address
from runpredict.bench.memo import MOST_WAITING
from runpredict.bench.session import Session
from runpredict.errors import BadInput, Fault, TableWarning
from runpredict.logbook import photos

THREADS = 2 * MOST_WAITING + 16
"""Answers come one after the other; as many may wait for a picture,
and the rest answer what needs neither."""


def listen(port: int, share: bool) -> socket.socket:
    """A socket that listens on this machine alone, or on its network too.

    Raises
    ------
    BadInput : a port that is taken or not allowed.
    """
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    if sys.platform != "win32":  # there it would let two programs share the port
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind(("0.0.0.0" if share else "127.0.0.1", port))
    except (OSError, OverflowError) as fault:
        listener.close()
        reason = getattr(fault, "strerror", None) or str(fault)
        message = f"{port} cannot be used ({reason}); give another number, such as 8760."
        raise BadInput([Fault("--port", None, None, message)]) from None
    listener.listen(128)
    return listener


def door_of(session: Session, share: bool) -> Door | None:
    """Who lets devices in; the invented studio on this machine alone is open to whoever is at it.

    One-time codes are printed as they are made. Who visits the invented studio is forgotten when
    the pages stop.
    """
    if session.only_invented:
        return Door(None, show_code) if share else None
    return Door(session.folder / DEVICES_NAME, show_code)


def server_of(
    session: Session, listener: socket.socket, share: bool, door: Door | None
) -> BaseWSGIServer:
    """The server of the pages on a socket that listens."""
    port = listener.getsockname()[1]
    app = make_app(session, Hosts(port, share), door)
    logging.getLogger("waitress").setLevel(logging.ERROR)
    return waitress.create_server(
        app,
        sockets=[listener],
        threads=THREADS,
        ident=None,
        max_request_header_size=32 * 1024,
        max_request_body_size=2 * MOST_BYTES + photos.MOST_BYTES,
        connection_limit=256,
        channel_timeout=60,
        channel_request_lookahead=1,  # so that who has gone is known while the answer waits
        clear_untrusted_proxy_headers=True,
        expose_tracebacks=False,
    )


def where_to_find(port: int, share: bool, door: Door | None) -> list[str]:
    """The addresses of the pages: for other devices, and the one that lets this machine in."""
    after = "" if port == 80 else f":{port}"  # a browser leaves 80 out
    key = "" if door is None else f"enter?key={door.key}"
    lines = [f"The bench page is at http://127.0.0.1{after}/{key}"]
    if share:
        name = lan_address() or socket.gethostname()
        lines.insert(0, f"For other devices, with a code: http://{name}{after}/")
    return lines


def show_code(code: str) -> None:
    """Print a new code."""
    print(f"Code to let one device in: {code}", flush=True)


def serve(
    folder: Path, samples: Path, port: int, tolerance: float, *, share: bool, invented: bool
) -> None:
    """Serve the pages until stopped.

    Parameters
    ----------
    folder : Path
        Of the logbook, whether it is there or not.
    samples : Path
        The tables of the invented studio.
    port : int
    tolerance : float
    share : bool
        Serve the studio's own network too.
    invented : bool
        Open the invented studio.

    Raises
    ------
    BadInput : a damaged logbook, or a port that cannot be used.
    """
    # What is odd in a form stands beside it; at the terminal nobody would see it.
    warnings.simplefilter("ignore", TableWarning)
    with _ended_as_by_ctrl_c(), suppress(KeyboardInterrupt), ExitStack() as cleanup:
        listener = listen(port, share)
        cleanup.callback(listener.close)
        session = Session(folder, samples, tolerance, invented)
        cleanup.callback(session.close)
        door = door_of(session, share)
        server = server_of(session, listener, share, door)
        cleanup.callback(server.close)
        cleanup.callback(server.task_dispatcher.shutdown)
        for line in where_to_find(listener.getsockname()[1], share, door):
            print(line, flush=True)
        print("Stop it with Ctrl-C.", flush=True)
        server.run()
    with suppress(OSError):  # a terminal that was closed
        print("Stopped.", flush=True)


@contextmanager
def _ended_as_by_ctrl_c() -> Iterator[None]:
    """Whatever ends the program from outside is a KeyboardInterrupt, once: then it cleans up.

    What is ignored, as under nohup, or goes elsewhere stays so.
    """
    names = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")
    numbers = [getattr(signal, name) for name in names if hasattr(signal, name)]
    before = {number: signal.getsignal(number) for number in numbers}
    usual = (signal.SIG_DFL, signal.default_int_handler)
    heard = [number for number in numbers if before[number] in usual]

    def stop(*_: object) -> None:
        for number in heard:
            signal.signal(number, signal.SIG_IGN)
        raise KeyboardInterrupt

    for number in heard:
        signal.signal(number, stop)
    try:
        yield
    finally:
        for number in heard:
            signal.signal(number, before[number])
