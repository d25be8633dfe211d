"""The devices that may use the pages: let in with a one-time code, or by the terminal's address."""

from __future__ import annotations

import hashlib
import hmac
import json
import secrets
import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from runpredict.tables.files import replace_file

DEVICES_NAME = "paired-devices.json"
MOST_FILE_BYTES = 10**6
TRIES_A_MINUTE = 5
CODE_DIGITS = 8
YEAR_S = 365 * 24 * 3600
SEEN_EVERY_S = 600.0
"""When a device was last seen is written down no oftener."""
KINDS = ("Android", "iPhone", "iPad", "Windows", "Macintosh", "Linux")


@dataclass(frozen=True)
class Device:
    """A device that was let in.

    Attributes
    ----------
    kind : str
        What it says it is, of `KINDS`; "" where it says nothing.
    let_in, seen : float
        When, in seconds since 1970.
    """

    kind: str
    let_in: float
    seen: float


class Door:
    """The one-time code that lets a device in, and the devices that were let in.

    Parameters
    ----------
    file : Path or None
        Where digests of the devices' tokens are kept, so that they stay paired for a year; whoever
        takes it away has forgotten them all, at once. None to forget them when the pages stop.
    show : callable
        Told each new code.
    clock : callable
        Seconds, for the rate of tries.
    now : callable
        Seconds since 1970.
    """

    def __init__(
        self,
        file: Path | None,
        show: Callable[[str], None],
        clock: Callable[[], float] = time.monotonic,
        now: Callable[[], float] = time.time,
    ) -> None:
        self._file, self._show, self._clock, self._now = file, show, clock, now
        self._lock = threading.RLock()
        self._wrong: deque[float] = deque()
        self._unfiled: dict[str, Device] = {}
        self._code = ""
        self.key = secrets.token_urlsafe(24)
        """In the address that the terminal prints: whoever reads that is at this machine."""
        self._renew()

    def devices(self) -> dict[str, Device]:
        """All that were let in, by the digest of their token, but for those forgotten or expired.

        The file is small, and one that is not as `Door` writes it has no devices.
        """
        found = self._unfiled if self._file is None else _read(self._file, self._now())
        oldest = self._now() - YEAR_S
        return {name: device for name, device in found.items() if device.let_in > oldest}

    def _renew(self) -> None:
        self._code = "".join(secrets.choice("0123456789") for _ in range(CODE_DIGITS))
        self._show(f"{self._code[:4]} {self._code[4:]}")

    def knows(self, device: str) -> bool:
        """Whether a device was let in; it is then seen."""
        if not device:
            return False
        name, found = digest(device), self.devices()
        if name not in found:
            return False
        if self._now() - found[name].seen > SEEN_EVERY_S:
            with self._lock:
                found = self.devices()
                if name in found:
                    found[name] = replace(found[name], seen=self._now())
                    self._keep(found)
        return name in found

    def wait_s(self) -> float:
        """How long until another code may be tried; 0 for at once."""
        now = self._clock()
        while self._wrong and now - self._wrong[0] >= 60.0:
            self._wrong.popleft()
        return 60.0 - (now - self._wrong[0]) if len(self._wrong) >= TRIES_A_MINUTE else 0.0

    def let_in(self, typed: str, agent: str = "") -> str | None:
        """The token of a new device if the code is right, which is then used up.

        Five wrong codes in a minute, from whomever, close the door until the minute is over, and
        there is a new code then.

        Parameters
        ----------
        typed : str
        agent : str
            What the device's browser says it is.
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
            device = self._add(agent)
            self._renew()
            return device

    def let_in_by_key(self, key: str, agent: str = "") -> str | None:
        """The token of a new device if the key is that of the terminal's address."""
        if not hmac.compare_digest(key.encode("utf-8", "replace"), self.key.encode()):
            return None
        with self._lock:
            return self._add(agent)

    def _add(self, agent: str) -> str:
        device = new_device()
        kind = next((kind for kind in KINDS if kind in agent), "")
        self._keep(self.devices() | {digest(device): Device(kind, self._now(), self._now())})
        return device

    def forget(self, name: str) -> None:
        """Let a device in no more, by its digest."""
        with self._lock:
            found = self.devices()
            if found.pop(name, None) is not None:
                self._keep(found)

    def _keep(self, devices: dict[str, Device]) -> None:
        if self._file is None:
            self._unfiled = devices
            return
        kept = {name: asdict(device) for name, device in devices.items()}
        with replace_file(self._file, private=True) as draft:
            draft.write_text(json.dumps(kept, indent=1), encoding="ascii")


def _read(file: Path, now: float) -> dict[str, Device]:
    try:
        with file.open("rb") as opened:
            kept = json.loads(opened.read(MOST_FILE_BYTES))
    except (OSError, ValueError, RecursionError):
        return {}
    if isinstance(kept, list):  # as written before there were dates
        kept = {str(name): {"let_in": now, "seen": 0.0} for name in kept}
    told = kept.items() if isinstance(kept, dict) else ()
    devices = ((str(name), _device(one, now)) for name, one in told if isinstance(one, dict))
    return {name: device for name, device in devices if device is not None}


def _device(told: dict[str, Any], now: float) -> Device | None:
    """A device as the file tells of it; None where its times are none."""
    times = [
        float(at)
        for at in (told.get("let_in"), told.get("seen"))
        if isinstance(at, int | float) and not isinstance(at, bool) and 0 <= at <= now
    ]
    kind = next((kind for kind in KINDS if kind == told.get("kind")), "")
    return Device(kind, *times) if len(times) == 2 else None


def new_device() -> str:
    """A token nobody can guess."""
    return secrets.token_urlsafe(32)


def digest(device: str) -> str:
    """What a device's token is kept as."""
    return hashlib.sha256(f"device {device}".encode("utf-8", "replace")).hexdigest()
