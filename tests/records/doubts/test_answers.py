"""Doubts that were answered are not raised again while their rows stay as they are."""

import pickle
import re
from pathlib import Path

import pytest

from cropload import answer_doubt, correct, read_records
from cropload.errors import CroploadError
from cropload.pages.cli import main
from cropload.pages.home_doubts import Doubtful
from cropload.records.example import shipped
from cropload.records.reading import check
from cropload.show.desk import Desk

HARVEST = "season,block,date,tonnes\n" + "".join(
    f"{year},North,{year}-09-20,2.{year - 2018}\n" for year in range(2020, 2026)
)
COUNTS = "season,date,block,row,vine,shoots,clusters\n2026,2026-06-01,North,1,1,10,61\n"
NAMES = (Path(__file__).parents[2] / "data" / "names_of_doubts.txt").read_text().split()


def test_every_doubt_has_a_name_that_stays_and_no_fault_has_one():
    rules = [*check.DOUBTS, *check.BESIDE_BLOCKS, *check.CONTRADICTIONS]
    names = [rule.name for rule in rules]
    assert len(names) == len(set(names))
    assert all(re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)+", name) for name in names)
    # A name once given stands in the tables of growers: it is added to, not changed.
    assert set(names) >= set(NAMES)
    assert not any(rule.name for rule in check.REFUSED)
    assert {rule.of for rule in rules} == {"row", "season", "block"}


def raised(folder):
    return [(w.matter.rule, w.row) for w in read_records(folder).warnings if w.matter]


@pytest.fixture
def folder(write):
    return write(harvest=HARVEST.replace("2.4\n", "0.4\n"), counts=COUNTS)


def change(folder, table, old, new):
    file = folder / f"{table}.csv"
    text = file.read_text()
    assert text.count(old) == 1
    file.write_text(text.replace(old, new))


def test_an_answered_doubt_comes_back_when_its_rows_change_and_not_before(folder):
    before = read_records(folder)
    assert [w.matter.rule for w in before.warnings] == [
        "counts-clusters-per-shoot",
        "harvest-low-crop",
    ]
    told = answer_doubt(folder, "Harvest low crop", "wasps", who="AB", day="2026-11-01")
    assert told.startswith("1 doubt is answered in")
    after = read_records(folder)
    assert [w.matter.rule for w in after.warnings] == ["counts-clusters-per-shoot"]
    (settled,) = after.settled
    assert (settled.row, settled.matter.block, settled.matter.season) == (4, "North", 2022)
    for name in ("blocks", "harvest", "counts"):
        assert getattr(after, name).equals(getattr(before, name))
    # Written in another way, in another place, beside more rows: it is the same.
    lines = (folder / "harvest.csv").read_text().splitlines()
    (folder / "harvest.csv").write_text("\n".join([lines[0], *lines[:0:-1]]) + "\n")
    change(folder, "harvest", ",0.4\n", ",0.400\n")
    with open(folder / "harvest.csv", "a") as file:
        file.write("2026,North,2026-09-20,2.3\n")
    assert raised(folder) == [("counts-clusters-per-shoot", 2)]
    change(folder, "harvest", ",0.400\n", ",0.30\n")
    assert raised(folder)[1][0] == "harvest-low-crop"
    answer_doubt(folder, "harvest-low-crop", "wasps, weighed again", block="north", season=2022)
    assert raised(folder) == [("counts-clusters-per-shoot", 2)]
    # The size of the block tells too.
    change(folder, "blocks", "1000", "990")
    assert raised(folder)[1][0] == "harvest-low-crop"


def test_one_vine_that_is_right_does_not_speak_for_the_next(folder):
    answer_doubt(folder, "counts-clusters-per-shoot", "counted again")
    assert raised(folder) == [("harvest-low-crop", 4)]
    with open(folder / "counts.csv", "a") as file:
        file.write("2026,2026-06-01,North,1,2,10,66\n")
    assert raised(folder) == [("counts-clusters-per-shoot", 3), ("harvest-low-crop", 4)]


def test_what_is_asked_of_several_places_is_named_or_answered_altogether(write):
    folder = write(
        blocks="block,variety,row_spacing_m,vine_spacing_m,vines\n"
        "North,Riesling,2,8,100\nSouth,Riesling,2,8.5,100\n"
    )
    with pytest.raises(CroploadError, match="North; South"):
        answer_doubt(folder, "blocks-vine-spacing-m", "pergola")
    with pytest.raises(CroploadError, match="not raised there"):
        answer_doubt(folder, "blocks-vine-spacing-m", "pergola", block="West")
    with pytest.raises(CroploadError, match="Did you mean 'blocks-vine-spacing-m'"):
        answer_doubt(folder, "blocks-vine-spacing", "pergola")
    assert not (folder / "answered.csv").exists()
    names = {fault.matter.rule for fault in read_records(folder).warnings}
    for name in names:
        answer_doubt(folder, name, "pergola", every=True)
    assert read_records(folder).warnings == ()
    with pytest.raises(CroploadError, match="No doubt that can be answered is raised"):
        answer_doubt(folder, "blocks-vine-spacing-m", "pergola")


def test_an_answer_written_by_hand_holds_whatever_becomes_of_the_rows(folder, capsys):
    rows = "harvest-low-crop,North,2022,AB,wasps,,\nCounts clusters per shoot,,,,counted twice,,\n"
    rows += "harvest-high-crop,North,,,good,,\nharvest-crop,,,,good,,abcdefgh\n"
    (folder / "answered.csv").write_text("rule,block,season,who,why,date,rows\n" + rows)
    assert raised(folder) == []
    change(folder, "harvest", ",0.4\n", ",0.3\n")
    assert raised(folder) == []
    assert main(["check", str(folder)]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "DOUBTS THAT WERE ANSWERED: IT IS RIGHT" in out
    assert "harvest-low-crop, North, 2022: wasps (AB). harvest.csv, row 4" in out
    assert "whatever becomes of its rows" in out
    assert "harvest-high-crop, North: good. Nothing there is doubtful any more." in out


def test_check_names_each_doubt_and_how_it_is_answered(folder, capsys):
    assert main(["check", str(folder)]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "harvest.csv, column tonnes [harvest-low-crop]: is" in out
    assert "cropload answered DOUBT BLOCK SEASON" in out
    asked = ["answered", "harvest-low-crop", "North", "2022", "--why", "=wasps", "--who", "AB"]
    assert main([*asked, "--into", str(folder)]) == 0
    assert "raised again only when" in " ".join(capsys.readouterr().out.split())
    assert ",'=wasps," in (folder / "answered.csv").read_text()
    change(folder, "harvest", ",0.4\n", ",0.3\n")
    assert main(["check", str(folder)]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "=wasps (AB" in out
    assert "Its rows are others now, so the doubt is raised again." in out


def test_answers_travel_with_the_records_and_reach_a_workbook(folder, tmp_path):
    answer_doubt(folder, "harvest-low-crop", "wasps")
    sent = pickle.loads(pickle.dumps(pickle.loads(pickle.dumps(read_records(folder)))))
    assert [fault.matter.rule for fault in sent.settled] == ["harvest-low-crop"]
    assert len(sent.warnings) == 1
    with pytest.raises(CroploadError, match="sample"):
        answer_doubt(shipped("sample_data") / "quillfoot", "harvest-low-crop", "wasps")


def test_a_correction_takes_an_answer_back(folder):
    answer_doubt(folder, "harvest-low-crop", "wasps")
    correct(folder, "answered", "harvest-low-crop; North; 2022", "all", "")
    assert ("harvest-low-crop", 4) in raised(folder)


def test_the_home_page_answers_a_doubt(folder):
    desk = Desk(folder)
    part = Doubtful(desk)
    part.follow()
    assert len(part.buttons) == 2
    part.buttons[1].click()
    assert "Say first why" in part.said.value
    assert len(read_records(folder).warnings) == 2
    part.why.value, part.who.value = "wasps & birds", "AB"
    part.buttons[1].click()
    desk.settle()
    assert "1 doubt is answered" in part.said.value
    assert len(part.buttons) == 1
    assert "wasps &amp; birds (AB" in part.settled.value
    assert len(read_records(folder).warnings) == 1
