"""One studio's logbook behind the pages: read once a change, written by one thread alone."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import cached_property, partial
from pathlib import Path
from typing import Any, TypeVar

import pandas as pd

from runpredict.answers.check import Answer, answer
from runpredict.bench.learning import Learner
from runpredict.bench.memo import Memo
from runpredict.errors import BadInput
from runpredict.logbook.shared import SharedLogbook
from runpredict.pages.heat_words import heat_words
from runpredict.tables.firings import keyed_firings
from runpredict.tables.plan import PlanTables, check_plan
from runpredict.tables.rows import split_results, with_defaults
from runpredict.units import LengthUnits

T = TypeVar("T")
Pot = tuple[str, str]
"""A pot by its name and its firing's."""

MOST_KEPT = 200
"""Answers that are kept; some hundred kilobytes each where a firing is large."""


@dataclass(frozen=True)
class Stock:
    """What a studio glazes and fires with.

    Attributes
    ----------
    tables : PlanTables
        Without layers.
    kept : dict of DataFrame
        The tables of glazes, recipes, materials and schedules as logged.
    unsound : dict of str
        What is wrong with the recipe of a glaze, which is taken for a jar until it is mended.
    glaze_marks, recipe_marks : dict
        By (glaze,), for the logbook to tell what was overtaken.
    """

    tables: PlanTables
    kept: dict[str, pd.DataFrame]
    unsound: dict[str, str]
    glaze_marks: dict[Any, str]
    recipe_marks: dict[Any, str]


@dataclass(frozen=True)
class Snapshot:
    """A logbook as it stood at one moment.

    Attributes
    ----------
    tables : PlanTables
        Planned pots that can be asked about, fired ones, glazes with their oxides.
    layers : DataFrame
        As logged, firings by their keys.
    stock : Stock
    cold : frozenset of Pot
        Planned pots with neither a cone nor a schedule, which cannot be asked about yet.
    marks : dict
        Of pots, for the logbook to tell what was overtaken.
    """

    tables: PlanTables
    layers: pd.DataFrame
    stock: Stock
    cold: frozenset[Pot]
    marks: dict[Any, str]

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


def _snapshot(book: SharedLogbook, before: Snapshot | None) -> Snapshot:
    """The logbook as it stands; what has not changed since is taken from before."""
    layers, marks = book.marked("layers")
    layers["firing"] = keyed_firings(layers)
    stock = _stock(book, None if before is None else before.stock)
    filled = with_defaults(layers)
    cold = filled["cone"].eq("") & ~filled["firing"].isin(stock.tables.schedules["firing"])
    names = layers.loc[cold, ["piece", "firing"]]
    planned, fired = split_results(layers.loc[~cold].reset_index(drop=True))
    return Snapshot(
        tables=replace(stock.tables, plan=planned, log=fired),
        layers=layers,
        stock=stock,
        cold=frozenset(zip(names["piece"], names["firing"], strict=True)),
        marks=marks,
    )


def _stock(book: SharedLogbook, before: Stock | None) -> Stock:
    glazes, glaze_marks = book.marked("glazes")
    recipes, recipe_marks = book.marked("recipes")
    others = {"materials": book.materials(), "schedules": book.schedules()}
    kept = {"glazes": glazes, "recipes": recipes, **others}
    if before is not None and all(table.equals(before.kept[kind]) for kind, table in kept.items()):
        return before
    given = {kind: table for kind, table in kept.items() if kind != "glazes" and not table.empty}
    tables, unsound = _sound_tables(glazes, given)
    return Stock(tables, kept, unsound, glaze_marks, recipe_marks)


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
        self._book = self._clerk.submit(SharedLogbook.open, folder, create=True).result()
        self._seen: tuple[Any, Snapshot] | None = None
        self._asked: Memo[Answer] = Memo(MOST_KEPT)
        self.snapshot()

    def close(self) -> None:
        """Close the logbook."""
        self.learner.close()
        self._clerk.submit(self._book.close).result()
        self._clerk.shutdown()

    def write(self, change: Callable[[SharedLogbook], T]) -> T:
        """Change the logbook; when this returns, it is on disk.

        Raises
        ------
        BadInput : what the logbook refuses; then nothing was written.
        """
        return self._clerk.submit(change, self._book).result()

    def snapshot(self) -> Snapshot:
        """The logbook as it stands, also where another program wrote to it."""
        return self._clerk.submit(self._read).result()

    def _read(self) -> Snapshot:
        version = self._book.version()
        if self._seen is None or self._seen[0] != version:
            before = None if self._seen is None else self._seen[1]
            found = _snapshot(self._book, before)
            self._seen = version, found
            self.learner.want(found.tables)
        return self._seen[1]

    def ask(self, tables: PlanTables) -> Answer:
        """Ask whoever is taught now about a plan; what was asked lately is not worked out again."""
        taught = self.learner.taught
        key = (id(taught), id(tables.glazes), id(tables.schedules), tables.plan.to_csv(index=False))
        who = taught.predictor, taught.trial
        work = partial(answer, tables, self.tolerance, taught=who)
        return self._asked.get(key, work, of=(taught, tables))

    def plan(self, snapshot: Snapshot) -> dict[str, Answer]:
        """The answer about each planned firing."""
        plan = snapshot.tables.plan
        return {
            str(firing): self.ask(replace(snapshot.tables, plan=rows.reset_index(drop=True)))
            for firing, rows in plan.groupby("firing", sort=False)
        }
