"""Who answers: the rules, or what a log trained, with how that did on firings it had not seen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import pandas as pd

from runpredict.arrays import AnyArray, Floats
from runpredict.model.chances import Chances
from runpredict.model.stacks import Stacks
from runpredict.model.studio import Studio


class Predictor(Protocol):
    """Anything that tells what physics leaves out."""

    @property
    def basis(self) -> str:
        """`rules` or `learned`."""

    @property
    def studio(self) -> Studio:
        """What is known of effects: what a log taught, or what is expected without one."""

    def chances(self, stacks: Stacks) -> Chances:
        """What is known of some pieces."""

    def seen(self) -> dict[str, int] | None:
        """How many logged layers there are of each glaze; None without a log."""


class RulesPredictor:
    """What is expected of any studio, see `priors`: the answer without a log."""

    basis = "rules"
    studio = Studio()

    def seen(self) -> None:
        """No log, no layers."""

    def chances(self, stacks: Stacks) -> Chances:
        """What is expected of these pieces."""
        return self.studio.chances(stacks)


@dataclass(frozen=True)
class Trained:
    """The predictor a log trained.

    Attributes
    ----------
    studio : Studio
    calibration : (float, float)
        See `chances.Alike`.
    sound : bool
        False where nothing could be learned of the log; the answer is then that of the rules.
    """

    studio: Studio
    calibration: tuple[float, float] = (0.0, 1.0)
    sound: bool = True

    @property
    def basis(self) -> str:
        """`learned`, or `rules` where nothing could be learned."""
        return "learned" if self.sound else "rules"

    def seen(self) -> dict[str, int] | None:
        """How many logged layers there are of each glaze; None where the rules answer."""
        return self.studio.seen if self.sound else None

    def chances(self, stacks: Stacks) -> Chances:
        """What is known of these pieces."""
        return self.studio.chances(stacks).calibrated(self.calibration)


@dataclass(frozen=True)
class HeldOut:
    """What was told of the log's n pieces by models that had not seen their firing.

    Attributes
    ----------
    risk : ndarray, shape (n,)
    layer_risk : ndarray, shape (n, k)
    runs_mm : ndarray, shape (n, k, 3)
        Quantiles 5, 50 and 95 %.
    """

    risk: Floats
    layer_risk: Floats
    runs_mm: Floats

    def take(self, pieces: AnyArray) -> HeldOut:
        """Those of some of the pieces."""
        return HeldOut(self.risk[pieces], self.layer_risk[pieces], self.runs_mm[pieces])


@dataclass(frozen=True)
class Trial:
    """How the model did on firings that neither it nor its calibration had seen.

    Attributes
    ----------
    pieces, firings : int
        Of the log, with a result.
    scores : DataFrame
        log_loss and brier of the learned model, of the rules, and of the same for every pot.
    reliability : DataFrame
        Of the learned model, see `trial.reliability`.
    interval_coverage : float
        Share of measured runs within the range told for them.
    held : HeldOut
        What was told of every piece, in the order of the stacks trained on.
    doubted : ndarray, shape (n, k)
        How much each result counted: near 0 for one that nothing explains; NaN for none.
    """

    pieces: int
    firings: int
    scores: pd.DataFrame
    reliability: pd.DataFrame
    interval_coverage: float
    held: HeldOut
    doubted: Floats
