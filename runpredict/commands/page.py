"""The command that serves the bench page."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from runpredict.commands.options import DONE, logbook_option, sample_folder, tolerance_option
from runpredict.errors import BadInput, Fault

DEFAULT_PORT = 8737


def add_commands(subparsers: argparse._SubParsersAction[Any]) -> None:
    """Add ``page``."""
    parser = subparsers.add_parser(
        "page",
        help="plan, load, open and look back in a browser, from a phone or tablet too",
        description="Serves the bench page over a logbook, on this machine alone unless --share "
        "is given. Nothing leaves the machine.",
    )
    logbook_option(parser)
    parser.add_argument("--demo", action="store_true", help="open the invented sample studio")
    parser.add_argument(
        "--share",
        action="store_true",
        help="serve the studio's own network too; each device is let in with a one-time code",
    )
    parser.add_argument(
        "--port", type=int, default=DEFAULT_PORT, metavar="N", help=f"(default {DEFAULT_PORT})"
    )
    tolerance_option(parser)
    parser.set_defaults(run=_page)


def _page(args: argparse.Namespace) -> int:
    from runpredict.answers.questions import DEFAULT_TOLERANCE, checked_tolerance

    try:
        from runpredict.bench.serve import serve
    except ModuleNotFoundError as missing:
        if missing.name not in ("flask", "waitress"):
            raise
        message = 'needs two packages more; install them with: pip install "runpredict[page]"'
        raise BadInput([Fault("page", None, None, message)]) from None
    tolerance = checked_tolerance(DEFAULT_TOLERANCE if args.tolerance is None else args.tolerance)
    serve(
        Path(args.logbook), sample_folder(), args.port, tolerance,
        share=args.share, invented=args.demo,
    )  # fmt: skip
    return DONE
