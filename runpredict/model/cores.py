"""Work that splits, on as many cores as there are, with the same answer on any number of them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager
from multiprocessing import current_process
from typing import Any, TypeVar

T = TypeVar("T")


def cores_for(worth_splitting: bool) -> int:
    """How many processes to split work over.

    One where the work is too small for the second or so that a process takes to start, and in a
    process that may start none, as the one that learns for the page. `LOKY_MAX_CPU_COUNT` in the
    environment gives fewer than there are.
    """
    if not worth_splitting or current_process().daemon:
        return 1
    import joblib  # noqa: PLC0415 - a small check is done before it has loaded

    return int(joblib.cpu_count())


def on_cores(
    function: Callable[..., T], tasks: Sequence[tuple[Any, ...]], cores: int
) -> Iterator[T]:
    """What a function of a module makes of each task, in their order, as soon as it is there."""
    if cores < 2 or len(tasks) < 2:
        yield from (function(*task) for task in tasks)
        return
    from joblib import Parallel, delayed  # noqa: PLC0415

    parallel = Parallel(n_jobs=min(cores, len(tasks)), return_as="generator")
    yield from parallel(delayed(function)(*task) for task in tasks)


def single_threaded() -> AbstractContextManager[Any]:
    """Linear algebra on one thread: on several the last digit of a sum hangs on their number."""
    from threadpoolctl import threadpool_limits  # noqa: PLC0415 - comes with scikit-learn

    limits: AbstractContextManager[Any] = threadpool_limits(1, user_api="blas")
    return limits
