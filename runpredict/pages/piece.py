"""One piece as it is drawn: its layers, its wall and what it stands on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from runpredict.answers.check import Answer
from runpredict.arrays import Floats


@dataclass(frozen=True)
class Layer:
    """One layer as it is drawn; lengths down the wall from the foot's edge. [mm]"""

    number: int
    glaze: str
    lower_mm: float
    upper_mm: float
    run_p50_mm: float
    run_p95_mm: float
    wall_deg: float


@dataclass(frozen=True)
class Piece:
    """One piece as it is drawn. [mm]

    Attributes
    ----------
    wax_mm, cookie_diameter_mm, cookie_height_mm : float
        NaN where there is none.
    """

    name: str
    firing: str
    risk: float
    foot_mm: float
    wax_mm: float
    cookie: str
    cookie_diameter_mm: float
    cookie_height_mm: float
    layers: tuple[Layer, ...]

    @property
    def top_mm(self) -> float:
        """How far up the wall the glaze begins, and the drawing ends."""
        return max(1.0, *(layer.upper_mm for layer in self.layers))


def find_piece(answer: Answer, piece: str, firing: str | None = None) -> Piece:
    """A piece of an answer, ready to be drawn.

    Parameters
    ----------
    answer : Answer
    piece : str
    firing : str, optional
        Needed where several firings have a piece of that name.

    Returns
    -------
    Piece

    Raises
    ------
    BadInput : no such piece, or more than one.
    """
    return drawn_piece(answer, answer.pieces.iloc[answer.find(piece, firing)])


def drawn_piece(answer: Answer, row: pd.Series) -> Piece:
    """What is drawn of one row of `answer.pieces`."""
    mine = (answer.layers["piece"] == row["piece"]) & (answer.layers["firing"] == row["firing"])
    layers = answer.layers.loc[mine]
    rows = answer.features.loc[layers.index]
    drawn = [
        Layer(
            number=int(layer["layer"]),
            glaze=str(layer["glaze"]),
            lower_mm=float(layer["lower_edge_mm"]),
            upper_mm=float(feature["upper_edge_mm"]),
            run_p50_mm=float(layer["run_p50_mm"]),
            run_p95_mm=float(layer["run_p95_mm"]),
            wall_deg=float(feature["wall_deg"]),
        )
        for (_, layer), (_, feature) in zip(layers.iterrows(), rows.iterrows(), strict=True)
    ]
    return Piece(
        name=str(row["piece"]),
        firing=str(row["firing"]),
        risk=float(row["risk"]),
        foot_mm=float(rows["foot_mm"].iloc[0]),
        wax_mm=float(row["wax_height_mm"]),
        cookie=str(row["cookie"]),
        cookie_diameter_mm=float(row["cookie_diameter_mm"]),
        cookie_height_mm=float(row["cookie_height_mm"]),
        layers=tuple(sorted(drawn, key=lambda layer: layer.number)),
    )


def profile_mm(piece: Piece, at_mm: ArrayLike) -> tuple[Floats, Floats]:
    """Where points of the wall lie.

    Parameters
    ----------
    piece : Piece
    at_mm : array_like, shape (n,)
        Distance up the wall from the foot's edge. [mm]

    Returns
    -------
    radius, height : ndarray, shape (n,)
        From the pot's axis, and above the foot. [mm]

    Notes
    -----
    The table gives the steepest angle below each layer, so the wall is drawn as straight pieces
    from one lower edge to the next, the last one going on to the top. It tells how far a wall
    is from vertical, not to which side, so every wall is drawn opening outward.
    """
    edges = sorted((layer.lower_mm, layer.wall_deg) for layer in piece.layers)
    ends = np.array([0.0, *(lower for lower, _ in edges[:-1]), np.inf])
    angles = np.radians([deg for _, deg in edges])
    at = np.asarray(at_mm, dtype=float)[..., None]
    along = np.clip(at - ends[:-1], 0.0, np.diff(ends))
    # Below the foot a run goes straight down.
    below = np.minimum(at[..., 0], 0.0)
    radius = 0.5 * piece.foot_mm + (along * np.abs(np.cos(angles))).sum(axis=-1)
    return radius, (along * np.sin(angles)).sum(axis=-1) + below
