"""The check sheet: whole, safe against any name, legible on paper, quick and small."""

import base64
import io
import json
import re
import shutil
import subprocess
import tempfile
import time
import unicodedata
from dataclasses import replace
from functools import cache
from html import unescape
from pathlib import Path
from typing import NamedTuple

import html5lib
import pytest
from helpers.browser import DESKTOP, PHONE, TABLET, browsing, need_browser
from helpers.pictures import HOSTILE, briefly, many, one_piece, renamed, sample_answer
from helpers.tables import written_in

from runpredict.errors import BadInput
from runpredict.pages import sheet
from runpredict.pages.html import naming
from runpredict.pages.sheet import NONE_OVER, WHERE, sheet_html
from runpredict.tables.texts import plain_name
from runpredict.words.answers import told
from runpredict.words.basis import CAUTION
from runpredict.words.plain import MOST_NAME, shown_name
from runpredict.words.pots import firings_in_words

MOST_SECONDS, MOST_BYTES = 40.0, 5_000_000
TAGS = {
    "html", "head", "meta", "title", "style", "body", "main", "footer", "section", "article",
    "h1", "h2", "h3", "p", "div", "ul", "li", "table", "thead", "tbody", "tr", "th", "td", "dl",
    "dt", "dd", "img", "bdi", "strong", "span",
}  # fmt: skip


@cache
def page_of(which):
    """The page of the sample plan, of forty pieces, or of hostile names."""
    if which == "forty":
        return forty().page
    made = {"sample": sample_answer, "hostile": lambda: renamed(HOSTILE)}
    return sheet_html(made[which]())


class Written(NamedTuple):
    """A sheet as it was written: its page, its size, all files there, and the shares told."""

    page: str
    bytes: int
    files: set
    shares: list


@cache
def forty():
    """The sheet of forty pieces, written once."""
    shares = []
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "sheet.html")
        sheet.write_sheet(many(40), path, progress=shares.append)
        page = path.read_text(encoding="utf-8")
        return Written(page, path.stat().st_size, written_in(Path(folder)), shares)


def parsed(page):
    """The page by the rules of the HTML standard, any fault of it an error."""
    parser = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False)
    return parser.parse(page)


def text_of(element):
    return " ".join("".join(element.itertext()).split())


def articles(page):
    return [text_of(article) for article in parsed(page).iter("article")]


def test_a_sheet_tells_all_of_every_piece():
    answer = sample_answer()
    page = page_of("sample")
    shown = articles(page)
    assert len(shown) == len(answer.pieces)
    by_piece = {text.split(":")[0]: text for text in shown}
    all_layers, pieces = told(answer)
    for _, row in pieces.iterrows():
        text = by_piece[row["piece"]]
        mine = all_layers["piece"] == row["piece"]
        layers = all_layers.loc[mine & (all_layers["firing"] == row["firing"])]
        blamed = layers.loc[layers["layer"] == row["layer_to_blame"]].iloc[0]
        assert row["advice"] in text
        assert f"{blamed['reason']}." in text
        assert f"{blamed['glaze']} (layer {blamed['layer']})" in text
        assert ("over 1/3 of the wall" in text) == bool(row.isna()["wax_height_mm"])
        assert ("wax aloneas planned" in text) == (row["risk"] <= answer.tolerance)
        assert row["cookie"] in text
        assert "physics and rules of thumb" in text
        assert set(layers["glaze"]) <= {name for name in layers["glaze"] if name in text}
    for warning in ("above the work of others", "Kiln-wash", "grind wet", "laboratory",
                    "local codes", "licensed"):  # fmt: skip
        assert warning in CAUTION
    assert CAUTION in text_of(parsed(page))
    # A line and three pictures a pot, and the signs once.
    assert len(list(parsed(page).iter("img"))) == 4 * len(answer.pieces) + 1
    assert all(image.get("alt") is not None for image in parsed(page).iter("img"))


def taped(page):
    """The pages to tape up, each as its firing, its words and its rows."""
    for section in parsed(page).iter("section"):
        if section.get("class") == "taped":
            name = text_of(section.find("h2")).removeprefix("Firing ").partition(", page")[0]
            yield name, text_of(section), list(section.find("table").find("tbody"))


def test_a_page_is_taped_up_a_firing_with_a_line_a_pot():
    answer = sample_answer()
    firings = []
    for firing, words, rows in taped(page_of("sample")):
        firings.append(firing)
        pieces = answer.pieces.loc[answer.pieces["firing"] == firing]
        ranked = pieces.sort_values("risk", ascending=False)
        assert [text_of(row.find("th")) for row in rows] == ranked["piece"].tolist()
        lines = dict(
            zip(
                answer.pieces["piece"],
                briefly(answer),
                strict=True,
            )
        )
        for row, piece in zip(rows, ranked["piece"], strict=True):
            cells = [text_of(cell) for cell in row.iter("td")]
            assert " ".join(lines[piece].split()) in cells
            assert cells[-2].endswith("mm")
            boxes = [cell.find("span").get("class") for cell in (row[0], row[-1])]
            assert boxes == ["box", "box"]  # done, and past the foot
            mine = answer.layers["piece"].eq(piece) & answer.layers["firing"].eq(firing)
            on = answer.layers.loc[mine].sort_values("layer")["glaze"]
            assert ", ".join(dict.fromkeys(on)) in cells
        assert ("Cone 6, hold 5 min, 60 °C/h" in words) == (firing == "Dabchick")
        over = (pieces["risk"] > answer.tolerance).sum()
        pots = len(pieces)
        assert re.search(f"{over} of {pots} needs? some" if over else f"None of {pots} ", words)
        assert CAUTION in words
        dish = pieces.loc[answer.advice().word[pieces.index] == "dish", "piece"]
        assert (WHERE in words) == bool(len(dish))
        apart = words.partition(WHERE)[2].partition("done")[0]
        assert [name for name in ranked["piece"] if name in apart] == [
            name for name in ranked["piece"] if name in set(dish)
        ]
    assert firings == ["Dabchick", "Old Nan", "Tern"]


@pytest.mark.parametrize(("pots", "pages"), [("forty", [24, 16]), ("hostile", [6])])
def test_no_more_than_24_pots_are_taped_on_a_page(pots, pages):
    assert [len(rows) for _, _, rows in taped(page_of(pots))] == pages


def test_a_sheet_is_sorted_by_maker_with_a_name_to_find_her():
    answer = renamed({})  # one firing of the sample
    layers = answer.features
    here = layers["firing"].eq(layers["firing"].iloc[0])
    pieces = layers.loc[here, "piece"].unique()
    hands = layers["piece"].map({pieces[0]: "Wren", pieces[1]: "avocet"}).fillna("")
    made = replace(answer, features=layers.assign(glazed_by=hands.where(here, "")))

    def names(page):
        table = parsed(page).find(".//table[@class='kiln']")
        return [text_of(row.find("th")) for row in table.findall("tbody/tr")]

    by_risk, sorted_so = names(sheet_html(made)), names(sheet_html(made, by_maker=True))
    assert sorted_so[:2] == [f"{pieces[1]} avocet", f"{pieces[0]} Wren"]
    others = [name for name in by_risk if not name.endswith(("avocet", "Wren"))]
    assert sorted_so[2:] == others and set(sorted_so) == set(by_risk)


def test_a_firing_without_a_risky_piece_says_so():
    risky = text_of(parsed(page_of("sample")))
    assert NONE_OVER not in risky.partition("Firing Old Nan")[0]
    assert WHERE in risky
    text = text_of(parsed(sheet_html(renamed({}, tolerance=0.999))))
    assert NONE_OVER in text
    assert WHERE not in text


@pytest.mark.parametrize("which", ["sample", "hostile"])
def test_the_page_is_sound_html_that_needs_nothing_else(which):
    page = page_of(which)
    tree = parsed(page)
    assert {element.tag for element in tree.iter() if isinstance(element.tag, str)} <= TAGS
    ids = [element.get("id") for element in tree.iter() if element.get("id")]
    assert len(set(ids)) == len(ids)
    for element in tree.iter():
        assert not [name for name in element.attrib if name.startswith("on")]
        assert element.get("href") is None
        assert (element.get("src") or "data:image/svg+xml;base64,").startswith("data:image/svg+xml")
    assert not re.findall(r"https?:|url\(|@import", page)
    (policy,) = [m for m in tree.iter("meta") if m.get("http-equiv")]
    assert policy.get("content").startswith("default-src 'none'")
    for image in tree.iter("img"):
        drawing = base64.b64decode(image.get("src").partition(",")[2]).decode("utf-8")
        assert drawing.startswith("<svg")
        assert "<script" not in drawing
        assert set(re.findall(r'href="(.)', drawing)) <= {"#"}


def test_hostile_names_are_shown_and_nothing_more():
    page = page_of("hostile")
    text = text_of(parsed(page))
    for name in HOSTILE.values():
        assert shown_name(plain_name(name)) in text
    assert "\u202e" not in page
    assert "\u200f" not in page
    assert "<script" not in page
    # A name in another script is kept from turning the numbers beside it round.
    assert f"<bdi>{HOSTILE['Swap Shelf']}</bdi>" in page


def test_a_name_is_cut_and_kept_on_its_line():
    assert shown_name("x" * 10_000) == "x" * (MOST_NAME - 1) + "…"
    assert shown_name("a\u202eb\n\tc\u0000") == "a?b c?"
    assert shown_name("\u0645\u06cc\u200c\u062e\u0648\u0627\u0647\u0645").count("\u200c") == 1
    # The table refuses such a name; an answer made otherwise may still hold it.
    answer = one_piece([("Wet Hawser", 2.0, 80.0), ("Eel Lantern", 20.0, 80.0)])
    huge = {"Eel Lantern": "B" * 10_000, "Wet Hawser": "S" * 10_000, "pot": "P" * 10_000}
    for table in (answer.layers, answer.pieces, answer.outlook):
        for column in ("piece", "glaze", "spare_glaze"):
            if column in table.columns:
                table[column] = table[column].replace(huge, regex=True)
    page = sheet_html(answer)
    assert not re.findall(r"B{300}|S{300}|P{300}", page)


def test_forty_pieces_are_small():
    written = forty()
    assert written.bytes < MOST_BYTES
    assert len(written.shares) == 40
    assert written.shares == sorted(written.shares)
    assert written.shares[-1] == 1.0
    assert written.files == {"sheet.html"}


def test_a_page_is_the_file_that_is_written(tmp_path):
    sheet.write_sheet(many(3), tmp_path / "sheet.html")
    assert (tmp_path / "sheet.html").read_text(encoding="utf-8") == sheet_html(many(3))


def test_the_same_answer_gives_the_same_bytes(tmp_path):
    for name in ("one", "other"):
        sheet.write_sheet(many(3), tmp_path / f"{name}.html")
    one, other = ((tmp_path / f"{name}.html").read_bytes() for name in ("one", "other"))
    assert one == other


def test_a_sentence_is_escaped_and_its_names_kept_apart():
    blue = "\u05db\u05d7\u05d5\u05dc"
    assert (
        naming(f"Stop {blue} & <b>", [blue, "plain"]) == f"Stop <bdi>{blue}</bdi> &amp; &lt;b&gt;"
    )


@pytest.mark.parametrize("units", ["mm", "in"])
def test_lengths_are_in_the_readers_units(units):
    page = sheet_html(many(3), units)
    other = {"mm": r"\d in\b", "in": r"\d mm\b"}[units]
    assert not re.findall(other, text_of(parsed(page)))


def test_paper_is_left_to_the_browser(tmp_path):
    with pytest.raises(BadInput, match=r"write the sheet to kiln\.html, open it and print it"):
        sheet.write_sheet(many(1), tmp_path / "kiln.pdf")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", ["sheet", "sheet.doc", "sheet.csv"])
def test_another_kind_of_file_is_refused(name, tmp_path):
    with pytest.raises(BadInput, match=rf"{name}: is no kind of sheet; give a name that ends in"):
        sheet.write_sheet(many(1), tmp_path / name)
    assert list(tmp_path.iterdir()) == []


def test_what_cannot_be_written_leaves_all_as_it_was(tmp_path):
    folder = tmp_path / "folder.html"
    folder.mkdir()
    with pytest.raises(BadInput, match=r"folder\.html: cannot be written"):
        sheet.write_sheet(many(1), folder)
    assert [item.name for item in tmp_path.iterdir()] == [folder.name]


TAPED = '<section class="taped"'
PAPERS_CM = {"A4": (21.0, 29.7), "letter": (21.59, 27.94)}


@pytest.fixture(scope="module")
def desktop():
    need_browser()
    with browsing(DESKTOP) as driver:
        yield driver


def printed(driver, page, paper, folder):
    """The words of each page of paper that Chromium prints, without their spaces."""
    from pypdf import PdfReader
    from selenium.webdriver.common.print_page_options import PrintOptions

    file = folder / "sheet.html"
    file.write_text(page, encoding="utf-8")
    how = PrintOptions()
    how.page_width, how.page_height = PAPERS_CM[paper]
    driver.get(file.as_uri())
    pdf = base64.b64decode(driver.print_page(how))
    return [bare(page.extract_text()) for page in PdfReader(io.BytesIO(pdf)).pages]


def bare(words):
    """Words without spaces and without ligatures."""
    return re.sub(r"\s", "", unicodedata.normalize("NFKC", words))


@pytest.mark.parametrize("paper", PAPERS_CM)
def test_paper_has_room_for_24_lines_and_for_two_pots_a_page(desktop, paper, tmp_path):
    pages = printed(desktop, page_of("forty"), paper, tmp_path)
    lines = [page.count("..........mm") for page in pages]
    assert lines[:2] == [24, 16]
    assert not any(lines[2:])
    assert [bare(CAUTION) in page for page in pages[:3]] == [True, True, False]
    pots = [page.count("%risk") for page in pages[2:]]
    assert sum(pots) == 40
    assert min(pots[1:-1]) >= 2
    for piece in firings_in_words(many(40))[0].pots:
        assert sum(bare(f"{piece.name}:") in page and bare(piece.why) in page for page in pages)


@pytest.mark.parametrize("paper", PAPERS_CM)
def test_a_caution_stands_whole_below_a_pot_whatever_the_names(desktop, paper, tmp_path):
    first = TAPED.join(page_of("forty").split(TAPED)[:2])
    for letters in (40, 60, 90, 110):
        names = {f"{name}, {k}": (f"{name}, {k} of the wide shelf " * 9)[:letters].strip()
                 for name in ("mug 4", "bowl 2", "tile 3", "vase 2") for k in range(5)}  # fmt: skip
        page = first
        for name, longer in names.items():
            page = page.replace(f"<bdi>{name}</bdi>", f"<bdi>{longer}</bdi>")
        pages = printed(desktop, page, paper, tmp_path)
        assert sum(page.count("..........mm") for page in pages) == 24
        (warned,) = [page for page in pages if "Takecare." in page]
        assert bare(CAUTION) in warned
        assert "..........mm" in warned


# What follows asks tools from outside; each skips, with its reason, where its tool is missing.


def needed(*tools):
    missing = [tool for tool in tools if shutil.which(tool) is None]
    if missing:
        pytest.skip(f"{', '.join(missing)} not installed")


def written(tmp_path):
    for name in ("forty", "hostile"):
        page = tmp_path / f"{name}.html"
        page.write_text(page_of(name), encoding="utf-8")
        yield page


@pytest.mark.slow
def test_forty_pieces_are_quick(tmp_path):
    answer = many(40)
    began = time.perf_counter()
    sheet.write_sheet(answer, tmp_path / "sheet.html")
    took_s = time.perf_counter() - began
    print(f"forty pieces: {took_s:.1f} s")
    assert took_s < MOST_SECONDS


@pytest.mark.slow
def test_a_validator_finds_no_fault(tmp_path):
    """html-validate, its recommended rules."""
    needed("html-validate")
    broken = tmp_path / "broken.html"
    broken.write_text("<!DOCTYPE html><html><body><p id=a><p id=a></body></html>")
    assert validated(broken).returncode != 0
    for page in written(tmp_path):
        done = validated(page)
        assert done.returncode == 0, done.stdout


def validated(page):
    return subprocess.run(
        ["html-validate", str(page)], capture_output=True, text=True, check=False, timeout=120
    )


@pytest.mark.slow
def test_an_accessibility_check_finds_nothing_serious(tmp_path):
    """axe-core, all its rules, in Chromium."""
    needed("chromium", "npm")
    root = subprocess.run(["npm", "root", "-g"], capture_output=True, text=True, check=True)
    script = Path(root.stdout.strip(), "axe-core", "axe.min.js")
    if not script.exists():
        pytest.skip("axe-core not installed")
    for page in written(tmp_path):
        text = page.read_text(encoding="utf-8")
        assert not [rule for rule, impact in axe(text, script, tmp_path) if impact in SERIOUS]
    bare = re.sub(r'alt="[^"]*"', "", text)
    assert ["image-alt", "critical"] in axe(bare, script, tmp_path)


SERIOUS = ("serious", "critical")
RUN_AXE = """axe.run(document).then(found => {
  document.documentElement.innerHTML = '<body><pre id="out"></pre></body>';
  document.getElementById('out').textContent =
    JSON.stringify(found.violations.map(fault => [fault.id, fault.impact]));
});"""


def axe(page, script, folder):
    """The rules a page breaks; its own policy, which forbids any script, is taken out."""
    page = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", page)
    scripts = f"<script>{script.read_text(encoding='utf-8')}</script><script>{RUN_AXE}</script>"
    probe = folder / "probe.html"
    probe.write_text(page.replace("</body>", f"{scripts}</body>"), encoding="utf-8")
    browser = ["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--dump-dom"]
    done = subprocess.run(
        [*browser, "--virtual-time-budget=60000", probe.as_uri()],
        capture_output=True, text=True, check=True, timeout=180,
    )  # fmt: skip
    found = re.search(r'<pre id="out">(.*?)</pre>', done.stdout, re.DOTALL)
    assert found, done.stdout[:500]
    return json.loads(unescape(found.group(1)))


@pytest.mark.slow
def test_a_browser_runs_nothing_that_a_name_holds(tmp_path):
    """Chromium opens the hostile sheet; whatever ran would have changed the title."""
    needed("chromium")
    names = HOSTILE | {
        "Ninepenny Clear": "<script>document.title='ran'</script>",
        "mug 1": "<img src=x onerror=document.title='ran'>",
    }
    page = tmp_path / "sheet.html"
    sheet.write_sheet(renamed(names), page)
    done = subprocess.run(
        ["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--dump-dom", page.as_uri()],
        capture_output=True, text=True, check=True, timeout=120,
    )  # fmt: skip
    assert "<title>Kiln sheet</title>" in done.stdout


BROKEN = """
const broken = [];
for (const cell of document.querySelectorAll("td.on")) {
  const words = document.createTreeWalker(cell, NodeFilter.SHOW_TEXT);
  while (words.nextNode()) for (const one of words.currentNode.data.matchAll(/[\\p{L}]+/gu)) {
    const range = document.createRange();
    range.setStart(words.currentNode, one.index);
    range.setEnd(words.currentNode, one.index + one[0].length);
    if (new Set([...range.getClientRects()].map((box) => box.top)).size > 1) broken.push(one[0]);
  }
}
return broken;
"""


def test_no_word_of_a_glaze_is_broken_on_a_screen(tmp_path):
    need_browser()
    page = page_of("sample")
    for name in ("Ninepenny Clear", "Eel Lantern", "Wet Hawser", "Fishbox White", "Swap Shelf"):
        page = page.replace(name, "Tenmoku Floating")
    (tmp_path / "sheet.html").write_text(page, encoding="utf-8")
    for size in (PHONE, (725, 900), TABLET):  # the second as narrow as columns stand side by side
        with browsing(size) as driver:
            driver.get((tmp_path / "sheet.html").as_uri())
            assert driver.execute_script(BROKEN) == []
