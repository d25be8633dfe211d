from runpredict.errors import BadInput, Fault


def test_fault_says_where_and_what():
    fault = Fault("glazes.csv", 7, "SiO2", '"sixty" is not a number; give weight percent.')
    assert str(fault) == (
        'glazes.csv, row 7, column SiO2: "sixty" is not a number; give weight percent.'
    )


def test_fault_of_a_whole_file_names_no_row():
    assert str(Fault("a.csv", None, None, "is empty.")) == "a.csv: is empty."


def test_bad_input_shows_the_first_twenty_and_keeps_all():
    bad = BadInput(Fault("a.csv", row, None, "is wrong.") for row in range(2, 27))
    lines = str(bad).splitlines()
    assert len(bad.faults) == 25
    assert len(lines) == 21
    assert lines[-1] == "... and 5 more"


def test_bad_input_of_twenty_hides_none():
    assert "more" not in str(BadInput([Fault("a", 2, None, "is wrong.")] * 20))
