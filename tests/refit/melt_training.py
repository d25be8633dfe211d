"""The nets of the melt: how they are fitted. Part of the refit (`melt_fit`)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from refit.melt_measurements import Measurements, row_weights
from runpredict.arrays import Bools, Float32s, Indices
from runpredict.physics import melt_features, melt_nets


@dataclass(frozen=True)
class NetKind:
    """How the nets of one kind are fitted.

    Attributes
    ----------
    weight_decay : float
    source_power : float
        As `melt_measurements.row_weights` takes it.
    doubt : float
        How far a paper whose rows scatter loses weight; 0 is not at all. See `_doubted`.
    """

    weight_decay: float
    source_power: float
    doubt: float


# Size and course of the fit, set by hand on what is missed on papers left out. Each net sees all
# mole fractions and its own half of the derived features (`_features_seen`), and pairs of nets are
# of four kinds: nets that differ so do better far from what they were fitted to.
KINDS = (
    NetKind(0.1, 0.25, 0.0),
    NetKind(0.1, 0.25, 0.3),
    NetKind(0.35, 0.4, 0.0),
    NetKind(0.35, 0.4, 0.3),
)
MEMBERS = 12
HIDDEN = (32, 32)
EPOCHS = 80
BATCH = 256
LEARNING_RATE = 2e-3
# Passes between two looks at what each source is off by.
SOURCES_EVERY = 4
# Student-t of scatter within a source: scale in log10 viscosity, degrees of freedom; set by
# hand, as is all below.
SCATTER_LOG10 = 0.08
SCATTER_DOF = 4.0
# A source's own offset, shrunk as a normal law of this standard deviation would.
SOURCE_OFFSET_SD = 0.05
# A source's scatter is judged as if so many rows more scattered as much as all do, and no row by
# more than so much.
DOUBT_ROWS = 8.0
DOUBT_MISS_MAX = 0.6
# Least scale of a feature: one that hardly varies over the data is not blown up.
FEATURE_SCALE_MIN = 0.02
# Noise on the scaled features while fitting: keeps the nets tame away from the data. With whole
# families of papers left out it brings RMSE from 0.219 to 0.217, and from 0.234 to 0.220 on
# another draw of folds.
FEATURE_JITTER = np.float32(0.05)


@dataclass(frozen=True)
class FeatureScale:
    """Centre and scale of the features, taken once from all melts.

    Attributes
    ----------
    centre, scale : ndarray, shape (p,)
    """

    centre: Float32s
    scale: Float32s

    @classmethod
    def of(cls, fitted: Float32s) -> FeatureScale:
        """Of melts given as mole fractions of `melt_features.FITTED`, shape (n, 23)."""
        f = melt_features.features(fitted.astype(np.float64))
        scale = np.maximum(f.std(axis=0), FEATURE_SCALE_MIN)
        return cls(f.mean(axis=0).astype(np.float32), scale.astype(np.float32))

    def apply(self, fitted: Float32s) -> Float32s:
        """Scaled features, shape (n, p), of mole fractions of shape (n, 23)."""
        features = melt_features.features(fitted)
        return np.ascontiguousarray((features - self.centre) / self.scale, dtype=np.float32)


Weights = dict[str, Float32s]


def _start(rng: np.random.Generator, nets: int, inputs: int) -> Weights:
    one, two = HIDDEN
    weights = {
        "w1": rng.normal(size=(nets, inputs, one)) / np.sqrt(inputs),
        "b1": rng.normal(size=(nets, 1, one)) * 0.3,
        "w2": rng.normal(size=(nets, one, two)) / np.sqrt(one),
        "b2": rng.normal(size=(nets, 1, two)) * 0.3,
        "w3": rng.normal(size=(nets, two, 2)) * 0.3 / np.sqrt(two),
        "b3": np.zeros((nets, 1, 2)),
        "ws": np.zeros((nets, inputs, 2)),
        "limit": np.full(nets, -1.8),
    }
    return {name: value.astype(np.float32) for name, value in weights.items()}


def _features_seen(rng: np.random.Generator, members: int, inputs: int) -> Float32s:
    """1 for each input that a net sees, else 0; (members, inputs, 1). Two by two they see all."""
    half = rng.random(((members + 1) // 2, 1, inputs, 1)) < 0.5
    seen = np.concatenate([half, ~half], axis=1).reshape(-1, inputs, 1)[:members]
    seen[:, : len(melt_features.FITTED)] = True
    return seen.astype(np.float32)


def _layers(w: Weights, f: Float32s) -> tuple[Any, ...]:
    a1 = f @ w["w1"] + w["b1"]
    z1 = melt_nets.activation(a1)
    a2 = z1 @ w["w2"] + w["b2"]
    z2 = melt_nets.activation(a2)
    return a1, z1, a2, z2, z2 @ w["w3"] + w["b3"] + f @ w["ws"]


def _curve(w: Weights, outputs: Float32s, t_k: Float32s) -> tuple[Any, ...]:
    """Curve without the far limits of `melt_nets.parameters`, and the terms of its gradient."""
    t3_k = melt_nets.T3_CENTRE_K * np.exp(melt_nets.T3_LOG_SCALE * outputs[..., 0, None])
    steep = melt_nets.STEEPNESS_MIN + np.logaddexp(0, outputs[..., 1, None]) - 1.0
    z = t3_k / t_k
    e = np.exp(steep * (z - 1.0))
    span = (3.0 - w["limit"])[:, None, None]
    return 3.0 - span + span * z * e, z, e, steep, span


def _gradient(w: Weights, f: Float32s, t_k: Float32s, slope_of: Any) -> Weights:
    """Gradient of the loss; slope_of(log10 viscosity) gives its derivative."""
    a1, z1, a2, z2, outputs = _layers(w, f)
    value, z, e, steep, span = _curve(w, outputs, t_k)
    g = slope_of(value)
    by_t3 = (g * span * e * (1.0 + z * steep) * z).sum(axis=-1) * melt_nets.T3_LOG_SCALE
    by_steep = (g * span * z * e * (z - 1.0)).sum(axis=-1)
    out = np.stack([by_t3, by_steep / (1.0 + np.exp(-outputs[..., 1]))], axis=-1)
    g2 = (out @ w["w3"].transpose(0, 2, 1)) / (1.0 + a2 * a2) ** 1.5
    g1 = (g2 @ w["w2"].transpose(0, 2, 1)) / (1.0 + a1 * a1) ** 1.5
    return {
        "w1": f.T @ g1,
        "b1": g1.sum(axis=1, keepdims=True),
        "w2": z1.transpose(0, 2, 1) @ g2,
        "b2": g2.sum(axis=1, keepdims=True),
        "w3": z2.transpose(0, 2, 1) @ out,
        "b3": out.sum(axis=1, keepdims=True),
        "ws": f.T @ out,
        "limit": (g * (1.0 - z * e)).sum(axis=(1, 2)),
    }


def _source_offsets(miss: Float32s, weights: Float32s, source: Indices) -> Float32s:
    """Shrunken robust mean of what each net misses in each source, (nets, sources)."""
    trust = weights / (1.0 + miss**2 / (SCATTER_DOF * SCATTER_LOG10**2)) / SCATTER_LOG10**2
    count = int(source.max()) + 1
    offsets = np.empty((len(weights), count), np.float32)
    for net, (t, m) in enumerate(zip(trust, miss, strict=True)):
        total = np.bincount(source, t.sum(axis=1), count)
        pulled = np.bincount(source, (t * m).sum(axis=1), count)
        offsets[net] = pulled / (total + SOURCE_OFFSET_SD**-2)
    return offsets


def _doubted(base: Float32s, about: Float32s, source: Indices, doubt: Float32s) -> Float32s:
    """Weights of the rows, less in sources whose rows scatter `about` their offset.

    A source of variance v about its offset weighs (1 + d) s² / (d v + s²) with the doubt d of a net
    and s the scatter of all: no source steers by melts that no smooth law fits. All arrays (nets,
    n, width) but source (n,) and doubt (nets,).
    """
    variance = SCATTER_LOG10**2
    square = np.minimum(np.abs(about), DOUBT_MISS_MAX) ** 2
    weights = base.copy()
    for net in np.flatnonzero(doubt):
        there = base[net] > 0.0
        rows = np.bincount(source, there.sum(axis=1))
        total = np.bincount(source, (there * square[net]).sum(axis=1))
        seen = (total + DOUBT_ROWS * variance) / (rows + DOUBT_ROWS)
        share = (1.0 + doubt[net]) * variance / (doubt[net] * seen + variance)
        weights[net] *= share[source, None].astype(np.float32)
    return weights


def _slope(aim: Float32s, weights: Float32s) -> Any:
    """Derivative of the weighted Student-t loss about `aim`."""
    variance = SCATTER_LOG10**2

    def slope(value: Float32s) -> Any:
        miss = value - aim
        return weights * miss / (1.0 + miss**2 / (SCATTER_DOF * variance)) / variance / BATCH

    return slope


class _Adam:
    """Adam with decoupled decay of the matrices, each net's own; decay of shape (nets,)."""

    def __init__(self, weights: Weights, decay: Float32s) -> None:
        self.decay = decay[:, None, None]
        self.first = {name: np.zeros_like(v) for name, v in weights.items()}
        self.second = {name: np.zeros_like(v) for name, v in weights.items()}
        self.step = 0

    def update(self, weights: Weights, gradient: Weights, rate: float) -> None:
        self.step += 1
        for name, g in gradient.items():
            m, v = self.first[name], self.second[name]
            m += 0.1 * (g - m)
            v += 0.005 * (g * g - v)
            if name in ("w1", "w2", "w3", "ws"):
                weights[name] *= 1.0 - rate * self.decay
            corrected = np.sqrt(v / (1.0 - 0.995**self.step)) + 1e-8
            weights[name] -= rate * m / (1.0 - 0.9**self.step) / corrected


def _kind_of(member: int) -> NetKind:
    """Two by two, so that each pair sees all features in one way of fitting."""
    return KINDS[member // 2 % len(KINDS)]


def train(
    data: Measurements,
    f: Float32s,
    seen_melts: Bools,
    members: int = MEMBERS,
    seed: int = 0,
    epochs: int = EPOCHS,
) -> Weights:
    """Fit many nets at once.

    Parameters
    ----------
    data : Measurements of n melts
    f : ndarray, shape (n, p)
        Scaled features.
    seen_melts : ndarray of bool, shape (ensembles, n)
        Melts that each ensemble is fitted to.
    members : int
        Nets of an ensemble; they share its high-temperature limit.
    seed, epochs : int
        Of start and order; passes over the data.

    Returns
    -------
    dict of ndarray, nets first, ensemble by ensemble

    References
    ----------
    Loshchilov & Hutter (2019), Decoupled Weight Decay Regularization, ICLR (Adam with decay).
    """
    rng = np.random.default_rng(seed)
    ensembles, n = seen_melts.shape
    kinds = [_kind_of(member) for _ in range(ensembles) for member in range(members)]
    base = np.concatenate(
        [
            row_weights(data, _kind_of(member).source_power)[None] * melts[:, None]
            for melts in seen_melts
            for member in range(members)
        ]
    ).astype(np.float32)
    w = _start(rng, len(kinds), f.shape[1])
    sees = np.tile(_features_seen(rng, members, f.shape[1]), (ensembles, 1, 1))
    w["w1"] *= sees
    adam = _Adam(w, np.array([kind.weight_decay for kind in kinds], np.float32))
    doubt = np.array([kind.doubt for kind in kinds], np.float32)
    source = np.unique(data.source, return_inverse=True)[1]
    weights, offsets = base, np.zeros((len(kinds), int(source.max()) + 1), np.float32)
    steps = epochs * (n // BATCH)
    for epoch in range(1, epochs + 1):
        order = rng.permutation(n)
        for start in range(0, n - BATCH + 1, BATCH):
            ix = order[start : start + BATCH]
            aim = data.log10_viscosity[ix] - offsets[:, source[ix], None]
            seen = f[ix] + FEATURE_JITTER * rng.standard_normal((BATCH, f.shape[1]), np.float32)
            gradient = _gradient(w, seen, data.t_k[ix], _slope(aim, weights[:, ix]))
            gradient["w1"] *= sees
            gradient["ws"] *= sees
            shared = gradient["limit"].reshape(-1, members).mean(axis=1)
            gradient["limit"] = np.repeat(shared, members)
            done = (adam.step + 1) / steps
            warm = min(1.0, (adam.step + 1) / 100)
            adam.update(w, gradient, LEARNING_RATE * warm * 0.5 * (1.0 + np.cos(np.pi * done)))
        if epoch % SOURCES_EVERY == 0:
            miss = data.log10_viscosity - _curve(w, forward(w, f), data.t_k)[0]
            weights = _doubted(base, miss - offsets[:, source, None], source, doubt)
            offsets = _source_offsets(miss, weights, source)
    return w


def forward(w: Weights, f: Float32s) -> Float32s:
    """Outputs of nets, shape (nets, n, 2), from scaled features, shape (n, p)."""
    outputs: Float32s = _layers(w, f)[-1]
    return outputs
