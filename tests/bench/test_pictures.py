"""The pictures of the pages, drawn in a process of their own: the same as drawn here, whatever
becomes of that process."""

import os
import signal
from contextlib import suppress
from functools import partial
from pathlib import Path

import pytest
from helpers.processes import needs_proc, until

from runpredict.bench.pictures import Painter
from runpredict.drawings.pot import SHAPES, shape_figure
from runpredict.drawings.style import svg


@pytest.fixture
def painter():
    made = Painter()
    yield made
    made.close()


def spawned():
    """Processes that this one spawned and that still run."""
    found = set()
    for one in Path(f"/proc/{os.getpid()}/task").glob("*/children"):
        for number in one.read_text().split():
            with suppress(OSError):
                if "spawn_main" in Path(f"/proc/{number}/cmdline").read_text():
                    found.add(int(number))
    return found


@pytest.mark.parametrize("shape", SHAPES[:2], ids=lambda shape: shape.name)
def test_a_picture_is_the_same_as_drawn_here(painter, shape):
    assert painter.draw(partial(shape_figure, shape)).decode() == svg(shape_figure(shape))


@needs_proc
def test_a_picture_is_drawn_also_after_its_process_was_killed(painter):
    before = spawned()
    drawn = painter.draw(partial(shape_figure, SHAPES[0]))
    for number in spawned() - before:
        os.kill(number, signal.SIGKILL)
    for _ in range(2):  # here, then in another process
        assert painter.draw(partial(shape_figure, SHAPES[0])) == drawn
    assert spawned() - before
    painter.close()
    until(lambda: spawned() <= before)


def test_what_cannot_be_drawn_is_told_here_and_stops_no_other_picture(painter):
    with pytest.raises(AttributeError):
        painter.draw(partial(shape_figure, "no shape"))
    assert painter.draw(partial(shape_figure, SHAPES[0])).startswith(b"<svg")
