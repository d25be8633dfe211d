"""Commands of the logbook: import, export, template and record."""

from __future__ import annotations

import argparse
import math
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn, TypeVar

from runpredict.commands.options import DONE
from runpredict.errors import BadInput, Fault

if TYPE_CHECKING:
    from runpredict.logbook.book import Logbook, Outcome

__all__ = ["add_commands"]

DEFAULT_FOLDER = "logbook"
TEMPLATE_NAME = "logbook_form.xlsx"
UNKNOWN = "unknown"

T = TypeVar("T")


def _logbook_option(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--logbook",
        default=DEFAULT_FOLDER,
        metavar="DIR",
        help='folder of the logbook (default: "logbook" in the folder you are in)',
    )


def add_commands(subparsers: argparse._SubParsersAction[Any]) -> None:
    """Add ``import``, ``export``, ``template`` and ``record``.

    Parameters
    ----------
    subparsers
        As `ArgumentParser.add_subparsers` returns; each command gets ``run``, a function of the
        parsed arguments that returns the exit status or raises `BadInput`.
    """
    _add_import(subparsers)
    _add_export(subparsers)
    _add_template(subparsers)
    _add_record(subparsers)


def _add_import(subparsers: argparse._SubParsersAction[Any]) -> None:
    parser = subparsers.add_parser(
        "import",
        help="add tables to the logbook",
        description="Adds tables to the logbook, all of them or, with a fault in any, none. A row "
        "that is logged already is corrected; a blank cell leaves what is logged.",
    )
    parser.add_argument(
        "files", nargs="+", metavar="FILE", help="CSV of any table, or a workbook (.xlsx)"
    )
    _logbook_option(parser)
    parser.set_defaults(run=_import)


def _add_export(subparsers: argparse._SubParsersAction[Any]) -> None:
    parser = subparsers.add_parser(
        "export",
        help="write the logbook as tables",
        description="Writes glazes.csv, recipes.csv, materials.csv, schedules.csv and layers.csv, "
        "and every change ever made to them as history.csv; files of these names in the folder are "
        "replaced. An import of the tables makes the same logbook again, but for its history.",
    )
    parser.add_argument("folder", nargs="?", metavar="DIR", help="folder for the CSV files")
    parser.add_argument("--xlsx", metavar="FILE", help="also, or only, write a workbook")
    _logbook_option(parser)
    parser.set_defaults(run=_export)


def _add_template(subparsers: argparse._SubParsersAction[Any]) -> None:
    parser = subparsers.add_parser(
        "template",
        help="write a blank spreadsheet to fill in at the bench",
        description="Writes a blank workbook with a sheet for each table and one of instructions.",
    )
    parser.add_argument(
        "file",
        nargs="?",
        default=TEMPLATE_NAME,
        metavar="FILE.xlsx",
        help=f"workbook to make (default {TEMPLATE_NAME})",
    )
    parser.set_defaults(run=_template)


def _add_record(subparsers: argparse._SubParsersAction[Any]) -> None:
    parser = subparsers.add_parser(
        "record",
        help="write down what came out of the kiln",
        description="Writes a result for each layer of a piece. In a terminal it asks for what is "
        "missing.",
    )
    parser.add_argument("piece", metavar="PIECE", help="the piece's name")
    parser.add_argument("--firing", metavar="NAME", help="when several firings have such a piece")
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
    _logbook_option(parser)
    parser.set_defaults(run=_record)


def _refuse(option: str, message: str) -> NoReturn:
    raise BadInput([Fault(option, None, None, message)])


def _import(args: argparse.Namespace) -> int:
    from runpredict.logbook.book import FILE_NAME, import_files

    counts = import_files(args.files, args.logbook)
    for kind, count in counts.items():
        print(
            f"{kind}: {count.added} added, {count.corrected} corrected, "
            f"{count.unchanged} unchanged",
        )
    print(f"The logbook is {Path(args.logbook) / FILE_NAME}.", flush=True)
    return DONE


def _export(args: argparse.Namespace) -> int:
    from runpredict.logbook.book import Logbook

    if args.folder is None and args.xlsx is None:
        _refuse("export", "has nowhere to write; give a folder, or a workbook with --xlsx.")
    with Logbook.open(args.logbook) as log:
        log.export(args.folder, args.xlsx)
    for place in filter(None, (args.folder, args.xlsx)):
        print(f"Wrote the logbook to {place}.")
    return DONE


def _template(args: argparse.Namespace) -> int:
    from runpredict.logbook.forms import write_template

    write_template(args.file)
    print(f"Wrote {args.file}. Fill it in, then run: runpredict import {args.file}")
    return DONE


def _record(args: argparse.Namespace) -> int:
    from runpredict.logbook.book import Logbook

    asking = sys.stdin.isatty()
    run_mm = None if args.run_length is None else _read_run("--run", args.run_length)
    with Logbook.open(args.logbook) as log:
        firing = _firing(log, args, asking)
        known = log.piece(args.piece, firing)
        numbers = _layers(args, known["layer"].tolist(), asking)
        outcomes = [
            _outcome(args, run_mm, known.loc[known["layer"] == number], number, asking)
            for number in numbers
        ]
        written = log.record(args.piece, outcomes, firing=firing)
    _confirm(written)
    return DONE


def _confirm(written: Any) -> None:
    from runpredict.units import format_length

    for row in written.itertuples():
        ran = (
            "run not measured"
            if math.isnan(row.run_mm)
            else f"ran {format_length(row.run_mm)} ({format_length(row.run_mm, 'in')})"
        )
        past = {"yes": "past the foot", "no": "not past the foot", "": "past the foot or not known"}
        where = f" ({row.firing})" if row.firing else ""
        print(
            f"Logged: {row.piece}{where}, layer {row.layer}, {row.glaze}: "
            f"{ran}, {past[row.past_foot]}.",
            flush=True,
        )


def _firing(log: Logbook, args: argparse.Namespace, asking: bool) -> str | None:
    firings = log.firings_of(args.piece)
    if args.firing is not None or len(firings) < 2 or not asking:
        return args.firing

    def read(answer: str) -> str:
        if answer not in firings:
            raise ValueError(f"give one of {', '.join(firings)}.")
        return answer

    return _ask(f"Which firing ({', '.join(firings)})? ", read)


def _layers(args: argparse.Namespace, numbers: list[int], asking: bool) -> list[int]:
    """Layers to record: the one named, or all of the piece when the options fit each."""
    if args.layer is not None:
        return [args.layer]
    if len(numbers) == 1 or (args.run_length is None and args.past_foot != "yes"):
        return numbers
    if not asking:
        _refuse("--layer", f'"{args.piece}" has {len(numbers)} layers; say which ran with --layer.')
    listed = ", ".join(str(number) for number in numbers)

    def read(answer: str) -> int:
        if answer not in listed.split(", "):
            raise ValueError(f"give one of {listed}; 1 is against the clay.")
        return int(answer)

    return [_ask(f"Which layer ({listed})? ", read)]


def _outcome(
    args: argparse.Namespace, run_mm: float | None, known: Any, number: int, asking: bool
) -> Outcome:
    from runpredict.logbook.book import Outcome

    glaze = "".join(known["glaze"])
    logged = "".join(known["past_foot"])
    past_foot: str | None = args.past_foot
    if past_foot is None and asking:
        past_foot = _ask(
            f"Layer {number}, {glaze}: past the foot's edge? "
            f"(yes or no; blank: {logged or 'not known'}) ",
            _read_past_foot,
        )
    elif past_foot is None and not (logged and (args.run_length or args.note)):
        _refuse(
            "--past-foot",
            f'is missing for "{args.piece}", layer {number}; give yes, no or unknown.',
        )
    if run_mm is None and args.run_length is None and asking:
        run_mm = _ask(
            f"Layer {number}, {glaze}: how far did its lower edge run? "
            "(such as 9.5 or 3/8 in; blank: not measured) ",
            lambda answer: _read_run("the run", answer) if answer else None,
        )
    return Outcome(number, run_mm, "" if past_foot == UNKNOWN else past_foot, args.note)


def _ask(question: str, read: Callable[[str], T]) -> T:
    """Ask until the answer can be read."""
    while True:
        try:
            answer = input(question).strip()
        except EOFError:
            _refuse("record", "was stopped before the last answer; nothing was written.")
        try:
            return read(answer)
        except (ValueError, BadInput) as fault:
            print(fault, file=sys.stderr)


def _read_past_foot(answer: str) -> str | None:
    words = {"y": "yes", "yes": "yes", "n": "no", "no": "no", "": None, UNKNOWN: UNKNOWN}
    if answer.casefold() not in words:
        raise ValueError(f'"{answer[:40]}" is not an answer; type yes or no.')
    return words[answer.casefold()]


def _read_run(option: str, text: str) -> float:
    """A run typed with any unit; NaN when it is to be taken back. [mm]"""
    from runpredict.units import parse_length_mm

    if text.strip().casefold() == UNKNOWN:
        return math.nan
    try:
        return parse_length_mm(text)
    except ValueError as fault:
        _refuse(option, str(fault))
