"""Records that are each possible and contradict each other are asked about, and sound ones not.

Each test spoils the invented estate Quillfoot, which is sound, in one way that growers do.
"""

import pandas as pd
import pytest
from helpers import sample_copy

from cropload.records.example import shipped
from cropload.records.records import read_records


class Tables:
    """The CSV files of the estate as text, to be spoiled."""

    def __init__(self, folder):
        self.folder = folder
        self.found = None

    def __getitem__(self, name):
        return pd.read_csv(self.folder / f"{name}.csv", dtype=str, keep_default_na=False)

    def put(self, name, frame):
        frame.to_csv(self.folder / f"{name}.csv", index=False)

    def change(self, name, column, change, block="Long Acre", **where):
        """Change the cells of a column in the rows of a block that fit ``where``."""
        frame = self[name]
        here = frame["block"] == block
        for key, wanted in where.items():
            here &= frame[key].isin([wanted] if isinstance(wanted, str) else wanted)
        here &= frame[column] != ""
        frame.loc[here, column] = [change(cell) for cell in frame.loc[here, column]]
        self.put(name, frame)

    def add(self, name, **row):
        frame = self[name]
        self.put(name, pd.concat([frame, pd.DataFrame([row])]).fillna(""))

    def drop_season(self, name, season):
        frame = self[name]
        self.put(name, frame[frame["season"] != season])

    def doubts(self):
        return read_records(self.folder).warnings


@pytest.fixture
def spoiled(tmp_path):
    names = ("blocks", "pruning", "counts", "weights", "harvest", "dates")
    return Tables(sample_copy(tmp_path / "quillfoot", *names))


def times(factor, digits=3):
    return lambda cell: f"{float(cell) * factor:.{digits}f}"


def whole(factor):
    return lambda cell: str(round(float(cell) * factor))


def a_year_early(cell):
    return f"{int(cell[:4]) - 1}{cell[4:]}"


def only(doubts, file, column):
    """Return the one doubt there is, in this file and column."""
    (doubt,) = doubts
    assert (doubt.file, doubt.column) == (f"{file}.csv", column)
    assert doubt.row is not None
    assert doubt.value
    assert doubt.mend
    return doubt


def test_the_estate_is_sound(spoiled):
    assert read_records(shipped("sample_data") / "quillfoot").warnings == ()
    assert spoiled.doubts() == ()


# The tonnes against counts x weights x vines: pure arithmetic of the table's own units.


@pytest.mark.parametrize(
    ("factor", "looks"),
    [(1 / 2.7, "tonnes per hectare"), (1000 / 5910, "kg per vine"), (1 / 6.67, "tons per acre")],
)
def test_tonnes_in_another_unit_contradict_the_counts(spoiled, factor, looks):
    spoiled.change("harvest", "tonnes", times(factor))
    doubt = only(spoiled.doubts(), "harvest", "tonnes")
    assert "over 7 seasons" in doubt.rule
    assert looks in doubt.mend
    assert "Long Acre" in doubt.value


def test_tonnes_of_two_blocks_changed_over_are_named(spoiled):
    frame = spoiled["harvest"].query("season != '2022'")
    names = {"Home Terrace": "Chapel Slope", "Chapel Slope": "Home Terrace"}
    frame["block"] = frame["block"].replace(names)
    spoiled.put("harvest", frame)
    found = {doubt.value.split(" in ")[1]: doubt.mend for doubt in spoiled.doubts()}
    assert "crop of Chapel Slope" in found["Home Terrace"]
    assert "crop of Home Terrace" in found["Chapel Slope"]


def test_a_block_without_counts_is_held_against_its_variety(spoiled):
    spoiled.change("harvest", "tonnes", times(1 / 0.2746), block="Upper Knoll")
    doubt = only(spoiled.doubts(), "harvest", "tonnes")
    assert "times the other blocks of Chardonnay" in doubt.rule
    assert "tonnes per hectare" in doubt.mend


# Lots of clusters.


def test_lag_lots_named_harvest_are_asked_about(spoiled):
    spoiled.change("weights", "stage", lambda _: "harvest", season="2026", stage="lag")
    doubts = spoiled.doubts()
    assert any("before veraison" in doubt.rule and doubt.more == 2 for doubt in doubts)
    assert {(doubt.file, doubt.column) for doubt in doubts} == {("weights.csv", "stage")}


def test_lag_lots_named_harvest_are_asked_about_without_dates_of_stages(spoiled):
    (spoiled.folder / "dates.csv").unlink()
    spoiled.change("weights", "stage", lambda _: "harvest", season="2026", stage="lag")
    assert "before picking" in only(spoiled.doubts(), "weights", "stage").rule
    spoiled.drop_season("harvest", "2026")
    doubt = only(spoiled.doubts(), "weights", "stage")
    assert "before any picking of the block" in doubt.rule


def test_a_wrong_number_of_clusters_in_all_lots_is_asked_about(spoiled):
    spoiled.change("weights", "clusters", lambda _: "20", season="2026")
    doubts = spoiled.doubts()
    assert ("weights.csv", "clusters") in {(doubt.file, doubt.column) for doubt in doubts}
    assert all("Long Acre" in doubt.value for doubt in doubts)


def test_a_wrong_number_of_clusters_in_one_lot_is_asked_about(spoiled):
    frame = spoiled["weights"]
    here = (frame["block"] == "Long Acre") & (frame["season"] == "2026")
    row = frame.index[here & (frame["stage"] == "lag")][0]
    frame.loc[row, "clusters"] = str(round(int(frame["clusters"][row]) * 2.5))
    spoiled.put("weights", frame)
    doubt = only(spoiled.doubts(), "weights", "clusters")
    assert doubt.row == row + 2


# Picks.


def test_shares_of_each_pick_instead_of_those_so_far_are_asked_about(spoiled):
    spoiled.change("harvest", "picked_pct", lambda cell: {"100": "60"}.get(cell, cell))
    doubt = only(spoiled.doubts(), "harvest", "picked_pct")
    assert "add up to 100 %" in doubt.rule


def test_a_past_season_that_ends_below_the_whole_is_asked_about(spoiled):
    frame = spoiled["harvest"]
    spoiled.put("harvest", frame[frame["picked_pct"] != "100"])
    doubt = only(spoiled.doubts(), "harvest", "picked_pct")
    assert "ends at 40 %" in doubt.rule
    for name in ("pruning", "counts"):
        spoiled.drop_season(name, "2027")
    assert spoiled.doubts() == ()


@pytest.mark.parametrize("date", ["", "2025-10-13"])
def test_a_pick_entered_twice_is_asked_about(spoiled, date):
    spoiled.add("harvest", season="2025", block="Long Acre", date=date, tonnes="22.97")
    doubt = only(spoiled.doubts(), "harvest", "tonnes")
    assert doubt.value == "22.97"
    assert "again" in doubt.rule


def test_equal_halves_and_equal_loads_on_tickets_are_not(spoiled):
    frame = spoiled["harvest"].query("season != '2026' or block != 'Long Acre'")
    first = {"season": "2026", "block": "Long Acre", "tonnes": "8.14"}
    halves = [
        first | {"date": "2026-10-02", "picked_pct": "50"},
        first | {"date": "2026-10-06", "picked_pct": "100"},
    ]
    spoiled.put("harvest", pd.concat([frame, pd.DataFrame(halves)]).fillna(""))
    assert spoiled.doubts() == ()
    loads = [first | {"date": "2026-10-06", "ticket": ticket} for ticket in ("71", "72")]
    spoiled.put("harvest", pd.concat([frame, pd.DataFrame(loads)]).fillna(""))
    assert spoiled.doubts() == ()


# Plans against buds.


def test_a_plan_far_from_the_buds_counted_is_asked_about(spoiled):
    spoiled.change("pruning", "plan", lambda _: "3x18+3x2", season="2026")
    doubt = only(spoiled.doubts(), "pruning", "plan")
    assert doubt.value == "3x18+3x2"
    assert "leaves 60 buds" in doubt.rule
    assert "30 vines of Long Acre" in doubt.rule


def test_plans_a_season_early_are_asked_about_once(spoiled):
    frame = spoiled["pruning"].query("plan != ''").assign(date="")
    frame["season"] = (frame["season"].astype(int) - 1).astype(str)
    spoiled.put("pruning", frame)
    doubt = only(spoiled.doubts(), "pruning", "season")
    assert "one season too early" in doubt.rule


# Rows of table blocks.


def test_a_row_of_totals_is_asked_about(spoiled):
    row = {"row_spacing_m": "2.2", "vine_spacing_m": "1.5", "vines": "17400"}
    spoiled.add("blocks", block="Total", variety="all", area_ha="6.04", **row)
    doubts = spoiled.doubts()
    assert any(d.column == "block" and "may be a total" in d.rule for d in doubts)


def test_a_twin_by_accent_is_asked_about_and_numbers_are_kept_apart(spoiled):
    blocks = spoiled["blocks"]
    row = blocks[blocks["block"] == "Long Acre"].iloc[0].to_dict()
    spoiled.add("blocks", **row | {"block": "Lóng-Acre"})
    doubt = only(spoiled.doubts(), "blocks", "block")
    assert doubt.value == "Lóng-Acre"
    assert "'Long Acre'" in doubt.rule
    spoiled.put("blocks", blocks)
    for name in ("Plot 1.1", "Plot 11"):
        spoiled.add("blocks", **row | {"block": name})
    assert spoiled.doubts() == ()


# Days.


def test_weights_dated_a_year_early_are_asked_about_once_a_season(spoiled):
    spoiled.change("weights", "date", a_year_early)
    doubts = spoiled.doubts()
    assert {(doubt.file, doubt.column) for doubt in doubts} == {("weights.csv", "date")}
    assert len(doubts) == 7
    assert sum(1 + doubt.more for doubt in doubts) == 56
    assert "before the pruning" in doubts[0].rule


def test_weights_dated_a_year_early_are_asked_about_without_days_of_pruning(spoiled):
    spoiled.put("pruning", spoiled["pruning"].assign(date=""))
    spoiled.change("weights", "date", a_year_early, season="2026")
    assert "before the crop of the season before" in only(spoiled.doubts(), "weights", "date").rule


def test_a_picking_with_day_and_month_swapped_is_asked_about(spoiled):
    spoiled.change("harvest", "date", lambda _: "2025-02-10", block="Upper Knoll", season="2025")
    doubt = only(spoiled.doubts(), "harvest", "date")
    assert doubt.value.startswith("2025-02-10")
    assert "2025-10-02" in doubt.mend


# Counts.


@pytest.mark.parametrize("unpicked", [False, True])
def test_two_vines_counted_as_one_are_asked_about(spoiled, unpicked):
    if unpicked:
        spoiled.drop_season("harvest", "2026")
    for column in ("shoots", "clusters"):
        spoiled.change("counts", column, whole(2), season="2026")
    doubts = [doubt for doubt in spoiled.doubts() if "of season 2026 are about" in doubt.rule]
    doubt = only(doubts, "counts", "shoots")
    assert "two vines" in doubt.mend
    assert "Long Acre" in doubt.value


@pytest.mark.parametrize("unpicked", [False, True])
def test_one_side_of_the_row_is_asked_about(spoiled, unpicked):
    if unpicked:
        spoiled.drop_season("harvest", "2026")
    for column in ("shoots", "clusters"):
        spoiled.change("counts", column, whole(0.5), season="2026")
    assert any("one side" in doubt.mend for doubt in spoiled.doubts())


def test_clusters_of_a_metre_are_asked_about_once_picked(spoiled):
    spoiled.change("counts", "clusters", whole(1 / 1.8), season="2026")
    assert any("a metre of it" in doubt.mend for doubt in spoiled.doubts())


@pytest.mark.parametrize("unpicked", [False, True])
def test_shoots_and_clusters_swapped_are_asked_about(spoiled, unpicked):
    if unpicked:
        spoiled.drop_season("harvest", "2026")
    frame = spoiled["counts"]
    here = (frame["block"] == "Long Acre") & (frame["season"] == "2026")
    frame.loc[here, ["shoots", "clusters"]] = frame.loc[here, ["clusters", "shoots"]].to_numpy()
    spoiled.put("counts", frame)
    assert any("swapped" in doubt.mend for doubt in spoiled.doubts())


def test_zeros_for_cells_not_counted_are_asked_about(spoiled):
    frame = spoiled["counts"]
    here = (frame["block"] == "Long Acre") & (frame["season"] == "2026")
    frame.loc[here & (frame["shoots"] != "") & (frame["clusters"] != ""), "shoots"] = "0"
    spoiled.put("counts", frame)
    doubts = [doubt for doubt in spoiled.doubts() if "no shoot that could bear" in doubt.rule]
    assert only(doubts, "counts", "shoots").more == 29


def no_buds(spoiled, vines, block="Long Acre", season="2026"):
    """Write a zero for the buds of the first so many vines of a block, or of all of them."""
    frame = spoiled["counts"]
    here = (frame["block"] == block) & (frame["season"] == season) & (frame["buds"] != "")
    frame.loc[frame.index[here][:vines], "buds"] = "0"
    spoiled.put("counts", frame)


def test_a_vine_without_buds_among_others_is_asked_about(spoiled):
    no_buds(spoiled, 2)
    doubt = only(spoiled.doubts(), "counts", "buds")
    assert (doubt.value, doubt.more) == ("0", 1)
    assert "a living vine has buds" in doubt.rule
    assert "missing_pct" in doubt.mend
    assert "leave this cell blank" in doubt.mend


def test_a_zero_that_a_later_count_mends_is_told_once(spoiled):
    no_buds(spoiled, 1)
    frame = spoiled["counts"]
    vine = frame[(frame["block"] == "Long Acre") & (frame["season"] == "2026")].iloc[0]
    spoiled.add("counts", **{**vine, "date": "2026-04-30", "buds": "30", "shoots": ""})
    doubt = only(spoiled.doubts(), "counts", "buds")
    assert "later in the season" in doubt.rule


# What is no slip.


@pytest.mark.parametrize("planted", ["2023", "2024", "2026"])
def test_young_vines_cut_back_to_the_base_are_not_asked_about(spoiled, planted):
    """A weak vine of a young block is cut back to its base: common practice, no source."""
    spoiled.change("blocks", "year_planted", lambda _: planted)
    young = spoiled.doubts()
    no_buds(spoiled, 2)
    assert spoiled.doubts() == young


def test_a_block_without_any_bud_is_no_matter_of_single_vines(spoiled):
    no_buds(spoiled, None)
    assert not [doubt for doubt in spoiled.doubts() if "living vine" in doubt.rule]


def test_frost_hail_and_a_new_plan_are_not_asked_about(spoiled):
    spoiled.change("counts", "shoots", whole(0.5), block="Mill Meadow", season="2024")
    spoiled.change("counts", "clusters", whole(0.4), block="Mill Meadow", season="2024")
    spoiled.change("harvest", "tonnes", times(0.4), block="Mill Meadow", season="2024")
    # Hail after the counts: 60 % less over the scale.
    spoiled.change("harvest", "tonnes", times(0.4), block="Quarry Bank", season="2023")
    # A plan of 60 buds against 24 to 36 in other seasons, with all that follows from it.
    spoiled.change("pruning", "plan", lambda _: "6x9+3x2", block="Long Acre", season="2026")
    for column in ("buds", "shoots", "clusters"):
        spoiled.change("counts", column, whole(2), block="Long Acre", season="2026")
    spoiled.change("harvest", "tonnes", times(1.7), block="Long Acre", season="2026")
    spoiled.change("weights", "weight_g", whole(0.85), block="Long Acre", season="2026")
    doubts = [doubt for doubt in spoiled.doubts() if "usual crop" not in doubt.rule]
    assert doubts == []


def test_many_rows_of_one_block_make_one_doubt(spoiled):
    spoiled.change("harvest", "tonnes", times(1 / 2.7))
    spoiled.change("weights", "stage", lambda _: "harvest", season="2025", stage="lag")
    assert len(spoiled.doubts()) == 2
