"""Lengths and temperatures as a potter types them, and as she reads them.

Inside the package lengths are mm and temperatures °C; only this module knows other units.
"""

from __future__ import annotations

import math
import re
import unicodedata
from fractions import Fraction
from typing import Literal

from runpredict.errors import BadInput, Fault, quoted

LengthUnits = Literal["mm", "in"]

MM_PER_INCH = 25.4  # exact, international yard and pound agreement of 1959
HAND_STEP_MM = {"mm": 1.0, "in": MM_PER_INCH / 8}
"""What a hand with a brush of wax can follow; a judgement. [mm]"""
COAT_STEP_MM = 0.05
"""No needle tells dry coats apart that differ by less; a judgement. [mm]"""
LEAST_INCH_COAT_MM = MM_PER_INCH / 64
"""The finest line of a ruler in inches. [mm]"""
_C_PER_F = Fraction(5, 9)
F_PER_C = 1.8  # of a difference or a rate
_MOST_DIGITS = 9  # of what counts something

_MM_PER_UNIT = {"": 1.0, "mm": 1.0, "cm": 10.0, "in": MM_PER_INCH}
_UNIT_SPELLINGS = {
    "": "",
    "mm": "mm",
    "millimeter": "mm",
    "millimeters": "mm",
    "millimetre": "mm",
    "millimetres": "mm",
    "cm": "cm",
    "centimeter": "cm",
    "centimeters": "cm",
    "centimetre": "cm",
    "centimetres": "cm",
    "in": "in",
    "inch": "in",
    "inches": "in",
    '"': "in",
    "''": "in",
}
_DEGREE_SPELLINGS = {"": "C", "c": "C", "celsius": "C", "f": "F", "fahrenheit": "F"}
_NO_DIGITS = ("<super>", "<sub>", "<circle>", "<square>")
"""Kinds of character that would turn into digits, as 5² into 52."""
_QUOTES = str.maketrans({"″": '"', "”": '"', "“": '"', "′": "'", "’": "'", "⁄": "/", "−": "-"})

_MONTHS = (
    "jan(uary)?|feb(ruary)?|mar(ch)?|apr(il)?|may|june?|july?|aug(ust)?|sept?(ember)?"
    "|oct(ober)?|nov(ember)?|dec(ember)?"
)
_DATE = re.compile(
    rf"^\d{{1,4}}([-/.])\d{{1,2}}\1\d{{1,4}}([ t].*)?$"
    rf"|^(\d{{1,4}}[-/. ]+)?({_MONTHS})([-/. ,]+\d{{1,4}})*$",
    re.IGNORECASE,
)
_NUMBER = re.compile(r"^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d{1,3})?$", re.IGNORECASE)
_FRACTION = re.compile(r"^([+-]?)\s*(?:(\d+)(?:\s+|\s*-\s*))?(\d+)\s*/\s*(\d+)$")
_THOUSANDS_DEGREES = re.compile(r"^\d\.\d{3}$")
_SPLIT = re.compile(r"^([-+0-9.,/\s]*(?:e[+-]?\d+)?)\s*(.*)$", re.IGNORECASE | re.DOTALL)


def _plain(text: str) -> str:
    """Fractions such as ½, odd quotes, minus signs and spaces in plain characters."""
    if text.isascii():
        return " ".join(text.split())
    spelled = [_plain_character(char) for char in text.translate(_QUOTES)]
    return " ".join("".join(spelled).translate(_QUOTES).split())


def _plain_character(char: str) -> str:
    """A character as typed on a keyboard; raised, lowered and circled digits stay what they are."""
    kind = unicodedata.decomposition(char).partition(" ")[0]
    if kind == "<fraction>":
        return f" {unicodedata.normalize('NFKC', char)}"
    return char if kind in _NO_DIGITS else unicodedata.normalize("NFKC", char)


def _refuse_dates(text: str, plain: str, example: str) -> None:
    if _DATE.match(plain):
        raise ValueError(
            f"{quoted(text)} is a date: the spreadsheet may have turned a fraction into one; "
            f"set the cell to text and type it again, such as {example}."
        )


def _read_number(number: str) -> float | None:
    """The number, with a decimal point or comma; None when it is not one."""
    point = number
    if number.count(",") == 1 and "." not in number:
        whole, _, decimals = number.partition(",")
        if re.fullmatch(r"\d{3}", decimals) and re.fullmatch(r"[+-]?\d*[1-9]\d*", whole):
            raise ValueError(
                f"the comma in {quoted(number)} may part thousands or decimals; "
                f"type {whole}{decimals} or {whole}.{decimals}."
            )
        point = f"{whole}.{decimals}"
    if not _NUMBER.match(point):
        return None
    value = float(point)
    return value if math.isfinite(value) else None


def parse_number(text: str, right: str = "give digits only, such as 12.5") -> float:
    """Read a plain number with a decimal point or a decimal comma.

    Parameters
    ----------
    text : str
        Such as ``"1.5"``, ``"1,5"`` or ``"-2"``.
    right : str
        What would be right, for the error.

    Returns
    -------
    float
        Finite.

    Raises
    ------
    ValueError : if it is no finite number, or its comma may part thousands ("1,500").

    Examples
    --------
    >>> parse_number("1,5")
    1.5
    """
    plain = _plain(text)
    _refuse_dates(text, plain, "1.5")
    value = _read_number(plain)
    if value is None:
        raise ValueError(f"{quoted(text)} is not a number; {right}.")
    return value


def whole_number(text: str, most: int) -> int | None:
    """A whole number that is not more than so much; None for anything else, however long.

    Examples
    --------
    >>> whole_number("012", 50), whole_number("51", 50), whole_number("-1", 50)
    (12, None, None)
    >>> whole_number("9" * 5000, 50)
    """
    if not text.isdecimal() or len(text) > _MOST_DIGITS:
        return None
    number = int(text)
    return number if number <= most else None


def _split_unit(plain: str) -> tuple[str, str]:
    match = _SPLIT.match(plain)
    assert match is not None  # every part of the pattern may be empty
    return match.group(1).strip(), match.group(2).strip()


def _parse_fraction(number: str) -> float | None:
    match = _FRACTION.match(number)
    if match is None:
        return None
    sign, whole, above, below = match.groups()
    if int(below) == 0 or max(len(above), len(below), len(whole or "")) > 6:
        return None
    value = Fraction(int(whole or 0)) + Fraction(int(above), int(below))
    return float(-value if sign == "-" else value)


def parse_length_mm(text: str) -> float:
    """Read a length typed by hand, in mm unless it names cm or inches.

    Parameters
    ----------
    text : str
        Such as ``"12"``, ``"0.5 mm"``, ``"1,5 cm"``, ``"1 1/2 in"``, ``'1-1/2"'`` or ``"½ inch"``.

    Returns
    -------
    float
        [mm]

    Raises
    ------
    ValueError
        If it is no length, is a date (a fraction that a spreadsheet mangled), or is a fraction
        without a unit, which may be inches as well as mm.

    Examples
    --------
    >>> parse_length_mm("1 1/2 in"), parse_length_mm("2 cm"), parse_length_mm("12")
    (38.1, 20.0, 12.0)
    """
    plain = _plain(text)
    _refuse_dates(text, plain, "3/8 in")
    number, unit = _split_unit(plain)
    known = _UNIT_SPELLINGS.get(unit.rstrip(". ").casefold())
    fraction = _parse_fraction(number)
    value = fraction if fraction is not None else _read_number(number)
    if known is None or value is None:
        raise ValueError(
            f"{quoted(text)} is not a length; give mm, cm or inches, such as 12 or 1 1/2 in."
        )
    if fraction is not None and not known:
        raise ValueError(f"{quoted(text)} has no unit; write {plain} in or {plain} mm.")
    return _scaled(value, known)


def _scaled(number: float, unit: str) -> float:
    # Rounded to a nanometre so that 1.1 cm is 11, not 11.000000000000002.
    return round(number * _MM_PER_UNIT[unit], 6) if unit in ("cm", "in") else number


def _parse_degrees(text: str, example: str) -> tuple[float, str]:
    plain = _plain(text)
    _refuse_dates(text, plain, example)
    number, unit = _split_unit(plain)
    if _THOUSANDS_DEGREES.match(number):
        raise ValueError(
            f"the dot in {quoted(number)} parts thousands or decimals; type "
            f"{number.replace('.', '')}, or {number.rstrip('0').rstrip('.')}."
        )
    spelled = re.sub(r"^(°|deg(rees?)?\.?)\s*", "", unit.casefold()).rstrip(". ")
    known = _DEGREE_SPELLINGS.get(spelled)
    value = _read_number(number)
    if known is None or value is None:
        raise ValueError(
            f"{quoted(text)} is not a temperature; give °C or °F, such as {example} or 2165 F."
        )
    return value, known


def parse_temperature_c(text: str) -> float:
    """Read a temperature typed by hand, in °C unless it says F.

    Parameters
    ----------
    text : str
        Such as ``"1220"``, ``"1220 °C"`` or ``"2165 F"``.

    Returns
    -------
    float
        [°C]

    Raises
    ------
    ValueError : if it is no temperature.

    Examples
    --------
    >>> parse_temperature_c("2165 F")
    1185.0
    """
    degrees, unit = _parse_degrees(text, "1220")
    return degrees if unit == "C" else round((degrees - 32.0) * float(_C_PER_F), 6)


def parse_rate_c_per_h(text: str) -> float:
    """Read a heating or cooling rate, in °C/h unless it says F/h.

    Parameters
    ----------
    text : str
        Such as ``"60"``, ``"150 C/h"`` or ``"270 F/h"``.

    Returns
    -------
    float
        [°C/h]

    Raises
    ------
    ValueError : if it is no rate.

    Examples
    --------
    >>> parse_rate_c_per_h("270 F/h")
    150.0
    """
    plain = re.sub(r"\s*(/|per)\s*h(r|our)?\.?$", "", _plain(text), flags=re.IGNORECASE)
    try:
        degrees, unit = _parse_degrees(plain, "60")
    except ValueError:
        raise ValueError(
            f"{quoted(text)} is not a rate; give °C or °F an hour, such as 60 or 108 F/h."
        ) from None
    return degrees if unit == "C" else round(degrees * float(_C_PER_F), 6)


def check_units(units: object) -> None:
    """Refuse what is no ruler of ours.

    Raises
    ------
    BadInput : if `units` is neither "mm" nor "in".
    """
    if units not in ("mm", "in"):
        near = '; for inches write "in"' if str(units).casefold().startswith("in") else ""
        raise BadInput(
            [Fault("units", None, None, f'"{units}" is not known; give "mm" or "in"{near}.')]
        )


def format_length(length_mm: float, units: LengthUnits = "mm") -> str:
    """Write a length as a ruler shows it.

    Parameters
    ----------
    length_mm : float
        [mm]; NaN is written "not known".
    units : {"mm", "in"}
        Inches go to the nearest sixteenth; a thinner layer than that to the thousandth.

    Returns
    -------
    str
        mm to the hundredth below 1 mm, the tenth below 10 mm, else whole.

    Raises
    ------
    BadInput : if `units` is neither "mm" nor "in".

    Examples
    --------
    >>> format_length(38.1, "in"), format_length(38.1), format_length(0.254, "in")
    ('1 1/2 in', '38 mm', '0.01 in')
    """
    check_units(units)
    if math.isnan(length_mm):
        return "not known"
    if math.isinf(length_mm):
        return "without limit" if length_mm > 0 else "none"
    return f"{length_number(length_mm, units)} {units}"


def length_number(length_mm: float, units: LengthUnits = "mm") -> str:
    """The number of `format_length` alone, of a finite length.

    Examples
    --------
    >>> length_number(38.1, "in"), length_number(-0.001)
    ('1 1/2', '0')
    """
    sign = "-" if length_mm < 0 else ""
    size = abs(float(length_mm))  # numpy rounds 5.45 down, Python up
    if units == "mm":
        text = f"{round(size, 2 if size < 1 else 1 if size < 10 else 0):.12g}"
    else:
        text = _inch_text(size / MM_PER_INCH)
    return f"{sign if text != '0' else ''}{text}"


def _inch_text(size_in: float) -> str:
    if size_in < 1 / 16:
        return f"{round(size_in, 3):.12g}"
    return _fraction_text(round(size_in * 16), 16)


def _fraction_text(parts: int, of: int) -> str:
    whole, part = divmod(parts, of)
    if part == 0:
        return str(whole)
    return f"{whole} {Fraction(part, of)}" if whole else str(Fraction(part, of))


def thinner_as_written(length_mm: float, units: LengthUnits = "mm") -> float:
    """The thickness that `format_coat` writes without rounding, this one or the next below it.

    Below the finest line of a ruler in inches it is as in mm.

    Parameters
    ----------
    length_mm : float
        0 or above. [mm]
    units : {"mm", "in"}

    Returns
    -------
    float
        [mm]

    Examples
    --------
    >>> thinner_as_written(0.226), thinner_as_written(1.28), thinner_as_written(1.28, "in")
    (0.2, 1.2, 1.190625)
    """
    if units == "in" and length_mm >= LEAST_INCH_COAT_MM:
        lines = 64 / MM_PER_INCH
    else:
        coarse = 10 if length_mm < 10 else 1
        fine = 1.0 / COAT_STEP_MM if length_mm >= 2.0 * COAT_STEP_MM else 100
        lines = coarse if length_mm >= 1 else fine
    return round(math.floor(length_mm * lines + 1e-9) / lines, 6)


def format_coat(thick_mm: float, units: LengthUnits = "mm") -> str:
    """Write the thickness of dry glaze, as a needle and a ruler show it.

    Parameters
    ----------
    thick_mm : float
        [mm]
    units : {"mm", "in"}
        Inches go to the nearest sixty-fourth, the finest that a ruler has.

    Examples
    --------
    >>> format_coat(0.72, "in"), format_coat(0.34, "in"), format_coat(0.72)
    ('1/32 in', 'under 1/64 in', '0.72 mm')
    """
    if units == "mm" or math.isnan(thick_mm):
        return format_length(thick_mm)
    if thick_mm < LEAST_INCH_COAT_MM - 1e-6:
        return "under 1/64 in"
    return f"{_fraction_text(round(thick_mm / MM_PER_INCH * 64), 64)} in"


def format_distance(distance_mm: float, units: LengthUnits = "mm") -> str:
    """Write a way along a wall, which nobody measures finer than a sixteenth of an inch.

    Parameters
    ----------
    distance_mm : float
        [mm]
    units : {"mm", "in"}

    Returns
    -------
    str
        As `format_length`.

    Raises
    ------
    ValueError : if `units` is neither "mm" nor "in".

    Examples
    --------
    >>> format_distance(1.4, "in"), format_distance(0.4, "in"), format_distance(1.4)
    ('1/16 in', '0 in', '1.4 mm')
    """
    if units == "in" and math.isfinite(distance_mm):
        distance_mm = round(distance_mm / MM_PER_INCH * 16) / 16 * MM_PER_INCH
    return format_length(distance_mm, units)


def format_temperature(temperature_c: float, units: LengthUnits = "mm") -> str:
    """Write a temperature in both scales, the reader's own first.

    Parameters
    ----------
    temperature_c : float
        [°C]; NaN is written "not known".
    units : {"mm", "in"}
        A reader of inches is taken to read °F first.

    Returns
    -------
    str
        Whole degrees.

    Raises
    ------
    ValueError : if `units` is neither "mm" nor "in".

    Examples
    --------
    >>> format_temperature(1220), format_temperature(1220, "in")
    ('1220 °C (2228 °F)', '2228 °F (1220 °C)')
    """
    check_units(units)
    if not math.isfinite(temperature_c):
        return "not known"
    celsius = f"{round(temperature_c)} °C"
    fahrenheit = f"{round(temperature_c / float(_C_PER_F) + 32)} °F"
    return f"{celsius} ({fahrenheit})" if units == "mm" else f"{fahrenheit} ({celsius})"
