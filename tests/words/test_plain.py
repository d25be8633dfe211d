"""Plain text for a terminal: what must not be parted is not."""

import pytest

from runpredict.words.plain import paragraph

COMMANDS = [
    "runpredict record --firing 'Old Nan' --logbook /home/a-b/c-d",
    'runpredict record --firing "Two-Moons and more" --past-foot no',
    f"runpredict check --logbook {'x' * 120}",
]


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize("before", [0, 7, 60, 95])
def test_a_command_to_copy_stands_on_one_line(command, before):
    text = paragraph(f"{'word ' * (before // 5)}{command} asks for them. {'and so on ' * 10}")
    assert sum(command in line for line in text.splitlines()) == 1
    assert " ".join(text.split()).startswith(f"{'word ' * (before // 5)}{command} asks")
