"""An answer in a notebook: a table with bars and pictures, safe against any name."""

import html5lib
from helpers.pictures import HOSTILE, many, renamed, sample_answer

import runpredict
from runpredict.pages import html
from runpredict.tables.texts import plain_name
from runpredict.words.answers import told
from runpredict.words.plain import shown_name


def parsed(part):
    parser = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False)
    return parser.parseFragment(part)


def text_of(element):
    return " ".join("".join(element.itertext()).split())


def test_an_answer_shows_itself():
    assert runpredict.check is not None
    answer = sample_answer()
    tree = parsed(answer._repr_html_())
    pieces = told(answer).pieces
    rows = [row for body in tree.iter("tbody") for row in body]
    assert len(rows) == len(pieces)
    by_piece = {text_of(row.find("th")): row for row in rows}
    for piece in pieces.itertuples():
        row = by_piece[piece.piece]
        assert piece.advice in text_of(row)
        assert row.find("td/img").get("src").startswith("data:image/svg+xml;base64,")
        bar = [box.get("style") for box in row.iter("div") if "width" in box.get("style")]
        assert f"width: {100 * piece.risk:.1f}%" in bar[0]


def test_names_are_escaped():
    part = html.answer_html(renamed(HOSTILE), "in")
    assert "<script" not in part
    assert "\u202e" not in part.replace(HOSTILE["mug 2"], "")
    text = text_of(parsed(part))
    for name in HOSTILE.values():
        assert shown_name(plain_name(name)) in text


def test_a_long_table_is_cut_and_says_so():
    part = html.answer_html(many(50))
    rows = [row for body in parsed(part).iter("tbody") for row in body]
    assert len(rows) == html.MOST_POTS
    assert "2 more pots" in text_of(parsed(part))
