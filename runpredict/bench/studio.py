"""One studio's logbook behind the pages: read once a change, written by one thread alone."""

from __future__ import annotations

import hashlib
import itertools
import threading
import time
from collections.abc import Callable, Collection, Hashable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Any, TypeVar

import pandas as pd

from runpredict.answers.check import Answer, answer
from runpredict.answers.willing import Willing, keep_willing, kept_willing
from runpredict.bench.learning import Learner
from runpredict.bench.memo import Memo, working
from runpredict.bench.shelf import shelf_of
from runpredict.logbook.book import Logbook
from runpredict.tables.columns import FOLDED, TableKind
from runpredict.tables.firings import keyed_firings
from runpredict.tables.layers import blanks, outside
from runpredict.tables.names import match_name, name_key
from runpredict.tables.plan import PlanTables, usable_glazes
from runpredict.tables.rows import inside_of, split_results, with_defaults
from runpredict.units import LengthUnits
from runpredict.words.heat import heat_words
from runpredict.words.pots import PotWords

T = TypeVar("T")
Pot = tuple[str, str]
"""A pot by its name and its firing's."""

CLOCK_TICK_NS = 50_000_000  # file systems tell time no coarser than this where a pot is logged
UNGROUPED_GLAZES, USED_LAST = 12, 6
STOCK: tuple[TableKind, ...] = ("glazes", "recipes", "materials", "schedules")
MOST_KEPT = 2000
"""What was made of a form or of a firing, in words: some kilobytes each."""
LISTS_KEPT = 4
"""Of every planned pot: in mm and in inches, now and as it was before something was learned."""


class Pots(Mapping[Pot, pd.DataFrame]):
    """The layers of each pot, the lowest first, inside behind; cut out when they are asked for."""

    def __init__(self, layers: pd.DataFrame) -> None:
        self._layers = layers
        self._rows: dict[Pot, list[int]] = {}
        for row, pot in enumerate(zip(layers["piece"], layers["firing"], strict=True)):
            self._rows.setdefault(pot, []).append(row)

    def __getitem__(self, pot: Pot) -> pd.DataFrame:
        """The layers of one pot."""
        rows = self._layers.iloc[self._rows[pot]]
        return rows.sort_values(["side", "layer"], kind="stable")

    def __contains__(self, pot: object) -> bool:
        """Whether there is such a pot; nothing is cut out for it."""
        return pot in self._rows

    def __iter__(self) -> Iterator[Pot]:
        """Names, the pot logged first ahead."""
        return iter(self._rows)

    def __reversed__(self) -> Iterator[Pot]:
        """Names, the pot logged last ahead."""
        return reversed(self._rows)

    def __len__(self) -> int:
        """How many pots."""
        return len(self._rows)


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
    glaze_marks, recipe_marks, material_marks : dict
        By (glaze,) and (material,), for the logbook to tell what was overtaken.
    read : tuple
        Of the tables it was read from; other figures whenever one was written to.
    revision : int
        No other stock has it.
    """

    tables: PlanTables
    kept: dict[str, pd.DataFrame]
    unsound: dict[str, str]
    glaze_marks: dict[Any, str]
    recipe_marks: dict[Any, str]
    material_marks: dict[Any, str]
    read: tuple[int, int]
    revision: int = field(default_factory=itertools.count().__next__)


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
        Pots with neither a cone nor a schedule, which cannot be asked about yet.
    marks : dict
        Of pots, for the logbook to tell what was overtaken.
    """

    tables: PlanTables
    layers: pd.DataFrame
    stock: Stock
    cold: frozenset[Pot]
    marks: dict[Any, str]

    @cached_property
    def pots(self) -> Pots:
        """The layers of each pot, in the order pots were logged."""
        return Pots(self.layers)

    @cached_property
    def used(self) -> frozenset[str]:
        """Folded columns that somebody has used, which forms show from then on."""
        return frozenset(c.name for c in FOLDED if not blanks(self.layers[c.name].to_numpy()).all())

    @cached_property
    def shelf(self) -> pd.DataFrame:
        """Every pot with what she may look for; as `shelf_of` returns."""
        return shelf_of(self.layers)

    @cached_property
    def glazes_in_use(self) -> list[str]:
        """Glazes to glaze with, the one used last ahead, those never used behind."""
        known = self.tables.glazes["glaze"].tolist()
        order = {name: None for name in self.names("glaze") if name in known}
        return [
            name
            for name in [*order, *(n for n in known if n not in order)]
            if name not in self.retired
        ]

    @property
    def glaze_groups(self) -> dict[str, list[str]]:
        """`glazes_in_use` to choose from: of many, those used last, and the rest by name."""
        names = self.glazes_in_use
        if len(names) <= UNGROUPED_GLAZES:
            return {"": names}
        rest = sorted(names[USED_LAST:], key=str.casefold)
        return {"Used last": names[:USED_LAST], "By name": rest}

    @cached_property
    def retired(self) -> list[str]:
        """Glazes that are not in use any more."""
        glazes = self.tables.glazes
        return glazes.loc[glazes["in_use"].eq("no"), "glaze"].tolist()

    def batches_of(self, glaze: str) -> list[tuple[str, int, str]]:
        """Batches of a glaze, the one logged last ahead: on how many pots, and its last day."""
        mine = self.layers.loc[self.layers["glaze"].eq(glaze) & self.layers["batch"].ne("")]
        of_batch = mine.drop_duplicates(["piece", "firing", "batch"]).groupby("batch")
        counts, days = of_batch.size(), of_batch["fired_on"].max()
        return [(name, int(counts[name]), days[name]) for name in mine["batch"].iloc[::-1].unique()]

    def names(self, column: str) -> list[str]:
        """What stands in a column of text, what was logged last ahead."""
        return [name for name in dict.fromkeys(self.layers[column].iloc[::-1]) if name]

    def meant(self, piece: str, firing: str) -> Pot:
        """The pot of a name in any case and spacing; what was named where there is none."""
        named = piece, firing
        key = name_key(piece), name_key(firing)
        return named if named in self.pots else self._pots_by_key.get(key, named)

    @cached_property
    def _pots_by_key(self) -> dict[Pot, Pot]:
        return {(name_key(pot[0]), name_key(pot[1])): pot for pot in reversed(self.pots)}

    def firing_meant(self, named: str) -> str:
        """The firing of a name in any case and spacing; what was named where there is none."""
        return match_name(named, self.layers["firing"].unique()) or named

    @cached_property
    def planned_pots(self) -> Pots:
        """As `pots`, those without a result."""
        return Pots(split_results(self.layers)[0])

    @cached_property
    def firing_marks(self) -> dict[str, tuple[Any, ...]]:
        """Of each firing that can be asked about, what changes when a planned pot of it does."""
        plan = self.tables.plan.drop_duplicates(["piece", "firing"])
        found: dict[str, list[Any]] = {}
        for pot in zip(plan["piece"], plan["firing"], strict=True):
            found.setdefault(pot[1], []).append((pot, self.marks.get(pot)))
        return {firing: tuple(marks) for firing, marks in found.items()}

    def heats(self, firings: Collection[str], units: LengthUnits) -> dict[str, str]:
        """How some firings are fired, in words; "" where nothing is known of one."""
        rows = self.layers.loc[self.layers["firing"].isin(list(firings))]
        warm = ~_unfired(rows) | rows["firing"].isin(self.scheduled)
        found = heat_words(replace(self.tables, plan=rows.loc[warm]), units)
        return {name: found[name].heat if name in found else "" for name in firings}

    @cached_property
    def scheduled(self) -> frozenset[str]:
        """Firings typed as segments, which need no cone."""
        return frozenset(self.tables.schedules["firing"])


def _snapshot(book: Logbook, before: Snapshot | None) -> Snapshot:
    """The logbook as it stands; what has not changed since is taken from before."""
    layers, marks = book.marked("layers")
    layers["firing"] = keyed_firings(layers)
    stock = _stock(book, None if before is None else before.stock)
    cold = _unfired(layers) & ~layers["firing"].isin(stock.tables.schedules["firing"])
    names = layers.loc[cold, ["piece", "firing"]]
    outer = layers.loc[~cold & outside(layers)].reset_index(drop=True)
    planned, fired = split_results(outer, with_lost=True)
    assert book.file is not None
    surprises = kept_willing(book.file.parent).written == "surprises"
    return Snapshot(
        tables=replace(
            stock.tables,
            plan=planned,
            inside=inside_of(layers.loc[~cold]),
            log=fired,
            only_surprises=surprises,
        ),
        layers=layers,
        stock=stock,
        cold=frozenset(zip(names["piece"], names["firing"], strict=True)),
        marks=marks,
    )


def _unfired(layers: pd.DataFrame) -> pd.Series[bool]:
    """Layers of pots of which no cone is told."""
    filled = with_defaults(layers)
    return filled["cone"].eq("") & filled["witness_cone"].eq("")


def _stock(book: Logbook, before: Stock | None) -> Stock:
    read = book.totals(STOCK)
    if before is not None and before.read == read:
        return before
    glazes, glaze_marks = book.marked("glazes")
    recipes, recipe_marks = book.marked("recipes")
    materials, material_marks = book.marked("materials")
    others = {"materials": materials, "schedules": book.schedules()}
    kept = {"glazes": glazes, "recipes": recipes, **others}
    given = {kind: table for kind, table in kept.items() if kind != "glazes" and not table.empty}
    tables, unsound = usable_glazes(glazes, **given)
    return Stock(tables, kept, unsound, glaze_marks, recipe_marks, material_marks, read)


def _file_mark(book: Logbook) -> tuple[int, int, int] | None:
    """Other numbers whenever the file was written to; None where that was only just now.

    A clock that ticks every few milliseconds may give two writes the same time.
    """
    found = book.standing_file()
    assert found is not None
    if time.time_ns() - found.st_mtime_ns < CLOCK_TICK_NS:
        return None
    return found.st_mtime_ns, found.st_size, found.st_ino


class Studio:
    """A logbook that is open, what it was last seen to hold, and who learns from it."""

    def __init__(self, folder: Path, tolerance: float, invented: bool = False) -> None:
        self.folder, self.tolerance, self.invented = folder, tolerance, invented
        place = str(folder.resolve()).encode("utf-8", "surrogateescape")
        self.name = "invented" if invented else hashlib.sha256(place).hexdigest()[:12]
        """What a browser knows this logbook by, which may have opened another at this address."""
        self.learner = Learner(tolerance)
        # SQLite's connection stays with the thread that made it.
        self._clerk = ThreadPoolExecutor(max_workers=1, thread_name_prefix="clerk")
        self._book = self._clerk.submit(Logbook.open, folder, create=True).result()
        self.memo: Memo[Any] = Memo(MOST_KEPT)
        self.told: Memo[dict[Pot, tuple[str, PotWords]]] = Memo(LISTS_KEPT)
        """By who was asked of what, in which units: each planned pot's mark, and its words."""
        self._counting, self._saying = threading.Lock(), threading.Lock()
        self._writes = 0
        self._version: tuple[int, int] = self._clerk.submit(self._book.version).result()
        first = self._clerk.submit(_snapshot, self._book, None).result()
        self._seen: tuple[Any, Snapshot] = None, first
        self.learner.want(first.tables)

    @property
    def willing(self) -> Willing:
        """Which changes the studio makes, as its logbook's folder has it now."""
        return kept_willing(self.folder)

    def tolerance_in(self, firing: str) -> float:
        """Chance of running past the foot that is tolerated in a firing."""
        its_own = self.willing.tolerance_in(firing)
        return self.tolerance if its_own is None else its_own

    def say(self, change: Callable[[Willing], Willing]) -> None:
        """Change what the studio said of itself, one change after the other.

        Raises
        ------
        BadInput : a file that cannot be written; what stood there is unchanged.
        """
        with self._saying:
            keep_willing(self.folder, change(self.willing))

    def close(self) -> None:
        """Close the logbook."""
        self.learner.close()
        self._clerk.submit(self._book.close).result()
        self._clerk.shutdown()

    def write(self, change: Callable[[Logbook], T]) -> T:
        """Change the logbook; when this returns, it is on disk, and in the snapshot.

        Raises
        ------
        BadInput : what the logbook refuses; then nothing was written.
        """

        def work() -> T:
            try:
                return change(self._book)
            finally:
                self._read()

        with self._counting:
            self._writes += 1
        try:
            return self._clerk.submit(work).result()
        finally:
            with self._counting:
                self._writes -= 1

    def snapshot(self) -> Snapshot:
        """The logbook as it stands, also where another program wrote to it.

        While somebody's entry is on its way to the disk, which may take a while, it is as it
        stood before that entry: nobody waits for another's.
        """
        file, found = self._seen
        if self._writes or (file is not None and file == _file_mark(self._book)):
            return found
        return self._clerk.submit(self._read).result()

    def _read(self) -> Snapshot:
        file = _file_mark(self._book)
        version = self._book.version()
        if self._version != version:
            if self._version[0] != version[0]:
                self._book.prove()
            found = _snapshot(self._book, self._seen[1])
            self.learner.want(found.tables)
            self._version = version
        else:
            found = self._seen[1]
        self._seen = file, found
        return found

    def key(self, snapshot: Snapshot, *question: Hashable) -> Hashable:
        """What `memo` keeps an answer by: who answers, from what stock, and what may be told."""
        return snapshot.stock.revision, self.learner.taught.at, self.willing, *question

    def ask(self, tables: PlanTables) -> Answer:
        """Ask whoever is taught now about a plan, of firings that tolerate the same."""
        firing = keyed_firings(tables.plan.head(1)).iloc[0]
        taught, tolerance = self.learner.taught, self.tolerance_in(firing)
        with working():
            who = (taught.predictor, taught.trial)
            return answer(tables, tolerance, taught=who, willing=self.willing)
