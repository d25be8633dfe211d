"""The layers of each piece as padded arrays, ready for the film and for what is known of glazes."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from runpredict.arrays import Bools, Floats, Indices, Objects
from runpredict.model.features import (
    FIRED_SHARE,
    LEAST_MOBILITY_PER_M,
    MORE_COATS,
    typical_thickness_mm,
)
from runpredict.physics import sheets
from runpredict.tables.columns import FOLDED

# Effects of what a potter may name besides glazes, bodies and firings.
NAMED_BESIDES = ("which kiln", "shelf", "spot", "batch", "glazed by")
OF_PIECE = ("form", "body", "firing", "piece")
# A smear thinner or lower than this is no layer to learn from, though it runs like one. Our choice.
SMEAR_M, SMEAR_HEIGHT_M = 0.01e-3, 1e-3


@dataclass(frozen=True)
class Stacks:
    """The layers of n pieces as padded arrays, k the most layers on one piece.

    Attributes
    ----------
    row_at : ndarray of int, shape (n, k)
        Row of the features that each layer is of; -1 where there is none.
    method : ndarray of str, shape (n, k)
    put_on : ndarray of bool, shape (n, k)
        The layer is on the pot already.
    present, measured, chemistry_known : ndarray of bool, shape (n, k)
        The layer is there; its thickness was measured; its glaze is no jar.
    behaviour : ndarray of str, shape (n, k)
        The word on the jar, "" where there is none.
    melt_sd_log10 : ndarray, shape (n, k)
        Standard error of log10 viscosity.
    lower_m, upper_m, thickness_m : ndarray, shape (n, k)
        Edges above the foot and fired thickness. [m]
    mobility_per_m, mobility_per_hold_min_per_m : ndarray, shape (n, k)
        ρ g slope Φ of each layer's melt, and what each minute of hold adds to it.
    slope : ndarray, shape (n, k)
        Part of its weight that drives each layer.
    viscosity_log10_pa_s : ndarray, shape (n, k)
        Of each melt at the top of the firing.
    dip_told : ndarray of bool, shape (n, k)
        The slip or the seconds of its dip are told.
    needle_log : ndarray, shape (n, k)
        Natural log of its measured thickness over what was to be expected of such a dip; NaN where
        not both are told.
    coats : ndarray of int, shape (n, k)
    coat_ratio : ndarray, shape (n, k, c)
        Thickness with 1 ... c coats over thickness as planned.
    puddle_m : ndarray, shape (n,)
        Depth at which a puddle of the piece's glaze stands on a cookie. [m]
    glaze : ndarray of int, shape (n, k)
        Number of the layer's glaze in ``glazes``; -1 where there is no layer.
    wall_deg : ndarray, shape (n, k)
    zinc_mol, alumina_mol : ndarray, shape (n, k)
        Of the unity formula; NaN of a jar.
    foot_m, hold_min, ramp_c_per_h : ndarray, shape (n,)
    heat_log : ndarray, shape (n,)
        Natural log of the mobility by the cone that went down over what was planned; NaN where no
        cone was seen to go down, inf where none was planned.
    form, body, firing, piece : ndarray of str, shape (n,)
    surprising : ndarray of bool, shape (n,)
        It is written down because it surprised, as all of its log are.
    names : dict of ndarray of str, shape (n,) or (n, k)
        What else is named of each piece or layer, by column (`columns.FOLDED`): its kiln, shelf,
        whose hands, which batch; "" where that is not told.
    """

    row_at: Indices
    present: Bools
    measured: Bools
    chemistry_known: Bools
    behaviour: Objects
    melt_sd_log10: Floats
    lower_m: Floats
    upper_m: Floats
    thickness_m: Floats
    mobility_per_m: Floats
    mobility_per_hold_min_per_m: Floats
    slope: Floats
    viscosity_log10_pa_s: Floats
    method: Objects
    put_on: Bools
    dip_told: Bools
    needle_log: Floats
    coats: Indices
    coat_ratio: Floats
    puddle_m: Floats
    glaze: Indices
    glazes: tuple[str, ...]
    wall_deg: Floats
    zinc_mol: Floats
    alumina_mol: Floats
    foot_m: Floats
    hold_min: Floats
    ramp_c_per_h: Floats
    heat_log: Floats
    form: Objects
    body: Objects
    firing: Objects
    piece: Objects
    surprising: Bools
    names: dict[str, Objects]

    @cached_property
    def at(self) -> tuple[Indices, Indices]:
        """Piece and layer of each row of the features, in the order of the rows."""
        piece, layer = np.nonzero(self.row_at >= 0)
        order = np.argsort(self.row_at[piece, layer], kind="stable")
        return piece[order], layer[order]

    @property
    def mobility_log(self) -> Floats:
        """Natural log of `mobility_per_m`, shape (n, k)."""
        return np.log(np.maximum(self.mobility_per_m, LEAST_MOBILITY_PER_M))

    @property
    def glaze_name(self) -> Objects:
        """Name of the glaze of each layer, "" where there is none, shape (n, k)."""
        return np.array([*self.glazes, ""], dtype=object)[self.glaze]

    @property
    def solid(self) -> Bools:
        """The layer is more than a smear, shape (n, k)."""
        high = self.upper_m - self.lower_m >= SMEAR_HEIGHT_M
        return self.present & high & (self.thickness_m >= SMEAR_M)

    @property
    def several_glazes(self) -> Bools:
        """Whether a piece has more than one glaze, shape (n,)."""
        one = np.where(self.solid, self.glaze, -1).max(axis=1, keepdims=True)
        return np.asarray((self.solid & (self.glaze != one)).any(axis=1))

    @cached_property
    def meets(self) -> Bools:
        """Whether two layers share some of the wall, shape (n, k, k); no layer meets itself."""
        return meeting(self.lower_m, self.upper_m)

    @cached_property
    def under(self) -> Indices:
        """The layer beneath each that it meets, of another glaze, shape (n, k); -1 for none."""
        return beneath(self.meets, np.where(self.solid, self.glaze, -1))

    @cached_property
    def named_besides(self) -> dict[str, Objects]:
        """By `NAMED_BESIDES`, "" where it is not named, shape (n,), batches (n, k)."""
        kiln = self.names["kiln"]
        names = (
            kiln,
            _of(kiln, self.names["shelf"]),
            _of(kiln, self.names["spot"]),
            _of(self.glaze_name, self.names["batch"]),
            self.names["glazed_by"],
        )
        return dict(zip(NAMED_BESIDES, names, strict=True))

    @property
    def glazed(self) -> Bools:
        """The layer is there and covers some of the wall, shape (n, k)."""
        return self.present & (self.upper_m > self.lower_m)

    def cut(self, pieces: Indices, layers: int) -> Stacks:
        """Some of the pieces, with arrays for so many layers and no more."""
        part = self.take(pieces)
        if layers == part.present.shape[1]:
            return part
        arrays = {field.name: getattr(part, field.name) for field in fields(self)}
        narrow: dict[str, Any] = {
            name: array[:, :layers]
            for name, array in arrays.items()
            if isinstance(array, np.ndarray) and array.ndim > 1
        }
        names = {name: a[:, :layers] if a.ndim > 1 else a for name, a in part.names.items()}
        return replace(part, **narrow, names=names)

    def by_layers(self) -> list[tuple[Indices, Stacks]]:
        """Pieces of each number of layers, and their arrays no wider than that."""
        count = np.maximum(self.present.sum(axis=1), 1)
        found = []
        for k in np.unique(count):
            pieces = np.flatnonzero(count == k)
            found.append((pieces, self.cut(pieces, int(k))))
        return found

    def take(self, pieces: Indices | slice) -> Stacks:
        """The same arrays for some of the pieces."""
        arrays = [field.name for field in fields(self) if field.name not in ("glazes", "names")]
        named = {name: array[pieces] for name, array in self.names.items()}
        return replace(self, **{name: getattr(self, name)[pieces] for name in arrays}, names=named)


def meeting(lower: Floats, upper: Floats) -> Bools:
    """`Stacks.meets` of layers by their edges, each shape (n, k)."""
    top = np.minimum(upper[:, :, None], upper[:, None])
    end = np.maximum(lower[:, :, None], lower[:, None])
    return np.asarray((top > end) & ~np.eye(lower.shape[1], dtype=bool))


def beneath(meets: Bools, glaze: Indices) -> Indices:
    """`Stacks.under` of layers by which meet and by their glazes, (n, k), -1 where none counts."""
    other = glaze[:, :, None] != glaze[:, None]
    both = (glaze[:, :, None] >= 0) & (glaze[:, None] >= 0)
    k = glaze.shape[1]
    below = np.tri(k, k=-1, dtype=bool)
    place = np.where(meets & other & both & below, np.arange(k), -1)
    return np.asarray(place.max(axis=2, initial=-1))


def _of(whole: Objects, part: Objects) -> Objects:
    """Parts named by what they are a part of; "" for none."""
    names = np.full(part.shape, "", dtype=object)
    named = part != ""
    names[named] = [
        f"{a}, {b}".removeprefix(", ") for a, b in zip(whole[named], part[named], strict=True)
    ]
    return names


def _coat_ratio(rows: pd.DataFrame, coats: Indices, grid: Any) -> Floats:
    method = rows["method"].tolist()
    planned = typical_thickness_mm(method, coats)
    most = int(coats.max(initial=1)) + MORE_COATS
    ratios = [typical_thickness_mm(method, np.full(len(rows), c)) for c in range(1, most + 1)]
    return np.stack([grid(ratio / planned, 1.0) for ratio in ratios], axis=2)


def stacks_of(rows: pd.DataFrame, surprising: bool = False) -> Stacks:
    """Arrange the rows of `features_of` by piece.

    Parameters
    ----------
    rows : DataFrame with the columns of `features_of`, any order
    surprising : bool
        They are of a log in which only surprises are written down.

    Returns
    -------
    Stacks, pieces in the order they first appear
    """
    piece_at = rows.groupby(["firing", "piece"], sort=False, dropna=False).ngroup().to_numpy()
    layer_at = rows.groupby(piece_at)["layer"].rank(method="first").to_numpy(dtype=np.intp) - 1
    n = int(piece_at.max()) + 1 if len(rows) else 0
    k = int(layer_at.max()) + 1 if len(rows) else 1

    def grid(values: Any, fill: Any = 0.0) -> Any:
        table = np.full((n, k), fill, dtype=values.dtype)
        table[piece_at, layer_at] = values
        return table

    def metres(column: str) -> Any:
        return grid(rows[column].to_numpy(dtype=float) * 1e-3)

    codes, glazes = pd.factorize(rows["glaze"])
    coats = rows["coats"].to_numpy(dtype=float).astype(np.intp)
    first = np.unique(piece_at, return_index=True)[1]
    puddle_m = sheets.puddle_depth_m(
        rows["surface_tension_n_m"].to_numpy(dtype=float),
        rows["density_kg_m3"].to_numpy(dtype=float),
    )
    return Stacks(
        row_at=grid(np.arange(len(rows), dtype=np.intp), -1),
        present=grid(np.ones(len(rows), dtype=bool), False),
        measured=grid(rows["thickness_measured"].to_numpy(dtype=bool), False),
        chemistry_known=grid(rows["chemistry_known"].to_numpy(dtype=bool), False),
        behaviour=grid(rows["behaviour"].fillna("").to_numpy(dtype=object), ""),
        melt_sd_log10=grid(rows["viscosity_sd_log10"].to_numpy(dtype=float)),
        lower_m=metres("lower_edge_mm"),
        upper_m=metres("upper_edge_mm"),
        thickness_m=metres("thickness_mm") * FIRED_SHARE,
        mobility_per_m=grid(rows["mobility_per_m"].to_numpy(dtype=float)),
        mobility_per_hold_min_per_m=grid(rows["mobility_per_hold_min_per_m"].to_numpy(dtype=float)),
        slope=grid(rows["slope"].to_numpy(dtype=float), 1.0),
        viscosity_log10_pa_s=grid(rows["viscosity_log10_pa_s"].to_numpy(dtype=float)),
        method=grid(rows["method"].to_numpy(dtype=object), ""),
        put_on=grid(rows["glazed"].eq("yes").to_numpy(), False),
        dip_told=grid(rows["dip_told"].to_numpy(dtype=bool), False),
        needle_log=grid(rows["needle_log"].to_numpy(dtype=float), np.nan),
        coats=grid(coats, 1),
        coat_ratio=_coat_ratio(rows, coats, grid),
        puddle_m=grid(puddle_m).max(axis=1),
        glaze=grid(codes, -1),
        glazes=tuple(glazes),
        wall_deg=grid(rows["wall_deg"].to_numpy(dtype=float), 90.0),
        zinc_mol=grid(rows["zinc_mol"].to_numpy(dtype=float), np.nan),
        alumina_mol=grid(rows["Al2O3_per_flux_mol"].to_numpy(dtype=float), np.nan),
        foot_m=rows["foot_mm"].to_numpy(dtype=float)[first] * 1e-3,
        hold_min=rows["hold_min"].to_numpy(dtype=float)[first],
        ramp_c_per_h=rows["ramp_c_per_h"].to_numpy(dtype=float)[first],
        heat_log=rows["heat_log"].to_numpy(dtype=float)[first],
        **{name: rows[name].to_numpy(dtype=object)[first] for name in OF_PIECE},
        surprising=np.full(n, surprising),
        names={
            column.name: grid(rows[column.name].to_numpy(dtype=object), "")
            if column.of == "layer"
            else rows[column.name].to_numpy(dtype=object)[first]
            for column in FOLDED
            if column.form == "name"
        },
    )
