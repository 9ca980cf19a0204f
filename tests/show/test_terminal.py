"""Text tables: they fit, they keep every word, and they measure text as terminals do."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cropload.show.terminal import (
    Column,
    paragraph,
    printable,
    screen_width,
    text_table,
    text_width,
    words,
    wrap_text,
)
from cropload.show.wording import percent
from cropload.show.wording import significant as figure

#: Words as names of blocks may hold them: several scripts, wide signs, combining marks.
NAMES = st.text(
    st.sampled_from("abcXYZ019-'éßüжЮא葡萄園ぶどう e\u0301"), min_size=1, max_size=50
).filter(lambda text: text.strip())


@pytest.mark.parametrize(
    "text",
    ["Riesling", "葡萄園", "e\u0301", "Южный склон", "ぶどう", "ｗｉｄｅ", "שמש", "", "a 園 b"],
)
def test_width_is_that_of_a_general_purpose_library(text):
    """Against wcwidth, which follows the tables of the Unicode Standard."""
    wcwidth = pytest.importorskip("wcwidth")
    assert text_width(text) == wcwidth.wcswidth(text)


@given(NAMES, st.integers(2, 40))
def test_wrapping_fits_and_loses_nothing(text, width):
    lines = wrap_text(text, width)
    assert all(text_width(line) <= width for line in lines)
    assert "".join("".join(lines).split()) == "".join(text.split())


def test_a_per_cent_sign_stays_with_its_number():
    assert wrap_text("a chance of 26 % at most", 14) == ["a chance of", "26 % at most"]


@given(
    st.lists(st.tuples(NAMES, NAMES, NAMES), min_size=1, max_size=4),
    st.integers(1, 9),
    st.integers(40, 120),
)
def test_a_table_fits_and_keeps_every_cell(names, numbers, width):
    columns = [words("block"), *(Column(f"figure {n}", "t/ha") for n in range(numbers))]
    columns += [words("origin"), words("told")]
    rows = [[block, *["123.4 (99.9-151.2)"] * numbers, a, b] for block, a, b in names]
    text = text_table(columns, rows, width)
    assert all(text_width(line) <= width for line in text.splitlines())
    assert text.count("123.4 (99.9-151.2)") == numbers * len(names)
    signs = set("".join("".join(row[-2:]) for row in rows).split())
    assert all(sign in text for word in signs for sign in word)


def test_numbers_stand_at_the_right_under_their_unit():
    text = text_table(
        [words("plan"), Column("crop", "t/ha"), Column("buds")],
        [["3x8+3x2", "8.0", 30], ["24x2", "10.4", 48]],
        80,
    )
    assert text == (
        "plan     crop  buds\n"
        "         t/ha\n"
        "-------------------\n"
        "3x8+3x2   8.0    30\n"
        "24x2     10.4    48"
    )


def test_words_are_broken_before_the_table_is_split():
    rows = [["Long Acre", "9.9", "other blocks of the same variety on this estate, six seasons"]]
    text = text_table([words("block"), Column("crop"), words("came from")], rows, 50)
    assert "\n\n" not in text
    assert text.splitlines()[2].startswith("Long Acre   9.9  other")


def test_a_table_too_wide_is_split_with_its_first_column_again():
    columns = [words("block"), *(Column(f"c{n}") for n in range(12))]
    parts = text_table(columns, [["North", *["1234567"] * 12]], 60).split("\n\n")
    assert len(parts) == 2
    assert all(part.startswith("block") for part in parts)
    assert all("North" in part for part in parts)
    assert [len(part.split("\n")[0].split()) for part in parts] == [7, 7]


def test_columns_that_each_need_a_table_of_their_own():
    rows = [["North", "1" * 30, "2" * 30]]
    text = text_table([words("block"), Column("a"), Column("b")], rows, 40)
    assert text.count("North") == 2


def test_a_missing_cell_is_a_dash_and_no_row_is_no_fault():
    assert text_table([words("a"), Column("b")], [["x", None]], 80).splitlines()[-1] == "x  -"
    assert text_table([words("a"), Column("b")], [], 80).splitlines() == ["a  b", "----"]


@given(st.text(max_size=60))
def test_printable_text_commands_no_terminal(text):
    shown = printable(text, keep="")
    for code in (*range(0x20), 0x7F, *range(0x80, 0xA0), 0x202E, 0x2066, 0xFEFF):
        assert chr(code) not in shown
    assert printable(shown, keep="") == shown


def test_printable_leaves_letters_of_all_scripts_alone():
    text = "Süd-Hang «Ж» 葡萄 می\u200cخواهم"
    assert printable(text) == text


def test_a_cell_cannot_start_a_line_of_its_own():
    text = text_table([words("a"), Column("b")], [["x\ny", "1"]], 80)
    assert "x\\ny" in text


@pytest.mark.parametrize(
    ("value", "digits", "shown"),
    [
        (1234.5, 3, "1,230"),
        (0.00123, 2, "0.0012"),
        (9.996, 3, "10.00"),
        (12, 3, "12.0"),
        (-4.56, 2, "-4.6"),
        (float("inf"), 3, "-"),
        (None, 3, "-"),
    ],
)
def test_figures_are_rounded_to_their_digits(value, digits, shown):
    assert figure(value, digits) == shown


def test_shares_as_per_cent():
    assert [percent(share) for share in (0, 0.001, 0.5, 1)] == ["0 %", "under 1 %", "50 %", "100 %"]


def test_further_lines_of_a_paragraph_stand_under_its_first_word():
    assert paragraph("one two three", "- ", 9) == "- one two\n  three"


def test_what_is_no_terminal_has_80_columns(monkeypatch, tmp_path):
    monkeypatch.setenv("COLUMNS", "200")
    with (tmp_path / "out.txt").open("w") as file:
        assert screen_width(file) == 80


def test_a_share_of_half_a_per_cent_is_not_nothing():
    assert [percent(share) for share in (0.0, 0.005, 0.0051)] == ["0 %", "under 1 %", "1 %"]
