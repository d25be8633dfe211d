"""The number and the word beside it follow one rule, whatever is tolerated."""

import numpy as np
import pytest

from runpredict.words.pots import VERDICTS, risk_words, tone


@pytest.mark.parametrize("tolerance", [0.01, 0.02, 0.05, 0.1, 0.2])
def test_one_number_has_one_word_beside_it(tolerance):
    words = {}
    for chance in np.linspace(0.0, 0.45, 4501):
        words.setdefault(risk_words(chance, tolerance), set()).add(tone(chance, tolerance))
    assert all(len(tones) == 1 for tones in words.values())
    assert set.union(*words.values()) == {"fits", "near"} <= VERDICTS.keys()
