"""``cropload import`` as its user meets it: what is shown, asked, written, and the exit code."""

import tomllib

import pytest

from cropload import read_records
from cropload.pages.cli import SUCCESS, USER_FAULT, main
from cropload.show.terminal import text_width
from tests.records.importing.messy_case import write_xlsx

_BLOCKS = [
    ["Quillfoot, our blocks"],
    [],
    ["Block", "Variety", "Row sp. (m)", "Vine sp. (m)", "No. of vines"],
    ["Near Field", "Chardonnay", 2, 1, 2100],
    ["Far Field", "PN", 2, 1, 1750],
    ["TOTAL", None, None, None, 3850],
]
_PICKED = [
    ["Date", "Block", "Tonnes", "Brix"],
    ["09/10/2024", "Near  Field", 3.16, 21],
    ["10/09/2024", "FAR FIELD", 2.05, 22],
]


@pytest.fixture
def run(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    write_xlsx(tmp_path / "book.xlsx", {"Blocks": _BLOCKS, "Picked": _PICKED})

    def ran(*arguments):
        code = main(["import", "book.xlsx", *arguments])
        out, err = capsys.readouterr()
        assert all(text_width(line) <= 80 for line in (out + err).splitlines())
        assert "Traceback" not in out + err
        return code, " ".join(out.split()), " ".join(err.split())

    return ran


def test_without_a_terminal_questions_go_to_a_file_and_no_folder_is_made(run, tmp_path):
    code, out, err = run("--into", "mine")
    assert code == 3
    assert not (tmp_path / "mine").exists()
    assert "Which stands first in dates like '09/10/2024'?" in err
    (question,) = tomllib.loads((tmp_path / "import_questions.toml").read_text())["question"]
    assert (question["id"], question["answer"]) == ("order of dates", "day/month")
    assert "[Blocks] A3:E5 (2 rows): blocks" in out
    assert "Brix" in out


def test_answers_are_taken_and_the_folder_is_sound(run, tmp_path):
    run("--into", "mine")
    code, out, _ = run("--into", "mine", "--answers", "import_questions.toml")
    assert code == SUCCESS
    assert "2 rows of blocks" in out
    records = read_records(tmp_path / "mine")
    assert list(records.harvest["date"].dt.month) == [10, 9]
    code, out, _ = run("--into", "mine")
    assert (code, "Nothing is new" in out) == (SUCCESS, True)


def test_a_wrong_answer_names_the_choices(run, tmp_path):
    answers = '[[question]]\nid = "order of dates"\nanswer = "year first"\n'
    (tmp_path / "answers.toml").write_text(answers)
    code, _, err = run("--into", "mine", "--answers", "answers.toml")
    assert code == USER_FAULT
    assert "'year first' is no answer to 'order of dates'" in err
    assert not (tmp_path / "mine").exists()


def test_look_writes_nothing(run, tmp_path):
    code, out, _ = run("--into", "mine", "--look")
    assert code == SUCCESS
    assert "Nothing is written" in out
    assert [path.name for path in tmp_path.iterdir()] == ["book.xlsx"]


def test_all_lists_totals_too(run):
    _, out, _ = run("--into", "mine", "--look")
    assert "remarks not read either: --all lists them" in out
    assert "TOTAL | 3850" not in out
    _, out, _ = run("--into", "mine", "--look", "--all")
    assert "TOTAL | 3850" in out


def test_a_file_without_a_table_says_what_a_table_needs(run, tmp_path):
    write_xlsx(tmp_path / "book.xlsx", {"Notes": [["Ring the cooper"], ["New tyres"]]})
    code, _, err = run("--into", "mine")
    assert code == USER_FAULT
    assert "no table of blocks" in err
    assert "A table needs a header row" in err
