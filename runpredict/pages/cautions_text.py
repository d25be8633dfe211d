"""What to be careful of in a glaze, in words."""

from __future__ import annotations

import math
from collections.abc import Sequence

from runpredict.physics.cautions import Caution, watched_metals

ALWAYS = (
    "Only a laboratory test of the fired glaze tells whether it is fit for food. Dry glaze is "
    "silica dust too: weigh, mix and spray with a fitted mask on, fire with the kiln vented, and "
    "follow your local codes."
)


def cautions_text(cautions: Sequence[Caution] | None) -> str:
    """Metals to be careful of, then what holds for every glaze.

    Parameters
    ----------
    cautions : sequence of Caution or None
        As `cautions_of` returns; None for a jar, whose chemistry is not known.

    Returns
    -------
    str

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
