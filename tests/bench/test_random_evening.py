"""A random evening at the kiln against a model of what she meant.

Taps, lengths, half-typed lengths, notes and what a pot was lost by, "all the rest: fine" and its
taking back, changes of units, two tabs, reloads, a slow network, none, a page
that is started anew, the parts of a large kiln, and somebody else who writes too, moves pots to
another firing and back, changes the firing and renames a glaze. Held after every step: what a box
shows as kept stood in the logbook; what she told last still stands in its box, or waits on the
device.
"""

import math
import os
import random
from contextlib import ExitStack, suppress
from urllib.parse import parse_qs

import pytest
from helpers.browser import (
    PHONE,
    Page,
    acting,
    browsing,
    free_port,
    need_browser,
    network,
    small_studio,
)
from helpers.processes import until

from runpredict.bench.kiln_form import key_of
from runpredict.bench.lengths import read_length
from runpredict.logbook.book import Logbook
from runpredict.logbook.overtaken import Overtaken
from runpredict.logbook.results import Outcome
from runpredict.units import parse_length_mm

pytestmark = pytest.mark.filterwarnings("ignore::runpredict.errors.TableWarning")
SEED = int(os.environ.get("RUNPREDICT_SEED", "15"))
FIRING, MOST_AWAY = "dusk", 3
UNCONFIRMED = {"open", "sending", "refused"}
BOXES = """
const units = document.querySelector('#kiln [name=units]').value;
return [...document.querySelectorAll('[data-pot]')].map(box => ({
  piece: box.dataset.piece, state: box.dataset.state || '', units,
  gone: !box.querySelector('[name^=mark-]').value || box.textContent.includes('any more'),
  layers: [...box.querySelectorAll('.fate')].map(fate => {
    const run = fate.querySelector('[name^=run-]');
    const at = run.name.slice(4);
    const exact = box.querySelector(`[name="exact-${at}"]`);
    return [Number(at.split('-')[1]), fate.querySelector(':checked').value, run.value,
            exact ? exact.value : ''];
  }),
  told: ['kiln_note', 'lost'].map(column => [column,
    box.querySelector(`[name="told-${column}-${box.dataset.pot}"]`).value]),
}))
"""
TAP = """
const [at, word, run, whole] = arguments;
const units = document.querySelector('#kiln [name=units]').value;
document.querySelector(`label[for="fate-${at}-${word}"]`).click();
if (run === null) return units;
const field = document.getElementById(`run-${at}`);
field.focus();
field.value = run;
field.dispatchEvent(new Event('input', {bubbles: true}));
if (whole) field.dispatchEvent(new Event('change', {bubbles: true}));
return units;
"""
TELL = """
const [name, text] = arguments;
const field = document.getElementById(name);
field.value = text;
for (const kind of ['input', 'change']) field.dispatchEvent(new Event(kind, {bubbles: true}));
"""
PRESS = """
const all = [...document.querySelectorAll('[data-pot] .say button')];
const one = all[Math.floor(arguments[0] * all.length)];
one?.click();
return [one?.closest('[data-pot]').dataset.piece ?? '', one?.value ?? ''];
"""
PART = """
const all = [...document.querySelectorAll('[data-part]')];
all[Math.floor(arguments[0] * all.length)]?.click();
"""
DRAFTS = """
return Object.keys(localStorage).filter(key => key.startsWith('bench '))
  .map(key => JSON.parse(localStorage.getItem(key)).fields)
"""


def fate_of(word, run, exact, units):
    """Word and mm as a box shows them."""
    if word not in ("ran", "past") or not run:
        return word, None
    return word, round(parse_length_mm(read_length(run, exact, units)), 6)


class Evening:
    """Two tabs at one kiln, and what was meant in each."""

    def __init__(self, driver, folder, started, seed):
        self.driver, self.folder, self.started = driver, folder, started
        with Logbook.open(folder) as book:
            self.pots = book.layers()["piece"].nunique()
        self.chance = random.Random(seed)
        self.options = ("--port", str(free_port()))
        self.page = started.enter_context(Page(folder, *self.options))
        self.book = started.enter_context(Logbook.open(folder))
        self.meant = [{}, {}]  # by tab: (piece, layer) to (word, mm), as told there last
        self.waiting = {}  # as told in a tab that was left before it was confirmed
        self.offline = [False, False]
        self.story = []
        self.open()
        driver.switch_to.new_window("tab")
        self.open()
        self.tabs, self.tab = driver.window_handles, 1

    def open(self):
        self.driver.get(f"{self.page.url}/kiln?firing={FIRING}")

    def boxes(self):
        return self.driver.execute_script(BOXES)

    def written(self):
        """Everything the logbook ever said of each layer."""
        found = {}
        for row in self.book.history("layers").itertuples():
            mm = None if math.isnan(row.run_mm) else round(row.run_mm, 6)
            word = "past" if row.past_foot == "yes" else "fine" if mm is None else "ran"
            fate = (word, mm) if row.past_foot else ("", None)
            found.setdefault((row.piece, row.layer), set()).add(fate)
            for column in ("kiln_note", "lost"):
                found.setdefault((row.piece, column), set()).add((getattr(row, column),))
        return found

    def step(self):
        does = [(self.tap, 12), (self.run, 6), (self.half_typed, 2), (self.change_tab, 4),
                (self.change_network, 4), (self.change_units, 1), (self.reload, 2),
                (self.take_offer, 3), (self.press_in_box, 3), (self.somebody_else, 2),
                (self.somebody_moves, 1), (self.somebody_changes, 1),
                (self.other_part, 2), (self.tell, 3), (self.rest, 1)]  # fmt: skip
        (do,) = self.chance.choices([do for do, _ in does], [weight for _, weight in does])
        self.story.append(do.__name__)
        do()
        self.hold()

    def _told(self, word, run=None, whole=True):
        found = [box for box in self.boxes() if not box["gone"]]
        box = self.chance.choice(found)
        layer = self.chance.choice(box["layers"])[0]
        at = f"{key_of(box['piece'])}-{layer}"
        units = self.driver.execute_script(TAP, at, word, run, whole)
        self.meant[self.tab][box["piece"], layer] = fate_of(word, run or "", "", units)
        self.waiting.pop((box["piece"], layer), None)
        self.story[-1] += f" {box['piece']} {layer} {word} {run or ''} in tab {self.tab}"
        if word == "past" and run is None:  # a length that stood there stands
            shown = next(one for one in self.boxes() if one["piece"] == box["piece"])
            mine = next(one for one in shown["layers"] if one[0] == layer)
            self.meant[self.tab][box["piece"], layer] = fate_of(*mine[1:], shown["units"])

    def tale(self, *what):
        """What is wrong, and what came before it."""
        return "\n".join([*map(repr, what), f"seed {SEED}", *self.story[-40:]])

    def tap(self):
        self._told(self.chance.choice(["", "fine", "fine", "past"]))

    def run(self):
        self._told(self.chance.choice(["ran", "past"]), str(self.chance.choice([1, 3, "1/4 in"])))

    def half_typed(self):
        self._told("past", str(self.chance.randint(1, 9)), whole=False)

    def tell(self):
        """A note, or what a pot was lost by."""
        box = self.chance.choice([box for box in self.boxes() if not box["gone"]])
        column = self.chance.choice(["kiln_note", "lost"])
        text = self.chance.choice(["", "cracked", "stuck"])
        self.driver.execute_script(TELL, f"told-{column}-{key_of(box['piece'])}", text)
        self.meant[self.tab][box["piece"], column] = (text,)
        self.waiting.pop((box["piece"], column), None)
        self.story[-1] += f" {box['piece']} {column} {text} in tab {self.tab}"

    def rest(self):
        """ "All the rest: fine", and yes; or taken back. What she told herself stands."""
        if self.offline[self.tab]:
            return
        word = "rest" if self.chance.random() < 0.7 else "undo"
        for one in (word, "rest-surely"):
            self.driver.execute_script(f"document.querySelector('.keep [value={one}]')?.click()")
            until(lambda: not acting(self.driver))
        changed = "" if word == "rest" else "fine"
        told, written = self.meant[self.tab], self.written()
        for at, shown in [one for box in self.boxes() for one in self.shown(box)]:
            # What she told and was kept, others may have written over since: the page is new.
            if told.get(at) == (changed, None) or (at in told and told[at] in written[at]):
                told[at] = shown

    def change_tab(self):
        self.tab = 1 - self.tab
        self.driver.switch_to.window(self.tabs[self.tab])

    def change_network(self):
        self.offline[self.tab] = self.chance.random() < 0.4
        network(self.driver, self.chance.choice([0, 100, 400]), self.offline[self.tab])

    def change_units(self):
        self.driver.execute_script("document.querySelector('.units [aria-pressed=false]').click()")

    def reload(self):
        network(self.driver)
        self.offline[self.tab] = False
        self.leave()
        self.open()

    def restart(self):
        """The page is away for a moment, and comes back at the same address."""
        self.page.stop()
        self.page = self.started.enter_context(Page(self.folder, *self.options))

    def take_offer(self):
        """Another tab's, or from before; what stands unconfirmed here is left on the device."""
        if self.offline[self.tab]:
            return
        self.quiet()
        if self.driver.find_elements("css selector", "#offers"):
            self.leave()
            self.driver.execute_script("document.querySelector('#offers button.main')?.click()")
            until(lambda: not acting(self.driver))

    def leave(self):
        """What is not confirmed waits on the device."""
        drafts = self.drafts()  # first: what is confirmed meanwhile leaves them
        unconfirmed = {box["piece"] for box in self.boxes() if box["state"] in UNCONFIRMED}
        left = {at: fate for at, fate in self.meant[self.tab].items() if at[0] in unconfirmed}
        for at, (word, *_) in left.items():
            assert word in drafts.get(at, ()), self.tale(at, word)
        self.waiting |= left
        self.meant[self.tab] = {}

    def drafts(self):
        """Words that wait on the device, by layer."""
        found = {}
        for fields in self.driver.execute_script(DRAFTS):
            draft = parse_qs(fields, keep_blank_values=True)
            pots = {name[4:]: texts[0] for name, texts in draft.items() if name.startswith("pot-")}
            for name, (word, *_) in draft.items():
                kind, _, at = name.partition("-")
                if kind == "fate":
                    key, _, layer = at.partition("-")
                    found.setdefault((pots[key], int(layer)), set()).add(word)
                elif kind == "told":
                    column, _, key = at.partition("-")
                    found.setdefault((pots[key], column), set()).add(word)
        return found

    def press_in_box(self):
        if self.offline[self.tab]:
            return
        self.quiet()
        piece, said = self.driver.execute_script(PRESS, self.chance.random())
        if said.startswith("take"):
            for told in (self.meant[self.tab], self.waiting):
                for at in [at for at in told if at[0] == piece]:
                    del told[at]
        self.quiet()

    def other_part(self):
        """Comes only once all of this one is kept; the model leaves to the logbook what went."""
        if self.offline[self.tab]:
            return
        self.driver.execute_script(PART, self.chance.random())
        until(lambda: not acting(self.driver))
        here = {box["piece"] for box in self.boxes()}
        gone = {at: fate for at, fate in self.meant[self.tab].items() if at[0] not in here}
        self.waiting |= gone
        for at in gone:
            del self.meant[self.tab][at]

    def somebody_else(self):
        piece = f"cup {self.chance.randint(1, self.pots)}"
        past = self.chance.choice(["yes", "no"])
        with Logbook.open(self.folder) as book:
            book.record(piece, [Outcome(1, past_foot=past, run_mm=float("nan"))])
        self.story[-1] += f" {piece} {past}"

    def somebody_moves(self):
        """A planned pot goes to another firing, or comes back, unless hers came first."""
        with Logbook.open(self.folder) as book, suppress(Overtaken):
            layers, marks = book.marked("layers")
            told = layers["past_foot"].ne("") | layers["run_mm"].notna() | layers["lost"].ne("")
            fired = set(layers.loc[told, "piece"])
            away = [pot for pot in marks if pot[1] == "dawn" and pot[0] not in fired]
            here = [pot for pot in marks if pot[1] == FIRING and pot[0] not in fired]
            back = len(away) >= MOST_AWAY or (bool(away) and self.chance.random() < 0.5)
            pots = away if back else here
            if pots:
                pot = self.chance.choice(pots)
                book.move_pieces({pot: marks[pot]}, FIRING if back else "dawn")
                self.story[-1] += f" {pot[0]} {'back' if back else 'away'}"

    def somebody_changes(self):
        """The hold of the firing, or the name of a glaze, unless hers came first."""
        with Logbook.open(self.folder) as book, suppress(Overtaken):
            if self.chance.random() < 0.5:
                layers = book.layers()
                hold = f"{layers.loc[layers['firing'] == FIRING, 'hold_min'].iloc[0]:g}"
                to = str(self.chance.randint(5, 30))
                book.change_firing(FIRING, {"hold_min": to}, {"hold_min": hold})
            else:
                glazes, marks = book.marked("glazes")
                name = self.chance.choice(glazes["glaze"].tolist())
                to = f"{name.split(',')[0]}, {len(self.story)}"
                book.rename_glaze(name, to, marks[name,])
            self.story[-1] += f" {to}"

    def shown(self, box):
        """What a box says of each layer and of the pot."""
        for layer, *fate in box["layers"]:
            yield (box["piece"], layer), fate_of(*fate, box["units"])
        for column, text in box["told"]:
            yield (box["piece"], column), (text,)

    def quiet(self):
        """Until nothing of this tab is on its way."""
        until(lambda: not any(box["state"] == "sending" for box in self.boxes()))

    def hold(self):
        """What is shown as kept was written, and what she told last still stands where she did."""
        boxes = self.boxes()
        written = self.written()
        for box in boxes:
            for at, fate in self.shown(box):
                assert fate == self.meant[self.tab].get(at, fate), self.tale(at, box)
                if box["state"] not in UNCONFIRMED:
                    assert fate in written[at], self.tale(at, box)

    def end(self):
        """With the network back everything is kept, or says why not and waits on the device."""
        for tab in range(2):
            self.tab = tab
            self.driver.switch_to.window(self.tabs[tab])
            network(self.driver)
            self.driver.execute_script("document.querySelector('.keep .main').click()")
            until(lambda: not acting(self.driver))
            until(lambda: not any(
                box["state"] in ("sending", "open") for box in self.boxes()))  # fmt: skip
            self.hold()
            drafts, written = self.drafts(), self.written()
            for box in self.boxes():
                for layer, word, *_ in box["layers"] if box["state"] == "refused" else ():
                    assert word in drafts[box["piece"], layer], self.tale(box)
            for at, fate in self.waiting.items():
                assert fate in written[at] or fate[0] in drafts.get(at, ()), self.tale(at, fate)


def live(tmp_path, steps, restarts=0, pots=9):
    need_browser()
    with ExitStack() as started:
        driver = started.enter_context(browsing(PHONE))
        evening = Evening(driver, small_studio(tmp_path / "studio", pots), started, SEED)
        for k in range(steps):
            if restarts and k % (steps // restarts) == steps // restarts - 1:
                evening.story.append("restart")
                evening.restart()
            evening.step()
        evening.end()
        return evening


def test_a_short_evening(tmp_path):
    live(tmp_path, 40)


@pytest.mark.slow
def test_a_thousand_steps(tmp_path):
    live(tmp_path, 1000, restarts=10)


@pytest.mark.slow
def test_a_large_kiln(tmp_path):
    """Of 130 pots, 60 a part."""
    live(tmp_path, 300, restarts=3, pots=130)
