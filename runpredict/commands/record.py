"""What came out of the kiln, written down piece by piece, and taken back."""

from __future__ import annotations

import argparse
import math
import sys
from typing import TYPE_CHECKING, Any

from runpredict.commands.options import DONE, logbook_option, refuse
from runpredict.commands.record_walk import outcome_words, walk
from runpredict.tables.columns import TOLD_OF_PIECE

if TYPE_CHECKING:
    from runpredict.logbook.results import Outcome

UNKNOWN = "unknown"
METAVARS = {"witness_cone": "CONE", "photo": "FILE"}


def add_commands(subparsers: argparse._SubParsersAction[Any]) -> None:
    """Add ``record`` and ``remove``."""
    _add_record(subparsers)
    _add_remove(subparsers)


def _add_record(subparsers: argparse._SubParsersAction[Any]) -> None:
    parser = subparsers.add_parser(
        "record",
        help="write down what came out of the kiln",
        description="Without a piece, walks through a firing pot by pot, layer by layer, asks what "
        "each did and keeps every answer at once; f, the rest: fine, keeps all pots without a "
        "result at once; stopped, it goes on where it was. With a piece and no option, walks "
        "through that piece; with options, writes what they say of its layers.",
    )
    parser.add_argument("piece", nargs="?", metavar="PIECE", help="one piece, by its name")
    parser.add_argument(
        "--firing",
        metavar="NAME",
        help="the firing to walk through, or the one a piece was in; by its date without a name",
    )
    parser.add_argument(
        "--layer", type=int, metavar="N", help="only this layer; 1 is against the clay"
    )
    parser.add_argument(
        "--run",
        dest="run_length",
        metavar="LENGTH",
        help='how far the lower edge moved down, such as 9.5 or "3/8 in"; '
        "unknown takes a reading back",
    )
    parser.add_argument(
        "--past-foot",
        choices=("yes", "no", UNKNOWN),
        help="whether it ran past the foot's edge; without --layer, of every layer",
    )
    parser.add_argument("--note", default="", metavar="TEXT", help="added to the layer's note")
    for column in TOLD_OF_PIECE:
        parser.add_argument(
            f"--{column.name.replace('_', '-')}",
            metavar=METAVARS.get(column.name, "|".join(column.words) or "TEXT"),
            help=f"of the whole piece. {column.guide} {UNKNOWN} takes it back",
        )
    logbook_option(parser)
    parser.set_defaults(run=_record)


def _record(args: argparse.Namespace) -> int:
    from runpredict.logbook.book import Logbook
    from runpredict.logbook.results import Outcome
    from runpredict.tables.layers import outside

    options = ("layer", "run_length", "past_foot", "note", *(c.name for c in TOLD_OF_PIECE))
    given = any(getattr(args, option) for option in options)
    if args.piece is None and given:
        refuse("record", "has no piece; name the piece, or leave the other options out.")
    with Logbook.open(args.logbook) as log:
        if args.piece is None or (not given and sys.stdin.isatty()):
            walk(log, args.firing, args.piece)
            return DONE
        run_mm = None if args.run_length is None else _read_run(args.run_length)
        known = log.piece(args.piece, args.firing)
        known = known.loc[outside(known)]
        told = {column.name: getattr(args, column.name) for column in TOLD_OF_PIECE}
        told = {name: "" if text == UNKNOWN else text for name, text in told.items() if text}
        numbers = _layers(args, known["layer"].tolist(), bool(told))
        outcomes = [
            _outcome(args, run_mm, row, bool(told))
            for _, row in known.loc[known["layer"].isin(numbers)].iterrows()
        ]
        if not outcomes and numbers:
            outcomes = [Outcome(args.layer)]  # which the logbook refuses, naming those there are
        written = log.record(args.piece, outcomes, firing=args.firing, told=told)
    _confirm(written)
    return DONE


def _add_remove(subparsers: argparse._SubParsersAction[Any]) -> None:
    parser = subparsers.add_parser(
        "remove",
        help="take back a planned pot, or a result that was a mistake",
        description="Takes a planned piece out of the plan, or, with --result, takes back what was "
        "written of a fired one. The history keeps what stood.",
    )
    parser.add_argument("piece", metavar="PIECE", help="the piece's name")
    parser.add_argument(
        "--firing", metavar="NAME", help="when several firings have such a piece; or its date"
    )
    parser.add_argument("--result", action="store_true", help="only its results; it stays planned")
    logbook_option(parser)
    parser.set_defaults(run=_remove)


def _remove(args: argparse.Namespace) -> int:
    from runpredict.logbook.book import Logbook

    with Logbook.open(args.logbook) as log:
        gone = log.remove(args.piece, firing=args.firing, result=args.result)
    row: Any
    for row in gone.itertuples():
        was = f" ({outcome_words(row.run_mm, row.past_foot)})" if args.result else ""
        print(f"Taken back: {_place(row)}{was}.", flush=True)
    print("The history keeps it.")
    return DONE


def _place(row: Any) -> str:
    where = f" ({row.firing or row.fired_on})" if row.firing or row.fired_on else ""
    return f"{row.piece}{where}, layer {row.layer}, {row.glaze}"


def _confirm(written: Any) -> None:
    for row in written.itertuples():
        print(
            f"Logged: {_place(row)}: {outcome_words(row.run_mm, row.past_foot)}.",
            flush=True,
        )


def _layers(args: argparse.Namespace, numbers: list[int], told: bool) -> list[int]:
    """Layers to record: the one named, or all of the piece when the options fit each."""
    if args.layer is not None:
        return [args.layer]
    if told and not (args.past_foot or args.run_length or args.note):
        return []
    if len(numbers) > 1 and (args.run_length is not None or args.past_foot == "yes"):
        refuse("--layer", f'"{args.piece}" has {len(numbers)} layers; say which ran with --layer.')
    return numbers


def _outcome(args: argparse.Namespace, run_mm: float | None, known: Any, told: bool) -> Outcome:
    """What the options say of one layer, by the rule of whoever asks after a firing."""
    from runpredict.logbook.results import Outcome, outcome_of, word_of

    number, logged = int(known["layer"]), known["past_foot"]
    past_foot = "" if args.past_foot == UNKNOWN else args.past_foot
    if past_foot is None and not (logged and (args.run_length or args.note)) and not told:
        refuse(
            "--past-foot",
            f'is missing for "{args.piece}", layer {number}; give yes, no or unknown.',
        )
    past_now = logged if past_foot is None else past_foot
    run_now = known["run_mm"] if run_mm is None else run_mm
    if past_now and (past_foot or run_mm is not None):
        try:
            outcome_of(number, word_of(run_now, past_now), run_now, known["lower_edge_mm"])
        except ValueError as fault:
            refuse("--run", f"{fault} Give --past-foot yes, or mend the run.")
    return Outcome(number, run_mm, past_foot, args.note)


def _read_run(text: str) -> float:
    """A run typed with any unit; NaN when it is to be taken back. [mm]"""
    from runpredict.units import parse_length_mm

    if text.strip().casefold() == UNKNOWN:
        return math.nan
    try:
        return parse_length_mm(text)
    except ValueError as fault:
        refuse("--run", str(fault))
