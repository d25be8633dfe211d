"""A trained model as arrays and plain names, and back again; half of what is symmetric."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from runpredict.arrays import AnyArray
from runpredict.model.predictors import HeldOut, Trained, Trial
from runpredict.model.studio import Studio

STUDIO_ARRAYS = ("mean", "sd", "mix")
STUDIO_NUMBERS = ("noise_sd", "pair_variance", "coat_sd", "wave_m")
HELD_ARRAYS = ("risk", "layer_risk", "runs_mm")
TABLES = ("scores", "reliability")


def numbers_of(trained: Trained, trial: Trial | None) -> tuple[dict[str, AnyArray], dict[str, Any]]:
    """Arrays by name, and all else as what JSON can hold."""
    studio = trained.studio
    arrays: dict[str, AnyArray] = {name: getattr(studio, name) for name in STUDIO_ARRAYS}
    arrays["covariance"] = studio.covariance[np.tril_indices(len(studio.mean))]
    names: dict[str, Any] = {
        "effects": [[family, name] for family, name in studio.known],
        "seen": studio.seen,
        "sound": trained.sound,
        "calibration": list(trained.calibration),
        **{name: getattr(studio, name) for name in STUDIO_NUMBERS},
    }
    if trial is not None:
        arrays |= {f"held_{name}": getattr(trial.held, name) for name in HELD_ARRAYS}
        arrays["doubted"] = trial.doubted
        for name in TABLES:
            table: pd.DataFrame = getattr(trial, name)
            arrays[name] = table.to_numpy(dtype=float)
            names[name] = {"rows": list(map(_plain, table.index)), "columns": list(table.columns)}
        names["trial"] = {
            "pieces": trial.pieces,
            "firings": trial.firings,
            "interval_coverage": trial.interval_coverage,
        }
    return arrays, names


def model_from(arrays: dict[str, AnyArray], names: dict[str, Any]) -> tuple[Trained, Trial | None]:
    """The inverse of `numbers_of`.

    Raises
    ------
    KeyError, TypeError, ValueError : what is not a kept model.
    """
    effects = [
        (family, tuple(name) if isinstance(name, list) else name)
        for family, name in names["effects"]
    ]
    count = len(effects)
    half = np.tril_indices(count)
    if arrays["mean"].shape != (count,) or arrays["covariance"].shape != half[0].shape:
        raise ValueError("arrays do not fit the effects")
    parts: dict[str, Any] = {name: arrays[name] for name in STUDIO_ARRAYS}
    parts["covariance"] = np.zeros((count, count))
    parts["covariance"][half] = parts["covariance"].T[half] = arrays["covariance"]
    parts |= {name: float(names[name]) for name in STUDIO_NUMBERS}
    studio = Studio(
        known={effect: i for i, effect in enumerate(effects)},
        seen={str(name): int(number) for name, number in names["seen"].items()},
        **parts,
    )
    shift, factor = names["calibration"]
    trained = Trained(studio, (float(shift), float(factor)), bool(names["sound"]))
    if "trial" not in names:
        return trained, None
    tables: dict[str, Any] = {
        name: pd.DataFrame(arrays[name], names[name]["rows"], names[name]["columns"])
        for name in TABLES
    }
    tables["reliability"] = tables["reliability"].astype({"pieces": int}).rename_axis("bin")
    return trained, Trial(
        **tables,
        **names["trial"],
        held=HeldOut(*(arrays[f"held_{name}"] for name in HELD_ARRAYS)),
        doubted=arrays["doubted"],
    )


def _plain(label: Any) -> Any:
    return int(label) if isinstance(label, np.integer) else label
