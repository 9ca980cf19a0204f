import zipfile

import openpyxl
import pytest

from cropload.errors import CroploadError
from cropload.records.example import example_records
from cropload.records.reading.faults import RecordsError
from cropload.records.records import read_records
from cropload.records.scenarios import kept_scenarios
from cropload.records.writing.append import append_rows
from cropload.records.writing.scenarios import drop_scenario, keep_scenario

BLOCKS = "block,variety,row_spacing_m,vine_spacing_m,vines\nNorth,Riesling,2,1.2,1000\n"
BLOCKS += "South,Riesling,2,1.2,900\n"
LIGHTER = {"North": "3x6+3x2", "South": "2x8"}


@pytest.fixture(params=["folder", "workbook"])
def records(request, tmp_path):
    if request.param == "folder":
        (tmp_path / "blocks.csv").write_text(BLOCKS)
        (tmp_path / "pruning.csv").write_text("season,block,plan\n2026,North,3x8+3x2\n")
        return read_records(tmp_path)
    book = openpyxl.Workbook()
    for name, text in {
        "blocks": BLOCKS,
        "pruning": "season,block,plan\n2026,North,3x8+3x2",
    }.items():
        sheet = book.create_sheet(name)
        for line in text.split():
            sheet.append([int(cell) if cell.isdigit() else cell for cell in line.split(",")])
    book.remove(book.worksheets[0])
    book.save(tmp_path / "season.xlsx")
    return read_records(tmp_path)


def _bytes(records):
    path = records.path / "scenarios.csv" if records.path.is_dir() else records.path
    return path.read_bytes()


def kept(records, season=2027):
    read = read_records(records.path)
    assert not read.warnings
    return kept_scenarios(read, season)


def told(scenarios):
    return {name: {b: str(plan) for b, plan in of.items()} for name, of in scenarios.items()}


def test_a_scenario_is_found_again_changed_and_dropped(records):
    keep_scenario(records, "lighter", LIGHTER, 2027, note="after hail")
    assert kept(records) == {"lighter": LIGHTER}
    assert kept(records, 2028) == {}
    assert "nothing to do" in keep_scenario(records, "Lighter", {"North": "3x6+3x2"}, 2027)
    before = _bytes(records)
    with pytest.raises(CroploadError, match="already, with North 3x6"):
        keep_scenario(records, "lighter", {"North": "3x5+3x2"}, 2027)
    assert _bytes(records) == before
    keep_scenario(records, "lighter", {"North": "3x5+3x2"}, 2027, replace=True)
    assert kept(records) == {"lighter": LIGHTER | {"North": "3x5+3x2"}}
    drop_scenario(records, "lighter", 2027, blocks=["South"])
    assert kept(records) == {"lighter": {"North": "3x5+3x2"}}
    keep_scenario(records, "lighter", LIGHTER, 2027, replace=True)
    assert kept(records) == {"lighter": LIGHTER}
    assert "is dropped" in drop_scenario(records, "lighter", 2027)
    assert kept(records) == {}
    with pytest.raises(CroploadError, match="No scenario 'lighter'"):
        drop_scenario(records, "lighter", 2027)


def test_a_sheet_is_added_and_every_other_part_stays(records):
    if records.path.is_dir():
        pytest.skip("a folder has no sheets")
    with zipfile.ZipFile(records.path) as archive:
        sheets = {name: archive.read(name) for name in archive.namelist() if "sheet" in name}
    keep_scenario(records, "lighter", LIGHTER, 2027)
    with zipfile.ZipFile(records.path) as archive:
        assert all(archive.read(name) == data for name, data in sheets.items())
    book = openpyxl.load_workbook(records.path)
    assert book.sheetnames == ["blocks", "pruning", "scenarios"]
    assert [cell.value for cell in book["scenarios"][2]][:4] == [
        "lighter",
        "North",
        "3x6+3x2",
        2027,
    ]


def test_one_form_for_every_hand_that_writes_it(tmp_path):
    (tmp_path / "blocks.csv").write_text(BLOCKS)
    (tmp_path / "pruning.csv").write_text("season,block,plan\n2026,North,3x8+3x2\n")
    (tmp_path / "scenarios.csv").write_text("scenario;block;plan\nas now;North;Last\nb;North;2x8\n")
    records = read_records(tmp_path)
    assert kept(records) == {"as now": {"North": "3x8+3x2"}, "b": {"North": "2x8"}}
    from cropload.owner.scenario_input import read_scenario_file

    assert told(read_scenario_file(tmp_path / "scenarios.csv", records, 2027)) == kept(records)
    (tmp_path / "scenarios.csv").write_text("scenario,block,plan\na,Nroth,3x\n")
    with pytest.raises(RecordsError) as faults:
        read_records(tmp_path)
    found = {(fault.row, fault.column) for fault in faults.value.faults}
    assert found == {(2, "block"), (2, "plan")}


def test_the_report_reads_what_the_page_kept(tmp_path):
    from cropload.owner.scenario_input import read_scenario_file

    (tmp_path / "blocks.csv").write_text(BLOCKS)
    records = read_records(tmp_path)
    keep_scenario(records, "a", LIGHTER, 2027)
    keep_scenario(records, "b", LIGHTER, 2027)
    keep_scenario(records, "c", LIGHTER, 2027)
    keep_scenario(records, "b", LIGHTER | {"North": "3x9+3x2"}, 2027, replace=True)
    keep_scenario(records, "far", LIGHTER, 2029)
    drop_scenario(records, "c", 2027)
    found = told(read_scenario_file(tmp_path / "scenarios.csv", records, 2027))
    assert found == kept(records)
    assert list(found) == ["a", "b"]
    assert found["b"]["North"] == "3x9+3x2"


def test_the_sample_stays_as_it_is():
    with pytest.raises(CroploadError, match="To keep a scenario, make a folder of your own"):
        keep_scenario(example_records(), "lighter", {"Long Acre": "3x6+3x2"}, 2027)


def test_nothing_is_kept_without_a_name_or_a_known_block(records):
    for name, plans in ((" ", LIGHTER), ("a", {})):
        with pytest.raises(CroploadError, match="needs a name"):
            keep_scenario(records, name, plans, 2027)
    with pytest.raises(RecordsError, match="is not a block"):
        keep_scenario(records, "a", {"Nroth": "2x8"}, 2027)
    with pytest.raises(CroploadError, match="no column 'plans'"):
        append_rows(records.path, "scenarios", [{"scenario": "a", "plans": "2x8"}])
    assert "scenarios" not in read_records(records.path).given
