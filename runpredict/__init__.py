"""How far each layer of glaze will run, before the kiln is loaded, and what to do about it."""

from __future__ import annotations

from importlib import import_module
from typing import Any

# Where each public name lives; loaded when first asked for, so that nothing heavy is.
_HOMES = {
    "Answer": "answers.check",
    "BadInput": "errors",
    "CensoredMarginClassifier": "model.estimator",
    "Logbook": "logbook.book",
    "Outcome": "logbook.book",
    "Review": "answers.review",
    "TableWarning": "errors",
    "build_features": "model.features",
    "check": "answers.check",
    "cone_peak_c": "physics.heat",
    "decisions_figure": "drawings.curves",
    "draining_thickness_m": "physics.sheets",
    "effects_figure": "drawings.score_curves",
    "fill_oxides": "physics.chemistry",
    "mobility_per_m": "physics.sheets",
    "pot_figure": "drawings.pot",
    "predicted_seen_figure": "drawings.score_curves",
    "read_table": "tables.csv_files",
    "reliability_figure": "drawings.score_curves",
    "review": "answers.review",
    "run_m": "physics.film",
    "skill_figure": "drawings.score_curves",
    "step_run_m": "physics.sheets",
    "summary": "words.advice",
    "told": "words.answers",
    "unity_formula": "physics.chemistry",
    "viscosity_figure": "drawings.curves",
    "viscosity_log10_pa_s": "physics.melt",
    "viscosity_sd_log10": "physics.melt",
    "write_sheet": "pages.sheet",
    "write_table": "tables.csv_files",
}

__all__ = sorted([*_HOMES, "__version__"])  # noqa: PLE0605 - their one list is above


def __getattr__(name: str) -> Any:
    if name == "__version__":
        from importlib.metadata import version  # noqa: PLC0415 - slow to load, seldom asked for

        return version("runpredict")
    if name not in _HOMES:
        raise AttributeError(f"module 'runpredict' has no attribute {name!r}")
    home = import_module(f"runpredict.{_HOMES[name]}")
    if _HOMES[name] == "answers.check":
        home.Answer._repr_html_ = _answer_html
    value = getattr(home, name)
    globals()[name] = value
    return value


def _answer_html(answer: Any) -> str:
    """How a notebook shows an answer, which itself knows of no pages."""
    shown: str = import_module("runpredict.pages.html").answer_html(answer)
    return shown


def __dir__() -> list[str]:
    return __all__
