"""Forms and fields: there and back, and lengths as a ruler has them."""

import pandas as pd
import pytest
from helpers.pictures import raw
from hypothesis import given
from hypothesis import strategies as st

from runpredict.bench.field_words import label_of
from runpredict.bench.lengths import typed_length, written_length
from runpredict.bench.pot_form import (
    CARRIED,
    POT_CARRIED,
    PotForm,
    advised,
    form_of,
    new_form,
    next_name,
    posted_form,
)
from runpredict.units import parse_length_mm


@given(st.floats(2.0, 2000.0), st.sampled_from(["mm", "in"]))
def test_a_written_length_is_read_as_itself_to_the_mark(length_mm, units):
    """A sixteenth of an inch is 1.5875 mm (inch of 1959), half of it the most that is lost."""
    again = parse_length_mm(typed_length(written_length(length_mm, units), units))
    most = 25.4 / 32 + 1e-6 if units == "in" else 1e-5 * length_mm
    assert abs(again - length_mm) <= most


@given(st.integers(0, 400))
def test_a_length_on_the_ruler_is_written_without_loss(sixteenths):
    length_mm = sixteenths * 25.4 / 16
    assert (
        abs(parse_length_mm(typed_length(written_length(length_mm, "in"), "in")) - length_mm) < 1e-5
    )


@pytest.mark.parametrize(
    ("text", "units", "typed"),
    [
        ("8", "mm", "8"),
        ("8", "in", "8 in"),
        (" 1 1/2 ", "in", "1 1/2 in"),
        ("½", "in", "½ in"),
        ("8 mm", "in", "8 mm"),
        ('3"', "in", '3"'),
        ("", "in", ""),
        ("wide", "in", "wide"),
    ],
)
def test_a_length_without_a_unit_is_in_those_of_the_page(text, units, typed):
    assert typed_length(text, units) == typed


@pytest.mark.parametrize("units", ["mm", "in"])
def test_a_pot_fills_a_form_that_sends_itself_back(units):
    layers = raw("layers")
    for _, rows in layers.groupby(["piece", "firing"], sort=False):
        form = form_of(rows, units)
        fields = dict(form.pot)
        for k, layer in enumerate(form.layers, 1):
            fields |= {f"{name}-{k}": text for name, text in layer.items()}
        assert posted_form(fields) == form
        assert len(form.layers) == len(rows)


def test_a_wall_of_its_own_stands_at_its_layer():
    rows = raw("layers").loc[lambda t: t["piece"] == "mug 2"].copy()
    rows["wall_deg"] = [88.0, 70.0]
    form = form_of(rows, "mm")
    assert form.pot["wall_deg"] == "88"
    assert [layer["layer_wall_deg"] for layer in form.layers] == ["", "70"]


@given(st.text(max_size=30), st.lists(st.text(max_size=5), max_size=5))
def test_a_free_name_is_free(name, taken):
    found = next_name(name, [*taken, name])
    assert found not in [*taken, name]
    assert found.strip()


def test_a_form_has_as_many_layers_as_it_sends():
    assert len(posted_form({}).layers) == 1
    assert len(posted_form({"glaze-3": "x"}).layers) == 3
    assert len(posted_form({"glaze-99": "x"}).layers) == 1
    form = new_form("in")
    assert set(form.pot) == set(POT_CARRIED)
    assert set(form.layers[0]) == set(CARRIED)
    changed = form.changed(1, "coats", "3").changed(None, "piece", "jug")
    assert (changed.layers[0]["coats"], changed.pot["piece"]) == ("3", "jug")
    assert form.layers[0]["coats"] == "1"
    assert isinstance(changed, PotForm)


@pytest.mark.parametrize("units", ["mm", "in"])
def test_a_measured_layer_is_made_thinner_in_the_form_by_what_is_told(units):
    """Four coats and a needle's 0.5 mm: the form then holds the thickness that was told."""
    rows = raw("layers").loc[lambda t: t["piece"] == "mug 2"].copy()
    rows["thickness_mm"], rows["coats"] = [0.5, 0.4], [4, 1]
    told = pd.DataFrame([{"change": "thickness", "layer": 1, "changed": 0.254}])
    form = advised(form_of(rows, units), rows, told, units)
    assert form.layers[0]["thickness_mm"] == {"mm": "0.254", "in": "0.01"}[units]
    assert form.layers[0]["coats"] == "4"


def test_labels_of_fields():
    assert label_of("glaze-2") == "Layer 2, glaze"
    assert label_of("foot_mm") == "Foot across"
    assert label_of("") == "This pot"
