"""What a studio is willing to do is read as it was kept, and refused where it is no such thing."""

import pytest

from runpredict.answers.willing import (
    AS_DELIVERED,
    FILE_NAME,
    KINDS,
    Willing,
    checked_costs,
    checked_kinds,
    keep_willing,
    kept_willing,
)
from runpredict.errors import BadInput


def test_what_is_kept_comes_back(tmp_path):
    assert kept_willing(tmp_path) == AS_DELIVERED
    for willing in (Willing(frozenset({"wax", "dish"}), 35.0, 2.5, 0.0), Willing(frozenset()),
                    AS_DELIVERED.tolerating("June show", 0.02).tolerating("b", 0.1)):  # fmt: skip
        keep_willing(tmp_path, willing)
        assert kept_willing(tmp_path) == willing


SPOILT = ("", "{}", "[]", '{"changes": 3}', "\x00",
          '{"changes": ["bake"], "lost": 1, "cookie": 1, "reglaze": 1}',
          '{"changes": [], "lost": 1, "cookie": 1, "reglaze": 1, "tolerances": {"June": 2}}',
          '{"changes": [], "lost": 1, "cookie": 1, "reglaze": 1, "tolerances": [1]}',
          '{"changes": [], "lost": -1, "cookie": 1, "reglaze": 1}')  # fmt: skip


@pytest.mark.parametrize("text", SPOILT)
def test_a_spoilt_file_is_refused_in_a_sentence(tmp_path, text):
    (tmp_path / FILE_NAME).write_text(text)
    with pytest.raises(BadInput, match="is not as it was written"):
        kept_willing(tmp_path)


def test_only_known_changes_and_three_numbers_are_taken():
    assert checked_kinds(["WAX", "", " coats "]) == {"wax", "coats"}
    with pytest.raises(BadInput, match=f'"bake" is no change.*{", ".join(KINDS)}'):
        checked_kinds(["wax", "bake"])
    for words in (["20", "1"], ["20", "1", "x"], ["0", "1", "1"], ["20", "0", "1"], ["1"] * 4):
        with pytest.raises(BadInput, match="give three numbers"):
            checked_costs(words)
