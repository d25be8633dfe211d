import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runpredict.units import (
    MM_PER_INCH,
    format_length,
    format_temperature,
    parse_length_mm,
    parse_number,
    parse_rate_c_per_h,
    parse_temperature_c,
)


@pytest.mark.parametrize(
    ("text", "length_mm"),
    [
        ("12", 12.0),
        (" 0.5 mm ", 0.5),
        ("1,5", 1.5),
        ("0,125 mm", 0.125),
        ("2 cm", 20.0),
        ("1.1cm", 11.0),
        ("1 1/2 in", 38.1),
        ('1-1/2"', 38.1),
        ("1½ in", 38.1),
        ("½ inch", 12.7),
        ("3/8 inches", 9.525),
        ("3⁄8″", 9.525),
        ("1.5 IN.", 38.1),
        ("−3 mm", -3.0),
        ("1/2 mm", 0.5),
        (".5", 0.5),
    ],
)
def test_lengths_as_typed(text, length_mm):
    assert parse_length_mm(text) == pytest.approx(length_mm, abs=1e-12)


@pytest.mark.parametrize(
    "text",
    ["3-Aug", "8-Mar-26", "Mar-08", "8/3/2026", "2026-03-08", "2026-03-08 00:00:00", "3.8.2026"],
)
def test_a_date_is_refused_as_a_mangled_fraction(text):
    with pytest.raises(ValueError, match="is a date: the spreadsheet may have turned a fraction"):
        parse_length_mm(text)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("sixty", "is not a length"),
        ("", "is not a length"),
        ("5 ft", "is not a length"),
        ("1/0 in", "is not a length"),
        ("3-5 mm", "is not a length"),
        ("nan", "is not a length"),
        ("inf", "is not a length"),
        ("1e999", "is not a length"),
        ("3/8", "has no unit; write 3/8 in or 3/8 mm"),
        ("1,500", "may part thousands or decimals"),
        ("x" * 10_000, r"xxx\.\.\."),
    ],
)
def test_what_is_no_length_is_refused_in_one_sentence(text, sentence):
    with pytest.raises(ValueError, match=sentence) as caught:
        parse_length_mm(text)
    assert len(str(caught.value)) < 200
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "temperature_c"),
    [
        ("1220", 1220.0),
        ("1220 °C", 1220.0),
        ("1220℃", 1220.0),
        ("2165 F", 1185.0),
        ("2232 deg F", 1222.2222),
        ("32°F", 0.0),
        ("212 Fahrenheit", 100.0),
    ],
)
def test_temperatures_as_typed(text, temperature_c):
    # 32 °F and 212 °F are the freezing and boiling points of water, by definition of the scale.
    assert parse_temperature_c(text) == pytest.approx(temperature_c, abs=1e-3)


@pytest.mark.parametrize("text", ["cone 6", "hot", "1200 K", ""])
def test_what_is_no_temperature_is_refused(text):
    with pytest.raises(ValueError, match="is not a temperature"):
        parse_temperature_c(text)


def test_rates_as_typed():
    assert parse_rate_c_per_h("108 F/h") == pytest.approx(60.0)
    assert parse_rate_c_per_h("150 °C per hour") == 150.0
    with pytest.raises(ValueError, match="is not a rate"):
        parse_rate_c_per_h("fast")


def test_numbers_refuse_with_what_would_be_right():
    with pytest.raises(ValueError, match='"sixty" is not a number; give weight percent'):
        parse_number("sixty", "give weight percent")


@pytest.mark.parametrize(
    ("length_mm", "units", "text"),
    [
        (38.1, "in", "1 1/2 in"),
        (25.4, "in", "1 in"),
        (9.525, "in", "3/8 in"),
        (0.5, "in", "0.02 in"),
        (0.0, "in", "0 in"),
        (25.39, "in", "1 in"),
        (4.5, "mm", "4.5 mm"),
        (0.25, "mm", "0.25 mm"),
        (99.6, "mm", "100 mm"),
        (-3.0, "mm", "-3 mm"),
        (math.nan, "mm", "not known"),
        (math.inf, "in", "without limit"),
    ],
)
def test_lengths_as_read(length_mm, units, text):
    assert format_length(length_mm, units) == text


def test_temperatures_are_read_in_both_scales():
    assert format_temperature(1185.0) == "1185 °C (2165 °F)"
    assert format_temperature(1185.0, "in") == "2165 °F (1185 °C)"


def test_an_unknown_unit_is_refused():
    with pytest.raises(ValueError, match='give "mm" or "in"'):
        format_length(1.0, "furlong")
    with pytest.raises(ValueError, match='give "mm" or "in"'):
        format_temperature(1.0, "furlong")


@given(st.floats(1.6, 2000), st.sampled_from(["mm", "in"]))
def test_a_written_length_reads_back_to_what_the_ruler_shows(length_mm, units):
    step_mm = MM_PER_INCH / 16 if units == "in" else 1.0 if length_mm >= 9.9 else 0.1
    read_mm = parse_length_mm(format_length(length_mm, units))
    assert abs(read_mm - length_mm) <= step_mm / 2 + 1e-6


@given(st.integers(0, 60), st.integers(1, 15))
def test_sixteenths_round_trip_exactly(whole, sixteenths):
    text = f"{whole} {sixteenths}/16 in"
    length_mm = parse_length_mm(text)
    assert parse_length_mm(format_length(length_mm, "in")) == length_mm


@given(st.text(max_size=30))
def test_any_text_is_read_or_refused_with_a_sentence(text):
    for parse in (parse_length_mm, parse_temperature_c, parse_rate_c_per_h, parse_number):
        try:
            assert math.isfinite(parse(text))
        except ValueError as fault:
            assert str(fault).endswith(".")
