"""The pruning page, without a browser: values are set and buttons are clicked."""

import csv
import datetime
import re
from io import BytesIO, StringIO

import ipywidgets as widgets
import openpyxl
import pytest
from helpers import block_row, make_records, sample_copy

from cropload import compare_plans, example_records, find_plans, read_records
from cropload.pages.pruning_levels import PruningLevels
from cropload.pruning.panels.choices import season_meant
from cropload.records.example import shipped
from cropload.show.desk import Fold
from cropload.vine.training import first_levels


@pytest.fixture
def page():
    return PruningLevels(block="Long Acre", draws=500)


@pytest.fixture
def own_folder(tmp_path):
    """A copy of the sample estate's small tables, as a grower's own folder."""
    return sample_copy(tmp_path / "own", "blocks", "pruning", "harvest")


def set_number(page, level, **numbers):
    """Set numbers of a level as its boxes do."""
    levels = [dict(each) for each in page.levels.table.levels]
    levels[level - 1] |= numbers
    page.levels.table.set_by_hand(levels)


def unfold(page, words):
    """Open a fold by its line, and return what lies in it."""
    [fold] = [each for each in all_folds(page) if each.words == words]
    if not fold.is_open:
        fold.button.click()
    return fold.inside.children


def all_folds(widget):
    for child in getattr(widget, "children", ()):
        if isinstance(child, Fold):
            yield child
        else:
            yield from all_folds(child)


def shown_plans(page):
    return [str(plan) for plan in page.plans]


def faults(page):
    return [row.get("fault", "") for row in page.levels.table.rows]


def text_of(html):
    return " ".join(re.sub("<[^>]+>", " ", html).split())


def test_opens_with_last_winter_and_a_lighter_and_a_heavier_level(page):
    pruning = example_records().pruning
    last = pruning[(pruning["block"] == "Long Acre") & (pruning["plan"] != "")].iloc[-1]
    assert shown_plans(page)[0] == last["plan"]
    assert page.names == ["as last winter", "lighter", "heavier"]
    buds = [plan.buds for plan in page.plans]
    assert buds[1] < buds[0] < buds[2]
    assert page.message.value == page.levels.message.value == ""


def test_a_row_shows_what_compare_plans_computes(page):
    set_number(page, 1, buds_per_cane=11)
    expected = compare_plans(page.records, "Long Acre", "3x11+3x2,3x6+3x2,3x10+3x2", draws=500)
    row, shown = expected.frame.iloc[0], page.levels.table.rows[0]
    text = text_of(shown["crop"])
    assert f"{row['t_ha_p50']:.1f} t/ha ({row['t_ha_p10']:.1f}-{row['t_ha_p90']:.1f})" in text
    assert f"{row['t_ha_settled_p50']:.1f} settled" in text
    assert f"{row['shoots_per_m_p50']:.0f}" in text_of(shown["shoots"])
    assert row["density_word"] in shown["shoots"]
    assert f"{row['ravaz_p50']:.1f}" in text_of(shown["balance"])
    assert shown["buds"] == "39"
    # What was called after last winter's plan is no longer that plan.
    assert page.levels.table.levels[0]["name"] == ""


def test_every_block_of_the_estate_opens(page):
    for block in page.records.blocks["block"]:
        page.desk.block = block
        assert page.levels.message.value == ""
        assert page.comparison.block == block


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("canes", 1200, "canes is 1200; no vine carries that"),
        ("canes", -1, "canes is -1; it cannot be below 0"),
        ("canes", 2.5, "canes must be a whole number, not 2.5"),
        ("spurs", None, "spurs is empty"),
        ("buds_per_cane", 2, "a piece of 2 buds is a spur, not a cane"),
        ("buds_per_spur", 4, "a spur has 1 to 3 buds, not 4"),
    ],
)
def test_an_impossible_number_harms_its_own_row_alone(page, name, value, words):
    set_number(page, 1, **{name: value})
    assert words in faults(page)[0]
    assert faults(page)[1:] == ["", ""]
    assert page.levels.table.levels[0][name] == value
    # Nothing of other numbers may be taken for these.
    assert "crop" not in page.levels.table.rows[0]
    assert shown_plans(page) == ["3x6+3x2", "3x10+3x2"]
    page.levels.undo.click()
    assert faults(page) == ["", "", ""]


def test_all_levels_wrong_show_nothing_and_say_why(page):
    page.levels.table.set_by_hand([{**each, "canes": -1} for each in page.levels.table.levels])
    assert all("below 0" in fault for fault in faults(page))
    assert page.comparison is None
    assert page.sentence.text.value == ""


def test_levels_are_added_up_to_five_and_taken_away(page):
    page.levels.more.click()
    page.levels.more.click()
    # A new level is a step of its own, never a copy of the one before.
    assert shown_plans(page) == ["3x8+3x2", "3x6+3x2", "3x10+3x2", "3x12+3x2", "3x14+3x2"]
    assert page.levels.more.disabled
    page.levels.table.set_by_hand(page.levels.table.levels[1:2])
    assert shown_plans(page) == ["3x6+3x2"]
    page.levels.undo.click()
    assert len(page.plans) == 5


def test_undo_and_redo_take_a_drag_as_one_step(page):
    assert page.levels.undo.disabled
    for buds in (9, 10, 11):
        set_number(page, 1, buds_per_cane=buds)
    set_number(page, 1, canes=2)
    page.levels.undo.click()
    assert shown_plans(page)[0] == "3x11+3x2"
    page.levels.undo.click()
    assert shown_plans(page)[0] == "3x8+3x2"
    assert page.levels.undo.disabled
    page.levels.redo.click()
    page.levels.redo.click()
    assert shown_plans(page)[0] == "2x11+3x2"
    assert page.levels.redo.disabled


def test_switching_the_block_and_back_loses_nothing(page):
    set_number(page, 2, spurs=5)
    page.desk.block = "Fox Hollow"
    assert "3x6+5x2" not in shown_plans(page)
    page.desk.block = "Long Acre"
    assert shown_plans(page)[1] == "3x6+5x2"
    page.levels.undo.click()
    assert shown_plans(page)[1] == "3x6+3x2"


def test_same_plan_twice_is_shown_twice(page):
    set_number(page, 2, buds_per_cane=8)
    assert shown_plans(page)[:2] == ["3x8+3x2", "3x8+3x2"]
    first, second = (page.comparison.frame.iloc[at]["t_ha_p50"] for at in (0, 1))
    assert first == second


def test_us_units_change_what_is_shown_and_not_what_is_computed(page):
    metric = page.comparison["t_ha_p50"].tolist()
    page.desk.open_with(units="us")
    assert page.comparison["t_ha_p50"].tolist() == metric
    # 1 short ton/ac = 2.2417 t/ha.
    assert f"{metric[0] / 2.2417:.1f} ton/ac" in text_of(page.levels.table.rows[0]["crop"])
    assert "ton/ac" in page.levels.table.head["crop"]


def test_units_open_as_the_records_are_written(tmp_path):
    (tmp_path / "blocks.csv").write_text(
        "block,variety,row_spacing_ft,vine_spacing_ft,vines\nA,Riesling,9,6,900\n", "utf-8"
    )
    assert PruningLevels(tmp_path, draws=100).desk.units.name == "us"
    assert PruningLevels(draws=100).desk.units.name == "metric"


def test_own_band_decides_the_word(page):
    bands, _ = unfold(page, "all figures")
    bands.density.choice.value = "your own numbers"
    bands.density.low.value, bands.density.high.value = 1, 2
    assert set(page.comparison["density_word"]) == {"above"}
    bands.density.low.value = 5
    assert "the low end must be" in page.levels.message.value
    bands.density.low.value = 1
    assert page.levels.message.value == ""
    page.desk.open_with(units="us")
    bands.density.low.value, bands.density.high.value = 3, 5
    density, _ = bands.given()
    # 3 and 5 per ft are 9.84 and 16.40 per m (1 ft = 0.3048 m).
    assert density == pytest.approx((9.8425, 16.4042), rel=1e-4)


def test_every_component_says_where_it_came_from_and_opens_to_its_source(page):
    [part] = unfold(page, "where they come from")
    found = part.text.value
    for entry in page.comparison.components:
        assert entry["words"] in found
        assert entry["key"] in found
    assert "this block&#x27;s own records" in found
    assert "Kliewer" in found


def test_pictures_tell_their_data_in_words(page):
    row = page.comparison.frame.iloc[0]
    low, middle, high = (row[f"t_ha_{end}"] for end in ("p10", "p50", "p90"))
    told = f"crop {middle:.1f} t/ha, 8 in 10: {low:.1f} to {high:.1f}"
    assert f'aria-label="{told}' in page.levels.table.rows[0]["crop"]


def test_before_unfolding_the_page_is_short_and_speaks_no_statistics(page):
    rows = page.levels.table
    shown = [page.heading.value, page.levels.about.value, page.sentence.text.value]
    shown += [*rows.head.values(), *(cell for row in rows.rows for cell in row.values())]
    shown += [fold.words for fold in all_folds(page)]
    words = text_of(re.sub("<(style|title).*?</", "<", " ".join(shown), flags=re.S)).split()
    assert len(words) < 250
    for word in ("tails", "draws", "prior", "%"):
        assert word not in words


def test_cautions_are_a_fold_away(page):
    [care] = unfold(page, "taking care")
    for word in ("Eyes", "Hands", "Footing", "Wounds", "local codes"):
        assert word in care.value


def test_sample_is_said_to_be_invented(page):
    assert "Quillfoot (invented)" in page.bar.estate.value


def test_find_plans_gives_the_plans_of_find_plans_and_one_becomes_a_level(page):
    [find] = unfold(page, "which plan gives a target")
    find.target.value = 8.0
    find.button.click()
    expected = find_plans(
        page.records,
        "Long Acre",
        target_t_ha=8.0,
        shoots_per_m=page.comparison.density,
        ravaz=page.comparison.balance,
        canes=(2, 4),
        buds_per_cane=(6, 14),
        spurs=(0, 5),
        buds_per_spur=2,
        draws=500,
    )
    assert list(find.pick.options) == list(expected["plan"])
    assert find.message.value == ""
    find.pick.value = expected["plan"].iloc[1]
    find.use.click()
    assert shown_plans(page)[-1] == expected["plan"].iloc[1]
    # A new target clears what was found for the old one.
    find.target.value = 7.0
    assert find.answer.value == ""
    assert find.pick.options == ()


def test_find_plans_says_which_limit_binds_and_offers_the_nearest(page):
    [find] = unfold(page, "which plan gives a target")
    for low_high in find.spans["canes"]:
        low_high.value = 4
    find.button.click()
    assert "Nothing fits" in find.answer.value
    nearest = find.found.nearest
    find.use.click()
    assert shown_plans(page)[-1] == nearest[0]["plan"]


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("target", -3, "Target crop [t/ha] must"),
        ("dead", 120, "Buds killed by winter [%] must"),
        ("good_canes", "a few", "few"),
    ],
)
def test_find_plans_explains_what_cannot_be(page, name, value, words):
    [find] = unfold(page, "which plan gives a target")
    getattr(find, name).value = value
    find.button.click()
    assert words in find.message.value
    assert find.answer.value == ""


def test_target_follows_the_units(page):
    [find] = unfold(page, "which plan gives a target")
    find.target.value = 11.2
    page.desk.open_with(units="us")
    # 11.2 t/ha / 2.2417 = 5.0 short ton/ac.
    assert find.target.value == 5.0
    assert find.target.description == "Target crop [ton/ac]"


def test_balanced_lookup_gives_50_buds_at_3_lb_by_30_and_10(page):
    # West Virginia Department of Agriculture: 30+10 at 3 lb of prunings is 50 buds.
    balanced, _ = unfold(page, "weighed prunings, winter damage")
    # Long Acre is Sauvignon blanc: Vitis vinifera, 20+20 per lb (Smith 2023).
    assert balanced.formula.value == "balanced.vinifera"
    page.desk.open_with(units="us")
    balanced.formula.value = "balanced.american"
    balanced.weight.value = 3
    assert "by the prunings alone it would be 50." in balanced.answer.value
    # The space of Long Acre, 1.8 m a vine, holds 4 to 6 buds per ft.
    assert "30+10 per lb: leave 23 to 35 buds" in balanced.answer.value
    balanced.formula.value = "your own formula"
    assert "Write your own formula" in balanced.message.value
    page.desk.open_with(units="metric")
    balanced.own.value = "33+11 per 500 g"
    balanced.weight.value = 1.0
    # Bates 2021: 33 for the first 500 g and 11 for the next.
    assert "by the prunings alone it would be 44" in balanced.answer.value
    balanced.own.value = "lots"
    assert "is not a balanced-pruning formula" in balanced.message.value


def test_bud_damage_shows_both_rules_and_the_wilson_range(page):
    _, damage = unfold(page, "weighed prunings, winter damage")
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
    damage.sampled.value = 0
    assert 'role="alert"' in damage.message.value
    assert damage.answer.value == ""


def test_files_hold_every_level(page):
    [keep] = unfold(page, "keep, save, hand out")
    name, data = keep.files[0].press()
    assert name == "levels_Long-Acre_2027.csv"
    rows = list(csv.DictReader(StringIO(data.decode("utf-8-sig"))))
    assert [row["plan"] for row in rows] == shown_plans(page)
    assert float(rows[0]["t_ha_p50"]) == page.comparison["t_ha_p50"].iloc[0]
    assert rows[0]["interval"] == "80 % range, equal tails"
    page.desk.open_with(units="us")
    _, data = keep.files[1].press()
    sheet = openpyxl.load_workbook(BytesIO(data)).active
    heads = [cell.value for cell in sheet[1]]
    value = sheet.cell(2, heads.index("ton_ac_p50") + 1).value
    assert value == pytest.approx(page.comparison["t_ha_p50"].iloc[0] / 2.2417023, rel=1e-6)


def test_card_is_of_the_chosen_level(page):
    [keep] = unfold(page, "keep, save, hand out")
    keep.level.value = 1
    name, data = keep.cards[0].press()
    assert name.endswith(".html")
    assert "3x6+3x2" in data.decode("utf-8")


def test_a_bud_chosen_in_the_drawing_sets_the_number_of_its_level(page):
    [drawn] = unfold(page, "the vines drawn")
    assert drawn.drawing.html.count("<svg") == 3
    drawn.drawing.chosen = {"level": 1, "buds_per_cane": 7}
    assert shown_plans(page) == ["3x8+3x2", "3x7+3x2", "3x10+3x2"]
    assert page.levels.table.levels[1]["buds_per_cane"] == 7


def test_sample_records_are_never_written_into(page):
    before = (shipped("sample_data") / "quillfoot" / "pruning.csv").read_bytes()
    [keep] = unfold(page, "keep, save, hand out")
    for button in (keep.save, keep.keep):
        button.click()
        assert "invented sample records, which stay as they are" in keep.said.value
    assert (shipped("sample_data") / "quillfoot" / "pruning.csv").read_bytes() == before


def test_season_says_which_winter_and_whether_it_is_past(page):
    page.desk.season = 2025
    assert "That crop is on record" in page.levels.about.value
    records = make_records(blocks=[block_row("A")], pruning=[{"season": 2021, "block": "A"}])
    later = season_meant(records, "A", 2021, datetime.date(2026, 11, 25))
    assert "lies in the past (2026-11-25 is today)" in later
    assert "choose 2027" in later
    assert "choose 2027" in season_meant(records, "A", 2026, datetime.date(2026, 11, 25))
    assert "past" not in season_meant(records, "A", 2027, datetime.date(2026, 11, 25))


def test_records_that_end_in_the_past_still_let_the_next_season_be_planned():
    pruning = [{"season": 2021, "block": "A", "plan": "1x10+1x2"}]
    coming = datetime.date.today().year + 1
    records = make_records(blocks=[block_row("A")], pruning=pruning)
    old = PruningLevels(records, season=coming, draws=100)
    assert old.comparison.season == coming
    assert old.levels.message.value == ""
    assert coming in old.bar.fields["season"].options


@pytest.mark.parametrize(("usual", "first"), [(14, "1x12+1x2"), (24, "2x10+2x2"), (5, "2x2")])
def test_a_block_without_any_plan_opens_with_three_levels_that_can_be_cut(usual, first):
    plans, names = first_levels(None, usual)
    assert str(plans[0]) == first
    assert names == ["a usual load", "lighter", "heavier"] or plans[0].spurs < 3


def test_chosen_plan_is_saved_and_a_later_one_holds(own_folder):
    before = (own_folder / "pruning.csv").read_bytes()
    page = PruningLevels(own_folder, block="Long Acre", draws=100)
    [keep] = unfold(page, "keep, save, hand out")
    keep.level.value = 1
    keep.save.click()
    assert (own_folder / "pruning.csv").read_bytes().startswith(before)
    keep.level.value = 2
    keep.save.click()
    pruning = read_records(own_folder).pruning
    rows = pruning[(pruning["block"] == "Long Acre") & (pruning["season"] == 2027)]
    # The earlier row stays, the later one holds, and the page says which.
    assert "3x10+3x2" in keep.said.value
    written = (own_folder / "pruning.csv").read_text("utf-8-sig")
    assert "3x6+3x2" in written.splitlines()[-2]
    assert "3x10+3x2" in written.splitlines()[-1]
    assert list(rows["plan"])[-1] == "3x10+3x2"


def test_a_level_is_kept_as_a_scenario_and_found_again(own_folder):
    page = PruningLevels(own_folder, block="Long Acre", draws=100)
    [keep] = unfold(page, "keep, save, hand out")
    keep.level.value, keep.name.value = 2, "more wood"
    keep.keep.click()
    assert "Not possible" not in keep.said.value
    again = PruningLevels(own_folder, block="Long Acre", draws=100)
    [keep] = unfold(again, "keep, save, hand out")
    assert [words for words, _ in keep.kept.options] == ["more wood: 3x10+3x2"]
    keep.back.click()
    assert keep.message.value == ""
    assert again.names[-1] == "more wood"
    assert shown_plans(again)[-1] == "3x10+3x2"


def test_a_page_made_ahead_reads_records_that_changed_since(own_folder):
    page = PruningLevels(own_folder, draws=100)
    before = page.levels.table.rows[0]["crop"]
    harvest = own_folder / "harvest.csv"
    rows = harvest.read_text("utf-8-sig").splitlines()
    harvest.write_text("\n".join(rows[: len(rows) // 2]) + "\n", "utf-8")
    page._opened({"block": "Long Acre", "units": "us"})
    assert page.desk.block == "Long Acre"
    assert "ton/ac" in page.levels.table.head["crop"]
    assert page.levels.table.rows[0]["crop"] != before
    (own_folder / "blocks.csv").write_text("block\n", "utf-8")
    page._opened({})
    assert 'role="alert"' in page.message.value


def test_faulty_records_are_told_and_read_again_when_mended(tmp_path):
    faulty = "block,variety,row_spacing_m,vine_spacing_m,vines\nA,B,x,1,9\n"
    (tmp_path / "blocks.csv").write_text(faulty)
    page = PruningLevels(tmp_path, draws=100)
    assert "row_spacing_m" in page.message.value
    assert "Traceback" not in page.message.value
    assert page.records is None
    (tmp_path / "blocks.csv").write_text(faulty.replace("x", "2"))
    page._opened({})
    assert page.message.value == ""
    assert page.comparison.block == "A"


@pytest.mark.parametrize("path", ["no/such/folder", ""])
def test_missing_folder_is_told(path):
    assert 'role="alert"' in PruningLevels(path).message.value


def test_unknown_block_is_told_with_near_names():
    assert "Long Acre" in PruningLevels(block="Long Aker", draws=100).message.value


def own_estate(folder, name="A", rest=""):
    quoted = name.replace('"', '""')
    (folder / "blocks.csv").write_text(
        "block,variety,row_spacing_m,vine_spacing_m,vines\n" + f'"{quoted}",Riesling,2,1.2,1000\n',
        encoding="utf-8",
    )
    for table, text in (rest or {}).items():
        (folder / f"{table}.csv").write_text(text, encoding="utf-8")
    return folder


@pytest.mark.parametrize("name", ['<b>"x"</b> & <script>', "=1+1", "葡萄園 Ö", "L" * 100])
def test_any_name_of_a_block_is_safe_and_usable(tmp_path, name):
    page = PruningLevels(own_estate(tmp_path, name), draws=100)
    assert page.message.value == page.levels.message.value == ""
    [keep] = unfold(page, "keep, save, hand out")
    for fold in all_folds(page):
        if not fold.is_open:
            fold.button.click()
    for given in every_html(page):
        assert "<script>" not in given
    for button in (*keep.files, *keep.cards):
        assert button.press()
    assert b"<script>" not in keep.cards[0].press()[1]


def every_html(widget):
    if isinstance(widget, widgets.HTML):
        yield widget.value
    for child in getattr(widget, "children", ()):
        yield from every_html(child)


def test_block_with_crops_but_no_plan_is_compared_and_asks_for_the_plan_it_has_carried(tmp_path):
    crops = {"harvest": "season,block,date,tonnes\n2024,A,2024-09-20,2.1\n2025,A,2025-09-22,1.8\n"}
    page = PruningLevels(own_estate(tmp_path, "A", crops), draws=500)
    # The plan is asked for at the top, once, until it is told.
    assert page.sentence.text.value.count("Load unknown") == 1
    assert page.levels.carried.layout.display is None
    page.levels.carried.value = "1x10+1x2"
    assert "Load unknown" not in page.sentence.text.value
    assert shown_plans(page)[0] == "1x10+1x2"
    expected = compare_plans(
        page.records, "A", page.plans, draws=500, reference_plan="1x10+1x2"
    ).frame
    assert page.comparison["t_ha_p50"].iloc[0] == expected["t_ha_p50"].iloc[0]
    page.levels.carried.value = "3x"
    assert 'role="alert"' in page.levels.message.value
