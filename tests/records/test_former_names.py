"""Blocks that were renamed, split, joined or regrafted, read with their history."""

import numpy as np
import pandas as pd
import pytest
from season_records import BLOCKS, SEASON, block_rows, history

from cropload import forecast, read_records
from cropload.beliefs.history import estate_before_season
from cropload.records.facts import weighed_together
from cropload.records.reading.faults import RecordsError


def estate(folder, blocks=None, **tables):
    """Write the small estate as a user keeps it, some of its tables in another form."""
    folder.mkdir(exist_ok=True)
    given = history() | {"blocks": block_rows() if blocks is None else blocks} | tables
    for name, rows in given.items():
        pd.DataFrame(rows).to_csv(folder / f"{name}.csv", index=False)
    return folder


def present(old, *new):
    """Return table blocks with a block in the place of others, as {column: value} each."""
    rows = block_rows()
    at = min(i for i, row in enumerate(rows) if row["block"] in old)
    like = rows[at]
    rest = [row for row in rows if row["block"] not in old]
    return rest[:at] + [like | {"formerly": "; ".join(old)} | row for row in new] + rest[at:]


def faults_of(folder):
    with pytest.raises(RecordsError) as caught:
        read_records(folder)
    return caught.value.faults


def test_the_forecast_of_a_renamed_block_is_that_of_the_same_block(tmp_path):
    plain = read_records(estate(tmp_path / "a"))
    renamed = read_records(estate(tmp_path / "b", present(["Cedar"], {"block": "Cedar Hill"})))
    assert set(renamed.harvest["block"]) == {*BLOCKS, "Cedar Hill"} - {"Cedar"}
    assert not renamed.name_notes
    assert len(renamed.warnings) == len(plain.warnings)
    one, other = (estate_before_season(each, SEASON).beliefs for each in (plain, renamed))
    assert np.array_equal(one.centre, other.centre)
    assert np.array_equal(one.own_covariance, other.own_covariance)
    one, other = (forecast(each, SEASON, draws=4000) for each in (plain, renamed))
    # The draws of a block hang on its name, and sums on the order of names; all else does not.
    same = [at for at, block in enumerate(BLOCKS) if block != "Cedar"]
    assert other.blocks[BLOCKS.index("Cedar")] == "Cedar Hill"
    for column in ("tonnes_p10", "tonnes_p50", "tonnes_p90"):
        assert list(one.frame[column][same]) == list(other.frame[column][same])
        assert other.frame[column][2] == pytest.approx(one.frame[column][2], rel=0.03)


def test_two_names_one_after_the_other_are_one_block(tmp_path):
    tables = history()
    for rows in tables.values():
        for row in rows:
            if row["block"] == "Cedar" and row["season"] == 2024:
                row["block"] = "Old Cedar"
    blocks = present(["Cedar"], {"block": "Cedar Hill", "formerly": "Old Cedar; Cedar"})
    renamed = read_records(estate(tmp_path / "b", blocks, **tables))
    plain = read_records(estate(tmp_path / "a"))
    assert not renamed.name_notes
    one, other = (estate_before_season(each, SEASON).beliefs for each in (plain, renamed))
    assert np.array_equal(one.centre, other.centre)


def test_tonnes_of_a_split_block_are_shared_by_area_and_counts_serve_each(tmp_path):
    heirs = [{"block": "Upper", "vines": 600}, {"block": "Lower", "vines": 400}]
    split = read_records(estate(tmp_path / "b", present(["Cedar"], *heirs)))
    plain = read_records(estate(tmp_path / "a"))
    for name, share in (("Upper", 0.6), ("Lower", 0.4)):
        mine, old = (
            each.harvest[each.harvest["block"] == block]
            for each, block in ((split, name), (plain, "Cedar"))
        )
        assert list(mine["tonnes"]) == pytest.approx(list(share * old["tonnes"]), rel=1e-12)
        for table in ("counts", "weights", "pruning"):
            mine, old = (
                getattr(each, table)[lambda rows, block=block: rows["block"] == block]
                for each, block in ((split, name), (plain, "Cedar"))
            )
            columns = [column for column in old if column != "block"]
            assert mine[columns].reset_index(drop=True).equals(old[columns].reset_index(drop=True))
    # How the crop of one weighing was shared is on paper only.
    assert ("Upper", 2025) in weighed_together(split)
    (note,) = split.name_notes
    assert "Upper 60 %, Lower 40 %" in note
    assert note in forecast(split, SEASON, draws=200).notes
    assert len(split.warnings) == len(plain.warnings)


def test_a_joined_block_adds_tonnes_up_where_all_parts_have_them(tmp_path):
    tables = history()
    tables["harvest"] = [
        row for row in tables["harvest"] if (row["block"], row["season"]) != ("Birch", 2024)
    ]
    tables["pruning"] = [
        row | ({"pruning_weight_kg": 0.4, "vines_weighed": 10} if row["block"] == "Birch" else {})
        for row in tables["pruning"]
    ]
    for row in tables["pruning"]:
        if row["block"] == "Cedar":
            row |= {"pruning_weight_kg": 0.7, "vines_weighed": 20}
    blocks = present(["Birch", "Cedar"], {"block": "Big", "vines": 2000})
    joined = read_records(estate(tmp_path / "b", blocks, **tables))
    plain = read_records(estate(tmp_path / "a", **tables))
    old = plain.harvest[plain.harvest["block"].isin(["Birch", "Cedar"])]
    mine = joined.harvest[joined.harvest["block"] == "Big"]
    assert set(mine["season"]) == {2025}
    assert mine["tonnes"].sum() == pytest.approx(old["tonnes"][old["season"] == 2025].sum())
    counts = joined.counts[joined.counts["block"] == "Big"]
    assert len(counts) == 2 * len(plain.counts[plain.counts["block"] == "Birch"])
    assert not counts.duplicated(["season", "date", "row", "vine"]).any()
    pruning = joined.pruning[joined.pruning["block"] == "Big"].set_index("season")
    assert list(pruning["plan"]) == ["2x10+2x2", "", "2x10+2x2"]
    assert pruning["pruning_weight_kg"].to_numpy() == pytest.approx(3 * [0.6])
    assert list(pruning["vines_weighed"]) == [30, 30, 30]
    told = " ".join(joined.name_notes)
    assert "Big was joined from Birch and Cedar" in told
    assert "The plans of 2025 do not agree" in told
    assert "The tonnes of 2024 do not speak of all of Big" in told


@pytest.mark.parametrize("event", [None, {"kind": "hail", "share_pct": 20}])
def test_tonnes_of_a_joined_block_with_an_event_or_another_loss_are_left_out(tmp_path, event):
    tables = history()
    if event:
        tables["events"] = [event | {"block": "Birch", "date": "2025-07-01"}]
    for row in tables["harvest"]:
        row["lost_pct"] = (
            30 if not event and (row["block"], row["season"]) == ("Birch", 2025) else 0
        )
    blocks = present(["Birch", "Cedar"], {"block": "Big", "vines": 2000})
    joined = read_records(estate(tmp_path / "b", blocks, **tables))
    assert set(joined.harvest.loc[joined.harvest["block"] == "Big", "season"]) == {2024}
    assert not len(joined.events)


@pytest.mark.parametrize(
    ("name", "formerly", "borne"),
    [
        ("Hill", "Cedar (Merlot)", "Merlot as Cedar"),
        ("Cedar", "Cedar (Merlot to 2024)", "Merlot to 2024"),
    ],
)
def test_a_regrafted_block_keeps_what_is_of_the_vines(tmp_path, name, formerly, borne):
    blocks = present(["Cedar"], {"block": name, "formerly": formerly})
    tables = history()
    for row in tables["pruning"]:
        row["pruning_weight_kg"] = 0.6
    for row in tables["counts"]:
        row["buds"] = 24
    grafted = read_records(estate(tmp_path / "b", blocks, **tables))
    mine = {
        table: getattr(grafted, table)[lambda rows: rows["block"] == name].set_index("season")
        for table in ("pruning", "counts", "weights", "harvest")
    }
    gone = [2024] if "2024" in formerly else [2024, 2025]
    assert list(mine["pruning"]["pruning_weight_kg"]) == 3 * [0.6]
    assert (mine["counts"]["buds"] == 24).all()
    assert len(mine["counts"]) == 40
    for season in (2024, 2025):
        there = season not in gone
        assert mine["counts"].loc[season, "clusters"].notna().all() == there
        assert (season in mine["weights"].index) == there
        assert (season in mine["harvest"].index) == there
    (note,) = grafted.name_notes
    assert f"{name} bore {borne}: plans, buds and prunings of then are taken over" in note
    own = estate_before_season(grafted, SEASON).measured
    assert ((own["block"] == name) & (own["stage"] == "harvest")).sum() == 2 - len(gone)


def test_a_variety_of_the_same_name_is_no_grafting_and_brackets_may_be_a_name(tmp_path):
    folder = estate(
        tmp_path / "a", present(["Cedar"], {"block": "H", "formerly": "Cedar (riesling)"})
    )
    assert (read_records(folder).harvest["block"] == "H").sum() == 2
    tables = history()
    for rows in tables.values():
        for row in rows:
            row["block"] = row["block"].replace("Cedar", "Cedar (lower)")
    folder = estate(
        tmp_path / "b", present(["Cedar"], {"block": "H", "formerly": "Cedar (lower)"}), **tables
    )
    found = read_records(folder)
    assert (found.harvest["block"] == "H").sum() == 2
    assert not found.name_notes


@pytest.mark.parametrize(
    ("formerly", "rule"),
    [
        ({"Hill": "Alder"}, "is a block of table blocks itself"),
        ({"Hill": "Cedar", "Alder": "Birch", "Birch": "Alder"}, "is a block of table blocks"),
        ({"Hill": "Hill"}, "is the block's own name"),
        ({"Hill": "Cedar; Cedar"}, "the name stands there twice"),
        ({"Hill": "Cedar (to 2024)"}, "the brackets hold no variety"),
        (
            {"Hill": "Cedar; Old", "Alder": "Old"},
            "is a part of Hill, which was joined, and of Alder",
        ),
    ],
)
def test_names_that_cannot_be_are_told_with_their_row(tmp_path, formerly, rule):
    tables = history()
    tables["harvest"] += [
        {"season": 2025, "block": "Old", "date": "2025-09-21", "tonnes": 5.0},
    ]
    blocks = present(["Cedar"], {"block": "Hill"})
    blocks = [row | {"formerly": formerly.get(row["block"], "")} for row in blocks]
    found = [
        f for f in faults_of(estate(tmp_path / "b", blocks, **tables)) if f.column == "formerly"
    ]
    assert found
    assert all(rule in fault.rule and fault.file == "blocks.csv" for fault in found)
    assert blocks[found[0].row - 2]["formerly"]


def test_a_name_that_no_row_bears_is_doubted_and_rows_twice_under_two_names_refused(tmp_path):
    blocks = present(["Cedar"], {"block": "Hill", "formerly": "Ceder"})
    found = faults_of(estate(tmp_path / "a", blocks))
    assert any("Cedar" in (fault.value or "") for fault in found)
    tables = history()
    mine = [row for row in tables["counts"] if row["block"] == "Cedar"]
    tables["counts"] += [mine[0] | {"block": "Hill"}]
    blocks = present(["Cedar"], {"block": "Hill"})
    (fault,) = faults_of(estate(tmp_path / "b", blocks, **tables))
    assert "another row of the same season + date + block + row + vine" in fault.rule
    assert fault.row == len(tables["counts"]) + 1
    blocks = present(["Cedar"], {"block": "Hill", "formerly": "Cedar; Lost"})
    (doubt,) = read_records(estate(tmp_path / "c", blocks)).warnings
    assert (doubt.value, doubt.column) == ("Lost", "formerly")


def test_contracts_and_parts_of_split_and_joined_blocks(tmp_path):
    prices = [{"block": "Cedar", "price_per_t": 900, "cap_t": 5}]
    heirs = [{"block": "Upper", "vines": 600}, {"block": "Lower", "vines": 400}]
    split = read_records(estate(tmp_path / "a", present(["Cedar"], *heirs), prices=prices))
    assert dict(zip(split.prices["block"], split.prices["cap_t"], strict=True)) == {
        "Upper": pytest.approx(3),
        "Lower": pytest.approx(2),
    }
    blocks = present(["Birch", "Cedar"], {"block": "Big", "vines": 2000})
    (fault,) = faults_of(estate(tmp_path / "b", blocks, prices=prices))
    assert (fault.file, fault.row, fault.value) == ("prices.csv", 2, "Cedar")
    assert "cannot be read for Big" in fault.rule
