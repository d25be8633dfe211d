"""Pictures of the pages: named by what they show, drawn when asked for, kept a while."""

from __future__ import annotations

import hashlib
import multiprocessing
import threading
from collections.abc import Callable
from functools import partial
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess

from matplotlib.figure import Figure

from runpredict.bench.apart import start_apart
from runpredict.bench.memo import Memo, drop_unwanted
from runpredict.drawings.piece import Piece
from runpredict.drawings.pot import SHAPES, Shape, shape_figure, side_figure, wall_figure
from runpredict.drawings.style import svg
from runpredict.drawings.wall_angles import draw_wall_angles
from runpredict.units import LengthUnits

MOST_KEPT = 800
"""Of each: what may still be asked for, and what was drawn; some tens of megabytes at most."""


# Fonts are shared by all threads, so one picture is drawn at a time.
DRAWING = threading.Lock()


class Painter:
    """Draws in a process of its own, so that answers do not wait for pictures; one at a time."""

    def __init__(self) -> None:
        self._turn = threading.Lock()
        self._hired: tuple[SpawnProcess, Connection] | None = None

    def draw(self, draw: Callable[[], Figure]) -> bytes:
        """A picture as SVG."""
        with self._turn:
            drop_unwanted()
            if self._hired is None:
                here, there = multiprocessing.Pipe()
                self._hired = start_apart(_paint, there), here
                there.close()
            _, pipe = self._hired
            try:
                pipe.send(draw)
                drawn: bytes | None = pipe.recv()
            except (EOFError, OSError):  # ended from outside
                self._dismiss()
                drawn = None
        if drawn is None:
            with DRAWING:
                drawn = _drawn(draw)
        return drawn

    def close(self) -> None:
        """End the process."""
        with self._turn:
            self._dismiss()

    def _dismiss(self) -> None:
        if self._hired is not None:
            child, pipe = self._hired
            pipe.close()
            child.terminate()
            child.join()
            self._hired = None


def _paint(pipe: Connection) -> None:
    while True:
        try:
            draw = pipe.recv()
        except EOFError:
            return
        try:
            drawn = _drawn(draw)
        except Exception:
            drawn = None  # what is wrong is told where it is tried again
        pipe.send(drawn)


def _drawn(draw: Callable[[], Figure]) -> bytes:
    return svg(draw()).encode("utf-8")


class Gallery:
    """Pictures that pages point to.

    A picture takes about as long to draw as a question to answer, so an answer does not wait for
    its picture, and one that nobody asks for is never drawn.
    """

    def __init__(self) -> None:
        self._drawers: Memo[Callable[[], Figure]] = Memo(MOST_KEPT)
        self._drawn: Memo[bytes] = Memo(MOST_KEPT)
        self._painter = Painter()

    def hang(self, shows: object, draw: Callable[[], Figure]) -> str:
        """The name of a picture.

        Parameters
        ----------
        shows : object
            What tells it from every other picture, by its ``repr``.
        draw : callable
            Draws it when it is asked for, in another process: a function and what it is given.
        """
        name = hashlib.sha256(repr(shows).encode("utf-8", "surrogatepass")).hexdigest()[:32]
        self._drawers.put(name, draw)
        return name

    def pot(self, piece: Piece, units: LengthUnits) -> tuple[str, str]:
        """The names of the two pictures of a pot: from the side, and its wall laid straight."""
        return (
            self.hang(("side", piece, units), partial(side_figure, piece, units)),
            self.hang(("wall", piece, units), partial(wall_figure, piece, units)),
        )

    def shapes(self) -> list[tuple[Shape, str]]:
        """Every shape to choose from, and the name of its picture."""
        return [
            (shape, self.hang(("shape", shape), partial(shape_figure, shape))) for shape in SHAPES
        ]

    def wall_angles(self) -> str:
        """The name of the picture of what a wall's angle means."""
        return self.hang("wall angles", draw_wall_angles)

    def take(self, name: str) -> bytes | None:
        """The picture as SVG; None where there is none of that name, or no longer."""
        drawn, draw = self._drawn.kept(name), self._drawers.kept(name)
        if drawn is not None or draw is None:
            return drawn
        drawn = self._painter.draw(draw)
        self._drawn.put(name, drawn)
        return drawn

    def close(self) -> None:
        """Draw nothing more."""
        self._painter.close()
