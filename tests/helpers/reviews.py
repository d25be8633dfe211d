"""Pages over a log that was looked back on, without the time that learning takes."""

from contextlib import contextmanager
from dataclasses import replace
from types import SimpleNamespace
from unittest import mock

import pandas as pd


@contextmanager
def reviewed(app, predicted_seen):
    """The pages as after learning that told so of these layers before their firing was seen."""
    learner = app.extensions["session"].studio.learner
    review = SimpleNamespace(predicted_seen=pd.DataFrame(predicted_seen))
    with mock.patch.object(learner, "taught", replace(learner.taught, review=review)):
        yield
