"""Sound tables to spoil, shared by the tests of tables."""

import warnings

import numpy as np
import pandas as pd
import pytest

from runpredict.errors import BadInput, TableWarning, raise_faults
from runpredict.tables.csv_files import load_workbook, read_table

HEADINGS = "piece,firing,cone,layer,glaze,coats,lower_edge_mm,upper_edge_mm,thickness_mm"
LAYER = {
    "piece": "mug",
    "firing": "f1",
    "cone": "6",
    "layer": 1,
    "glaze": "sea",
    "coats": 2,
    "lower_edge_mm": 5.0,
    "upper_edge_mm": 90.0,
}
STIFF_WT = {"SiO2": 74.0, "Al2O3": 14.0, "CaO": 6.0, "Na2O": 3.0, "K2O": 3.0}
ANALYSIS = {"glaze": "sea", "source": "analysis", "SiO2": 65.0, "Al2O3": 15.0, "CaO": 20.0}


def layers(*changes):
    """Layers of a sound piece, each with some cells changed."""
    return pd.DataFrame([{**LAYER, **change} for change in changes])


def calm_studio():
    """Log and glazes of a studio with one stiff glaze that stops far up, and one that runs."""
    rng = np.random.default_rng(3)
    rows = [
        {"piece": f"p{i}", "firing": f"f{i % 4}", "glaze": ("still", "sea")[i % 2],
         "lower_edge_mm": float(rng.integers(20, 45)), "coats": int(rng.integers(1, 3)),
         "past_foot": "no", "run_mm": float(rng.integers(0, 3 + 9 * (i % 2)))}
        for i in range(40)
    ]  # fmt: skip
    stiff = {"glaze": "still", "source": "analysis", **STIFF_WT}
    return layers(*rows), pd.DataFrame([ANALYSIS, stiff])


def faults_of(call, *args, **kwargs):
    with pytest.raises(BadInput) as caught:
        call(*args, **kwargs)
    return [str(fault) for fault in caught.value.faults]


def written_in(folder):
    """Names of what a command left in a folder."""
    return {path.name for path in folder.iterdir()}


def read_text(folder, text, kind="layers", encoding="utf-8", name="layers.csv"):
    (folder / name).write_bytes(text if isinstance(text, bytes) else text.encode(encoding))
    return read_table(folder / name, kind)


def told(call, *args, **kwargs):
    """What comes back, and the warnings on the way."""
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        found = call(*args, **kwargs)
    assert all(issubclass(one.category, TableWarning) for one in caught)
    return found, [str(one.message) for one in caught]


def read_workbook(path):
    """Every table of a workbook by its kind, or all its faults."""
    tables = load_workbook(path)
    raise_faults(fault for table in tables.values() for fault in table.faults)
    return {kind: table.frame for kind, table in tables.items()}
