"""A program whose log is never done being learned; `python -m helpers.endless_learning`."""

import time

from runpredict.bench.learning import learn_apart


class EndlessTables:
    """Whoever looks at them waits for ever."""

    def __getattr__(self, name):
        if name.startswith("__"):
            raise AttributeError(name)
        time.sleep(10**6)


if __name__ == "__main__":
    learn_apart(EndlessTables(), 0.05, lambda: False)
