"""What every test shares."""

import pytest


@pytest.fixture(scope="session", autouse=True)
def own_cache(tmp_path_factory):
    """Tests keep trained models in a folder of their own."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("cache")))
        yield
