"""Physics and rules of thumb: the answer without a log."""

from __future__ import annotations

from runpredict.model.chances import Chances
from runpredict.model.stacks import Stacks
from runpredict.model.studio import Studio


class RulesPredictor:
    """What is expected of any studio, see `priors`."""

    basis = "rules"
    studio = Studio()

    def seen(self) -> None:
        """No log, no layers."""

    def chances(self, stacks: Stacks) -> Chances:
        """What is expected of these pieces."""
        return self.studio.chances(stacks)
