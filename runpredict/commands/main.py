"""The command line: parse, call, print."""

from __future__ import annotations

import argparse
import os
import sys
import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from runpredict.commands import logbook as cli_logbook
from runpredict.commands import materials as cli_materials
from runpredict.commands import review as cli_review
from runpredict.commands.options import (
    ROLES,
    glaze_options,
    reading_options,
    show_progress,
    table_options,
)
from runpredict.errors import BadInput, Fault, TableWarning

if TYPE_CHECKING:
    from runpredict.answers.check import Answer
    from runpredict.tables.plan import PlanTables

DONE, OVER_TOLERANCE, BAD_INPUT = 0, 1, 2


def _answer_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--firing", metavar="NAME", help="only this firing")
    parser.add_argument(
        "--tolerance",
        type=float,
        default=0.05,
        metavar="CHANCE",
        help="highest acceptable chance that a piece runs past its foot (default 0.05, 5 %%)",
    )
    reading_options(parser)
    parser.add_argument("--out", metavar="DIR", help="also write the answer as CSV files here")
    parser.add_argument(
        "--sheet", metavar="FILE", help="also write a sheet to print, .html or .pdf"
    )
    parser.add_argument(
        "--strict", action="store_true", help="exit with 1 if a piece is over the tolerance"
    )


def build_parser() -> argparse.ArgumentParser:
    """Every command and option."""
    parser = argparse.ArgumentParser(
        prog="runpredict",
        description="Tells, before the kiln is loaded, how far each layer of glaze will run.",
    )
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    check = commands.add_parser("check", help="what will run in a planned firing, and what to do")
    table_options(check)
    _answer_options(check)
    check.set_defaults(run=_check)
    glaze = commands.add_parser("glaze", help="what the chemistry of one glaze says")
    glaze.add_argument("name", metavar="NAME", help="the glaze's name")
    glaze_options(glaze)
    reading_options(glaze)
    glaze.set_defaults(run=_glaze)
    demo = commands.add_parser("demo", help="the whole job on the invented sample studio")
    _answer_options(demo)
    demo.set_defaults(run=_demo)
    cli_materials.add_commands(commands)
    cli_logbook.add_commands(commands)
    cli_review.add_commands(commands)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command.

    Returns
    -------
    int
        0 done, 1 a piece is over the tolerance and ``--strict`` was given, 2 bad input.
    """
    args = build_parser().parse_args(argv)
    warnings.showwarning = _show_warning
    warnings.simplefilter("always", TableWarning)
    try:
        status: int = args.run(args)
        sys.stdout.flush()
    except BadInput as bad:
        print(bad, file=sys.stderr)
        return BAD_INPUT
    except BrokenPipeError:
        # The reader of our output has gone, as in `| head`; there is nobody left to tell.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except KeyboardInterrupt:
        print("Stopped.", file=sys.stderr)
        return BAD_INPUT
    return status


def _show_warning(message: Warning | str, category: type[Warning], *_: Any, **__: Any) -> None:
    if issubclass(category, TableWarning):
        print(f"Note: {message}", file=sys.stderr)


def _check(args: argparse.Namespace) -> int:
    from runpredict.commands.sources import gather

    needs = ("plan", "glazes")
    return _tell(gather(needs, args.logbook, **{role: getattr(args, role) for role in ROLES}), args)


def _demo(args: argparse.Namespace) -> int:
    from runpredict.pages.check_text import DEMO_HEADLINE
    from runpredict.tables.plan import read_plan

    folder = sample_folder()
    files = {role: folder / f"{role}.csv" for role in ("log", "recipes", "schedules")}
    print(f"{DEMO_HEADLINE}\n")
    return _tell(read_plan(folder / "layers.csv", folder / "glazes.csv", **files), args)


def sample_folder() -> Path:
    """Where the sample tables lie: in the installed package, or beside it in a checkout."""
    package = Path(__file__).parents[1]
    installed = package / "sample_data"
    return installed if installed.is_dir() else package.parent / "sample_data"


def _tell(tables: PlanTables, args: argparse.Namespace) -> int:
    from runpredict.answers.check import answer, only_firing
    from runpredict.pages.check_text import answer_text

    if args.firing is not None:
        tables = only_firing(tables, args.firing)
    found = answer(tables, args.tolerance, args.units, show_progress("Learning from the log"))
    if args.sheet is not None:
        from runpredict.pages.sheet_html import write_sheet

        write_sheet(found, args.sheet, args.units, show_progress("Drawing the sheet"))
    if args.out is not None:
        _write(found, Path(args.out))
    print(answer_text(found, args.units))
    over = bool((found.pieces["risk"] > found.tolerance).any())
    return OVER_TOLERANCE if args.strict and over else DONE


def _write(found: Answer, folder: Path) -> None:
    from runpredict.tables.csv_files import write_tables

    tables = {"layers.csv": found.layers, "pieces.csv": found.pieces, "limits.csv": found.limits}
    write_tables({folder / name: table for name, table in tables.items()})


def _glaze(args: argparse.Namespace) -> int:
    from runpredict.commands.sources import gather
    from runpredict.pages.check_text import glaze_text
    from runpredict.tables.names import match_name

    files = {role: getattr(args, role) for role in ("glazes", "recipes", "materials")}
    tables = gather(("glazes",), args.logbook, **files)
    glazes, recipes = tables.glazes, tables.recipes
    found = match_name(args.name, glazes["glaze"])
    if not found:
        names = ", ".join(f'"{name}"' for name in glazes["glaze"].head(20))
        message = f'has no glaze "{args.name}"; its glazes are {names}.'
        raise BadInput([Fault(Path(args.glazes or args.logbook).name, None, None, message)])
    glaze = glazes.loc[glazes["glaze"] == found].iloc[0]
    materials = recipes.loc[recipes["glaze"] == found, "material"]
    print(glaze_text(glaze, args.units, materials))
    return DONE


if __name__ == "__main__":
    sys.exit(main())
