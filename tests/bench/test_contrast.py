"""Words of the pages stand out from what is behind them, by day and in the dark.

Contrast and its limits (4.5 for words, 3 for edges) are those of WCAG 2.1, 1.4.3 and 1.4.11.
"""

import itertools
import re
from pathlib import Path

import pytest

from runpredict.bench import app

CSS = (Path(app.__file__).parent / "static" / "bench.css").read_text()
LIGHT, DARK = (
    dict(re.findall(r"--([\w-]+): (#[0-9a-f]{3,6})", part))
    for part in re.findall(r":root \{(.*?)\}", CSS, re.DOTALL)
)
PAPERS = ("paper", "card", "field", "tape", "near-paper", "over-paper", "fits-paper")
WORDS = ("ink", "soft")


def luminance(colour):
    digits = colour[1:] if len(colour) == 7 else "".join(2 * digit for digit in colour[1:])
    parts = [int(digits[k : k + 2], 16) / 255 for k in (0, 2, 4)]
    red, green, blue = (p / 12.92 if p <= 0.03928 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one, other):
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_contrast_is_that_of_the_standard():
    assert contrast("#000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777777", "#fff") == pytest.approx(4.48, abs=0.01)  # a known case just under


@pytest.mark.parametrize("theme", [LIGHT, LIGHT | DARK], ids=["light", "dark"])
def test_words_can_be_read(theme):
    for word, paper in itertools.product(WORDS, PAPERS):
        assert contrast(theme[word], theme[paper]) >= 4.5, (word, paper)
    for word, paper in (
        ("card", "ink"), ("paper", "ink"), ("on-bar", "bar"), ("water", "paper"), ("water", "card"),
        ("over", "card"), ("over", "paper"), ("near", "near-paper"), ("over", "over-paper"),
        ("fits", "fits-paper"),
    ):  # fmt: skip
        assert contrast(theme[word], theme[paper]) >= 4.5, (word, paper)


@pytest.mark.parametrize("theme", [LIGHT, LIGHT | DARK], ids=["light", "dark"])
def test_edges_and_focus_can_be_seen(theme):
    for edge in ("ink", "water", "fits", "near", "over"):
        for paper in ("paper", "card"):
            assert contrast(theme[edge], theme[paper]) >= 3.0, (edge, paper)


def test_every_colour_has_its_dark_one():
    """But for the bar of the head, whose words are light by day, too."""
    assert set(LIGHT) - set(DARK) == {"on-bar"}
    rest = CSS.split("/* The kiln room at night", 1)[1].split("}\n}\n", 1)[1]
    lines = (line for line in rest.splitlines() if not line.startswith((".photo", "@media print")))
    allowed = ("img {", ".views {")  # pictures are drawn on white
    assert [
        line for line in lines if re.search(r"#[0-9a-f]{3}", line) and not line.startswith(allowed)
    ] == []
