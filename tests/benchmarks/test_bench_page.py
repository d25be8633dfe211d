"""How quick the bench page is: one who types, and twenty people at once; run with -m slow."""

import random
import statistics
import threading
from functools import partial

import numpy as np
import pandas as pd
import pytest
from helpers.browser import Page
from helpers.crowd import Person, at_once, pot, token_of

from runpredict.commands.options import sample_folder
from runpredict.logbook.forms import import_files

pytestmark = [
    pytest.mark.slow,
    pytest.mark.filterwarnings("ignore::runpredict.errors.TableWarning"),
]

LOGGED_PIECES = 1000
PEOPLE = 20
LASTING_S, P95_S = 60.0, 1.0
THINKING_S = (1.0, 3.0)
"""Between two things that one person does, 2 s in the mean."""


@pytest.fixture(scope="module")
def studio(tmp_path_factory):
    """A page over the sample studio with a thousand logged pieces, learned."""
    folder = tmp_path_factory.mktemp("large")
    log = pd.read_csv(sample_folder() / "log.csv")
    pieces = log.groupby(["piece", "firing"], sort=False).ngroups
    copies = [
        log.assign(firing=log["firing"] + f", year {k}", fired_on="")
        for k in range(-(-LOGGED_PIECES // pieces))
    ]
    many = pd.concat(copies, ignore_index=True)
    number = many.groupby(["piece", "firing"], sort=False).ngroup()
    tables = folder / "tables"
    tables.mkdir()
    many.loc[number < LOGGED_PIECES].to_csv(tables / "log.csv", index=False)
    files = [
        sample_folder() / f"{name}.csv" for name in ("glazes", "recipes", "schedules", "layers")
    ]
    import_files([*files, tables / "log.csv"], folder)
    with Page(folder) as page:
        page.learned()
        yield page


def test_the_answer_keeps_up_with_typing(studio, capsys):
    person = Person(studio.url)
    token = token_of(person.get("/pot"))
    person.taken_s.clear()
    for edge in range(20, 80):
        text = person.post("/pot/answer", pot(token, "mug", edge))
        assert 'class="number"' in text
    median = statistics.median(person.taken_s)
    with capsys.disabled():
        print(f"\nanswer beside the form: median {1e3 * median:.0f} ms")
    assert median <= 0.100


def live(person, stop, chance, name):
    """One person's visit."""
    stop.wait(chance.uniform(0.0, THINKING_S[0]))
    while not stop.is_set():
        person.act(chance, name)
        stop.wait(chance.uniform(*THINKING_S))


def test_twenty_people_are_answered_within_a_second(studio, capsys):
    people = [Person(studio.url) for _ in range(PEOPLE)]
    stop = threading.Event()
    threading.Timer(LASTING_S, stop.set).start()
    at_once(
        partial(live, person, stop, random.Random(k), f"crowd {k}")
        for k, person in enumerate(people)
    )
    taken = np.concatenate([person.taken_s for person in people])
    p95 = float(np.quantile(taken, 0.95))
    with capsys.disabled():
        print(
            f"\n{PEOPLE} people for {LASTING_S:.0f} s: {len(taken)} requests, median "
            f"{1e3 * np.median(taken):.0f} ms, p95 {1e3 * p95:.0f} ms"
        )
    assert [fault for person in people for fault in person.faults] == []
    assert p95 < P95_S
