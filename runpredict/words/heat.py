"""How a firing is fired, in words: cone, hold and rate, or the schedule that was typed."""

from __future__ import annotations

from typing import NamedTuple

import pandas as pd

from runpredict.tables.plan import PlanTables
from runpredict.tables.rows import with_defaults
from runpredict.units import F_PER_C, LengthUnits, format_temperature


class Fired(NamedTuple):
    """The heat and the date of one firing."""

    heat: str
    fired_on: str


def heat_words(tables: PlanTables, units: LengthUnits) -> dict[str, Fired]:
    """The heat and the date of each planned firing, by its name.

    Parameters
    ----------
    units : "mm" or "in"
        A reader of inches is taken to read °F.

    Returns
    -------
    dict of str to Fired
        By the firing as the tables have it.
    """
    plan = with_defaults(tables.plan)
    typed = dict(tuple(tables.schedules.groupby("firing", sort=False)))
    found = {}
    for firing, rows in plan.groupby("firing", sort=False):
        known = rows["fired_on"].loc[rows["fired_on"].ne("")]
        heat = _schedule(typed[firing], units) if firing in typed else _cone(rows, units)
        found[str(firing)] = Fired(heat, str(known.iloc[0]) if len(known) else "")
    return found


def _cone(rows: pd.DataFrame, units: LengthUnits) -> str:
    seen = rows["witness_cone"].where(rows["witness_cone"].ne(""), rows["cone"])
    cones, holds = (list(dict.fromkeys(cells)) for cells in (seen, rows["hold_min"]))
    rate = float(rows["ramp_c_per_h"].iloc[0])
    return (
        f"Cone {' and '.join(cones)}, hold {' and '.join(f'{hold:g}' for hold in holds)} min, "
        f"{_rate(rate, units)} at the end"
    )


def _schedule(segments: pd.DataFrame, units: LengthUnits) -> str:
    rows = segments.sort_values("segment")
    numbers = rows[["rate_c_per_h", "target_c", "hold_min"]].to_numpy(dtype=float)
    steps = "; ".join(
        f"{_rate(rate, units)} to {format_temperature(target, units)}"
        + (f", hold {hold:g} min" if hold > 0 else "")
        for rate, target, hold in numbers
    )
    return f"Schedule: {steps}"


def _rate(rate_c_per_h: float, units: LengthUnits) -> str:
    if units == "mm":
        return f"{rate_c_per_h:.0f} °C/h"
    return f"{F_PER_C * rate_c_per_h:.0f} °F/h"
