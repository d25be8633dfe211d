"""What the pages call each column of the tables."""

from __future__ import annotations

LABELS = {
    "piece": "Name",
    "form": "Shape",
    "firing": "Firing",
    "fired_on": "Day of firing",
    "body": "Clay",
    "cone": "Cone",
    "hold_min": "Hold at the top, min",
    "ramp_c_per_h": "Last climb °C/h",
    "wall_deg": "Wall angle °",
    "foot_mm": "Foot across",
    "glaze": "Glaze",
    "method": "Put on by",
    "coats": "Coats",
    "lower_edge_mm": "Ends above the foot",
    "upper_edge_mm": "Begins above the foot",
    "thickness_mm": "Dry thickness",
    "layer_wall_deg": "Its own wall angle °",
    "note": "Note",
    "run_mm": "Ran",
    "past_foot": "Past the foot",
    "behaviour": "How it behaves",
    "matures_cone": "Made for cone",
    "source": "Comes as",
    "material": "Material",
    "parts": "Parts",
    "addition": "Added over the hundred",
}


def label_of(field: str) -> str:
    """The label of a field such as ``glaze-2``; "This pot" for what is of no field."""
    name, _, number = field.partition("-")
    label = LABELS.get(name, "This pot")
    return f"Layer {number}, {label.lower()}" if number else label
