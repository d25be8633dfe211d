"""Pots as arrays, as every invented studio glazes and fires them, and as rows of a table.

Each array has a row a pot and, where layers differ, a column a layer; a layer that is not there
has glaze -1. Lengths in mm.
"""

from dataclasses import dataclass, field, fields, replace

import numpy as np
import pandas as pd

from runpredict.physics.heat import cone_peak_c

MOST_LAYERS = 3
METHODS = ("dip", "pour", "brush", "spray")
# Dry thickness of the first coat and of each further one; about what an invented hand puts on.
FIRST_MM = np.array([0.42, 0.38, 0.13, 0.10])
NEXT_MM = np.array([0.30, 0.26, 0.12, 0.09])
NEEDLE = 0.06  # standard deviation of the log of a coat about what a needle read
UNTOLD_RAMP_C_PER_H = 60.0
DAY_ONE = np.datetime64("2014-03-01")


@dataclass(frozen=True)
class Pots:
    """What a potter decides of each pot, and where it is fired."""

    form: np.ndarray  # (n,) words
    firing: np.ndarray  # (n,) number of the firing, from 0
    body: np.ndarray  # (n,) words
    cone: np.ndarray  # (n,) words
    hold_min: np.ndarray
    ramp_c_per_h: np.ndarray  # NaN where not told
    wall_deg: np.ndarray
    foot_mm: np.ndarray
    glaze: np.ndarray  # (n, 3) numbers
    method: np.ndarray  # (n, 3) numbers in METHODS
    coats: np.ndarray
    measured_mm: np.ndarray  # (n, 3) dry, NaN where no needle was used
    lower_mm: np.ndarray
    upper_mm: np.ndarray
    extra: dict = field(default_factory=dict)  # further columns of the table, (n,) or (n, 3) each
    hidden: dict = field(default_factory=dict)  # what only the kiln knows of each, the same

    def __len__(self):
        return len(self.form)

    @property
    def there(self):
        """(n, 3) which layers there are."""
        return self.glaze >= 0

    def take(self, rows):
        """The pots of these rows."""
        return joined([self], rows)

    def changed(self, **arrays):
        """The same pots with other arrays."""
        return replace(self, **arrays)


def joined(parts, rows=slice(None)):
    """Several `Pots` one after the other, and of those these rows."""

    def one(values):
        if isinstance(values[0], dict):
            return {name: one([part[name] for part in values]) for name in values[0]}
        return np.concatenate(values)[rows]

    return Pots(**{f.name: one([getattr(part, f.name) for part in parts]) for f in fields(Pots)})


def typical_mm(pots):
    """(n, 3) dry thickness of a coat by an ordinary hand; 0 where there is no layer."""
    told = FIRST_MM[pots.method] + NEXT_MM[pots.method] * (pots.coats - 1.0)
    return np.where(pots.there, told, 0.0)


def read_by_needle(rng, pots, share, hand, scatter):
    """The same pots, this share of their layers measured."""
    coat = typical_mm(pots) * hand * np.exp(scatter * rng.standard_normal(pots.glaze.shape))
    read = (rng.random(pots.glaze.shape) < share) & pots.there
    return pots.changed(measured_mm=np.where(read, coat.round(2).clip(0.03), np.nan))


def dry_mm(rng, pots, hand, scatter):
    """(n, 3) how thick each coat is in truth: as the needle read, or by the hand, drawn anew."""
    noise = rng.standard_normal(pots.glaze.shape)
    other = np.clip(rng.standard_t(4, pots.glaze.shape), -5, 5) / 1.3
    by_hand = typical_mm(pots) * hand * np.exp(scatter * other)
    by_needle = pots.measured_mm * np.exp(NEEDLE * noise)
    by_hand = by_hand * pots.hidden.get("thicker", 1.0)
    return np.where(pots.there, np.where(np.isnan(pots.measured_mm), by_hand, by_needle), 0.0)


def heat_steps(pots, off_c, below=(120.0, 80.0, 50.0, 25.0, 8.0), hold_steps=3):
    """A firing as steps in time.

    Returns
    -------
    (n, s) temperature [°C], (n, s) seconds at it, heating, held and cooling
    """
    ramp = np.where(np.isnan(pots.ramp_c_per_h), UNTOLD_RAMP_C_PER_H, pots.ramp_c_per_h)
    peak = np.empty(len(pots))
    for cone in np.unique(pots.cone):
        at = pots.cone == cone
        peak[at] = cone_peak_c([str(cone)] * int(at.sum()), ramp[at])
    bounds = np.concatenate([[150.0], 0.5 * (np.array(below[:-1]) + below[1:]), [0.0]])
    width = -np.diff(bounds)
    up = 3600.0 * width / ramp[:, None]
    down = np.broadcast_to(3600.0 * width[::-1] / 200.0, up.shape)
    hold = np.repeat(60.0 * pots.hold_min[:, None] / hold_steps, hold_steps, axis=1)
    lower = np.concatenate([below, np.zeros(hold_steps), below[::-1]])
    off_c = off_c + pots.hidden.get("hot_c", 0.0)
    return (peak + off_c)[:, None] - lower, np.concatenate([up, hold, down], axis=1)


def heavy(rng, spread, size=None, freedom=3):
    """Draws with heavy tails, `spread` about as wide as a normal's standard deviation."""
    return spread * np.clip(rng.standard_t(freedom, size), -6, 6) / 1.4


def as_table(pots, names, glaze_names, first=0, every_days=6):
    """Rows of the table `layers`, a plan: no results.

    Parameters
    ----------
    pots : Pots
    names, glaze_names : list of str
    first : int
        Number of the first firing, for its name and date.
    """
    row, layer = np.nonzero(pots.there)
    number = pots.firing[row] + first
    at = (row, layer)
    columns = {
        "piece": np.array(names, dtype=object)[row],
        "form": pots.form[row],
        "firing": [f"glaze {k + 1}" for k in number],
        "fired_on": (DAY_ONE + every_days * number).astype(str),
        "body": pots.body[row],
        "cone": pots.cone[row],
        "hold_min": pots.hold_min[row],
        "ramp_c_per_h": pots.ramp_c_per_h[row],
        "wall_deg": pots.wall_deg[row].round(),
        "foot_mm": pots.foot_mm[row].round(),
        "layer": layer + 1,
        "glaze": np.array(glaze_names, dtype=object)[pots.glaze[at]],
        "method": np.array(METHODS)[pots.method[at]],
        "coats": pots.coats[at],
        "thickness_mm": pots.measured_mm[at],
        "lower_edge_mm": pots.lower_mm[at],
        "upper_edge_mm": pots.upper_mm[at],
        "run_mm": np.nan,
        "past_foot": "",
        "note": "",
    }
    extra = {name: v[row] if v.ndim == 1 else v[at] for name, v in pots.extra.items()}
    return pd.DataFrame(columns | extra)
