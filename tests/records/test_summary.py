import pytest

from cropload.clock import season_ranges
from cropload.records.records import read_records
from cropload.records.summary import COMPONENTS, coverage, summarise, table_summary


@pytest.fixture
def records(write):
    return read_records(
        write(
            pruning="season,block,plan,pruning_weight_kg\n2024,North,3x8,\n2025,North,3x8,0.8\n",
            counts=(
                "season,date,block,row,vine,buds,shoots,clusters\n"
                "2025,2025-06-01,North,1,1,24,20,\n2025,2025-06-01,North,1,2,24,,30\n"
            ),
            weights="season,date,block,stage,clusters,weight_g\n2024,2024-07-01,North,lag,9,500\n",
            harvest="season,block,tonnes\n2022,North,2\n2024,North,2\n2025,North,2\n",
        )
    )


def test_coverage_is_one_row_a_block_season_and_component(records):
    found = coverage(records).set_index(["block", "season", "component"])
    assert found.index.is_unique
    assert found.loc[("North", 2025, "buds"), "rows"] == 3
    assert found.loc[("North", 2025, "buds"), "tables"] == "counts, pruning"
    assert found.loc[("North", 2025, "clusters"), "rows"] == 1
    assert ("North", 2024, "lag weight") in found.index
    assert ("North", 2024, "cluster weight") not in found.index
    assert ("North", 2024, "pruning weight") not in found.index
    assert "South" not in found.index.get_level_values("block")


def test_coverage_of_bare_blocks_is_empty_with_its_columns(write):
    found = coverage(read_records(write()))
    assert list(found) == ["block", "variety", "season", "component", "rows", "tables"]
    assert found.empty


def test_table_summary(records):
    found = table_summary(records).set_index("table")
    assert found.loc["harvest", ["rows", "blocks", "seasons"]].tolist() == [3, 1, "2022, 2024-2025"]
    assert not found.loc["weather", "given"]


def test_the_summary_names_every_block_and_what_it_lacks(records):
    text = summarise(records)
    assert max(map(len, text.splitlines()[1:])) <= 80
    south = text.split("South (Pinot noir")[1]
    assert "never: " + ", ".join(COMPONENTS)[:20] in south
    assert "Not given: parts, fertility, events, dates, weather, prices, contracts" in text
    assert "2022, 2024-2025: harvest" in text


def test_the_summary_ends_with_the_doubts(write):
    folder = write(pruning="season,block,plan\n2026,North,10x20\n")
    text = summarise(read_records(folder))
    assert "1 value to look at again" in text
    # What `cropload answered` asks for: block and season of the row.
    assert "row 2 (North, 2026): '10x20'" in text


def test_season_ranges():
    assert season_ranges([]) == ""
    assert season_ranges([2020]) == "2020"
    assert season_ranges([2023, 2020, 2021, 2021]) == "2020-2021, 2023"


def test_one_vine_is_not_told_as_many(tmp_path):
    heads = "block,variety,row_spacing_m,vine_spacing_m,vines\n"
    (tmp_path / "blocks.csv").write_text(heads + "A,Chardonnay,2,1,1\n", encoding="utf-8")
    assert "; 1 vine, " in summarise(read_records(tmp_path))
