"""Command that lists the raw materials a recipe may name."""

from __future__ import annotations

import argparse
from typing import Any

from runpredict.commands.options import DONE
from runpredict.errors import BadInput, Fault


def add_commands(subparsers: argparse._SubParsersAction[Any]) -> None:
    """Add ``materials``."""
    listing = subparsers.add_parser(
        "materials",
        help="the raw materials a recipe may name, and what each is made of",
        description="Lists raw materials: oxides in weight percent, what is lost on firing, other "
        "names, how far lots differ (the standard deviation of an oxide, as a share of what there "
        "is of it), and where the figures come from. The analysis of your own lot, in your "
        "materials table, goes before what is listed here.",
    )
    listing.add_argument("word", nargs="?", metavar="WORD", help="only those named like this")
    listing.add_argument("--materials", metavar="FILE", help="raw materials of your own")
    listing.set_defaults(run=_list)


def _list(args: argparse.Namespace) -> int:
    from runpredict.physics.material_words import material_names
    from runpredict.physics.materials import list_materials
    from runpredict.tables.csv_files import read_table
    from runpredict.words.glazes import materials_text

    own = None if args.materials is None else read_table(args.materials, "materials")
    found = list_materials(own, args.word or "")
    if found.empty:
        near = " or ".join(f'"{name}"' for name in material_names(own).nearest(args.word))
        hint = f"did you mean {near}?" if near else "give a name or a part of one."
        raise BadInput(
            [Fault("materials", None, None, f'none is named like "{args.word}"; {hint}')]
        )
    print(materials_text(found))
    return DONE
