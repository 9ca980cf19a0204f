"""A clean estate, spoiled by any chain of habits, comes back whole or asks; never otherwise.

Where it asks, the right answers bring it back whole.
"""

import length
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cropload import import_workbook, read_records
from tests.records.importing.folders import differences, write_clean
from tests.records.importing.spoiler import (
    FORMS,
    HABITS,
    LOCALES,
    WORDS,
    Spoiler,
    clean_of,
    estate,
)


def comes_back(seed, spoiler, folder, south=False):
    """Return the questions asked, once the estate came back whole; None where some stay open."""
    tables = estate(seed, south)
    spoiler.answers["hemisphere"] = "south" if south else "north"
    (folder / "files").mkdir(parents=True)
    files = spoiler.write(tables, folder / "files")
    first = import_workbook(files, folder / "new")
    right = {each.id: spoiler.answer(each) for each in first.questions if spoiler.answer(each)}
    found = import_workbook(files, folder / "new", right) if right else first
    if found.questions:
        return None
    clean = write_clean(clean_of(tables), folder / "clean")
    assert not differences(read_records(found.write()), clean)
    return [question.id for question in first.questions]


#: Four growers beside those of the messy books: name -> seed, habits, language, locale, form.
_UNITS = ("units in headers", "units in brackets")
BOOKS = {
    "a tidy Frenchman": (
        *(3, (*_UNITS, "two titles", "decimal commas", "totals", "remarks", "a sheet a season")),
        *("french", "southern", ".ods"),
    ),
    "a hurried American": (
        *(8, (*_UNITS, "short varieties", "capitals", "careless spelling", "dates as text")),
        *("english", "american", ".xls"),
    ),
    "a Bavarian with one sheet": (
        *(11, (*_UNITS, "two titles", "tables below", "tables side by side", "other units")),
        *("german", "continental", ".xlsx"),
    ),
    "a cooperative's export": (
        *(14, (*_UNITS, "blank column", "plan in columns", "names left blank below", "totals")),
        *("spanish", "continental", ".csv"),
    ),
}


@pytest.mark.parametrize("name", BOOKS)
def test_four_more_growers_books_come_in_whole(name, tmp_path):
    seed, habits, language, locale, form = BOOKS[name]
    asked = comes_back(seed, Spoiler(set(habits), seed, language, locale, form), tmp_path)
    assert asked is not None
    assert len(asked) <= 5


@pytest.mark.parametrize("habit", HABITS)
def test_each_habit_alone_comes_back_whole(habit, tmp_path):
    seed = HABITS.index(habit)
    habits = {habit, *_UNITS, "two titles"}
    language = list(WORDS)[seed % len(WORDS)]
    spoiler = Spoiler(habits, seed, language, list(LOCALES)[seed % 3], FORMS[seed % 3])
    assert comes_back(seed, spoiler, tmp_path) is not None


@pytest.mark.long
@settings(max_examples=length.repeats(400, 25))
@given(
    seed=st.integers(0, 10**6),
    habits=st.sets(st.sampled_from(HABITS), max_size=9),
    language=st.sampled_from(list(WORDS)),
    locale=st.sampled_from(list(LOCALES)),
    form=st.sampled_from(FORMS),
    south=st.booleans(),
)
def test_any_chain_of_habits_comes_back_whole_or_asks(
    tmp_path_factory, seed, habits, language, locale, form, south
):
    spoiler = Spoiler(habits, seed, language, locale, form)
    comes_back(seed, spoiler, tmp_path_factory.mktemp("book"), south)
