"""What most tests of the pages share: the invented studio without learning, and a visitor."""

import pytest
from helpers.bench import Visitor, bench


@pytest.fixture(scope="module")
def app(tmp_path_factory):
    with bench(tmp_path_factory.mktemp("none"), learning=False) as made:
        yield made


@pytest.fixture
def visitor(app):
    return Visitor(app)
