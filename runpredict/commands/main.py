"""The command line: parse, call, print."""

from __future__ import annotations

import argparse
import sys
import warnings
from collections.abc import Sequence
from contextlib import nullcontext, suppress
from dataclasses import replace
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import runpredict
from runpredict.commands import logbook, materials, page, record, review
from runpredict.commands.options import (
    BAD_INPUT,
    DONE,
    OVER_TOLERANCE,
    files_of,
    glaze_options,
    hear_long_work,
    logbook_meant,
    plan_option,
    reading_options,
    refuse,
    replace_option,
    sample_folder,
    show_progress,
    table_options,
    tolerance_option,
)
from runpredict.commands.terminal import run_safely
from runpredict.errors import BadInput, Fault, TableWarning, printable
from runpredict.patience import long_work

if TYPE_CHECKING:
    from runpredict.answers.willing import Willing
    from runpredict.tables.plan import PlanTables


class _Parser(argparse.ArgumentParser):
    """Tells wrong use in one sentence, like every other bad input."""

    def error(self, message: str) -> NoReturn:
        refuse(self.prog, f'{message}; "{self.prog} --help" lists what it takes.')


class _Version(argparse.Action):
    """Prints the version, looked up only when it is asked for."""

    def __init__(self, option_strings: Sequence[str], dest: str, **settings: Any) -> None:
        super().__init__(option_strings, dest, nargs=0, default=argparse.SUPPRESS, **settings)

    def __call__(self, parser: argparse.ArgumentParser, *_: Any) -> NoReturn:
        print(f"runpredict {runpredict.__version__}")
        parser.exit(DONE)


def _answer_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--firing", metavar="NAME", help="only this firing")
    tolerance_option(parser)
    parser.add_argument(
        "--changes",
        metavar="LIST",
        help="what may be advised, of wax,edge,cookie,coats,heat,dish (default: all of it; with "
        "--logbook it is remembered there)",
    )
    parser.add_argument(
        "--costs",
        metavar="LIST",
        help="what a lost pot with its shelf, a cookie and a reglaze cost you (default 20,1,0.5; "
        "remembered like --changes)",
    )
    reading_options(parser)
    parser.add_argument(
        "--out",
        metavar="DIR",
        help="also write the answer as CSV files to this new folder",
    )
    parser.add_argument("--sheet", metavar="FILE", help="also write a sheet to print, .html")
    parser.add_argument(
        "--by-maker", action="store_true", help="sort the pots of the sheet by who glazed them"
    )
    replace_option(parser)
    parser.add_argument("--need", action="store_true", help="list only what needs something")
    parser.add_argument(
        "--strict", action="store_true", help="exit with 1 if a piece is over the tolerance"
    )


def build_parser() -> argparse.ArgumentParser:
    """Every command and option; each command has a ``run`` of the parsed arguments.

    It returns the exit status or raises `BadInput`.
    """
    parser = _Parser(
        prog="runpredict",
        description="Tells, before the kiln is loaded, how far each layer of glaze will run.",
    )
    parser.add_argument("--version", action=_Version, help="print the version, and that is all")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    check = commands.add_parser(
        "check",
        help="what will run in a planned firing, and what to do",
        description="Tells of each planned pot how likely glaze runs past its foot, how far, and "
        "what would be enough; of each firing what it needs as a whole. With no table given it "
        "asks the logbook: the pots without a result are the plan.",
    )
    plan_option(check)
    table_options(check)
    _answer_options(check)
    check.set_defaults(run=_check)
    glaze = commands.add_parser(
        "glaze",
        help="what the chemistry of one glaze says",
        description="Tells the unity formula of one glaze, how it flows at cones 06 to 10, and "
        "what to be careful of in it.",
    )
    glaze.add_argument("name", metavar="NAME", help="the glaze's name")
    glaze_options(glaze)
    reading_options(glaze)
    glaze.set_defaults(run=_glaze)
    demo = commands.add_parser(
        "demo",
        help="the whole job on the invented sample studio",
        description="What check prints, over tables and a log that come with the tool. Nothing "
        "of yours is read, and nothing written but what --out and --sheet name.",
    )
    _answer_options(demo)
    demo.set_defaults(run=_demo)
    materials.add_commands(commands)
    logbook.add_commands(commands)
    record.add_commands(commands)
    review.add_commands(commands)
    page.add_commands(commands)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command.

    Returns
    -------
    int
        0 done, 1 a piece is over the tolerance and ``--strict`` was given, 2 bad input.
    """
    return run_safely(lambda: _run(argv))


WAITING_FOR_HER = ("record", "page")
"""Commands that go on until she ends them."""


def _refuse_unknown(parser: argparse.ArgumentParser, words: Sequence[str]) -> None:
    """A command that there is not is told with the nearest one."""
    commands = _commands(parser)
    word = next(iter(words), "-")
    if word.startswith("-") or word in commands:
        return
    near = get_close_matches(word.casefold(), commands, n=1, cutoff=0.5)
    hint = f"; did you mean {near[0]}?" if near else "."
    shown = printable(word[:40])
    refuse("runpredict", f'"{shown}" is not a command{hint} There are {", ".join(commands)}.')


def _commands(parser: argparse.ArgumentParser) -> dict[str, argparse.ArgumentParser]:
    (found,) = (a.choices for a in parser._actions if a.dest == "command" and a.choices)
    return dict(found)


def _refuse_left(command: argparse.ArgumentParser, words: Sequence[str]) -> None:
    """A word that a command does not take: an option it has not, or a file of no kind."""
    if not words:
        return
    word, options = words[0], [name for a in command._actions for name in a.option_strings]
    shown = printable(word[:80])
    if word.startswith("-"):
        near = get_close_matches(word.partition("=")[0].casefold(), options, n=1)
        hint = f"; did you mean {near[0]}?" if near else ""
        message = f'there is no option "{shown}"{hint}'
    elif "--plan" in options:
        message = f'say before "{shown}" what it is: --plan, --glazes or another table'
    else:
        message = f'it takes no "{shown}"'
    command.error(message)


def _run(argv: Sequence[str] | None) -> int:
    parser = build_parser()
    words = sys.argv[1:] if argv is None else argv
    if not words:
        print(f"Give a command. {FIRST_COMMANDS}", file=sys.stderr)
        return BAD_INPUT
    _refuse_unknown(parser, words)
    args, left = parser.parse_known_args(words)
    _refuse_left(_commands(parser)[args.command], left)
    warnings.showwarning = _show_warning
    warnings.simplefilter("always", TableWarning)
    hear_long_work()
    if "glazes" in args:
        args.logbook = logbook_meant(args)
    with nullcontext() if args.command in WAITING_FOR_HER else long_work(args.command):
        status: int = args.run(args)
    return status


def _show_warning(message: Warning | str, category: type[Warning], *_: Any, **__: Any) -> None:
    if issubclass(category, TableWarning):
        with suppress(OSError):
            print(f"Note: {message}", file=sys.stderr)


FIRST_COMMANDS = """\
To begin:

  runpredict demo                                         the whole job on an invented studio
  runpredict template                                     a spreadsheet to fill in
  runpredict check --plan layers.csv --glazes glazes.csv  your own tables, or --logbook DIR

"runpredict --help" lists every command, "runpredict check --help" what check takes."""


def _check(args: argparse.Namespace) -> int:
    if args.logbook is None and not any(files_of(args).values()):
        print(f"check needs a plan and its glazes. {FIRST_COMMANDS}", file=sys.stderr)
        return BAD_INPUT
    from runpredict.answers.surprises import surprising_share
    from runpredict.answers.willing import kept_willing
    from runpredict.commands.record_walk import forgotten_words
    from runpredict.commands.sources import gather
    from runpredict.words.basis import surprises_words

    tables = gather(("plan", "glazes"), args.logbook, written=args.written, **files_of(args))
    notes = ["" if args.logbook is None else forgotten_words(args.logbook)]
    if args.written is None and (args.logbook is None or not kept_willing(args.logbook).written):
        notes.append(surprises_words(surprising_share(tables)))
    return _tell(tables, args, "\n\n".join(note for note in notes if note))


def _demo(args: argparse.Namespace) -> int:
    from runpredict.tables.plan import read_plan
    from runpredict.words.answers import DEMO_HEADLINE

    folder = sample_folder()
    files = {role: folder / f"{role}.csv" for role in ("log", "recipes", "schedules")}
    print(f"{DEMO_HEADLINE}\n")
    return _tell(read_plan(folder / "layers.csv", folder / "glazes.csv", **files), args)


def _tell(tables: PlanTables, args: argparse.Namespace, forgotten: str = "") -> int:
    from runpredict.answers.check import answer, only_firing, predictor_of
    from runpredict.tables.files import refuse_unasked
    from runpredict.words.answers import answer_files, answer_text, write_answer

    outputs = [] if args.out is None else answer_files(args.out)
    outputs += [] if args.sheet is None else [Path(args.sheet)]
    refuse_unasked(outputs, args.out, inputs=files_of(args).values(), replace=args.replace)
    if args.firing is not None:
        tables = only_firing(tables, args.firing)
    willing = _willing(args)
    parts = _by_tolerance(tables, args.tolerance, willing)
    if outputs and len(parts) > 1:
        message = "takes firings in which the same is tolerated; name one with --firing, or say"
        refuse("--sheet" if args.out is None else "--out", f"{message} --tolerance for all.")
    taught = predictor_of(tables, show_progress("Learning from the log"))
    answers = [answer(part, share, taught=taught, willing=willing) for share, part in parts]
    found = answers[-1]
    if args.sheet is not None:
        from runpredict.pages.sheet import write_sheet

        write_sheet(
            found,
            args.sheet,
            args.units,
            show_progress("Drawing the sheet"),
            by_maker=args.by_maker,
        )
    if args.out is not None:
        write_answer(found, args.out, args.units)
    notes = [""] * (len(answers) - 1) + [forgotten]
    told = [
        answer_text(one, args.units, note, args.need)
        for one, note in zip(answers, notes, strict=True)
    ]
    print("\n\n".join(told))
    over = any((one.pieces["risk"] > one.tolerance).any() for one in answers)
    return OVER_TOLERANCE if args.strict and over else DONE


def _by_tolerance(
    tables: PlanTables, asked: float | None, willing: Willing
) -> list[tuple[float, PlanTables]]:
    """The plan by what is tolerated: as asked, else as was told of each firing."""
    from runpredict.answers.questions import DEFAULT_TOLERANCE, checked_tolerance

    if asked is not None:
        return [(checked_tolerance(asked), tables)]
    firings = tables.plan["firing"]
    told = {name: willing.tolerance_in(name) or DEFAULT_TOLERANCE for name in firings.unique()}
    shares = firings.map(told)
    parts = [(share, tables.plan.loc[shares == share]) for share in dict.fromkeys(told.values())]
    return [(share, replace(tables, plan=rows.reset_index(drop=True))) for share, rows in parts]


def _willing(args: argparse.Namespace) -> Willing:
    """What may be advised: as asked, else as the logbook remembers; what is asked it remembers."""
    from runpredict.answers import willing

    logbook = getattr(args, "logbook", None)
    found = willing.AS_DELIVERED if logbook is None else willing.kept_willing(logbook)
    if args.changes is not None:
        kinds = willing.checked_kinds(args.changes.split(","), "--changes")
        found = replace(found, kinds=kinds)
    if args.costs is not None:
        costs = willing.checked_costs(args.costs.split(","), "--costs")
        found = replace(found, lost=costs[0], cookie=costs[1], reglaze=costs[2])
    if logbook is not None and (args.changes, args.costs) != (None, None):
        willing.keep_willing(logbook, found)
    return found


def _glaze(args: argparse.Namespace) -> int:
    from runpredict.commands.sources import gather
    from runpredict.tables.names import match_name
    from runpredict.words.glazes import glaze_text

    tables = gather(("glazes",), args.logbook, **files_of(args))
    glazes, recipes = tables.glazes, tables.recipes
    found = match_name(args.name, glazes["glaze"])
    if not found:
        names = ", ".join(f'"{name}"' for name in glazes["glaze"].head(20))
        message = f'has no glaze "{args.name}"; its glazes are {names}.'
        raise BadInput([Fault(Path(args.glazes or args.logbook).name, None, None, message)])
    glaze = glazes.loc[glazes["glaze"] == found].iloc[0]
    mixed_from = recipes.loc[recipes["glaze"] == found, "material"]
    print(glaze_text(glaze, args.units, mixed_from))
    return DONE


if __name__ == "__main__":
    sys.exit(main())
