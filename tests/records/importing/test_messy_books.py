"""Growers' own workbooks go in whole, with few questions; what must not be guessed is asked."""

from datetime import date

import pytest

from cropload import import_workbook, read_records
from cropload.errors import Unanswered
from tests.records.importing.folders import brought_in, differences, write_clean
from tests.records.importing.messy_books import CASES, MUST_ASK
from tests.records.importing.messy_case import csv, write_xlsx

#: Case -> {name of a question: answer}, as its ``asked`` says in words.
ANSWERS = {
    "casa": {"vines of a crop a vine": "planted"},
    "ranch": {"currency": "USD"},
    "weingut": {"what a loss is a share of": "crop"},
}
#: Case -> name of its one question, the right answer, the wrong one.
ASKED = {
    "day_or_month_first": ("order of dates", "day/month", "month/day"),
    "thousand_or_decimal": ("decimal sign", "decimal comma", "comma between thousands"),
    "tonnes_or_tons": ("unit of the crop, Net", "short tons", "t"),
    "which_hill": ("block Hill", "Hill Foot", "Hill Top"),
    "year_of_pruning": ("year of pruning", "winter", "harvest"),
}
_BY_NAME = {"argvalues": CASES, "ids": [case.name for case in CASES]}
_TO_ASK = {"argvalues": MUST_ASK, "ids": [case.name for case in MUST_ASK]}


def _files(case, folder):
    folder.mkdir()
    return case.write(folder)


@pytest.mark.parametrize("case", **_BY_NAME)
def test_it_comes_in_whole(case, tmp_path):
    files = _files(case, tmp_path / "files")
    before = [file.read_bytes() for file in files]
    answers = ANSWERS.get(case.name, {})
    asked = {question.id for question in import_workbook(files).questions}
    assert len(asked) <= min(5, len(case.asked))
    assert asked <= set(answers)
    found = import_workbook(files, tmp_path / "new", answers)
    got = read_records(found.write())
    assert not differences(got, write_clean(case.clean, tmp_path / "clean"))
    told = " ".join([*found.left_out.to_numpy().ravel(), *found.notes])
    assert [text for text in case.left_out if text not in told] == []
    assert [file.read_bytes() for file in files] == before


def test_prices_go_on_where_a_folder_has_a_table_of_them(tmp_path):
    blocks = "block,variety,row_spacing_m,vine_spacing_m,vines\nNorth,Riesling,2,1.2,900\n"
    old = {"blocks": blocks, "prices": "variety,price_per_t,cap_t\nRiesling,1500,9\n"}
    for name, table in old.items():
        (tmp_path / f"{name}.csv").write_text(table, encoding="utf-8")
    (tmp_path / "new").mkdir()
    more = tmp_path / "new" / "prices.csv"
    more.write_text("Variety,Price [EUR/t]\nRiesling,1500\nMerlot,1100\n", encoding="utf-8")
    found = import_workbook([more], tmp_path)
    assert list(found.new) == ["prices"]
    found.write()
    assert read_records(tmp_path).prices["variety"].tolist() == ["Riesling", "Merlot"]
    both = import_workbook([tmp_path / "blocks.csv", more], tmp_path / "other")
    assert both.tables["contracts"]["contract"].tolist() == ["Riesling", "Merlot"]


@pytest.mark.parametrize("case", **_BY_NAME)
def test_the_same_again_adds_nothing_and_asks_nothing(case, tmp_path):
    files = _files(case, tmp_path / "files")
    import_workbook(files, tmp_path / "new", ANSWERS.get(case.name)).write()
    held = {file: file.read_bytes() for file in (tmp_path / "new").rglob("*.*")}
    again = import_workbook(files, tmp_path / "new")
    assert (again.questions, again.differ, again.new) == ((), (), {})
    again.write()
    assert {file: file.read_bytes() for file in (tmp_path / "new").rglob("*.*")} == held


@pytest.mark.parametrize("case", **_TO_ASK)
def test_what_the_cells_do_not_settle_is_asked_and_never_guessed(case, tmp_path):
    files = _files(case, tmp_path / "files")
    name, right, wrong = ASKED[case.name]
    found = import_workbook(files, tmp_path / "guessed")
    assert [question.id for question in found.questions] == [name]
    assert {right, wrong} <= set(found.questions[0].choices)
    with pytest.raises(Unanswered, match=f"'{name}'"):
        found.write()
    assert not (tmp_path / "guessed").exists()
    clean = write_clean(case.clean, tmp_path / "clean")
    assert not differences(brought_in(files, tmp_path / "right", {name: right}), clean)
    assert differences(brought_in(files, tmp_path / "wrong", {name: wrong}), clean)


_BLOCKS = [
    ["Block", "Variety", "Row sp. (m)", "Vine sp. (m)", "No. of vines"],
    ["Near Field", "Chardonnay", 2, 1, 2100],
    ["Far Field", "PN", 2, 1, 1750],
]


def _slips(*seasons):
    picked = {2024: ("09/10/2024", 7.3, 5.2), 2025: ("11/10/2025", 6.9, 5.8)}
    rows = [["Picked"], [], ["Date", "Block", "$/lb", "Net"]]
    for season in seasons:
        day, near, far = picked[season]
        rows += [[day, "Near  Field", None, near], [day, "FAR FIELD", None, far]]
    return rows


def test_next_years_file_goes_in_without_a_question_and_adds_what_is_new(tmp_path):
    def book(name, *seasons):
        return write_xlsx(tmp_path / name, {"Blocks": _BLOCKS, "Slips": _slips(*seasons)})

    first = book("slips 2024.xlsx", 2024)
    questions = import_workbook([first], tmp_path / "new").questions
    answers = {"order of dates": "day/month", "unit of the crop, Net": "short tons"}
    assert {question.id for question in questions} == set(answers)
    import_workbook([first], tmp_path / "new", answers).write()

    second = import_workbook([book("slips 2025.xlsx", 2024, 2025)], tmp_path / "new")
    assert (second.questions, second.differ) == ((), ())
    assert {name: len(frame) for name, frame in second.new.items()} == {"harvest": 2}
    clean = {
        "blocks": csv(
            "block,variety,row_spacing_m,vine_spacing_m,vines",
            [("Near Field", "Chardonnay", 2, 1, 2100), ("Far Field", "Pinot noir", 2, 1, 1750)],
        ),
        "harvest": csv(
            "season,block,date,tons",
            [
                (day.year, block, day, tons)
                for day, *both in ((date(2024, 10, 9), 7.3, 5.2), (date(2025, 10, 11), 6.9, 5.8))
                for block, tons in zip(("Near Field", "Far Field"), both, strict=True)
            ],
        ),
    }
    got = read_records(second.write())
    assert not differences(got, write_clean(clean, tmp_path / "clean"))


def test_every_written_row_is_traced_to_its_cells(tmp_path):
    book = write_xlsx(tmp_path / "book.xlsx", {"Blocks": _BLOCKS})
    import_workbook([book], tmp_path / "new").write()
    (trace,) = (tmp_path / "new" / "imported").iterdir()
    assert trace.read_text("utf-8-sig").splitlines() == [
        "table,row,comes_from",
        *(
            f"blocks,{row},book.xlsx [Blocks] row {row}: "
            "block A variety B row_spacing_m C vine_spacing_m D vines E"
            for row in (2, 3)
        ),
    ]


def test_what_differs_from_the_folder_is_told_and_not_written(tmp_path):
    book = write_xlsx(tmp_path / "book.xlsx", {"Blocks": _BLOCKS})
    import_workbook([book], tmp_path / "new").write()
    held = (tmp_path / "new" / "blocks.csv").read_bytes()
    other = write_xlsx(tmp_path / "book.xlsx", {"Blocks": [*_BLOCKS[:2], [*_BLOCKS[2][:4], 1500]]})
    found = import_workbook([other], tmp_path / "new")
    (told,) = found.differ
    assert "book.xlsx [Blocks] row 3" in told
    assert "vines 1750, not 1500" in told
    found.write()
    assert (tmp_path / "new" / "blocks.csv").read_bytes() == held
