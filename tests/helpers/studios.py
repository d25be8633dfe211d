"""Invented studios for measuring skill: a numerical film on a wall, with heavy-tailed deviations.

Not real kiln data, and not the learner's own structure: each piece is a conservative scheme of
two stirred layers on a grid, heat differs in degrees and not by a factor, glazes err in level and
in steepness, pairs bend the viscosity of the mixture, and every deviation has heavy tails.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from runpredict.model.features import FIRED_SHARE, typical_thickness_mm
from runpredict.physics import heat, melt, melt_properties
from runpredict.physics.chemistry import OXIDES, mole_fractions

GRAVITY = 9.81
CELLS = 40
FRONT_SHARE = 0.985  # the edge is where this share of the layer lies above
STILL_M = 5e-5  # a film thinner than this stays where it is
MOST_STEPS = 1500
ORACLE_DRAWS = 60
PER_FIRING = 8
# Weight percent about which this studio's glazes lie; common practice, no source.
MIDDLE_WT = {"SiO2": 60, "Al2O3": 12, "B2O3": 5, "Na2O": 3, "K2O": 3, "MgO": 2, "CaO": 11, "ZnO": 4}
POTS = {"mug": (95.0, 62.0, 88.0), "bowl": (75.0, 68.0, 70.0), "vase": (170.0, 80.0, 93.0)}


@dataclass(frozen=True)
class World:
    """Tables of a studio, and what became of its plan."""

    glazes: pd.DataFrame
    log: pd.DataFrame
    plan: pd.DataFrame
    past: np.ndarray  # (n,) whether any layer of each planned piece passed its foot
    oracle: np.ndarray  # (n,) the chance told by one who knows all that lasts
    run_mm: np.ndarray  # (rows of the plan,) how far each layer ran
    past_by_layer: np.ndarray  # (rows of the plan,)
    lasting: dict  # what lasts of this studio, which no log shows

    def fire(self, layers, rng):
        """Layers as a table, fired: their measured coats are what they are, all runs are read."""
        layers = layers.reset_index(drop=True)
        code = layers["glaze"].str.removeprefix("glaze ").astype(int)
        run_mm, past = _fire(rng, layers.assign(code=code, thickness_read=True), self.lasting)
        return layers.assign(
            past_foot=np.where(past, "yes", "no"), run_mm=np.where(past, np.nan, run_mm.round())
        )


def heavy(rng, spread, size=None, freedom=3):
    """Draws with heavy tails, `spread` about as wide as a normal's standard deviation."""
    return spread * np.clip(rng.standard_t(freedom, size), -6, 6) / 1.4


def run_films(lower_m, upper_m, thickness_m, mobility, bend):
    """Front of each of two stirred layers after a firing.

    Parameters
    ----------
    lower_m, upper_m, thickness_m, mobility : (n, 2)
        Mobility is density, gravity, slope and fluidity over the firing, of each melt alone.
    bend : (n,)
        Added to the log mobility of an even mixture.

    Returns
    -------
    run_m (n, 2), past (n, 2)
    """
    n = len(lower_m)
    length = upper_m.max(axis=1)
    cell = (length / CELLS)[:, None]
    top = length[:, None] - cell * np.arange(CELLS + 1)  # height above the foot, downwards
    covered = np.clip(
        (np.minimum(top[:, :-1, None], upper_m[:, None]) - np.maximum(top[:, 1:, None],
         lower_m[:, None])) / cell[:, :, None], 0.0, 1.0
    )  # fmt: skip
    depth = covered * thickness_m[:, None]
    start = depth.copy()
    out = np.zeros((n, 2))
    left = np.ones(n)
    log_mobility = np.log(np.maximum(mobility, 1e-30))
    active = np.arange(n)
    for _ in range(MOST_STEPS):
        if not len(active):
            break
        film = depth[active]
        total = film.sum(axis=2)
        share = film / np.maximum(total, 1e-12)[..., None]
        logs = (share * log_mobility[active, None]).sum(axis=2)
        logs += 4.0 * share[..., 0] * share[..., 1] * bend[active, None]
        speed = np.where(total > STILL_M, np.exp(logs) * total**2, 0.0)
        fastest = np.maximum(speed.max(axis=1), 1e-30)
        step = np.minimum(left[active], 0.6 * cell[active, 0] / fastest)
        moved = (speed / 3.0 * step[:, None])[..., None] * film
        gone = moved / cell[active][..., None]
        film = film - gone
        film[:, 1:] += gone[:, :-1]
        depth[active] = film
        out[active] += gone[:, -1]
        left[active] -= step
        active = active[left[active] > 1e-9]
    return _fronts(start, depth, out, cell, length, lower_m)


def _fronts(start, depth, out, cell, length, lower_m):
    mass = np.maximum(start.sum(axis=1), 1e-12)
    past = (out > (1 - FRONT_SHARE) * mass) & (start.sum(axis=1) > 0)

    def front(film):
        above = np.concatenate([np.zeros((len(film), 1, 2)), film.cumsum(axis=1)], axis=1)
        reached = (above >= FRONT_SHARE * mass[:, None]).argmax(axis=1)
        rows, layers = np.indices(reached.shape)
        before = np.maximum(reached - 1, 0)
        filled = above[rows, before, layers]
        here = np.maximum(film[rows, np.minimum(before, CELLS - 1), layers], 1e-12)
        return (before + (FRONT_SHARE * mass - filled) / here) * cell

    first, last = front(start), front(depth)
    room = np.maximum(length[:, None] - first, 1e-6)
    run = np.clip((last - first) / room, 0.0, 1.0) * lower_m
    return np.where(past, lower_m, run), past


def studio(seed, logged=300, planned=160, glaze_count=10, draws=ORACLE_DRAWS):
    """One invented studio.

    Returns
    -------
    World
    """
    rng = np.random.default_rng([2024, seed])
    glazes, truth = _glazes(rng, glaze_count)
    layers = _layers(rng, logged + planned, glazes)
    lasting = {
        "kiln_c": heavy(rng, 9.0),
        "hand": heavy(rng, 0.12),
        "bend": np.triu(heavy(rng, 0.7, (glaze_count, glaze_count)) + 0.4),
        "melt": rng.normal(0.0, 0.3),
        **truth,
    }
    run_mm, past = _fire(rng, layers, lasting)
    number = layers["piece"].str[1:].astype(int).to_numpy()
    any_past = np.bincount(number, past, logged + planned) > 0
    layers["past_foot"] = np.where(past, "yes", "no")
    read = ~past & (rng.random(len(layers)) < 0.6)
    layers["run_mm"] = np.where(read, np.round(run_mm), np.nan)
    told = layers["thickness_read"]
    layers["thickness_mm"] = layers["thickness_mm"].where(told)
    tables = layers.drop(columns=["thickness_read", "code"])
    is_plan = number >= logged
    plan = tables.loc[is_plan].assign(past_foot="", run_mm=np.nan).reset_index(drop=True)
    return World(
        glazes=glazes,
        log=tables.loc[~is_plan].reset_index(drop=True),
        plan=plan,
        past=any_past[logged:],
        oracle=_oracle(rng, layers.loc[is_plan], lasting, (planned, logged), draws),
        run_mm=run_mm[is_plan],
        past_by_layer=past[is_plan],
        lasting=lasting,
    )


def _glazes(rng, count):
    wt = pd.DataFrame(
        {oxide: middle * rng.lognormal(0.0, 0.28, count) for oxide, middle in MIDDLE_WT.items()}
    )
    wt["SiO2"] = MIDDLE_WT["SiO2"] * rng.lognormal(0.0, 0.05, count)
    wt = wt.mul(100 / wt.sum(axis=1), axis=0).reindex(columns=list(OXIDES)).round(2)
    names = [f"glaze {i}" for i in range(count)]
    truth = {
        "moles": mole_fractions(wt.fillna(0.0)),
        "level": heavy(rng, 0.3, count),
        "steep": heavy(rng, 0.002, count),
    }
    table = wt.assign(glaze=names, source="analysis", behaviour="")
    jars = rng.choice(count, count // 4, replace=False)
    log10 = melt.melt_curve(truth["moles"]).log10_pa_s(np.full((count, 1), 1215.0))[:, 0]
    words = np.array(["runny", "fluid", "stable", "stiff"])
    word = words[np.digitize(log10 + truth["level"], [2.2, 2.7, 3.3])]
    wrong = rng.random(count) < 0.25
    word = np.where(wrong, rng.choice(words, count), word)
    table.loc[jars, list(OXIDES)] = np.nan
    table.loc[jars, "source"] = "jar"
    table.loc[jars, "behaviour"] = word[jars]
    return table, truth


def _layers(rng, pieces, glazes):
    rows = []
    for i in range(pieces):
        firing = i // PER_FIRING
        day = np.random.default_rng([7, firing])
        cone, hold_min = str(day.choice(["5", "6", "7"])), float(day.choice([5, 10, 20]))
        pot = rng.choice(list(POTS))
        height, foot, wall = POTS[pot]
        method = rng.choice(["dip", "pour", "brush"])
        for layer in range(1 + (rng.random() < 0.55)):
            code = int(rng.integers(len(glazes)))
            coats = int(rng.integers(1, 4)) + (method == "brush")
            lower = rng.uniform(3, 20) if layer == 0 else height * rng.uniform(0.15, 0.75)
            rows.append(
                {
                    "piece": f"p{i}",
                    "firing": f"f{firing}",
                    "fired_on": str(np.datetime64("2020-01-01") + firing),
                    "body": f"body {i % 2}",
                    "cone": cone,
                    "hold_min": hold_min,
                    "wall_deg": wall,
                    "foot_mm": foot,
                    "layer": layer + 1,
                    "glaze": f"glaze {code}",
                    "method": method,
                    "coats": coats,
                    "lower_edge_mm": round(float(lower), 0),
                    "upper_edge_mm": height,
                    "code": code,
                    "thickness_read": bool(rng.random() < 0.3),
                }
            )
    table = pd.DataFrame(rows)
    typical = typical_thickness_mm(table["method"].tolist(), table["coats"].to_numpy(float))
    table["thickness_mm"] = (typical * np.exp(heavy(rng, 0.2, len(table)))).round(2).clip(0.05)
    return table


def _fire(rng, layers, lasting, scatter=None):
    """Run [mm] and whether each layer passed; draws firings, places, coats and drips anew."""
    piece = np.cumsum(layers["layer"].to_numpy() == 1) - 1
    firing = pd.factorize(layers["firing"])[0]
    degrees = (
        lasting["kiln_c"]
        + heavy(rng, 4.0, firing.max() + 1)[firing]
        + heavy(rng, 6.0, piece.max() + 1)[piece]
    )
    thick = layers["thickness_mm"].to_numpy()
    if scatter is not None:
        typical = typical_thickness_mm(layers["method"].tolist(), layers["coats"].to_numpy(float))
        anew = typical * np.exp(heavy(rng, scatter, len(layers)))
        thick = np.where(layers["thickness_read"], thick, anew)
    # The hand coats thicker than typical; a needle has seen that already.
    hand = np.where(layers["thickness_read"], 1.0, np.exp(lasting["hand"]))
    code = layers["code"].to_numpy()
    mobility = _mobility(layers, lasting, code, degrees)
    n = piece.max() + 1

    def grid(values):
        table = np.zeros((n, 2))
        table[piece, layers["layer"].to_numpy() - 1] = values
        return table

    codes = np.zeros((n, 2), dtype=int)
    codes[piece, layers["layer"].to_numpy() - 1] = code
    low, high = codes.min(axis=1), codes.max(axis=1)
    edges = [grid(1e-3 * layers[name].to_numpy()) for name in ("lower_edge_mm", "upper_edge_mm")]
    films = grid(1e-3 * FIRED_SHARE * thick * hand)
    speed = grid(mobility * np.exp(np.abs(heavy(rng, 0.3, n))[piece]))
    run_m, past = run_films(*edges, films, speed, lasting["bend"][low, high])
    at = (piece, layers["layer"].to_numpy() - 1)
    return 1e3 * run_m[at], past[at]


def _mobility(layers, lasting, code, degrees):
    """Of each layer's melt over its firing."""
    keys = layers[["cone", "hold_min"]].drop_duplicates().reset_index(drop=True)
    which = layers[["cone", "hold_min"]].merge(keys.reset_index(), how="left")["index"].to_numpy()
    ramp = np.full(len(keys), 60.0)
    peak = heat.cone_peak_c(keys["cone"].tolist(), ramp)
    firings = heat.firings_from_peak(peak, ramp, keys["hold_min"].to_numpy()).take(which)
    curve = melt.melt_curve(lasting["moles"][code])
    fluidity = heat.fluidity_per_pa(curve, firings, degrees)
    off = lasting["level"][code] + lasting["steep"][code] * (peak[which] + degrees - 1215.0)
    density = melt_properties.density_kg_m3(lasting["moles"][code], peak[which])
    slope = np.sin(np.radians(layers["wall_deg"].to_numpy()))
    return density * GRAVITY * slope * fluidity * 10.0**-off * np.exp(lasting["melt"] - 1.2)


def _oracle(rng, layers, lasting, counts, draws):
    planned, logged = counts
    number = layers["piece"].str[1:].astype(int).to_numpy() - logged
    passed = np.zeros(planned)
    for _ in range(draws):
        _, past = _fire(rng, layers, lasting, scatter=0.2)
        passed += np.bincount(number, past, planned) > 0
    return (passed + 0.5) / (draws + 1)
