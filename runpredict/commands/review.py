"""Commands that look back on a log and ahead to what would teach most: review and next."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from runpredict.commands.options import (
    DONE,
    files_of,
    plan_option,
    reading_options,
    refuse,
    replace_option,
    show_progress,
    table_options,
)
from runpredict.errors import quoted

DEFAULT_COUNT = 5


def add_commands(subparsers: argparse._SubParsersAction[Any]) -> None:
    """Add ``review`` and ``next``."""
    back = subparsers.add_parser(
        "review",
        help="what the log says: what ran, how well it was told, what each glaze does here",
        description="Looks back on a log: what ran past the foot, what was told and what was "
        "seen, which glaze moves more or less than its chemistry says, which could come lower, "
        "how far to trust the tool here, and what changed since last time.",
    )
    table_options(back)
    reading_options(back)
    back.add_argument("--out", metavar="DIR", help="also write the tables, review_*.csv, here")
    back.add_argument(
        "--since",
        metavar="FIRING",
        help="what changed with this firing and those after it (default: with the newest)",
    )
    back.add_argument("--long", action="store_true", help="every table, not one screen alone")
    replace_option(back)
    back.set_defaults(run=_review)

    low = subparsers.add_parser(
        "combinations",
        help="how low each glaze and each pair may end, what it runs, what came of it",
        description="Of each glaze alone and each pair that was fired or is planned, with one coat "
        "and with two: how low it may end, where to stop it so that it runs, and what came of it.",
    )
    low.add_argument("glaze", metavar="GLAZE", nargs="?", help="only with this glaze")
    plan_option(low)
    table_options(low)
    reading_options(low)
    low.add_argument("--sheet", metavar="FILE", help="also write a page to print, .html")
    replace_option(low)
    low.set_defaults(run=_combinations)

    ahead = subparsers.add_parser(
        "next",
        help="the few test tiles that would teach most about a plan",
        description="Names the test tiles that would lower most the doubt about what is "
        "planned, and how to lay them. Works without a log as well.",
    )
    plan_option(ahead)
    table_options(ahead)
    reading_options(ahead)
    ahead.add_argument(
        "--count", type=int, default=DEFAULT_COUNT, metavar="N", help="how many at most (default 5)"
    )
    ahead.add_argument(
        "--out",
        metavar="DIR",
        help="also write next.csv, and next_layers.csv (and next_schedules.csv) to plan them from",
    )
    replace_option(ahead)
    ahead.set_defaults(run=_next)


def _review(args: argparse.Namespace) -> int:
    from runpredict.answers.review import look_back
    from runpredict.commands.record_walk import forgotten_words
    from runpredict.commands.sources import gather
    from runpredict.tables.csv_files import write_tables
    from runpredict.tables.files import refuse_unasked
    from runpredict.words.reviews import review_text

    tables = gather(("log", "glazes"), args.logbook, written=args.written, **files_of(args))
    found = look_back(tables, args.since, progress=show_progress("Learning from the log"))
    if args.out is not None:
        folder = Path(args.out)
        named = {folder / f"review_{name}.csv": table for name, table in found.tables().items()}
        read = files_of(args).values()
        refuse_unasked(named, args.out, inputs=read, replace=args.replace)
        write_tables(named)
    forgotten = "" if args.logbook is None else forgotten_words(args.logbook)
    print(review_text(found, args.units, args.long, forgotten))
    return DONE


def _combinations(args: argparse.Namespace) -> int:
    from runpredict.answers.check import predictor_of
    from runpredict.answers.combinations import combinations_of
    from runpredict.commands.sources import gather
    from runpredict.tables.files import refuse_unasked
    from runpredict.tables.names import match_name
    from runpredict.words.combinations import combinations_text

    tables = gather(("glazes",), args.logbook, ("plan",), **files_of(args))
    glaze = ""
    if args.glaze is not None:
        glaze = match_name(args.glaze, tables.glazes["glaze"])
        if not glaze:
            names = ", ".join(quoted(name) for name in tables.glazes["glaze"].head(20))
            refuse("GLAZE", f"{quoted(args.glaze)} is not among the glazes; they are {names}.")
    sheets = [] if args.sheet is None else [Path(args.sheet)]
    refuse_unasked(sheets, None, inputs=files_of(args).values(), replace=args.replace)
    predictor, _ = predictor_of(tables, show_progress("Learning from the log"))
    found = combinations_of(tables, predictor)
    for sheet in sheets:
        from runpredict.pages.combinations import write_combinations

        write_combinations(found, sheet, args.units, glaze)
    print(combinations_text(found, args.units, glaze))
    return DONE


def _next(args: argparse.Namespace) -> int:
    from runpredict.answers.teach import what_to_fire
    from runpredict.commands.sources import gather
    from runpredict.tables.csv_files import write_tables
    from runpredict.tables.files import refuse_unasked
    from runpredict.words.lessons import lessons_table, lessons_text

    given = gather(("plan", "glazes"), args.logbook, written=args.written, **files_of(args))
    found = what_to_fire(given, args.count, show_progress("Learning from the log"))
    if args.out is not None:
        tables = {"next": lessons_table(found), "next_layers": found.layers}
        if len(found.schedules):
            tables["next_schedules"] = found.schedules
        named = {Path(args.out) / f"{name}.csv": table for name, table in tables.items()}
        read = files_of(args).values()
        refuse_unasked(named, args.out, inputs=read, replace=args.replace)
        write_tables(named)
    print(lessons_text(found, args.units))
    return DONE
