"""Lengths in the fields of a form: as she types them in her own units, and as they stand there."""

from __future__ import annotations

import math
import re
from fractions import Fraction

from runpredict.units import MM_PER_INCH, LengthUnits

_BARE = re.compile(r"^[\s\d.,/½¼¾⅛⅜⅝⅞⁄+-]+$")
_SIXTEENTHS = 16
_THIN_IN = 1 / 16  # a coat is thinner than a ruler's finest mark: written in decimals


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

    Inches go to the nearest sixteenth, as on a ruler; thinner ones to the thousandth.

    Examples
    --------
    >>> written_length(38.1, "in"), written_length(38.1, "mm"), written_length(0.5, "in")
    ('1 1/2', '38.1', '0.02')
    """
    if math.isnan(length_mm):
        return ""
    if units == "mm":
        return f"{length_mm:.6g}"
    inches = length_mm / MM_PER_INCH
    if 0.0 < inches < _THIN_IN:
        return f"{inches:.3f}".rstrip("0")
    return _ruler(round(inches * _SIXTEENTHS))


def _ruler(sixteenths: int) -> str:
    whole, part = divmod(sixteenths, _SIXTEENTHS)
    if not part:
        return str(whole)
    return f"{whole} {Fraction(part, _SIXTEENTHS)}" if whole else str(Fraction(part, _SIXTEENTHS))
