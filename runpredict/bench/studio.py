"""One studio's logbook behind the pages: read once a change, written by one thread alone."""

from __future__ import annotations

import threading
import warnings
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any, TypeVar

import pandas as pd

from runpredict.answers.check import Answer, answer
from runpredict.bench.learning import Learner, Taught
from runpredict.errors import BadInput, TableWarning
from runpredict.logbook.book import Logbook
from runpredict.pages.heat_words import heat_words
from runpredict.tables.firings import keyed_firings
from runpredict.tables.plan import PlanTables, check_plan
from runpredict.tables.rows import split_results, with_defaults
from runpredict.units import LengthUnits

T = TypeVar("T")
Pot = tuple[str, str]
"""A pot by its name and its firing's."""

ASKING = threading.RLock()
"""Held while a question is worked out: numbers come one after the other sooner than at once, and
the catching of warnings is one for the whole process."""


@dataclass(frozen=True)
class Snapshot:
    """A logbook as it stood at one moment.

    Attributes
    ----------
    tables : PlanTables
        Planned pots that can be asked about, fired ones, glazes with their oxides.
    layers, glazes, recipes : DataFrame
        As logged.
    cold : frozenset of Pot
        Planned pots with neither a cone nor a schedule, which cannot be asked about yet.
    unsound : dict of str
        What is wrong with the recipe of a glaze, which is taken for a jar until it is mended.
    marks : dict
        Of pots, by `Pot`, for the logbook to tell what was overtaken.
    glaze_marks, recipe_marks : dict
        The same by glaze.
    """

    tables: PlanTables
    layers: pd.DataFrame
    glazes: pd.DataFrame
    recipes: pd.DataFrame
    materials: pd.DataFrame
    cold: frozenset[Pot]
    unsound: dict[str, str]
    marks: dict[Any, str]
    glaze_marks: dict[Any, str]
    recipe_marks: dict[Any, str]

    @cached_property
    def planned(self) -> pd.DataFrame:
        """Layers of pots without a result."""
        return split_results(self.layers)[0]

    @cached_property
    def pots(self) -> dict[Pot, pd.DataFrame]:
        """The layers of each pot, the lowest first, in the order they were logged."""
        grouped = self.layers.sort_values("layer", kind="stable").groupby(
            ["piece", "firing"], sort=False
        )
        found: dict[Any, pd.DataFrame] = dict(tuple(grouped))
        order = self.layers.drop_duplicates(["piece", "firing"])
        return {pot: found[pot] for pot in zip(order["piece"], order["firing"], strict=True)}

    @cached_property
    def planned_pots(self) -> dict[Pot, pd.DataFrame]:
        """As `pots`, those without a result."""
        names = set(zip(self.planned["piece"], self.planned["firing"], strict=True))
        return {pot: rows for pot, rows in self.pots.items() if pot in names}

    def heat(self, firing: str, units: LengthUnits) -> str:
        """How a firing is fired, in words; "" where nothing is known of it."""
        rows = self.layers.loc[self.layers["firing"] == firing]
        warm = with_defaults(rows)["cone"].ne("") | rows["firing"].isin(self.scheduled)
        found = heat_words(replace(self.tables, plan=rows.loc[warm]), units)
        return found[firing].heat if firing in found else ""

    @cached_property
    def scheduled(self) -> frozenset[str]:
        """Firings typed as segments, which need no cone."""
        return frozenset(self.tables.schedules["firing"])


def _snapshot(book: Logbook) -> Snapshot:
    kept = {kind: book.table(kind) for kind in ("glazes", "recipes", "materials", "schedules")}
    layers = book.layers()
    layers["firing"] = keyed_firings(layers)
    filled = with_defaults(layers)
    cold = filled["cone"].eq("") & ~filled["firing"].isin(kept["schedules"]["firing"])
    names = layers.loc[cold, ["piece", "firing"]]
    planned, fired = split_results(layers.loc[~cold].reset_index(drop=True))
    others = {kind: kept[kind] for kind in ("recipes", "materials", "schedules")}
    given = {role: table for role, table in others.items() if not table.empty}
    tables, unsound = _sound_tables(kept["glazes"], given)
    return Snapshot(
        tables=replace(tables, plan=planned, log=fired),
        unsound=unsound,
        layers=layers,
        glazes=kept["glazes"],
        recipes=kept["recipes"],
        materials=kept["materials"],
        cold=frozenset(zip(names["piece"], names["firing"], strict=True)),
        marks=book.marks("layers"),
        glaze_marks=book.marks("glazes"),
        recipe_marks=book.marks("recipes"),
    )


def _sound_tables(
    glazes: pd.DataFrame, given: dict[str, pd.DataFrame]
) -> tuple[PlanTables, dict[str, str]]:
    """Glazes with their oxides, and what is wrong with those whose recipe cannot be used."""
    unsound: dict[str, str] = {}
    while True:
        try:
            return check_plan(None, glazes, **given), unsound
        except BadInput as bad:
            found = {}
            for fault in bad.faults:
                table = glazes if fault.file == "glazes" else given.get(fault.file)
                if table is None or "glaze" not in table or fault.row is None:
                    raise
                found[str(table["glaze"].iloc[fault.row - 2])] = fault.message
            if found.keys() <= unsound.keys():
                raise
        unsound |= found
        mine = glazes["glaze"].isin(list(unsound))
        glazes = glazes.assign(source=glazes["source"].mask(mine, "jar"))
        recipes = given.get("recipes")
        if recipes is not None:
            given = given | {"recipes": recipes.loc[~recipes["glaze"].isin(list(unsound))]}


class Studio:
    """A logbook that is open, what it was last seen to hold, and who learns from it."""

    def __init__(self, folder: Path, tolerance: float, invented: bool = False) -> None:
        self.folder, self.tolerance, self.invented = folder, tolerance, invented
        self.learner = Learner(tolerance)
        # SQLite's connection stays with the thread that made it.
        self._clerk = ThreadPoolExecutor(max_workers=1, thread_name_prefix="clerk")
        self._book = self._clerk.submit(Logbook.open, folder, create=True).result()
        self._seen: tuple[Any, Snapshot] | None = None
        self._plan: tuple[Snapshot, Taught, Answer | None] | None = None
        self.snapshot()

    def close(self) -> None:
        """Close the logbook."""
        self.learner.close()
        self._clerk.submit(self._book.close).result()
        self._clerk.shutdown()

    def write(self, change: Callable[[Logbook], T]) -> T:
        """Change the logbook; when this returns, it is on disk.

        Raises
        ------
        BadInput : what the logbook refuses; then nothing was written.
        """
        return self._clerk.submit(self._quietly, change).result()

    def snapshot(self) -> Snapshot:
        """The logbook as it stands, also where another program wrote to it."""
        return self._clerk.submit(self._read).result()

    def _quietly(self, work: Callable[[Logbook], T]) -> T:
        with ASKING, warnings.catch_warnings():
            warnings.simplefilter("ignore", TableWarning)  # told when the form was read
            return work(self._book)

    def _read(self) -> Snapshot:
        version = self._book.version()
        if self._seen is None or self._seen[0] != version:
            found = self._quietly(_snapshot)
            self._seen = version, found
            self.learner.want(found.tables)
        return self._seen[1]

    def ask(self, tables: PlanTables) -> Answer:
        """Ask whoever is taught now about a plan."""
        taught = self.learner.taught
        with ASKING:
            return answer(tables, self.tolerance, taught=(taught.predictor, taught.trial))

    def plan(self, snapshot: Snapshot) -> Answer | None:
        """The answer about everything that is planned; None where nothing can be asked."""
        taught = self.learner.taught
        with ASKING:
            if self._plan is None or self._plan[0] is not snapshot or self._plan[1] is not taught:
                empty = snapshot.tables.plan.empty
                found = None if empty else self.ask(snapshot.tables)
                self._plan = snapshot, taught, found
            return self._plan[2]
