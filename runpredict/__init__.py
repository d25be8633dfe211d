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
    "Review": "review",
    "TableWarning": "errors",
    "build_features": "features",
    "check": "check",
    "read_table": "tablefiles",
    "review": "review",
    "unity_formula": "chemistry",
    "viscosity_log10_pa_s": "melt",
    "viscosity_sd_log10": "melt",
    "write_table": "tablefiles",
}

__all__ = [
    "Answer",
    "BadInput",
    "Review",
    "TableWarning",
    "build_features",
    "check",
    "read_table",
    "review",
    "unity_formula",
    "viscosity_log10_pa_s",
    "viscosity_sd_log10",
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
