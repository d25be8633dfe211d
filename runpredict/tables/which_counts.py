"""What is told twice in the tables of a question: which of the two counts."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from runpredict.tables.cells import Table

MELTS_ABOVE_C = 600.0
"""No glaze or enamel of a studio melts in a cooler kiln (common practice, no source)."""


def check_tops(table: Table) -> None:
    """Blame each firing of a table of schedules that melts no glaze."""
    frame = table.frame
    blamed = {fault.row for fault in table.faults}
    tops = frame.groupby("firing", sort=False)["target_c"].transform("max")
    for position in np.flatnonzero((tops < MELTS_ABOVE_C) & (tops == frame["target_c"])):
        if int(table.rows[position]) in blamed:
            continue
        top_c = float(tops.iloc[position])
        meant = f" (did you mean {1000 * top_c:.0f}?)" if 0.6 <= top_c <= 1.5 else ""
        table.blame(
            int(position),
            "target_c",
            f'{top_c:g} °C is the hottest of "{frame["firing"].iloc[position]}"{meant}, and no '
            f"glaze melts below {MELTS_ABOVE_C:.0f} °C; give °C, or °F such as 2165 F.",
        )


def warn_of_cones(tables: Mapping[str, Table]) -> None:
    """Warn of cones beside a schedule.

    Parameters
    ----------
    tables : mapping of Table by role
        As `columns.ROLES` names them.

    Warns
    -----
    TableWarning
        Once a firing, at its first such row.
    """
    scheduled = set(tables["schedules"].frame["firing"]) if "schedules" in tables else set()
    for role in ("plan", "log"):
        if role in tables and scheduled:
            _warn_of_cones(tables[role], scheduled, tables["schedules"].name)


def warn_of_results(plan: Table) -> None:
    """Warn of results in a plan, once for all of them.

    Warns
    -----
    TableWarning
    """
    frame = plan.frame
    told = frame["past_foot"].ne("") | frame["lost"].ne("")
    found = np.flatnonzero(frame["run_mm"].notna() | told)
    if len(found):
        plan.warn(
            int(found[0]),
            None,
            f"has a result, as {len(found)} of these rows have; in a plan it is not read, so give "
            "what was fired as the log.",
        )


def _warn_of_cones(table: Table, scheduled: set[str], name: str) -> None:
    frame = table.frame
    both = frame["cone"].ne("") & frame["firing"].isin(scheduled)
    for position, firing in frame.loc[both, "firing"].drop_duplicates().items():
        row = frame.iloc[int(str(position))]
        table.warn(
            int(str(position)),
            "cone",
            f'cone {row["cone"]} does not count: "{firing}" is in {name}, and its schedule does.',
        )
