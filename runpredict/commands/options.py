"""Options that several commands have, and how they tell that they are at work."""

from __future__ import annotations

import argparse
import logging
import sys
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import NoReturn

from runpredict.answers.willing import WRITTEN
from runpredict.errors import BadInput, Fault
from runpredict.patience import LOG
from runpredict.tables.columns import ROLES

DEFAULT_LOGBOOK = "logbook"

DONE, OVER_TOLERANCE, BAD_INPUT = 0, 1, 2
"""Exit status of a command."""


def glaze_options(parser: argparse.ArgumentParser) -> None:
    """Files of glazes, or a logbook that holds them."""
    parser.add_argument("--glazes", metavar="FILE", help="the glazes in use")
    parser.add_argument("--recipes", metavar="FILE", help="recipes of the glazes mixed here")
    parser.add_argument("--materials", metavar="FILE", help="raw materials of your own")
    parser.add_argument(
        "--logbook",
        metavar="DIR",
        help="take what is not given as a file from this logbook (default, where no file is "
        'given: "logbook" in the folder you are in)',
    )


def plan_option(parser: argparse.ArgumentParser) -> None:
    """The file of what is to be fired."""
    parser.add_argument("--plan", metavar="FILE", help="the layers to be fired")


def table_options(parser: argparse.ArgumentParser) -> None:
    """Files of every table but the plan, or a logbook."""
    parser.add_argument("--log", metavar="FILE", help="layers that were fired, with results")
    parser.add_argument(
        "--written",
        choices=WRITTEN,
        help="which results the log has: of all pots, or only of those that surprised you "
        "(default: all; with --logbook it is remembered there)",
    )
    glaze_options(parser)
    parser.add_argument("--schedules", metavar="FILE", help="firings typed as segments")


def reading_options(parser: argparse.ArgumentParser) -> None:
    """Units of what is printed."""
    parser.add_argument("--units", choices=("mm", "in"), default="mm", help="lengths shown in")


def replace_option(parser: argparse.ArgumentParser) -> None:
    """Leave to write over what is there."""
    parser.add_argument(
        "--replace", action="store_true", help="write over an earlier answer or export"
    )


def tolerance_option(parser: argparse.ArgumentParser) -> None:
    """Risk of a piece that is tolerated."""
    parser.add_argument(
        "--tolerance",
        type=float,
        metavar="CHANCE",
        help="highest acceptable chance that a piece runs past its foot (default 0.05, 5 %%, or "
        "what the page was told of its firing)",
    )


def logbook_option(parser: argparse.ArgumentParser) -> None:
    """Folder of the logbook that a command works on."""
    parser.add_argument(
        "--logbook",
        default=DEFAULT_LOGBOOK,
        metavar="DIR",
        help='folder of the logbook (default: "logbook" in the folder you are in)',
    )


def refuse(option: str, message: str) -> NoReturn:
    """Raise `BadInput` for an option.

    Raises
    ------
    BadInput
    """
    raise BadInput([Fault(option, None, None, message)])


def files_of(args: argparse.Namespace) -> dict[str, str | None]:
    """The file of each role, None where there is none."""
    return {role: getattr(args, role, None) for role in ROLES}


def logbook_meant(args: argparse.Namespace) -> str | None:
    """The logbook that is named or, where no file is given, the one in the folder she is in."""
    named: str | None = getattr(args, "logbook", None)
    if named is None and not any(files_of(args).values()) and Path(DEFAULT_LOGBOOK).is_dir():
        return DEFAULT_LOGBOOK
    return named


def show_progress(what: str) -> Callable[[float], None] | None:
    """A line that tells a reader at a terminal how far long work is; None for anybody else."""
    if not sys.stderr.isatty():
        return None

    def show(done: float) -> None:
        end = "\n" if done >= 1.0 else ""
        print(f"\r{what}: {100 * done:3.0f} %", end=end, file=sys.stderr, flush=True)

    return show


class _Line(logging.Handler):
    """Writes over one line at the terminal."""

    def emit(self, record: logging.LogRecord) -> None:
        with suppress(OSError, ValueError):
            print(f"\r{record.getMessage():60}", file=sys.stderr, flush=True)


def hear_long_work() -> None:
    """Let a reader at a terminal, and nobody else, hear that long work goes on."""
    if sys.stderr.isatty() and not LOG.handlers:
        LOG.addHandler(_Line())
        LOG.setLevel(logging.INFO)


def sample_folder() -> Path:
    """Where the sample tables lie: in the installed package, or beside it in a checkout."""
    package = Path(__file__).parents[1]
    installed = package / "sample_data"
    return installed if installed.is_dir() else package.parent / "sample_data"
