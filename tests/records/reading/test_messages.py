import pickle

from cropload.records.reading.faults import Fault, RecordsError, fault_list


def fault(row, rule="must be above 0", value="-1", file="blocks.csv"):
    return Fault(file, row, "row_spacing_m", value, rule, "Correct the value.")


def test_long_lists_are_shortened_but_kept():
    error = RecordsError(fault(row) for row in range(2, 44))
    assert "and 37 more like it" in str(error)
    assert "42 faults" in str(error)
    assert len(error.faults) == 42


def test_lines_fit_eighty_columns():
    long = fault(3, rule="must be " + "very " * 40 + "good", value="x" * 500)
    lines = str(RecordsError([long, fault(4)])).splitlines()
    assert max(map(len, lines)) <= 80


def test_many_kinds_of_fault_are_shortened():
    text = fault_list([fault(2, rule=f"rule {number}") for number in range(60)])
    assert "and 20 more faults of other kinds" in text


def test_control_characters_are_made_visible():
    text = str(fault(2, value="a\x1b[31m\n"))
    assert "\x1b" not in text
    assert r"\x1b" in text


def test_one_fault_in_a_sentence():
    assert str(fault(7)) == (
        "blocks.csv, column row_spacing_m, row 7: '-1': must be above 0. Correct the value."
    )


def test_errors_can_be_sent_between_processes():
    error = RecordsError([fault(2)], opening="Nothing was added")
    again = pickle.loads(pickle.dumps(error))
    assert (str(again), again.faults) == (str(error), error.faults)
