"""The walk through an opened kiln: what each layer did, asked one by one and kept at once."""

from __future__ import annotations

import math
import re
import sys
import warnings
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from runpredict.commands.options import DEFAULT_LOGBOOK, refuse
from runpredict.errors import BadInput, TableWarning
from runpredict.tables.columns import TOLD_OF_PIECE

if TYPE_CHECKING:
    import pandas as pd

    from runpredict.logbook.book import Logbook
    from runpredict.logbook.results import Outcome, Word

KEYS = """\
Enter, or the word fine: it did not pass the foot.   9.5 or 3/8 in: it ran so far.
p: past the foot (p 20: and at least 20 mm).   b: back.   s: skip.   q: stop.   ?: these keys.
f: the rest: fine, all pots at once but those with a layer past the foot; it asks first.
m: more that can be told of a pot, such as that it was lost otherwise.
Every answer is kept at once; stop when you like, and the same command goes on from there.
Runs are sharp: wear eye protection and gloves before you knock or grind one off."""
BACK, SKIP, STOP, HELP, REST, MORE = "b", "s", "q", "?", "f", "m"
MOST_FORGOTTEN = 3  # firings named
_PAST = re.compile(r"p(?:ast)?\s*(.*)", re.IGNORECASE)


def outcome_words(run_mm: float, past_foot: str) -> str:
    """What came of a layer, such as ``ran 9.5 mm (3/8 in), not past the foot``."""
    from runpredict.units import format_distance, format_length

    ran = (
        "run not measured"
        if math.isnan(run_mm)
        else f"ran {format_length(run_mm)} ({format_distance(run_mm, 'in')})"
    )
    past = {"yes": "past the foot", "no": "not past the foot", "": "past the foot or not known"}
    return f"{ran}, {past[past_foot]}"


@dataclass
class _Kiln:
    """The layers of a firing in the order they are asked, with what is written of each.

    `used` says which of `TOLD_OF_PIECE` the logbook knows from any pot, `pot` which one alone is
    asked of.
    """

    log: Logbook
    firing: str
    layers: pd.DataFrame
    used: dict[str, bool]
    pot: str = ""

    def written(self, at: int) -> bool:
        row = self.layers.iloc[at]
        return bool(row["past_foot"] or row["lost"]) or not math.isnan(row["run_mm"])

    def next_open(self, start: int) -> int | None:
        """The first layer without a result from a place on."""
        return next((at for at in range(start, len(self.layers)) if not self.written(at)), None)

    def done(self) -> int:
        return sum(self.written(at) for at in range(len(self.layers)))

    def rest(self) -> pd.DataFrame:
        """The layers that "the rest: fine" means."""
        from runpredict.logbook.results import rest_of_pot

        means: list[int] = []
        for places in self.layers.groupby("piece", sort=False).indices.values():
            past = self.layers["past_foot"].iloc[places].eq("yes").tolist()
            each = rest_of_pot([self.written(at) for at in places], past)
            means += [at for at, one in zip(places, each, strict=True) if one]
        return self.layers.iloc[means]

    def keep_rest(self, rest: pd.DataFrame) -> int:
        """Keep layers as fine, and see what the logbook says by now; how many pots were kept."""
        written = self.log.record_rest_fine(rest)
        self.layers = _layers_of(self.log.layers(), self.firing, self.pot)
        return written["piece"].nunique()

    def write(self, at: int, *outcomes: Outcome, **told: str) -> str:
        """Keep an answer, in the logbook first; what is written now, in words."""
        piece = str(self.layers.iloc[at]["piece"])
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", TableWarning)  # of the pot; told when it was planned
            self.log.record(piece, outcomes, firing=self.firing, told=told)
        for _, row in self.log.piece(piece, self.firing).iterrows():
            same = self.layers["piece"].eq(piece) & self.layers["layer"].eq(row["layer"])
            for name in ("run_mm", "past_foot", "note", *told) if row["side"] == "" else ():
                self.layers.loc[same, name] = row[name]
        row = self.layers.iloc[at]
        return f"{_named(row)}: {_written_words(row)}"


def walk(log: Logbook, named: str | None, piece: str | None = None) -> None:
    """Ask what each layer of a firing did, from the first that has no result.

    Parameters
    ----------
    log : Logbook
        Each answer is in it before the next is asked.
    named : str or None
        The firing, by its name or date; None where only one waits.
    piece : str, optional
        Only this one of the firing.

    Raises
    ------
    BadInput : if there is no such firing, or several wait and none is named.
    """
    kiln = _opened(log, named) if piece is None else _pot(log, piece, named)
    name = kiln.pot or kiln.firing.strip() or "the firing without a name"
    on = "" if kiln.pot else f" on {_counted(kiln.layers['piece'].nunique())}"
    print(f"{name}: {len(kiln.layers)} layers{on}, {kiln.done()} of them written already.")
    at = kiln.next_open(0)
    if at is not None:
        print(KEYS)
        _tell_more([column.name for column in TOLD_OF_PIECE if kiln.used[column.name]])
    try:
        while at is not None:
            at = _visit(kiln, at)
    except (EOFError, KeyboardInterrupt):
        print()
    count = len(kiln.layers)
    left = count - kiln.done()
    ahead = f"{left} to go: run the same again." if left else "See what it says: runpredict review."
    print(f"{name}: {kiln.done()} of {count} layers have their result. {ahead}", flush=True)


def _opened(log: Logbook, named: str | None) -> _Kiln:
    from runpredict.tables.firings import firing_words, keyed_firings, named_so

    layers = log.layers()
    keys = keyed_firings(layers)
    if named is None:
        waits = layers["run_mm"].isna()
        for name in ("past_foot", "lost", "side"):
            waits &= layers[name].eq("")
        open_ones = keys.loc[waits].unique()
        listed = ", ".join(f'"{firing_words(key)}"' for key in open_ones)
        if not listed:
            refuse("--firing", "is missing, and no planned pot in the logbook waits for a result.")
        if len(open_ones) > 1:
            refuse("--firing", f"is missing; give the firing you have opened, one of {listed}.")
        named = str(open_ones[0])
    if not named_so(keys, named).any():
        listed = ", ".join(f'"{firing_words(key)}"' for key in keys.unique()[-20:])
        refuse("--firing", f'"{named}" is no firing in the logbook; its firings are {listed}.')
    return _Kiln(log, named, _layers_of(layers, named), _used(layers))


def _pot(log: Logbook, piece: str, named: str | None) -> _Kiln:
    from runpredict.tables.firings import keyed_firings

    rows = log.piece(piece, named)
    firing, pot = str(keyed_firings(rows).iloc[0]), str(rows["piece"].iloc[0])
    layers = log.layers()
    return _Kiln(log, firing, _layers_of(layers, firing, pot), _used(layers), pot)


def _used(layers: pd.DataFrame) -> dict[str, bool]:
    return {column.name: bool(layers[column.name].ne("").any()) for column in TOLD_OF_PIECE}


def _layers_of(layers: pd.DataFrame, named: str, pot: str = "") -> pd.DataFrame:
    """Those of a firing, or of one pot of it, pot by pot, the lowest first."""
    from runpredict.tables.firings import keyed_firings, named_so
    from runpredict.tables.layers import outside

    mine = layers.loc[named_so(keyed_firings(layers), named) & outside(layers)]
    mine = mine.loc[mine["piece"].eq(pot) | (pot == "")]
    first = {piece: at for at, piece in enumerate(mine["piece"].unique())}
    order = mine.assign(pot=mine["piece"].map(first)).sort_values(["pot", "layer"])
    return order.reset_index(drop=True)


def _tell_more(names: list[str]) -> None:
    """What else may be typed of a pot."""
    for column in TOLD_OF_PIECE:
        if column.name in names:
            print(f"{column.name} {column.example}: {column.guide}")


def _visit(kiln: _Kiln, at: int) -> int | None:
    """Ask of one layer; the place of the next to ask, None at the end.

    Raises
    ------
    EOFError : To stop.
    """
    typed = _hear(_question(kiln, at))
    answer = typed.casefold()
    if answer == STOP:
        raise EOFError
    if answer == BACK:
        if not at:
            print("This is the first layer.")
        return max(at - 1, 0)
    if answer in (HELP, MORE):
        print(
            KEYS
            if answer == HELP
            else "note and your words: kept with the layer. lost none takes back."
        )
        _tell_more([column.name for column in TOLD_OF_PIECE])
        return at
    if answer == SKIP or (not answer and kiln.written(at)):
        return kiln.next_open(at + 1)
    try:
        return _call_rest_fine(kiln, at) if answer == REST else _keep(kiln, at, typed)
    except BadInput as bad:
        print("\n".join(fault.message for fault in bad.faults), file=sys.stderr)
        return at
    except ValueError as fault:
        print(fault, file=sys.stderr)
        return at


def _keep(kiln: _Kiln, at: int, typed: str) -> int | None:
    """Keep what came of one layer, or what else was typed; the place of the next to ask.

    Raises
    ------
    ValueError, BadInput : if it cannot be.
    """
    from runpredict.logbook.results import outcome_of

    if _keep_more(kiln, at, typed):
        return kiln.next_open(at)
    answer = typed.casefold()
    number, edge_mm = (kiln.layers.iloc[at][name] for name in ("layer", "lower_edge_mm"))
    word, run_mm = _read(answer, float(edge_mm))
    try:
        outcome = outcome_of(int(number), word, run_mm, float(edge_mm))
    except ValueError as fault:
        hint = f" Type p {answer} if it passed, or the length again." if word == "ran" else ""
        raise ValueError(f"{fault}{hint}") from None
    print(f"  Logged: {kiln.write(at, outcome)}.", flush=True)
    return kiln.next_open(at + 1)


def _keep_more(kiln: _Kiln, at: int, typed: str) -> bool:
    """Keep what else was typed of a pot or a layer; whether it is anything such.

    Raises
    ------
    ValueError, BadInput : if it cannot be kept.
    """
    from runpredict.logbook.results import Outcome

    first, _, text = (part.strip() for part in typed.partition(" "))
    first = first.casefold()
    column = next((c for c in TOLD_OF_PIECE if len(first) > 3 and c.name.startswith(first)), None)
    if column is None and first != "note":
        return False
    if not text:
        raise ValueError(f"Say what, such as {column.name} {column.example}." if column else
                         "Type what you want to keep behind the word note.")  # fmt: skip
    if column is None:
        kiln.write(at, Outcome(int(kiln.layers.iloc[at]["layer"]), note=text))
        kept = f"{_named(kiln.layers.iloc[at])}: note: {text}"
    else:
        kept = kiln.write(at, **{column.name: "" if text.casefold() == "none" else text})
    print(f"  Logged: {kept}.", flush=True)
    return True


def _call_rest_fine(kiln: _Kiln, at: int) -> int | None:
    """Keep all the rest as fine, if that is meant; the place of the next to ask.

    Raises
    ------
    EOFError : To stop.
    """
    rest = kiln.rest()
    if rest.empty:
        print("No pot is left: each has its results, or a layer past the foot.")
        return at
    question, answer = _question_of_rest(kiln, rest), ""
    while answer not in ("y", "yes"):
        if answer in ("n", "no", BACK):
            return at
        if answer == STOP:
            raise EOFError
        answer = _hear(question).casefold()
    kept = kiln.keep_rest(rest)
    print(f"  Logged: {_counted(kept)}, not past the foot.", flush=True)
    return kiln.next_open(at)


def _question_of_rest(kiln: _Kiln, rest: pd.DataFrame) -> str:
    layers = kiln.layers.loc[kiln.layers["piece"].isin(rest["piece"])]
    count, partly = rest["piece"].nunique(), layers.drop(rest.index)["piece"].nunique()
    some = f", {partly} of them only of some layers" if partly else ""
    if partly == count:
        some = " of some layers"
    have, them = ("has", "it") if count == 1 else ("have", "all")
    return f"{_counted(count)} {have} no result yet{some}; keep {them} as fine? y/n "


def _counted(pots: int) -> str:
    return f"{pots} pot{'' if pots == 1 else 's'}"


def _written_words(row: pd.Series[Any]) -> str:
    """What is written of a layer and of its pot."""
    told = [f"{c.label.casefold()}: {row[c.name]}" for c in TOLD_OF_PIECE if row[c.name]]
    ran = row["past_foot"] or not math.isnan(row["run_mm"])
    words = [outcome_words(row["run_mm"], row["past_foot"])] if ran else []
    return "; ".join([*words, *told]) or "nothing written"


def _named(row: pd.Series[Any]) -> str:
    return f"{row['piece']}, layer {row['layer']}, {row['glaze']}"


def _question(kiln: _Kiln, at: int) -> str:
    from runpredict.units import format_distance, format_length

    row = kiln.layers.iloc[at]
    edge = row["lower_edge_mm"]
    question = (
        f"{_named(row)} ({at + 1} of {len(kiln.layers)}), "
        f"{format_length(edge)} ({format_distance(edge, 'in')}) above the foot"
    )
    if kiln.written(at):
        question += f"; written: {_written_words(row)}, Enter keeps it"
    return f"{question}: "


def _hear(question: str) -> str:
    """An answer, from a terminal or from a pipe, where each question gets a line of its own."""
    if not sys.stdin.isatty():
        print(question)
        question = ""
    return input(question).strip()


def _read(answer: str, lower_edge_mm: float) -> tuple[Word, float]:
    """The word for what a layer did, and its run [mm], NaN when not measured.

    Raises
    ------
    ValueError : if it is no answer.
    """
    from runpredict.units import parse_length_mm

    if answer in ("", "fine", "ok", "n", "no"):
        return "fine", math.nan
    past = _PAST.fullmatch(answer)
    if past or answer in ("y", "yes"):
        least = past.group(1).rstrip("+ ") if past else ""
        return "past", parse_length_mm(least) if least else math.nan
    try:
        run_mm = parse_length_mm(answer.lstrip("~ ").rstrip("+ "))
    except ValueError as fault:
        raise ValueError(f"{fault} Or press Enter, p, f, b, s or q; ? tells the keys.") from None
    if answer.endswith("+") and run_mm < lower_edge_mm:
        raise ValueError("At least so far: type p if it passed the foot, else how far it ran.")
    return "past" if answer.endswith("+") else "ran", run_mm


def forgotten_words(logbook: str) -> str:
    """Which firings have results of some pots and none of others, and how to give those.

    Parameters
    ----------
    logbook : str
        Its folder.

    Returns
    -------
    str
        A sentence; "" where there is no such firing.

    Raises
    ------
    BadInput : if there is no logbook, or it is damaged.
    """
    from runpredict.logbook.book import Logbook
    from runpredict.logbook.results import forgotten_pots
    from runpredict.tables.firings import firing_words

    with Logbook.open(logbook) as log:
        pots = forgotten_pots(log.layers())
    newest = [firing_words(key) for key in pots][:MOST_FORGOTTEN]
    if not newest:
        return ""
    counts = [*pots.values()][:MOST_FORGOTTEN]
    first, *others = (f"--firing {_typed(name)}" for name in newest)
    named = [f"{_counted(counts[0])} of firing {newest[0]}"]
    named += [f"{count} of {name}" for count, name in zip(counts[1:], newest[1:], strict=True)]
    have, were, them = (
        ("has", "was it", "it") if sum(counts) == 1 else ("have", "were they", "them")
    )
    folder = "" if logbook == DEFAULT_LOGBOOK else f" --logbook {_typed(logbook)}"
    more = f"; {_listed(others)} for the others" if others else ""
    return (
        f"{_listed(named)} {have} no result: {were} fine? "
        f"runpredict record {first}{folder} asks for {them}{more}."
    )


def _typed(word: str) -> str:
    """A word of a command, quoted where a shell would part it."""
    return word if re.fullmatch(r"[\w./][\w./-]*", word) else f'"{word}"'


def _listed(words: list[str]) -> str:
    *most, last = words
    return f"{', '.join(most)} and {last}" if most else last
