"""The panel of the main job, without a browser: values are set and buttons are clicked."""

import base64
import csv
import datetime
import re

import openpyxl
import pytest
from helpers import block_row, make_records, sample_copy

from cropload import compare_plans, example_records, find_plans, read_records
from cropload.pages.pruning_levels import PruningLevels
from cropload.pruning.panels.choices import season_meant
from cropload.records.example import shipped
from cropload.vine.training import first_levels


@pytest.fixture
def panel(tmp_path):
    return PruningLevels(block="Long Acre", results_folder=tmp_path)


@pytest.fixture(scope="module")
def opened(tmp_path_factory):
    """One panel for all tests that leave it as they found it."""
    return PruningLevels(block="Long Acre", results_folder=tmp_path_factory.mktemp("results"))


@pytest.fixture
def own_folder(tmp_path):
    """A copy of the sample estate's small tables, as a grower's own folder."""
    return sample_copy(tmp_path / "own", "blocks", "pruning", "harvest")


def box(panel, level, name):
    return panel.levels.rows[level - 1].fields[name].box


def shown_plans(panel):
    return [str(plan) for plan in panel.plans]


def test_opens_with_last_winter_and_a_lighter_and_a_heavier_level(opened):
    pruning = example_records().pruning
    last = pruning[(pruning["block"] == "Long Acre") & (pruning["plan"] != "")].iloc[-1]
    assert shown_plans(opened)[0] == last["plan"]
    assert "Level 1 (as last winter)" in opened.sentences.value
    buds = [plan.buds for plan in opened.plans]
    assert buds[1] < buds[0] < buds[2]
    assert opened.message.value == ""


def test_panel_shows_what_compare_plans_computes(panel):
    box(panel, 1, "buds_per_cane").value = 11
    row = compare_plans(panel.records, "Long Acre", "3x11+3x2").frame.iloc[0]
    assert panel.comparison.frame.iloc[0]["t_ha_p50"] == row["t_ha_p50"]
    assert f"about {row['t_ha_p50']:.1f} t/ha" in panel.sentences.value
    cell = f"{row['t_ha_p50']:.1f} ({row['t_ha_p10']:.1f}-{row['t_ha_p90']:.1f})"
    assert f">{cell}</td>" in panel.table.value
    assert f"{row['t_ha_p50']:.1f} (" in panel.figure.value


def test_every_block_of_the_estate_opens(panel):
    for block in panel.records.blocks["block"]:
        panel.choices.block.value = block
        assert panel.message.value == ""
        assert panel.comparison.block == block
        for tab in (panel.find, panel.balanced, panel.damage):
            assert tab.message.value == ""


def test_box_and_slider_move_together(panel):
    field = panel.levels.rows[0].fields["canes"]
    field.slider.value = 5
    assert field.box.value == 5
    field.box.value = 2
    assert field.slider.value == 2
    assert shown_plans(panel)[0] == "2x8+3x2"


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("canes", 1200, "Level 1: canes is 1200; no vine carries that"),
        ("canes", -1, "Level 1: canes is -1; it cannot be below 0"),
        ("canes", 2.5, "Level 1: canes must be a whole number, not 2.5"),
        ("spurs", float("nan"), "Level 1: spurs must be a whole number"),
        ("buds_per_cane", 2, "Level 1: a piece of 2 buds is a spur, not a cane"),
        ("buds_per_spur", 4, "Level 1: a spur has 1 to 3 buds, not 4"),
    ],
)
def test_impossible_number_stays_in_its_box_and_is_explained(opened, name, value, words):
    box(opened, 1, name).value = value
    assert words in opened.message.value
    assert 'role="alert"' in opened.message.value
    assert box(opened, 1, name).value == pytest.approx(value, nan_ok=True)
    # Results of other numbers must not be taken for these.
    assert opened.results.layout.display == "none"
    box(opened, 1, name).value = {"canes": 3, "spurs": 3, "buds_per_cane": 8, "buds_per_spur": 2}[
        name
    ]
    assert opened.message.value == ""
    assert opened.results.layout.display is None


def test_all_wrong_levels_are_told_together(panel):
    box(panel, 1, "canes").value = -1
    box(panel, 2, "canes").value = -2
    assert "Level 1" in panel.message.value
    assert "Level 2" in panel.message.value


def test_levels_are_added_up_to_five_and_taken_away(panel):
    panel.levels.adding.click()
    panel.levels.adding.click()
    assert len(panel.comparison) == 5
    assert panel.levels.adding.disabled
    panel.levels.rows[0].remove.click()
    assert shown_plans(panel) == ["3x6+3x2", "3x10+3x2", "3x10+3x2", "3x10+3x2"]
    for _ in range(3):
        panel.levels.rows[0].remove.click()
    assert len(panel.comparison) == 1
    assert panel.levels.rows[0].remove.disabled


def test_same_plan_twice_is_shown_twice(panel):
    box(panel, 2, "buds_per_cane").value = 8
    assert shown_plans(panel)[:2] == ["3x8+3x2", "3x8+3x2"]
    first, second = (panel.comparison.frame.iloc[at]["t_ha_p50"] for at in (0, 1))
    assert first == second


def test_us_units_change_what_is_shown_and_not_what_is_computed(panel):
    metric = panel.comparison.frame.copy()
    panel.choices.unit_choice.value = "us"
    assert panel.comparison["t_ha_p50"].tolist() == metric["t_ha_p50"].tolist()
    # 1 short ton/ac = 2.2417 t/ha.
    tons = metric["t_ha_p50"].iloc[0] / 2.2417
    assert f"about {tons:.1f} ton/ac" in panel.sentences.value
    assert "3.66 to 4.57 per ft" in panel.sentences.value
    assert "t/ha" not in panel.table.value


def test_own_band_decides_the_word(panel):
    panel.choices.density.choice.value = "your own numbers"
    panel.choices.density.low.value = 1
    panel.choices.density.high.value = 2
    assert set(panel.comparison["density_word"]) == {"above"}
    assert "1 to 2 per m (your own band)" in panel.sentences.value
    panel.choices.density.low.value = 5
    assert "the low end must be" in panel.message.value


def test_own_band_in_feet_is_turned_into_metres(panel):
    panel.choices.unit_choice.value = "us"
    panel.choices.density.choice.value = "your own numbers"
    panel.choices.density.low.value, panel.choices.density.high.value = 3, 5
    density, _ = panel.bands()
    # 3 and 5 per ft are 9.84 and 16.40 per m (1 ft = 0.3048 m).
    assert (density.low, density.high) == pytest.approx((9.8425, 16.4042), rel=1e-4)


def test_divided_canopy_opens_with_its_own_band(panel):
    panel.choices.block.value = "Lyre Field"
    assert panel.choices.balance.choice.value == "band.ravaz.divided"
    assert "wall 2 of 2" in panel.sketches.value


def test_every_component_says_where_it_came_from_and_opens_to_its_source(opened):
    found = opened.sources.value
    for entry in opened.comparison.components:
        assert entry["words"] in found
        assert entry["key"] in found
    assert "this block&#x27;s own records" in found
    assert found.count("<details") >= len(opened.comparison.components)
    assert "Kliewer" in found


def test_figure_is_an_image_with_a_text_alternative(opened):
    found = re.search(
        r'<img alt="([^"]+)" src="data:image/svg\+xml;base64,([^"]+)"', opened.figure.value
    )
    assert "80 % range, equal tails" in found[1]
    assert b"<svg" in base64.b64decode(found[2])


def test_every_box_has_a_name_of_its_own(opened):
    names = [field.box.description for row in opened.levels.rows for field in row.fields.values()]
    assert all(names)
    assert len(set(names)) == len(names)


def test_cautions_are_shown(opened):
    last = opened.children[-1].value
    for word in ("Eyes", "Hands", "Footing", "Wounds", "local codes"):
        assert word in last


def test_sample_is_said_to_be_invented(opened):
    assert "invented" in opened.children[0].value


def test_find_plans_gives_the_plans_of_find_plans_and_one_becomes_a_level(panel):
    find = panel.find
    find.target.value = 8.0
    find.button.click()
    density, balance = panel.bands()
    expected = find_plans(
        panel.records,
        "Long Acre",
        target_t_ha=8.0,
        shoots_per_m=density,
        ravaz=balance,
        canes=(2, 4),
        buds_per_cane=(6, 14),
        spurs=(0, 7),
        buds_per_spur=2,
    )
    assert list(find.pick.options) == list(expected["plan"])
    assert find.message.value == ""
    find.pick.value = expected["plan"].iloc[1]
    find.use.click()
    assert shown_plans(panel)[-1] == expected["plan"].iloc[1]


def test_find_plans_says_which_limit_binds_and_offers_the_nearest(panel):
    for low_high in panel.find.spans["canes"]:
        low_high.value = 4
    panel.find.button.click()
    assert "Nothing fits" in panel.find.answer.value
    assert "outside the limits" in panel.find.answer.value
    nearest = panel.find.found.nearest
    assert f'class="cl-words">{nearest[0]["outside"]}</td>' in panel.find.answer.value
    panel.find.use.click()
    assert shown_plans(panel)[-1] == nearest[0]["plan"]


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("target", -3, "Target crop [t/ha] must"),
        ("dead", 120, "Buds killed by winter [%] must"),
        ("good_canes", "a few", "few"),
    ],
)
def test_find_plans_explains_what_cannot_be(opened, name, value, words):
    box = getattr(opened.find, name)
    usual, box.value = box.value, value
    opened.find.button.click()
    assert words in opened.find.message.value
    assert opened.find.answer.value == ""
    box.value = usual


def test_target_follows_the_units(panel):
    panel.find.target.value = 11.2
    panel.choices.unit_choice.value = "us"
    # 11.2 t/ha / 2.2417 = 5.0 short ton/ac.
    assert panel.find.target.value == 5.0
    assert panel.find.target.description == "Target crop [ton/ac]"


def test_balanced_lookup_gives_50_buds_at_3_lb_by_30_and_10(panel):
    # West Virginia Department of Agriculture: 30+10 at 3 lb of prunings is 50 buds.
    panel.choices.unit_choice.value = "us"
    panel.balanced.formula.value = "balanced.american"
    panel.balanced.weight.value = 3
    assert "by the prunings alone it would be 50." in panel.balanced.answer.value
    # The space of Long Acre, 1.8 m a vine, holds 4 to 6 buds per ft.
    assert "30+10 per lb: leave 23 to 35 buds" in panel.balanced.answer.value


def test_balanced_lookup_opens_with_the_formula_of_the_variety(panel):
    # Long Acre is Sauvignon blanc: Vitis vinifera, 20+20 per lb (Smith 2023).
    assert panel.balanced.formula.value == "balanced.vinifera"
    assert "20+20 per lb: leave" in panel.balanced.answer.value


def test_balanced_lookup_takes_an_own_formula_and_explains_a_wrong_one(panel):
    panel.balanced.formula.value = "your own formula"
    assert "Write your own formula" in panel.balanced.message.value
    panel.balanced.own.value = "33+11 per 500 g"
    panel.balanced.weight.value = 1.0
    # Bates 2021: 33 for the first 500 g and 11 for the next.
    assert "by the prunings alone it would be 44" in panel.balanced.answer.value
    panel.balanced.own.value = "lots"
    assert "is not a balanced-pruning formula" in panel.balanced.message.value


def test_bud_damage_shows_both_rules_and_the_wilson_range(panel):
    damage = panel.damage
    damage.target.value, damage.sampled.value, damage.dead.value = 40, 10, 3
    # Wilson's range of 3 in 10 at 95 % is 10.8 to 60.3 %.
    assert "from 11 to 60 % of the block (95 % range)" in damage.answer.value
    assert "Sample more" in damage.answer.value
    damage.sampled.value, damage.dead.value = 100, 50
    # At half the buds dead and 40 wanted: 80 by live buds, 60 by the step rule of Cornell.
    assert "leave 80;" in damage.answer.value
    assert ">60</td>" in damage.answer.value
    damage.dead.value = 101
    assert "more cannot be dead" in damage.message.value


def test_bud_damage_without_a_sample_is_a_message(panel):
    panel.damage.sampled.value = 0
    assert 'role="alert"' in panel.damage.message.value
    assert panel.damage.answer.value == ""


def test_exports_hold_every_level_and_never_replace_a_file(panel, tmp_path):
    panel.keep.csv_button.click()
    panel.keep.csv_button.click()
    files = sorted(tmp_path.glob("*.csv"))
    assert [file.name for file in files] == [
        "levels_Long-Acre_2027.csv",
        "levels_Long-Acre_2027_2.csv",
    ]
    assert files[0].read_bytes() == files[1].read_bytes()
    with open(files[0], encoding="utf-8-sig", newline="") as text:
        rows = list(csv.DictReader(text))
    assert [row["plan"] for row in rows] == shown_plans(panel)
    assert float(rows[0]["t_ha_p50"]) == panel.comparison["t_ha_p50"].iloc[0]
    assert rows[0]["interval"] == "80 % range, equal tails"


def test_excel_export_in_us_units(panel, tmp_path):
    panel.choices.unit_choice.value = "us"
    panel.keep.excel_button.click()
    sheet = openpyxl.load_workbook(next(tmp_path.glob("*.xlsx"))).active
    heads = [cell.value for cell in sheet[1]]
    assert "ton_ac_p50" in heads
    value = sheet.cell(2, heads.index("ton_ac_p50") + 1).value
    assert value == pytest.approx(panel.comparison["t_ha_p50"].iloc[0] / 2.2417023, rel=1e-6)


def test_crew_card_is_of_the_chosen_level(panel, tmp_path):
    panel.keep.chosen.value = 1
    panel.keep.card_button.click()
    text = next(tmp_path.glob("card*.html")).read_text(encoding="utf-8")
    assert "3x6+3x2" in text
    assert "24 buds on each vine" in text
    assert "Done" in panel.keep.kept.value


def test_sample_records_are_never_written_into(opened):
    before = (shipped("sample_data") / "quillfoot" / "pruning.csv").read_bytes()
    opened.keep.save_button.click()
    assert "invented sample records, which stay as they are" in opened.keep.kept.value
    assert (shipped("sample_data") / "quillfoot" / "pruning.csv").read_bytes() == before


def test_a_grape_the_handbook_does_not_know_is_told(own_folder):
    told = "no figures of its own for"
    assert told not in PruningLevels(own_folder, block="Long Acre").sources.value
    blocks = own_folder / "blocks.csv"
    blocks.write_text(blocks.read_text("utf-8").replace("Sauvignon blanc", "Quillgrape"), "utf-8")
    assert f"{told} Quillgrape" in PruningLevels(own_folder, block="Long Acre").sources.value


def test_season_says_which_winter_and_whether_it_is_past(panel):
    assert "the winter before the harvest of 2027" in panel.choices.meant.value
    panel.choices.season.value = 2025
    assert "That crop is on record" in panel.choices.meant.value
    records = make_records(blocks=[block_row("A")], pruning=[{"season": 2021, "block": "A"}])
    later = season_meant(records, "A", 2021, datetime.date(2026, 11, 25))
    assert "lies in the past (2026-11-25 is today)" in later
    assert "choose 2027" in later
    assert "choose 2027" in season_meant(records, "A", 2026, datetime.date(2026, 11, 25))
    assert "past" not in season_meant(records, "A", 2027, datetime.date(2026, 11, 25))


def test_records_that_end_in_the_past_still_let_the_next_season_be_planned():
    pruning = [{"season": 2021, "block": "A", "plan": "1x10+1x2"}]
    coming = datetime.date.today().year + 1
    old = PruningLevels(make_records(blocks=[block_row("A")], pruning=pruning), season=coming)
    assert old.season == coming
    assert old.comparison.season == coming
    assert old.message.value == ""


@pytest.mark.parametrize(("usual", "first"), [(14, "1x12+1x2"), (24, "2x10+2x2"), (5, "2x2")])
def test_a_block_without_any_plan_opens_with_three_levels_that_can_be_cut(usual, first):
    plans, names = first_levels(None, usual)
    assert str(plans[0]) == first
    assert names == ["a usual load", "lighter", "heavier"] or plans[0].spurs < 3


def test_levels_are_held_against_the_first_one(opened):
    row = opened.comparison.frame.iloc[1]
    assert f"{-row['tonnes_change_p50']:.1f} t less in the block" in opened.sentences.value
    assert "DIFFERENCE to 3x8+3x2, once settled" in opened.table.value


def test_chosen_plan_is_saved_into_the_growers_own_records(own_folder):
    before = (own_folder / "pruning.csv").read_bytes()
    panel = PruningLevels(own_folder, block="Long Acre")
    panel.keep.chosen.value = 1
    panel.keep.save_button.click()
    assert "Done" in panel.keep.kept.value
    assert (own_folder / "pruning.csv").read_bytes().startswith(before)
    pruning = read_records(own_folder).pruning
    row = pruning[(pruning["block"] == "Long Acre") & (pruning["season"] == 2027)]
    assert list(row["plan"]) == ["3x6+3x2"]
    # The prunings weighed before the decision stay with it.
    assert row["pruning_weight_kg"].notna().all()


def test_second_plan_for_the_same_season_is_refused_and_nothing_is_written(own_folder):
    panel = PruningLevels(own_folder, block="Long Acre")
    assert panel.keep.on_record.value == ""
    panel.keep.save_button.click()
    saved = (own_folder / "pruning.csv").read_bytes()
    # Header and rows, as a spreadsheet numbers them.
    row = len(saved.decode("utf-8-sig").splitlines())
    assert f"plan 3x8+3x2 (pruning.csv, row {row})" in panel.keep.on_record.value
    panel.keep.chosen.value = 1
    panel.keep.save_button.click()
    assert "Not possible" in panel.keep.kept.value
    assert f"write 3x6+3x2 into column plan of row {row}" in panel.keep.kept.value
    assert (own_folder / "pruning.csv").read_bytes() == saved
    panel.keep.chosen.value = 0
    panel.keep.save_button.click()
    assert "nothing to do" in panel.keep.kept.value
    assert (own_folder / "pruning.csv").read_bytes() == saved


def test_results_of_own_records_go_beside_them(own_folder):
    panel = PruningLevels(own_folder, block="Long Acre")
    panel.keep.csv_button.click()
    assert (own_folder / "results" / "levels_Long-Acre_2027.csv").exists()
    # A result must not be taken for a table of the records.
    assert read_records(own_folder).given == panel.records.given


def test_faulty_records_are_told_in_the_panel_without_a_traceback(tmp_path):
    (tmp_path / "blocks.csv").write_text(
        "block,variety,row_spacing_m,vine_spacing_m,vines\nA,B,x,1,9\n"
    )
    panel = PruningLevels(tmp_path)
    assert "row_spacing_m" in panel.message.value
    assert "Traceback" not in panel.message.value
    assert panel.records is None


@pytest.mark.parametrize("path", ["no/such/folder", ""])
def test_missing_folder_is_told_in_the_panel(path):
    assert 'role="alert"' in PruningLevels(path).message.value


def test_unknown_block_is_told_with_near_names():
    assert "Long Acre" in PruningLevels(block="Long Aker").message.value


def own_estate(folder, name="A", rest=""):
    quoted = name.replace('"', '""')
    (folder / "blocks.csv").write_text(
        "block,variety,row_spacing_m,vine_spacing_m,vines\n" + f'"{quoted}",Riesling,2,1.2,1000\n',
        encoding="utf-8",
    )
    for table, text in (rest or {}).items():
        (folder / f"{table}.csv").write_text(text, encoding="utf-8")
    return folder


@pytest.mark.parametrize("name", ['<b>"x"</b> & <script>', "=1+1", "葡萄園 Ö", "L" * 150])
def test_any_name_of_a_block_is_safe_and_usable(tmp_path, name):
    panel = PruningLevels(own_estate(tmp_path, name), results_folder=tmp_path / "out")
    assert panel.message.value == ""
    for part in (panel.sentences, panel.table, panel.figure, panel.sources, panel.notes):
        assert "<script>" not in part.value
    for button in (panel.keep.csv_button, panel.keep.excel_button, panel.keep.card_button):
        button.click()
        assert "Done" in panel.keep.kept.value
        assert "<script>" not in panel.keep.kept.value
    assert "<script>" not in next((tmp_path / "out").glob("card*.html")).read_text(encoding="utf-8")


def test_block_with_crops_but_no_plan_is_compared_and_asks_for_the_plan_it_has_carried(tmp_path):
    crops = {"harvest": "season,block,date,tonnes\n2024,A,2024-09-20,2.1\n2025,A,2025-09-22,1.8\n"}
    panel = PruningLevels(own_estate(tmp_path, "A", crops))
    assert panel.message.value == ""
    # The plan is asked for at the top, once, until it is told.
    shown = [panel.choices.load.value, panel.notes.value, panel.sentences.value]
    assert ["Load unknown" in text for text in shown] == [True, False, False]
    assert panel.choices.reference.layout.display is None
    panel.choices.reference.value = "1x10+1x2"
    assert panel.choices.load.value == ""
    assert panel.message.value == ""
    assert shown_plans(panel)[0] == "1x10+1x2"
    expected = compare_plans(panel.records, "A", "1x10+1x2", reference_plan="1x10+1x2")
    assert panel.comparison["t_ha_p50"].iloc[0] == expected["t_ha_p50"].iloc[0]
    panel.choices.reference.value = "3x"
    assert 'role="alert"' in panel.message.value
