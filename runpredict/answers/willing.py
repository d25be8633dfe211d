"""What a studio is willing to change, and what a loss, a cookie and a reglaze are to it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from runpredict.errors import BadInput, Fault

# Each kind of change by the word that names it, and what it means. In this order they are tried.
KINDS = {
    "wax": "a wider bare band",
    "edge": "a layer that stops higher",
    "cookie": "a cookie under the pot",
    "coats": "a coat less",
    "heat": "another cone or hold for the whole firing",
    "dish": "a catch dish",
}


@dataclass(frozen=True)
class Willing:
    """Which changes a studio makes, and what things cost it.

    Attributes
    ----------
    kinds : frozenset of str
        Of `KINDS`.
    lost, cookie, reglaze : float
        What a pot that fuses to its shelf, a cookie, and glazing a pot otherwise than planned
        cost, in any one unit. As delivered a judgement: what a studio would give to be spared.
    """

    kinds: frozenset[str] = frozenset(KINDS)
    lost: float = 20.0
    cookie: float = 1.0
    reglaze: float = 0.5

    def lost_at(self, tolerance: float) -> float:
        """What a lost pot costs whoever tolerates no more than such a chance of it.

        Who would rather have a cookie than a smaller chance holds a loss for dearer.

        Examples
        --------
        >>> AS_DELIVERED.lost_at(0.05), AS_DELIVERED.lost_at(0.01), AS_DELIVERED.lost_at(0.2)
        (20.0, 100.0, 20.0)
        """
        return max(self.lost, self.cookie / tolerance)


AS_DELIVERED = Willing()


def checked_kinds(words: Iterable[str], where: str = "changes") -> frozenset[str]:
    """The kinds of change that some words name.

    Parameters
    ----------
    words : iterable of str
    where : str
        What is named as the place of a fault.

    Raises
    ------
    BadInput : a word that is none of `KINDS`.

    Examples
    --------
    >>> sorted(checked_kinds(["Wax", " cookie"]))
    ['cookie', 'wax']
    """
    kinds = [word.strip().casefold() for word in words if word.strip()]
    unknown = [word for word in kinds if word not in KINDS]
    if unknown:
        known = ", ".join(KINDS)
        message = f'"{unknown[0]}" is no change that can be advised; give some of {known}.'
        raise BadInput([Fault(where, None, None, message)])
    return frozenset(kinds)
