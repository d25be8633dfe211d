from runpredict.errors import BadInput, Fault


def test_fault_says_where_and_what():
    fault = Fault("glazes.csv", 7, "SiO2", '"sixty" is not a number; give weight percent.')
    assert str(fault) == (
        'glazes.csv, row 7, column SiO2: "sixty" is not a number; give weight percent.'
    )


def test_fault_of_a_whole_file_names_no_row():
    assert str(Fault("a.csv", None, None, "is empty.")) == "a.csv: is empty."


def test_bad_input_shows_the_first_twenty_and_keeps_all():
    bad = BadInput(Fault("a.csv", row, None, f"{row} is wrong.") for row in range(2, 27))
    lines = str(bad).splitlines()
    assert len(bad.faults) == 25
    assert len(lines) == 21
    assert lines[-1] == "... and 5 more"


def test_bad_input_of_twenty_hides_none():
    assert "more" not in str(BadInput(Fault("a", row, None, f"{row}.") for row in range(20)))


def test_what_several_rows_have_is_told_once():
    def told(*faults):
        return str(BadInput(faults))

    blank = [Fault("a.csv", row, "cone", "is blank.") for row in range(2, 27)]
    assert told(*blank) == "a.csv, rows 2, 3, 4 and 22 more, column cone: is blank."
    assert told(*blank[:2]) == "a.csv, rows 2 and 3, column cone: is blank."
    assert told(blank[0], blank[0]) == str(blank[0])
    labels = [Fault("plan", row, None, "is blank.", f"pot {row}") for row in range(3)]
    assert told(*labels) == "plan, index pot 0, pot 1 and pot 2: is blank."
    other = Fault("a.csv", 9, "foot_mm", "is blank.")
    whole = Fault("a.csv", None, "foot_mm", "is blank.")
    assert told(other, *blank[:2], whole).splitlines() == [
        str(other), "a.csv, rows 2 and 3, column cone: is blank.", str(whole)
    ]  # fmt: skip
