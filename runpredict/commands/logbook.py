"""Commands of the logbook's tables: import, export and template."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from runpredict.commands.options import DONE, logbook_option, refuse, replace_option

TEMPLATE_NAME = "logbook_form.xlsx"


def add_commands(subparsers: argparse._SubParsersAction[Any]) -> None:
    """Add ``import``, ``export`` and ``template``."""
    _add_import(subparsers)
    _add_export(subparsers)
    _add_template(subparsers)


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
    parser.add_argument(
        "--columns",
        action="append",
        default=[],
        metavar="YOURS=OURS,...",
        help="what your spreadsheet calls our columns, such as pot=piece,bottom=foot_mm, or a CSV "
        "file with these two columns; the logbook remembers it",
    )
    parser.add_argument(
        "--leave-out",
        action="store_true",
        help="leave out the pieces with a row that cannot be used, each named, and take the rest",
    )
    logbook_option(parser)
    parser.set_defaults(run=_import)


def _add_export(subparsers: argparse._SubParsersAction[Any]) -> None:
    parser = subparsers.add_parser(
        "export",
        help="write the logbook as tables",
        description="Writes glazes.csv, recipes.csv, materials.csv, schedules.csv and layers.csv, "
        "and every change ever made to them as history.csv, to a new or empty folder. An import of "
        "the tables makes the same logbook again, but for its history.",
    )
    parser.add_argument("folder", nargs="?", metavar="DIR", help="folder for the CSV files")
    parser.add_argument("--xlsx", metavar="FILE", help="also, or only, write a workbook")
    replace_option(parser)
    logbook_option(parser)
    parser.set_defaults(run=_export)


def _add_template(subparsers: argparse._SubParsersAction[Any]) -> None:
    parser = subparsers.add_parser(
        "template",
        help="write a blank spreadsheet to fill in at the bench",
        description="Writes a blank workbook with a sheet for each table, lists to choose from, a "
        "page of instructions and one with the wall's angle drawn: 0 flat, 90 upright, over 90 "
        "overhanging.",
    )
    parser.add_argument(
        "file",
        nargs="?",
        default=TEMPLATE_NAME,
        metavar="FILE.xlsx",
        help=f"workbook to make (default {TEMPLATE_NAME})",
    )
    parser.set_defaults(run=_template)


def _import(args: argparse.Namespace) -> int:
    from runpredict.logbook.forms import import_files
    from runpredict.logbook.schema import FILE_NAME

    counts = import_files(args.files, args.logbook, args.columns, args.leave_out)
    for kind, count in counts.items():
        gone = count.left_out
        left_out = f", {gone} {'piece' if gone == 1 else 'pieces'} left out" if gone else ""
        print(
            f"{kind}: {count.added} added, {count.corrected} corrected, "
            f"{count.unchanged} unchanged{left_out}",
        )
    print(f"The logbook is {Path(args.logbook) / FILE_NAME}.", flush=True)
    return DONE


def _export(args: argparse.Namespace) -> int:
    from runpredict.logbook.book import Logbook

    if args.folder is None and args.xlsx is None:
        refuse("export", "has nowhere to write; give a folder, or a workbook with --xlsx.")
    with Logbook.open(args.logbook) as log:
        log.export(args.folder, args.xlsx, replace=args.replace)
    for place in filter(None, (args.folder, args.xlsx)):
        print(f"Wrote the logbook to {place}.")
    return DONE


def _template(args: argparse.Namespace) -> int:
    from runpredict.drawings.wall_angles import wall_angles_png
    from runpredict.logbook.forms import write_template

    write_template(args.file, wall_angles_png())
    print(f"Wrote {args.file}. Fill it in, then run: runpredict import {args.file}")
    return DONE
