"""A random quarter of an hour at the form of a pot against a model of what was typed.

Fields, layers added and taken off, units, saving, reloads that offer what was typed, on a slow
network and without one; what is typed while a button's answer is under way counts too.
"""

import os
import random

import pytest
from helpers.browser import PHONE, acting, browsing, need_browser, network, served, small_studio
from helpers.processes import until

from runpredict.bench.lengths import read_length
from runpredict.units import parse_length_mm

pytestmark = pytest.mark.filterwarnings("ignore::runpredict.errors.TableWarning")
SEED = int(os.environ.get("RUNPREDICT_SEED", "15"))
LENGTHS, TEXTS, OF_POT = ("lower_edge_mm", "upper_edge_mm"), ("coats", "note"), ("wall_deg", "body")
MOST_LAYERS = 4
SHOWN = """
const form = document.getElementById('pot');
return [form.elements.units.value, document.getElementById('state').textContent,
        Object.fromEntries(new FormData(form))]
"""
TYPE = """
const [name, text, whole] = arguments;
const form = document.getElementById('pot');
const field = form.elements[name];
const told = [form.elements.units.value, form.querySelectorAll('fieldset.layer').length];
if (!field) return [...told, false];
field.focus();
field.value = text;
field.dispatchEvent(new Event('input', {bubbles: true}));
if (whole) field.dispatchEvent(new Event('change', {bubbles: true}));
return [...told, true];
"""
PRESS = """
const one = document.querySelector(arguments[0]);
one?.click();
return Boolean(one);
"""


class Hour:
    """One form, and what was typed into it."""

    def __init__(self, driver, page, seed):
        self.driver, self.page, self.chance = driver, page, random.Random(seed)
        self.typed, self.layers, self.dropping, self.offline = {}, 2, 0, False
        self.story = []
        self.open()

    def open(self):
        self.driver.get(f"{self.page.url}/pot?piece=cup+1&firing=dusk")

    def step(self):
        does = [(self.type, 14), (self.add, 2), (self.drop, 2), (self.units, 2), (self.save, 1),
                (self.reload, 1), (self.change_network, 2), (self.wait, 3)]  # fmt: skip
        (do,) = self.chance.choices([do for do, _ in does], [weight for _, weight in does])
        self.story.append(do.__name__)
        do()

    def type(self):
        layer = self.chance.randint(1, self.layers)
        name = self.chance.choice([*OF_POT, *(f"{one}-{layer}" for one in (*LENGTHS, *TEXTS))])
        text = str(self.chance.randint(1, 90))
        if name.startswith(LENGTHS) and self.chance.random() < 0.3:
            text = self.chance.choice(["1/4 in", "2 cm", "7 mm"])
        whole = self.chance.random() < 0.7
        units, layers, there = self.driver.execute_script(TYPE, name, text, whole)
        self.story[-1] += f" {name} {text} {units} {there}"
        if layers < self.layers:  # the layer that was to be taken off is gone by now
            self.layers, self.dropping = layers, 0
        if not there:
            return
        self.typed[self.after_drop(name)] = (text, units)
        self.typed.pop("", None)
        if not acting(self.driver):
            self.hold()

    def after_drop(self, name):
        """What a field is called by once the layer that is being taken off is gone."""
        stem, _, layer = name.partition("-")
        if not layer or not self.dropping or int(layer) < self.dropping:
            return name
        return "" if int(layer) == self.dropping else f"{stem}-{int(layer) - 1}"

    def wait(self):
        """Until no button is being answered, and then all that was typed stands there."""
        until(lambda: not acting(self.driver))
        if self.dropping and not self.offline:
            self.layers -= 1
        self.dropping = 0
        self.hold()

    def press(self, css):
        self.wait()
        return self.driver.execute_script(PRESS, css)

    def add(self):
        self.wait()
        if self.offline or self.layers >= MOST_LAYERS:
            return
        self.driver.execute_script(PRESS, "[value=add]")
        until(
            lambda: len(self.driver.find_elements("css selector", "fieldset.layer")) > self.layers
        )
        self.layers += 1

    def drop(self):
        self.wait()
        if self.offline or self.layers < 2:
            return
        layer = self.chance.randint(1, self.layers)
        self.story[-1] += f" {layer}"
        self.driver.execute_script(PRESS, f"[value=drop-{layer}]")
        self.dropping = layer
        names = {name: self.after_drop(name) for name in self.typed}
        self.typed = {names[name]: told for name, told in self.typed.items() if names[name]}

    def units(self):
        self.press(".units [aria-pressed=false]")

    def save(self):
        self.press(".keep [value=save]")

    def change_network(self):
        self.wait()
        self.offline = self.chance.random() < 0.3
        network(self.driver, self.chance.choice([0, 150, 400]), self.offline)

    def reload(self):
        self.wait()
        network(self.driver)
        self.offline = False
        self.open()
        if self.driver.execute_script(PRESS, "#offers button.main"):
            self.wait()
        else:
            self.typed = {}
        self.layers = len(self.driver.find_elements("css selector", "fieldset.layer"))

    def hold(self):
        units, state, fields = self.driver.execute_script(SHOWN)
        for name, (text, typed_in) in self.typed.items():
            told = (name, text, typed_in, units, state, fields.get(name))
            if name.startswith(LENGTHS):
                exact = fields.get(f"exact_{name}", "")
                there = parse_length_mm(read_length(fields.get(name, ""), exact, units))
                mine = parse_length_mm(read_length(text, "", typed_in))
                assert there == pytest.approx(mine), self.tale(told)
            else:
                assert fields.get(name) == text, self.tale(told)

    def tale(self, *what):
        return "\n".join([*map(repr, what), f"seed {SEED}", *self.story[-40:]])


def live(tmp_path, steps):
    need_browser()
    with browsing(PHONE) as driver, served(small_studio(tmp_path / "studio")) as page:
        hour = Hour(driver, page, SEED)
        for _ in range(steps):
            hour.step()
        hour.wait()


def test_a_few_minutes(tmp_path):
    live(tmp_path, 40)


@pytest.mark.slow
def test_a_quarter_of_an_hour(tmp_path):
    live(tmp_path, 400)
