"""The public names are all there, and each is documented."""

import inspect
import subprocess
import sys

import pytest
from helpers.processes import PATIENCE_S

import runpredict

PUBLIC = [
    "Answer",
    "BadInput",
    "Review",
    "TableWarning",
    "build_features",
    "check",
    "read_table",
    "review",
    "unity_formula",
    "viscosity_log10_pa_s",
    "viscosity_sd_log10",
    "write_table",
]


def test_the_public_list_is_the_one_that_is_promised():
    assert set(PUBLIC) <= set(runpredict.__all__)
    assert list(runpredict.__all__) == sorted(runpredict.__all__)


@pytest.mark.parametrize("name", runpredict.__all__)
def test_every_public_name_is_there_and_documented(name):
    member = getattr(runpredict, name)
    if name == "__version__":
        assert member.count(".") == 2
        return
    assert inspect.getdoc(member)
    if inspect.isfunction(member):
        assert inspect.signature(member).return_annotation != inspect.Signature.empty


def test_a_name_that_is_not_public_is_refused():
    with pytest.raises(AttributeError, match="no attribute 'checks'"):
        _ = runpredict.checks


@pytest.mark.parametrize(
    "first",
    [
        "",
        "import runpredict.answers.check",
        "import runpredict.words.answers",
        "runpredict.Answer",
    ],
)
def test_check_is_what_is_called_whatever_was_imported_before(first):
    code = f"import runpredict\n{first}\nassert runpredict.check.__name__ == 'check'"
    subprocess.run([sys.executable, "-c", code], check=True, timeout=PATIENCE_S)
