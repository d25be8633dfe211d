"""What the pages call each column of the tables."""

from __future__ import annotations

from runpredict.tables.columns import COLUMNS

LABELS = {column.name: column.label for kind in COLUMNS for column in COLUMNS[kind]}
LABELS |= {"source": "Comes as", "layer_wall_deg": "Its own wall angle °"}


def label_of(field: str) -> str:
    """The label of a field such as ``glaze-2``; "This pot" for what is of no field."""
    name, _, number = field.partition("-")
    label = LABELS.get(name, "") or "This pot"
    return f"Layer {number}, {label.lower()}" if number else label
