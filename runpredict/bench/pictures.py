"""Pictures of the pages: named by what they show, drawn when asked for, kept a while."""

from __future__ import annotations

import hashlib
import threading
from collections import OrderedDict
from collections.abc import Callable

from matplotlib.figure import Figure

from runpredict.drawings.piece import Piece
from runpredict.drawings.pot import side_figure, wall_figure
from runpredict.drawings.style import svg
from runpredict.units import LengthUnits

MOST_KEPT = 800
"""Of each: what may still be asked for, and what was drawn; some tens of megabytes at most."""


# Fonts are shared by all threads, so one picture is drawn at a time.
DRAWING = threading.Lock()


class Gallery:
    """Pictures that pages point to.

    A picture takes about as long to draw as a question to answer, so an answer does not wait for
    its picture, and one that nobody asks for is never drawn.
    """

    def __init__(self, most: int = MOST_KEPT) -> None:
        self._most = most
        self._drawers: OrderedDict[str, Callable[[], Figure]] = OrderedDict()
        self._drawn: OrderedDict[str, bytes] = OrderedDict()
        self._lock = threading.Lock()

    def hang(self, shows: object, draw: Callable[[], Figure]) -> str:
        """The name of a picture.

        Parameters
        ----------
        shows : object
            What tells it from every other picture, by its ``repr``.
        draw : callable
            Draws it when it is asked for.
        """
        name = hashlib.sha256(repr(shows).encode("utf-8", "surrogatepass")).hexdigest()[:32]
        with self._lock:
            self._drawers[name] = draw
            self._drawers.move_to_end(name)
            while len(self._drawers) > self._most:
                self._drawers.popitem(last=False)
        return name

    def pot(self, piece: Piece, units: LengthUnits) -> tuple[str, str]:
        """The names of the two pictures of a pot: from the side, and its wall laid straight."""
        return (
            self.hang(("side", piece, units), lambda: side_figure(piece, units)),
            self.hang(("wall", piece, units), lambda: wall_figure(piece, units)),
        )

    def take(self, name: str) -> bytes | None:
        """The picture as SVG; None where there is none of that name, or no longer."""
        with self._lock:
            drawn, draw = self._drawn.get(name), self._drawers.get(name)
        if drawn is not None or draw is None:
            return drawn
        with DRAWING:
            drawn = svg(draw()).encode("utf-8")
        with self._lock:
            self._drawn[name] = drawn
            while len(self._drawn) > self._most:
                self._drawn.popitem(last=False)
        return drawn
