"""Learning from the log beside the pages: who answers now, and what the log says looked back on.

A log is learned in a process of its own, so that pages stay quick; until it is done the one
taught before answers, and the pages say which log that was.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from multiprocessing.connection import Connection
from typing import TYPE_CHECKING

from runpredict.answers.check import predictor_of
from runpredict.answers.review import Review, look_back
from runpredict.bench.apart import start_apart
from runpredict.errors import BadInput
from runpredict.model.predictors import Predictor, RulesPredictor
from runpredict.tables.plan import PlanTables
from runpredict.tables.rows import split_results

if TYPE_CHECKING:
    from runpredict.model.predictors import Trial

QUIET_S = 5.0
"""A kiln is written down pot by pot: learning waits until nothing came for so long."""
MOST_WAITED_S = 60.0
"""... but no longer than this."""
LOOKED_S = 0.2
CLOSED = [-getattr(signal, name, 0) for name in ("SIGHUP", "SIGINT")]
"""Ends of a process that a closed terminal or Ctrl-C ended, as either does whole groups."""
TRIES, ENDING_S = 3, 10.0
"""How often a log is learned whose process is killed from outside, as where memory runs out."""
LONGEST_S = 1800.0
"""A log of 100,000 pieces is learned in less; then the process is given up."""


@dataclass(frozen=True)
class Taught:
    """Who answers, and what it was taught from.

    Attributes
    ----------
    predictor, trial
        As `predictor_of` returns.
    tables : PlanTables or None
        What it learned from; None where it has learned nothing yet.
    pieces : int
        Pieces with a result in that log.
    at : datetime
        When it was done.
    review : Review or None
        Looking back on the same log; None where there is nothing to look back on.
    """

    predictor: Predictor
    trial: Trial | None
    tables: PlanTables | None
    pieces: int
    at: datetime
    review: Review | None = None


def same_log(one: PlanTables | None, other: PlanTables | None) -> bool:
    """Whether two sets of tables teach the same."""
    if one is None or other is None:
        return one is other
    return (
        one.only_surprises == other.only_surprises
        and one.log.equals(other.log)
        and one.schedules.equals(other.schedules)
        and one.glazes.equals(other.glazes)
    )


def learn(tables: PlanTables, tolerance: float) -> Taught:
    """Learn a log, and look back on it."""
    predictor, trial = predictor_of(tables)
    pieces = int(split_results(tables.log)[1].groupby(["piece", "firing"]).ngroups)
    review = None
    if pieces:
        try:
            review = look_back(tables, tolerance=tolerance)
        except BadInput:  # nothing in it is a result
            review = None
    return Taught(predictor, trial, tables, pieces, datetime.now(), review)


def _in_child(tables: PlanTables, tolerance: float, out: Connection) -> None:
    if hasattr(os, "nice"):
        os.nice(10)  # pages first
    out.send(learn(tables, tolerance))


def learn_apart(tables: PlanTables, tolerance: float, stopped: Callable[[], bool]) -> Taught | None:
    """`learn` in a process of its own, tried again where that was killed.

    None where it failed, or was stopped before it was done.
    """
    for _ in range(TRIES):
        found, killed = _learn_once(tables, tolerance, stopped)
        if not killed:
            break
    return found


def _learn_once(
    tables: PlanTables, tolerance: float, stopped: Callable[[], bool]
) -> tuple[Taught | None, bool]:
    """As `learn_apart`, and whether something from outside ended the process."""
    receiver, sender = multiprocessing.Pipe(duplex=False)
    child = start_apart(_in_child, tables, tolerance, sender)
    sender.close()
    latest = time.monotonic() + LONGEST_S
    found: Taught | None = None
    try:
        while not stopped() and time.monotonic() < latest:
            if receiver.poll(LOOKED_S):
                found = receiver.recv()
                break
    except EOFError:
        child.join(ENDING_S)
    finally:
        # A terminal that closes ends the page as well: nothing is tried again then.
        killed = found is None and (child.exitcode or 0) < 0 and child.exitcode not in CLOSED
        receiver.close()
        child.terminate()
        child.join()
    return found, killed


class Learner:
    """Learns the newest log in the background, one at a time."""

    def __init__(
        self,
        tolerance: float,
        learn: Callable[..., Taught | None] = learn_apart,
        quiet_s: float = QUIET_S,
    ) -> None:
        self.taught = Taught(RulesPredictor(), None, None, 0, datetime.now())
        self.failed = False
        self._tolerance, self._learn, self._quiet_s = tolerance, learn, quiet_s
        self._wanted: PlanTables | None = None
        self._change = threading.Condition()
        self._closed = False
        self._thread: threading.Thread | None = None

    def want(self, tables: PlanTables) -> None:
        """Have these tables learned, unless they are already, or are about to be."""
        with self._change:
            standing = self._wanted if self._wanted is not None else self.taught.tables
            if same_log(tables, standing) or (standing is None and tables.log.empty):
                return
            self._wanted = tables
            if self._thread is None:
                self._thread = threading.Thread(target=self._run, name="learner", daemon=True)
                self._thread.start()
            self._change.notify_all()

    @property
    def busy(self) -> bool:
        """Whether a newer log than the one taught is being learned."""
        return self._wanted is not None

    def close(self) -> None:
        """Take nothing more on, and leave what is being learned."""
        with self._change:
            self._closed = True
            self._change.notify_all()
        if self._thread is not None:
            self._thread.join()

    def _run(self) -> None:
        while (tables := self._next()) is not None:
            found = self._learn(tables, self._tolerance, lambda: self._closed)
            with self._change:
                if found is not None:
                    self.taught = found
                self.failed = found is None
                if self._wanted is tables:
                    self._wanted = None

    def _next(self) -> PlanTables | None:
        """The newest tables, once nothing newer has come for a while; None when closed."""
        with self._change:
            self._change.wait_for(lambda: self._closed or self._wanted is not None)
            latest = time.monotonic() + (0.0 if self.taught.tables is None else MOST_WAITED_S)
            while not self._closed:
                left = latest - time.monotonic()
                if left <= 0 or not self._change.wait(min(self._quiet_s, left)):
                    return self._wanted
            return None
