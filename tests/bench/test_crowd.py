"""Twenty people at the page at once: nobody meets a fault, and what was confirmed is there."""

import random

from helpers.browser import served
from helpers.crowd import Person, at_once

from runpredict.commands.options import sample_folder
from runpredict.logbook.book import Logbook
from runpredict.logbook.forms import import_files

PEOPLE, ACTS = 20, 3


def test_twenty_people_at_once(tmp_path):
    import_files(sorted(sample_folder().glob("*.csv")), tmp_path)
    with served(tmp_path) as page:
        people = [Person(page.url) for _ in range(PEOPLE)]

        def visit(k):
            chance = random.Random(k)
            for _ in range(ACTS):
                people[k].act(chance, f"crowd {k}")

        at_once(lambda k=k: visit(k) for k in range(PEOPLE))
    assert [fault for person in people for fault in person.faults] == []
    assert all(person.taken_s for person in people)
    saved = {pot for person in people for pot in person.saved}
    with Logbook.open(tmp_path) as book:
        layers = book.layers()
    assert len(saved) >= 5
    assert sum(person.ticks for person in people) >= 3
    assert saved <= set(zip(layers["piece"], layers["firing"], strict=True))
