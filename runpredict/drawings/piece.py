"""One piece as it is drawn: its layers, its wall and what it stands on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from runpredict.answers.check import Answer
from runpredict.answers.cookies import outward
from runpredict.arrays import Floats
from runpredict.model.chances import RUN_LEVELS
from runpredict.units import LengthUnits

LEAST_RADIUS_MM = 4.0  # a wall that closes in is not drawn through the pot's axis


@dataclass(frozen=True)
class Layer:
    """One layer as it is drawn; lengths down the wall from the foot's edge. [mm]

    Attributes
    ----------
    risk : float
        Of passing the foot; runs end there.
    stop_mm : float
        Where it is advised to end instead; NaN where it is not.
    """

    number: int
    glaze: str
    lower_mm: float
    upper_mm: float
    run_p50_mm: float
    run_p95_mm: float
    risk: float
    wall_deg: float
    stop_mm: float = np.nan

    @property
    def likely_past(self) -> bool:
        """More often than not it passes the foot."""
        return self.risk > 1.0 - RUN_LEVELS[1]

    @property
    def may_pass(self) -> bool:
        """More than once in twenty times it passes the foot."""
        return self.risk > 1.0 - RUN_LEVELS[2]


@dataclass(frozen=True)
class Piece:
    """One piece as it is drawn. [mm]

    Attributes
    ----------
    form : str
        `mug`, `bowl`, `plate`, `vase`, `bottle`, `tile` or "".
    wax_mm : float
        The bare band that is advised, NaN where it is not another than planned.
    dish_diameter_mm, dish_depth_mm : float
        Of the dish that is advised, NaN where a change is, or nothing. The cookie that a piece may
        stand on in place of its change is told in words alone.
    """

    name: str
    firing: str
    form: str
    risk: float
    foot_mm: float
    wax_mm: float
    dish_diameter_mm: float
    dish_depth_mm: float
    layers: tuple[Layer, ...]

    @property
    def on_dish(self) -> bool:
        """Whether it is to stand in a catch dish."""
        return not np.isnan(self.dish_diameter_mm)

    @property
    def top_mm(self) -> float:
        """How far up the wall the glaze begins, and the drawing ends."""
        return max(1.0, *(layer.upper_mm for layer in self.layers))

    @property
    def planned_band_mm(self) -> float:
        """The bare band as planned."""
        return min(layer.lower_mm for layer in self.layers)

    @property
    def band_mm(self) -> float:
        """The bare band to leave: as advised, else as planned."""
        return self.planned_band_mm if np.isnan(self.wax_mm) else self.wax_mm


def find_piece(
    answer: Answer, piece: str, firing: str | None = None, units: LengthUnits = "mm"
) -> Piece:
    """A piece of an answer, ready to be drawn.

    Parameters
    ----------
    firing : str, optional
        Needed where several firings have a piece of that name.
    units : "mm" or "in"
        Of the ruler that advice is told on.

    Raises
    ------
    BadInput : no such piece, or more than one.
    """
    return drawn_piece(answer, answer.find(piece, firing), units)


def drawn_piece(answer: Answer, place: int, units: LengthUnits = "mm") -> Piece:
    """What is drawn of one piece, by its row in `answer.pieces`."""
    row = answer.pieces.iloc[place]
    own = (answer.layers["piece"] == row["piece"]) & (answer.layers["firing"] == row["firing"])
    layers = answer.layers.loc[own]
    rows = answer.features.loc[layers.index]
    wax_mm, stops_mm = _advised_mm(answer, place, units)
    dish = (
        answer.advice(units).word[place] in ("dish", "pedestal")
        and row["cookie"] == "dish"
        and answer.outlook["catch"].iloc[place] == "dish"
    )
    drawn = [
        Layer(
            number=int(layer["layer"]),
            glaze=str(layer["glaze"]),
            lower_mm=float(layer["lower_edge_mm"]),
            upper_mm=float(feature["upper_edge_mm"]),
            run_p50_mm=float(layer["run_p50_mm"]),
            run_p95_mm=float(layer["run_p95_mm"]),
            risk=float(layer["risk"]),
            wall_deg=float(feature["wall_deg"]),
            stop_mm=stops_mm.get(int(layer["layer"]), np.nan),
        )
        for (_, layer), (_, feature) in zip(layers.iterrows(), rows.iterrows(), strict=True)
    ]
    return Piece(
        name=str(row["piece"]),
        firing=str(row["firing"]),
        form=str(rows["form"].iloc[0]),
        risk=float(row["risk"]),
        foot_mm=float(rows["foot_mm"].iloc[0]),
        wax_mm=wax_mm,
        dish_diameter_mm=float(row["cookie_diameter_mm"]) if dish else np.nan,
        dish_depth_mm=float(row["cookie_height_mm"]) if dish else np.nan,
        layers=tuple(sorted(drawn, key=lambda layer: layer.number)),
    )


def _advised_mm(answer: Answer, place: int, units: LengthUnits) -> tuple[float, dict[int, float]]:
    """The bare band that is advised, and the new lower edge of each layer that stops higher."""
    advice = answer.advice(units)
    steps = zip(advice.kind[place], advice.layer[place], advice.changed[place], strict=True)
    wax_mm, stops_mm = np.nan, {}
    for kind, layer, amount in steps:
        if kind == "wax":
            wax_mm = round(1e3 * float(amount), 4)
        elif kind == "edge":
            stops_mm[int(layer)] = round(1e3 * float(amount), 4)
    return wax_mm, stops_mm


def profile_mm(piece: Piece, at_mm: ArrayLike) -> tuple[Floats, Floats]:
    """Where points of the wall lie.

    Parameters
    ----------
    at_mm : array_like, shape (n,)
        Distance up the wall from the foot's edge. [mm]

    Returns
    -------
    radius, height : ndarray, shape (n,)
        From the pot's axis, and above the foot. [mm]

    Notes
    -----
    The table gives the steepest angle below each layer, so the wall is drawn as straight pieces
    from one lower edge to the next, the last one going on to the top. To which side a wall
    leads follows its form, as `cookies.outward` has it; a tile is drawn from the front.
    """
    edges = sorted((layer.lower_mm, layer.wall_deg) for layer in piece.layers)
    ends = np.array([0.0, *(lower for lower, _ in edges[:-1]), np.inf])
    angles = np.array([deg for _, deg in edges])
    at = np.asarray(at_mm, dtype=float)[..., None]
    along = np.clip(at - ends[:-1], 0.0, np.diff(ends))
    # Below the foot a run goes straight down.
    below = np.minimum(at[..., 0], 0.0)
    if piece.form == "tile":
        return np.full(below.shape, 0.5 * piece.foot_mm), along.sum(axis=-1) + below
    leads = (along * outward(piece.form, angles)).sum(axis=-1)
    radius = np.maximum(0.5 * piece.foot_mm + leads, LEAST_RADIUS_MM)
    return radius, (along * np.sin(np.radians(angles))).sum(axis=-1) + below
