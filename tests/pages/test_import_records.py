"""The page of an import: what is found is shown, what is open is asked, and only then written."""

import io
import tempfile

import pandas as pd
import pytest
from helpers import sample_copy

from cropload import read_records
from cropload.pages.import_records import ImportRecords
from tests.records.importing.messy_books_to_ask import EITHER_ORDER, TONNES_OR_TONS

#: Kilograms of a short ton: 2,000 lb of 0.45359237 kg (NIST Handbook 44, appendix C).
SHORT_TON_KG = 2000 * 0.45359237


@pytest.fixture
def page(tmp_path, monkeypatch):
    """The page of somebody who looks at the sample estate, in a folder of their own."""
    monkeypatch.chdir(tmp_path)
    return ImportRecords()


@pytest.fixture
def book(tmp_path):
    """Files of the grower whose slips tell no unit, as name -> bytes."""
    return files_of(TONNES_OR_TONS, tmp_path / "theirs")


def files_of(case, folder):
    folder.mkdir()
    return {file.name: file.read_bytes() for file in case.write(folder)}


def answer(bring, text):
    (box,) = bring.boxes.values()
    box.value = text


def held(folder):
    return {file: file.read_bytes() for file in folder.rglob("*") if file.is_file()}


def test_it_goes_into_the_users_own_folder_or_into_a_new_one_beside(tmp_path, page):
    assert page.bring.into.value == str(tmp_path / "my_season")
    (tmp_path / "my_season").mkdir()
    assert ImportRecords().bring.into.value == str(tmp_path / "my_season_2")
    invented = sample_copy(tmp_path / "sample", "blocks")
    assert ImportRecords(invented).bring.into.value == str(tmp_path / "my_season_2")
    (invented / "blocks.csv").write_text(
        (invented / "blocks.csv").read_text("utf-8").replace(" (invented)", ""), "utf-8"
    )
    assert ImportRecords(invented).bring.into.value == str(invented)


def test_it_opens_beside_a_folder_that_cannot_be_read(tmp_path, book):
    (tmp_path / "broken").mkdir()
    (tmp_path / "broken" / "blocks.csv").write_text("nothing\n")
    page = ImportRecords(tmp_path / "broken")
    assert page.message.value == ""
    assert page.bring.into.value == str(tmp_path / "my_season")
    page.bring.read(book)
    assert "4 rows of blocks, 5 rows of harvest" in page.bring.words.value


def test_what_is_open_is_asked_once_with_nothing_chosen_and_the_likely_answer_first(page, book):
    bring = page.bring
    bring.read(book)
    assert "tonnes_or_tons.xlsx: 4 rows of blocks, 5 rows of harvest." in bring.words.value
    (box,) = bring.boxes.values()
    assert box.description.startswith("Which unit is 'Net' in?")
    assert box.value is None
    assert box.options[0] == ("t: 6.31 is 6.31 t (likely)", "t")
    assert bring.write_button.disabled
    assert "1 question is open" in bring.wrong.value
    bring.write()
    assert "questions are open" in bring.said.value
    assert not (bring.folder()).exists()
    box.value = "short tons"
    assert bring.asked.children == (box,)
    assert not bring.write_button.disabled
    assert bring.wrong.value == ""


def test_the_folder_holds_what_was_answered_and_a_second_press_adds_nothing(page, book):
    bring = page.bring
    bring.read(book)
    answer(bring, "short tons")
    bring.write()
    assert "4 rows of blocks, 5 rows of harvest" in bring.said.value
    folder = bring.folder()
    want = pd.read_csv(io.StringIO(TONNES_OR_TONS.clean["harvest"]))
    found = read_records(folder).harvest
    got = dict(zip(found["ticket"], found["tonnes"], strict=True))
    tonnes = want["tons"] * SHORT_TON_KG / 1000
    assert got == pytest.approx(dict(zip(want["ticket"].astype(str), tonnes, strict=True)))
    assert "Nothing of it is new." in bring.words.value
    assert bring.write_button.disabled
    assert f"cropload open {folder}" in bring.next.value
    before = held(folder)
    bring.write()
    assert "Nothing is new" in bring.said.value
    assert held(folder) == before


def test_next_year_the_answer_holds_and_only_what_is_new_is_added(page, book, tmp_path):
    page.bring.read(book)
    answer(page.bring, "short tons")
    page.bring.write()
    folder = page.bring.folder()
    frame = pd.read_excel(
        io.BytesIO(book["tonnes_or_tons.xlsx"]), None, header=None, engine="openpyxl"
    )
    frame["Slips"].loc[len(frame["Slips"]) - 1] = [pd.Timestamp(2025, 10, 20), "7760", "Point", 1.5]
    frame["Slips"].loc[1, 3] = 9.99
    with pd.ExcelWriter(tmp_path / "next.xlsx") as writer:
        for name, sheet in frame.items():
            sheet.to_excel(writer, sheet_name=name, header=False, index=False)
    more = {"next.xlsx": (tmp_path / "next.xlsx").read_bytes()}
    page = ImportRecords(folder)
    assert page.bring.into.value == str(folder)
    page.bring.read(more)
    (box,) = page.bring.boxes.values()
    assert box.value == "short tons"
    assert "New: 1 row of harvest." in page.bring.words.value
    assert "1 row says otherwise than the folder." in page.bring.words.value
    page.bring.unfolded.children[0].turn()
    (differs,) = page.bring.unfolded.children[0].inside.children
    # 9.99 short tons in the new file, 6.31 in the folder.
    assert "the folder has tonnes 5.72434, not 9.06278" in differs.value
    page.bring.write()
    assert len(read_records(folder).harvest) == 6
    assert len(page.records.harvest) == 6
    assert 'href="home.ipynb"' in page.bring.next.value


def test_columns_and_what_is_not_read_lie_in_folds_which_stay_open(page, book):
    bring = page.bring
    bring.read(book)
    words = [fold.words for fold in bring.unfolded.children]
    assert words == [
        "[Blocks] A2:E6 (4 rows): blocks",
        "[Slips] A1:D6 (5 rows): harvest",
        "not read, and why: 2",
    ]
    bring.unfolded.children[1].turn()
    answer(bring, "short tons")
    fold = bring.unfolded.children[1]
    assert fold.is_open
    (shown,) = fold.inside.children
    assert "harvest: tonnes" in shown.value
    assert "short tons" in shown.value
    assert "6.31, 7.08, 0.94" in shown.value


def test_answers_stay_with_files_of_the_same_names_alone(page, book, tmp_path):
    bring = page.bring
    bring.read(book)
    answer(bring, "short tons")
    bring.read(dict(book))
    assert not bring.write_button.disabled
    bring.read(files_of(EITHER_ORDER, tmp_path / "others"))
    (box,) = bring.boxes.values()
    assert box.value is None
    assert "Which stands first" in box.description


def test_what_cannot_be_read_takes_the_rest_away_until_it_can(page, book):
    bring = page.bring
    bring.read(book)
    bring.read({"broken.xlsx": b"no workbook"})
    assert "broken.xlsx" in bring.message.value
    assert (bring.words.value, bring.unfolded.children) == ("", ())
    assert bring.write_button.disabled
    bring.read(book)
    assert bring.message.value == ""
    bring.into.value = " "
    assert "Name the folder" in bring.message.value


def test_a_fault_in_the_files_is_told_and_nothing_can_be_written(page):
    harvest = b"Block,Year,Tonnes\nTop,2025,3.1\nTop,2025,2.2\nNobody,2024,-4\n"
    page.bring.read({"crop.csv": harvest})
    assert "The files cannot be brought in as they are" in page.bring.wrong.value
    assert "table blocks" in page.bring.wrong.value
    assert page.bring.write_button.disabled


def test_chosen_files_stay_nowhere_whatever_they_are_called(page, book, tmp_path, monkeypatch):
    private = tmp_path / "private"
    private.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(private))
    (data,) = book.values()
    page.bring.read({"..\\..\\../C:/up.xlsx": data})
    assert "up.xlsx: 4 rows of blocks" in page.bring.words.value
    assert list(private.iterdir()) == []
    assert not list(tmp_path.rglob("up.xlsx"))
