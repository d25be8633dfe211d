"""What all figures of curves share: panels placed in inches, and their title."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from runpredict.pages.style import fitted

TICK_PT = 7.5


def title(figure: Figure, words: str) -> None:
    """One line at the top left, cut where it has no room."""
    width, height = figure.get_size_inches()
    figure.text(
        0.12 / width, 1 - 0.08 / height, fitted(words, width - 0.5, 9.5),
        fontsize=9.5, fontweight="normal", va="top",
    )  # fmt: skip


def panels(
    figure: Figure,
    count: int,
    left: float,
    top: float,
    height: float,
    gap: float = 0.0,
    right: float = 0.2,
) -> list[Axes]:
    """Axes side by side, placed in inches."""
    wide, high = figure.get_size_inches()
    each = (wide - left - right - gap * (count - 1)) / count
    return [
        figure.add_axes(
            (
                (left + k * (each + gap)) / wide,
                (high - top - height) / high,
                each / wide,
                height / high,
            )
        )
        for k in range(count)
    ]
