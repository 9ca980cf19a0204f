"""A minimal hedge's shoots: no source gives a band for them, and so says everything shown."""

import pytest
from helpers import records_from_csv

from cropload import compare_blocks, compare_plans, compare_scenarios, find_plans, forecast
from cropload.owner.report import report
from cropload.pages.home_answer import home_table
from cropload.pages.pruning_levels import PruningLevels
from cropload.pruning import charts, words
from cropload.pruning.row_pictures import axes
from cropload.pruning.tables import comparison_tables
from cropload.show.desk import Fold
from cropload.vine import bands

NONE, WHY = "no band known", "no band known for a minimal hedge"


def all_folds(widget):
    for child in getattr(widget, "children", ()):
        if isinstance(child, Fold):
            yield child
        else:
            yield from all_folds(child)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("hedged")


@pytest.fixture(scope="module")
def records(folder):
    """A hedge of 180 buds, beside a cordon of the same crop."""
    seasons = range(2022, 2027)
    return records_from_csv(
        folder,
        blocks="block,variety,row_spacing_m,vine_spacing_m,vines,training\n"
        "Hedge,Syrah,3,2,1000,minimal hedge\nCordon,Syrah,3,2,1000,cordon\n",
        pruning="season,block,plan\n"
        + "".join(f"{year},Hedge,90x2\n{year},Cordon,16x2\n" for year in seasons),
        harvest="season,block,date,tonnes\n"
        + "".join(f"{y},{name},{y}-10-01,6\n" for y in seasons for name in ("Hedge", "Cordon")),
    )


@pytest.fixture(scope="module")
def compared(records):
    return compare_plans(records, "Hedge", ["90x2", "60x2"], draws=200)


def test_tables_words_and_pictures_of_plans_say_that_no_band_is_known(compared):
    frame = compared.frame
    assert set(frame["density_word"]) == {NONE}
    assert set(frame["density_band"]) == {WHY}
    assert set(frame["balance_word"]) <= {"below", "inside", "above"}
    [shoots] = [table for table in comparison_tables(compared) if table.key == "shoots"]
    assert shoots.caption.endswith(f"density: {WHY}")
    row = frame.iloc[0]
    assert f": {WHY}. Yield to pruning weight" in words.balance_sentence(row, compared)
    rows = charts.density_rows(frame, compared.density)
    assert rows.heading == WHY
    assert f"per m, {NONE}" in rows.text()
    assert not rows.bands
    charts.plans_figure(frame, compared.density, compared.balance)
    picture = axes(frame, compared.density, compared.balance).shoots(row)
    assert f", {NONE}" in picture
    assert "<circle" in picture  # the mark of a figure that nothing speaks against
    assert f"{NONE} the band" not in picture + rows.text()


def test_a_band_of_ones_own_judges_a_hedge_too(records):
    found = compare_plans(records, "Hedge", "90x2", density_band=(1, 2), draws=200)
    assert list(found["density_word"]) == ["above"]
    assert compare_blocks(records, density_band=(1, 2), draws=200)["density_word"].eq("above").all()


def test_no_other_block_loses_its_band(records):
    found = compare_blocks(records, draws=200).frame.set_index("block")["density_word"]
    assert found["Hedge"] == NONE
    assert found["Cordon"] in ("below", "inside", "above")


def test_a_density_that_nobody_knows_limits_no_layout(records, compared):
    asked = {"target_t_ha": 9, "draws": 200, "spurs": (40, 100)}
    free = find_plans(records, "Hedge", **asked)
    held = find_plans(records, "Hedge", shoots_per_m=compared.density, **asked)
    assert held.kept == free.kept == held.considered
    assert f"Shoot density sets no limit: {WHY}." in held.notes
    assert f"Shoot density sets no limit: {WHY}." not in free.notes
    assert f"{NONE} for shoots per m" in held.frame["reasons"].iloc[0]


def test_the_home_page_finds_no_fault_with_its_shoots(records):
    made = forecast(records, 2027, "2027-03-01", draws=200)
    row = home_table(records, made, draws=200).set_index("block").loc["Hedge"]
    assert row["density_word"] == NONE
    assert "shoots" not in row["look"]


def test_the_owner_reads_no_objection_to_its_shoots(records):
    plans = {"now": {"Hedge": "90x2"}, "less": {"Hedge": "60x2"}}
    found = compare_scenarios(records, plans, draws=200)
    assert set(found.blocks["density_word"]) == {NONE}
    page = report(records, found).html()
    assert f"Hedge: shoots {WHY};" in page
    assert f"{NONE} the band" not in page
    assert "nan" not in page.split("<body")[1]


def test_the_choice_of_bands_starts_with_none_and_takes_any(folder, records):
    page = PruningLevels(folder, block="Hedge", draws=200)
    [fold] = [each for each in all_folds(page) if each.words == "all figures"]
    fold.button.click()
    choice = page.bands.density.choice
    assert choice.label == WHY
    assert page.bands.given()[0] is bands.NO_DENSITY
    choice.value = "band.shoots_per_m.undivided"
    assert page.bands.given()[0] == "band.shoots_per_m.undivided"
    page.desk.open_with(block="Cordon")
    assert WHY not in [label for label, _ in choice.options]
