"""What every test shares."""

import os

import pytest
from hypothesis import settings

# Machines are slow at times; and what lands should not hang on the luck of one run.
settings.register_profile(
    "steady",
    deadline=None,
    derandomize="CI" in os.environ,
    max_examples=int(os.environ.get("RUNPREDICT_EXAMPLES", "100")),
    print_blob=True,
)
settings.load_profile("steady")


@pytest.fixture(scope="session", autouse=True)
def own_cache(tmp_path_factory):
    """Tests keep trained models in a folder of their own."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("cache")))
        yield
