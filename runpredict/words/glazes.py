"""What the chemistry of a glaze says, what to be careful of in it, and what it may be made of."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable, Sequence

import pandas as pd

from runpredict.datafiles import OXIDES
from runpredict.physics.cautions import Caution, cautions_of, watched_metals
from runpredict.physics.chemistry import mole_fractions, unity_formula
from runpredict.physics.heat import SLOW_C_PER_H, cone_peak_c
from runpredict.physics.lots import viscosity_at
from runpredict.physics.melt import melt_curve
from runpredict.physics.solids import solids_of
from runpredict.units import F_PER_C, LengthUnits, format_temperature
from runpredict.words.basis import flow_word
from runpredict.words.plain import WIDTH, columns, paragraph

ALWAYS = (
    "Only a laboratory test of the fired glaze tells whether it is fit for food. Dry glaze is "
    "silica dust too: weigh, mix and spray with a fitted mask on, fire with the kiln vented, and "
    "follow your local codes."
)
USUAL_CONE = "6"  # where a glaze is told that names no cone of its own
VISCOSITY_AT = ("06", "04", "1", "4", "6", "8", "10")
"""Cones, from earthenware to stoneware, at whose ends a melt is told."""
MAIN_WT = 0.5
"""An oxide below this is left out of the list; it counts in the sums all the same."""


def glaze_text(glaze: pd.Series, units: LengthUnits = "mm", materials: Iterable[str] = ()) -> str:
    """Unity formula of one glaze, its viscosity over temperature, and what to be careful of.

    Parameters
    ----------
    glaze : Series
        A row of the glazes with its oxides worked out [wt %], and its `lot_spread_c`. [°C]
    materials : iterable of str
        Raw materials of its recipe.
    """
    oxides = glaze[list(OXIDES)].astype(float)
    if oxides.isna().all():
        word = glaze["behaviour"] or "none"
        return (
            f"{glaze['glaze']}: a jar, so its chemistry is not known (behaviour word: {word}).\n"
            "It is taken for an ordinary mid-range glaze with a wide range. A few test tiles with "
            "their runs measured will teach more than any word on the label.\n\n"
            + paragraph(cautions_text(None))
        )
    unity = unity_formula(oxides.fillna(0.0))
    shown = [(name, unity[name]) for name in OXIDES if unity[name] >= 0.0005]
    totals = [
        ("alkalis (R2O)", unity["alkali_mol"]),
        ("alkaline earths (RO)", unity["alkaline_earth_mol"]),
        ("zinc", unity["zinc_mol"]),
        ("silica to alumina", unity["silica_alumina_ratio"]),
    ]
    moles = mole_fractions(oxides.fillna(0.0))
    curve, solids = melt_curve(moles), solids_of(moles)
    cone = glaze["matures_cone"] or USUAL_CONE
    cones = [cone, *VISCOSITY_AT]
    at = cone_peak_c(cones, [SLOW_C_PER_H] * len(cones))
    log10, sd = (each[0] for each in viscosity_at(curve, solids, [glaze["lot_spread_c"]], at))
    error = 1.645 * sd
    low, middle, high = 10 ** (log10 - error), 10**log10, 10 ** (log10 + error)
    viscosity = [
        [cones[i], format_temperature(at[i], units), flow_word(log10[i], True, ""),
         f"{_rough(middle[i])} Pa s", f"{_rough(low[i])} to {_rough(high[i])}"]
        for i in range(1, len(cones))
    ]  # fmt: skip
    stiffest, usual, readiest = (
        flow_word(v, True, "") for v in (log10[0] + error[0], log10[0], log10[0] - error[0])
    )
    span = "" if readiest == stiffest else f", {readiest} to {stiffest}"
    parts = [
        paragraph(
            f"{glaze['glaze']}: a {usual} melt at cone {cone}, {format_temperature(at[0], units)}: "
            f"about {_rough(middle[0])} Pa s, 9 times in 10 between {_rough(low[0])} and "
            f"{_rough(high[0])}{span}."
        ),
        "Unity formula (moles, fluxes sum to 1)",
        columns(["oxide", "moles"], [[name, f"{value:.3f}"] for name, value in shown]),
        columns(["in all", ""], [[name, f"{value:.2f}"] for name, value in totals]),
        columns(["cone", "temperature", "melt", "viscosity", "9 times in 10 within"], viscosity),
    ]
    if bool(curve.outside[0]):
        parts.append("This melt is unlike any that was measured: take the numbers as a guess.")
    counts = glaze["source"] == "recipe"
    if counts:
        parts.append(paragraph(lots_text(float(glaze["lot_spread_c"]))))
    cautions = cautions_of(oxides, materials if counts else ())
    parts.append(paragraph(cautions_text(cautions)))
    return "\n\n".join(parts)


def _rough(number: float) -> str:
    """To two figures: no melt is known better."""
    return f"{float(f'{number:.1e}'):,.10g}"


def lots_text(spread_c: float) -> str:
    """How far a recipe shifts from lot to lot of its raw materials, as a sentence.

    Parameters
    ----------
    spread_c : float
        As `lots.lot_spread_c` returns. [°C]
    """
    if spread_c < 0.5:
        return "Lots of its raw materials hardly differ, or their own analyses are given."
    return (
        f"New lots of its raw materials shift it by about ±{spread_c:.0f} °C "
        f"(±{F_PER_C * spread_c:.0f} °F), as lots usually differ; that is in the ranges told."
    )


def cautions_text(cautions: Sequence[Caution] | None) -> str:
    """Metals to be careful of, then what holds for every glaze.

    Parameters
    ----------
    cautions : sequence of Caution or None
        As `cautions_of` returns; None for a jar, whose chemistry is not known.

    Examples
    --------
    >>> print(cautions_text([Caution("cobalt", "CoO", 1.2, "harmful dust")])[:51])
    Take care, it holds cobalt (1.2 % CoO): harmful dus
    """
    if cautions is None:
        return f"Which metals it holds stands on the jar's label and safety sheet. {ALWAYS}"
    if cautions:
        return f"Take care, it holds {'; '.join(map(_told, cautions))}. {ALWAYS}"
    *others, last = watched_metals()
    return (
        f"It holds no more than a trace of any metal this tool looks for ({', '.join(others)} and "
        f"{last}); that does not make it safe. {ALWAYS}"
    )


def _told(caution: Caution) -> str:
    if math.isnan(caution.share_wt):
        share = "by the name of a material"
    else:
        share = f"{caution.share_wt:.2g} % {caution.oxide}"
    return f"{caution.metal} ({share}): {caution.harm}"


def materials_text(materials: pd.DataFrame) -> str:
    """Raw materials, a paragraph each, under a heading for each run of one kind.

    Parameters
    ----------
    materials : DataFrame
        As `materials.list_materials` returns. [wt %]
    """
    lines: list[str] = []
    kind = ""
    for _, row in materials.iterrows():
        if row["kind"] != kind:
            kind = row["kind"]
            lines.append(f"== {kind} ==")
        lines.append(_paragraph(row))
    return "\n".join(lines)


def _paragraph(row: pd.Series) -> str:
    shares = row[list(OXIDES)].astype(float)
    main = shares[shares >= MAIN_WT].sort_values(ascending=False, kind="stable")
    oxides = ", ".join(f"{oxide} {wt:.3g}" for oxide, wt in main.items()) or "no oxide: burns off"
    lost = row["loss_on_ignition"]
    if lost > 0:
        oxides += f"; loses {lost:.3g} on firing"
    elif lost < 0:
        oxides += f"; takes up {-lost:.3g} on firing"
    if row["lot_spread_pct"] > 0:
        oxides += f"; lots differ by ±{row['lot_spread_pct']:g}\u00a0%"
    lines = textwrap.wrap(f"{row['material']}: {oxides}", WIDTH, subsequent_indent="    ")
    if row["also"]:
        lines += _indented(f"also called {row['also']}")
    return "\n".join([*lines, *_indented(f"source: {row['source'] or 'not given'}")])


def _indented(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent="    ", subsequent_indent="    ")
