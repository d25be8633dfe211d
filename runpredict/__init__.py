"""How far each layer of glaze will run, before the kiln is loaded, and what to do about it."""

from __future__ import annotations

import sys
from importlib import import_module
from types import ModuleType
from typing import Any

# Where each public name lives; loaded when first asked for, so that nothing heavy is.
_HOMES = {
    "Answer": "check",
    "BadInput": "errors",
    "CensoredMarginClassifier": "estimator",
    "Logbook": "logbook",
    "Outcome": "logbook",
    "Review": "review",
    "TableWarning": "errors",
    "Wall": "film",
    "build_features": "features",
    "check": "check",
    "cone_peak_c": "heat",
    "decisions_figure": "curves",
    "draining_thickness_m": "film",
    "effects_figure": "curves",
    "fill_oxides": "chemistry",
    "mobility_per_m": "film",
    "pot_figure": "drawing",
    "predicted_seen_figure": "curves",
    "read_table": "tablefiles",
    "reliability_figure": "curves",
    "review": "review",
    "run_m": "film",
    "skill_figure": "curves",
    "step_run_m": "film",
    "unity_formula": "chemistry",
    "viscosity_figure": "curves",
    "viscosity_log10_pa_s": "melt",
    "viscosity_sd_log10": "melt",
    "write_sheet": "sheet",
    "write_table": "tablefiles",
}

__all__ = [
    "Answer",
    "BadInput",
    "CensoredMarginClassifier",
    "Logbook",
    "Outcome",
    "Review",
    "TableWarning",
    "Wall",
    "build_features",
    "check",
    "cone_peak_c",
    "decisions_figure",
    "draining_thickness_m",
    "effects_figure",
    "fill_oxides",
    "mobility_per_m",
    "pot_figure",
    "predicted_seen_figure",
    "read_table",
    "reliability_figure",
    "review",
    "run_m",
    "skill_figure",
    "step_run_m",
    "unity_formula",
    "viscosity_figure",
    "viscosity_log10_pa_s",
    "viscosity_sd_log10",
    "write_sheet",
    "write_table",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'runpredict' has no attribute {name!r}")
    value = getattr(import_module(f"runpredict.{_HOMES[name]}"), name)
    globals()[name] = value
    return value


class _Package(ModuleType):
    """`check` is a module and what it does: importing the one must not hide the other."""

    def __setattr__(self, name: str, value: Any) -> None:
        if isinstance(value, ModuleType) and name in _HOMES:
            value = getattr(value, name)
        super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Package
