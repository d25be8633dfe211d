"""What a studio said of itself: what it changes, tolerates and writes down, what things cost."""

from __future__ import annotations

import json
import os
from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from runpredict.errors import BadInput, Fault, quoted
from runpredict.tables.files import replace_file
from runpredict.tables.names import name_key
from runpredict.units import parse_number

FILE_NAME = "changes.json"

# Each kind of change by the word that names it, and what it means. In this order they are tried.
KINDS = {
    "wax": "a wider bare band",
    "edge": "a layer that stops higher",
    "cookie": "a cookie under the pot",
    "coats": "a coat less",
    "heat": "another cone or hold for the whole firing",
    "dish": "a catch dish",
}


WRITTEN = ("all", "surprises")  # what a log has results of


@dataclass(frozen=True)
class Willing:
    """Which changes a studio makes, what things cost it, and what it writes down.

    Attributes
    ----------
    kinds : frozenset of str
        Of `KINDS`.
    lost, cookie, reglaze : float
        What a pot that fuses to its shelf, a cookie, and glazing a pot otherwise than planned
        cost, in any one unit. As delivered a judgement: what a studio would give to be spared.
    written : str
        One of `WRITTEN`, or "" where the studio has not said.
    tolerances : tuple of (str, float)
        Chance of running past the foot that is tolerated in a firing, by the key of its name,
        where that is another than the studio's.
    """

    kinds: frozenset[str] = frozenset(KINDS)
    lost: float = 20.0
    cookie: float = 1.0
    reglaze: float = 0.5
    written: str = ""
    tolerances: tuple[tuple[str, float], ...] = ()

    def tolerance_in(self, firing: str) -> float | None:
        """The chance that is tolerated in a firing; None where that is the studio's.

        Examples
        --------
        >>> said = AS_DELIVERED.tolerating("June show", 0.02)
        >>> said.tolerance_in("june  show"), said.tolerance_in("July")
        (0.02, None)
        """
        return dict(self.tolerances).get(name_key(firing))

    def tolerating(self, firing: str, tolerance: float | None) -> Willing:
        """The same studio with another tolerance in a firing; None for the studio's own."""
        said = dict(self.tolerances)
        said.pop(name_key(firing), None)
        if tolerance is not None:
            said[name_key(firing)] = tolerance
        return replace(self, tolerances=tuple(said.items()))

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
        message = f"{quoted(unknown[0])} is no change that can be advised; give some of {known}."
        raise BadInput([Fault(where, None, None, message)])
    return frozenset(kinds)


def checked_costs(words: Iterable[str], where: str = "costs") -> tuple[float, float, float]:
    """What a lost pot, a cookie and a reglaze cost, as three numbers.

    Raises
    ------
    BadInput : not three numbers above 0 (a reglaze may cost nothing).

    Examples
    --------
    >>> checked_costs(["20", "1", "0.5"])
    (20.0, 1.0, 0.5)
    """
    try:
        lost, cookie, reglaze = (parse_number(word) for word in words)
    except ValueError:
        lost = cookie = reglaze = -1.0
    if not (lost > 0.0 and cookie > 0.0 and reglaze >= 0.0):
        message = "give three numbers: a lost pot and its shelf, a cookie, a reglaze, as 20,1,0.5."
        raise BadInput([Fault(where, None, None, message)])
    return lost, cookie, reglaze


def kept_willing(folder: str | os.PathLike[str]) -> Willing:
    """What the studio of a logbook said it is willing to do, or as delivered.

    Raises
    ------
    BadInput : a file that is not as `keep_willing` writes it.
    """
    file = Path(folder) / FILE_NAME
    try:
        text = file.read_text(encoding="utf-8")
    except FileNotFoundError:
        return AS_DELIVERED
    except OSError as error:
        message = f"cannot be read: {error.strerror}."
        raise BadInput([Fault(FILE_NAME, None, None, message)]) from None
    try:
        kept = json.loads(text)
        costs = checked_costs([str(kept[name]) for name in ("lost", "cookie", "reglaze")])
        written = kept.get("written", "")
        if written not in ("", *WRITTEN):
            raise ValueError(written)
        tolerances = tuple((firing, float(c)) for firing, c in kept.get("tolerances", {}).items())
        if not all(0.0 < chance < 1.0 for _, chance in tolerances):
            raise ValueError(tolerances)
        return Willing(checked_kinds(kept["changes"]), *costs, written, tolerances)
    except (ValueError, KeyError, TypeError, AttributeError, BadInput):
        message = "is not as it was written; remove it, and say with --changes what you change."
        raise BadInput([Fault(FILE_NAME, None, None, message)]) from None


def keep_willing(folder: str | os.PathLike[str], willing: Willing) -> None:
    """Remember in a logbook's folder what its studio is willing to do.

    Raises
    ------
    BadInput : a file that cannot be written; what stood there is unchanged.
    """
    kept = asdict(willing) | {
        "changes": [kind for kind in KINDS if kind in willing.kinds],
        "tolerances": dict(willing.tolerances),
    }
    del kept["kinds"]
    with replace_file(Path(folder) / FILE_NAME, private=True) as draft:
        draft.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")
