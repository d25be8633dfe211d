"""Lengths in the fields of a form: as she types them in her own units, and as they stand there."""

from __future__ import annotations

import math
import re

from runpredict.units import LengthUnits, length_number, parse_length_mm

_BARE = re.compile(r"^[\s\d.,/½¼¾⅛⅜⅝⅞⁄+-]+$")


def typed_length(text: str, units: LengthUnits) -> str:
    """A length as `parse_length_mm` takes it: one without a unit is in those of the page.

    Examples
    --------
    >>> typed_length("1 1/2", "in"), typed_length("8", "mm"), typed_length("1 cm", "in")
    ('1 1/2 in', '8', '1 cm')
    """
    plain = text.strip()
    return f"{plain} in" if units == "in" and plain and _BARE.match(plain) else plain


def written_length(length_mm: float, units: LengthUnits) -> str:
    """A length as it stands in a field, without its unit; blank when not known.

    Inches go as a ruler has them (`units.length_number`), mm with all their digits.

    Examples
    --------
    >>> written_length(38.1, "in"), written_length(38.1, "mm"), written_length(0.5, "in")
    ('1 1/2', '38.1', '0.02')
    """
    if math.isnan(length_mm):
        return ""
    if units == "mm":
        return f"{length_mm:.6g}"
    return length_number(length_mm, units)


def read_length(text: str, exact: str, units: LengthUnits) -> str:
    """As `typed_length`, of a field that carries what its text was rounded from.

    Parameters
    ----------
    text : str
        What stands in the field.
    exact : str
        The length that was written there, as a number of mm; anything else is passed over.
    units : "mm" or "in"
        Of the form.

    Examples
    --------
    >>> read_length("13/16", "20.0", "in"), read_length("3/4", "20.0", "in")
    ('20.0 mm', '3/4 in')
    """
    exact_mm = _exact_mm(exact)
    if exact_mm is not None and text.strip() == written_length(exact_mm, units):
        return f"{exact_mm!r} mm"
    return typed_length(text, units)


def exact_length(length_mm: float) -> str:
    """What a field carries of the length that is written in it."""
    return "" if math.isnan(length_mm) else repr(float(length_mm))


def converted_length(
    text: str, exact: str, was: LengthUnits, units: LengthUnits
) -> tuple[str, str]:
    """Text and exact length of a field in other units; what names its unit, or is none, stays.

    Examples
    --------
    >>> converted_length("20", "", "mm", "in"), converted_length("13/16", "20.0", "in", "mm")
    (('13/16', '20.0'), ('20', '20.0'))
    >>> converted_length("1 cm", "", "mm", "in")
    ('1 cm', '')
    """
    if was == units or not _BARE.match(text):
        return text, exact
    try:
        length_mm = parse_length_mm(read_length(text, exact, was))
    except ValueError:
        return text, exact
    return written_length(length_mm, units), exact_length(length_mm)


def _exact_mm(text: str) -> float | None:
    try:
        length_mm = float(text)
    except ValueError:
        return None
    return length_mm if math.isfinite(length_mm) else None
