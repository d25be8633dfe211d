"""A number of a workbook as its cell shows it: with its unit, its noughts or as a fraction."""

from __future__ import annotations

import re
from fractions import Fraction
from functools import lru_cache

MAX_SHOWN = 1e15
"""A spreadsheet keeps fifteen digits; a larger number is no cell of a table, whatever it shows."""

_TOKEN = re.compile(
    r'"(?P<quoted>[^"]*)"|\\(?P<escaped>.)|_(?P<space>.)|\*(?P<fill>.)|\[(?P<bracket>[^\]]*)\]'
    r"|(?P<general>general)|(?P<digits>[#0?][#0?.,/\d ]*(?:E[+-][#0?]+)?|\.[#0?]+)|(?P<other>.)",
    re.IGNORECASE | re.DOTALL,
)
_FRACTION = re.compile(r"([#0?]*\s*)?[#0?]+\s*/\s*([#0?]+|\d+)\s*")
_SECTION_END = re.compile(r'((?:"[^"]*"|\\.|[^;"\\])*)(;|\Z)', re.DOTALL)


@lru_cache(maxsize=1000)
def _sections(number_format: str) -> tuple[str, ...]:
    """What is shown of a number above, below and at nought."""
    found = []
    for match in _SECTION_END.finditer(number_format):
        found.append(match[1])
        if not match[2]:
            break
    return tuple(found)


def shown_number(value: float, number_format: str) -> str:
    """A number with whatever else its cell shows.

    Parameters
    ----------
    value : float
        Finite.
    number_format : str
        As the workbook holds it, such as ``General``, ``0.0" in"``, ``00`` or ``# ?/?``.

    Returns
    -------
    str
        All its digits (not only those shown), leading noughts where the format is of whole
        numbers, a fraction where it shows one, and the text around it.

    Raises
    ------
    ValueError
        If what is shown does not tell the number: no digits at all, thousands left out, or a
        format that depends on the size.

    Examples
    --------
    >>> shown_number(6, "00"), shown_number(1.25, '0.0" in"'), shown_number(0.375, "# ?/?")
    ('06', '1.25 in', '3/8')
    """
    if abs(value) >= MAX_SHOWN:
        return _plain(value)
    sections = _sections(number_format)
    which = 1 if value < 0 and len(sections) > 1 else 2 if value == 0 and len(sections) > 2 else 0
    size = abs(value) if which == 1 else value
    shown, numbers = "", 0
    for token in _TOKEN.finditer(sections[which]):
        kind = token.lastgroup
        text = token[kind] if kind else ""
        if kind == "digits":
            shown += _digits(size, text, "%" in sections[which])
            numbers += 1
        elif kind == "general":
            shown += _plain(size)
            numbers += 1
        elif kind == "bracket" and text[:1] in "<>=":
            raise ValueError("is shown by a format that depends on its size")
        elif kind in ("quoted", "escaped", "other"):
            shown += text.replace("@", _plain(size))
            numbers += "@" in text and kind == "other"
    if numbers != 1:
        raise ValueError("holds a number that its format does not show")
    return " ".join(shown.split())


def _plain(value: float) -> str:
    return repr(float(value)).removesuffix(".0")


def _digits(value: float, places: str, percent: bool) -> str:
    if places.rstrip(" ").endswith(",") or "," in places.partition(".")[2]:
        raise ValueError("is shown in thousands")
    if percent:
        value = float(Fraction(repr(float(value))) * 100)
    fraction = _FRACTION.fullmatch(places)
    if fraction:
        return _fraction(value, fraction[2], mixed=bool((fraction[1] or "").strip()))
    space = " " if places.endswith(" ") else ""
    noughts = places.replace(",", "").partition(".")[0].count("0")
    if float(value).is_integer() and noughts > 1 and "E" not in places.upper():
        return f"{int(value):0{noughts + (value < 0)}d}{space}"
    return _plain(value) + space


def _fraction(value: float, below: str, mixed: bool) -> str:
    exact = Fraction(repr(abs(float(value))))
    if below.isdigit() and int(below) > 0:
        near = Fraction(round(exact * int(below)), int(below))
    else:
        near = exact.limit_denominator(10 ** len(below) - 1)
    whole, part = divmod(near, 1) if mixed else (0, near)
    sign = "-" if value < 0 and near else ""
    if not part:
        return f"{sign}{whole}"
    return f"{sign}{f'{whole} ' if whole else ''}{part.numerator}/{part.denominator}"
