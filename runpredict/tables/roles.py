"""What a table is asked for as: its role in a question, and the kind of table that plays it."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:  # so that the command line can name its options before it loads numpy
    from runpredict.tables.columns import TableKind

ROLES: dict[str, TableKind] = {
    "plan": "layers",
    "log": "layers",
    "glazes": "glazes",
    "recipes": "recipes",
    "materials": "materials",
    "schedules": "schedules",
}
"""Kind of each table of a question, in the order its faults are told."""
