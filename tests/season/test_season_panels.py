"""The panels of a season, worked as a user works them but without a browser."""

import re
import shutil
from dataclasses import replace

import ipywidgets as widgets
import numpy as np
import pandas as pd
import pytest
from helpers import block_row, make_records

from cropload import example_records, forecast, read_records
from cropload.beliefs.history import learned_before
from cropload.records.example import shipped
from cropload.season.count_plan import sample_vines
from cropload.season.forecast_log import read_log
from cropload.season.next_counts import next_counts
from cropload.season.panels.count_sheets import CountSheets
from cropload.season.panels.crew import CrewPanel
from cropload.season.panels.entered_rows import added
from cropload.season.panels.season_desk import EVERYTHING, SeasonDesk
from cropload.season.panels.season_forecast import BlocksNow, SeasonFan, WhatChanged
from cropload.season.panels.season_log import KeptForecasts, StageErrors
from cropload.season.panels.thinning import ThinningPanel
from cropload.season.panels.what_next import WhatNext
from cropload.season.thinning import CAUTIONS, thin_to
from cropload.show import wording
from cropload.units import US

NAMED = "80 % range, equal tails"


@pytest.fixture
def desk():
    return SeasonDesk(draws=400)


@pytest.fixture(scope="module")
def opened():
    """One desk for all tests that leave it as they found it."""
    return SeasonDesk(draws=400)


@pytest.fixture
def folder(tmp_path):
    return shutil.copytree(shipped("sample_data") / "quillfoot", tmp_path / "mine")


def expected(records, as_of, season=2026):
    learned = learned_before(example_records(), season)
    return forecast(records, season, as_of, draws=400, learned=learned)


def amount(found, by, name, units=None):
    table = found.frame_by(by)
    row = table[table[by] == name].iloc[0]
    return wording.amount("tonnes", row["tonnes_p50"], *([] if units is None else [units]))


def test_desk_opens_with_a_forecast_and_says_that_the_sample_is_invented(opened):
    want = expected(example_records(), opened.as_of)
    assert amount(want, "estate", "estate") in opened.sentence.value
    assert NAMED in opened.sentence.value
    assert "All of them are invented" in opened.children[0].value


def test_desk_follows_day_season_and_units(desk):
    desk.day_choice.value = EVERYTHING
    assert desk.forecast.as_of is None
    desk.other_day.value = "2026-08-20"
    assert desk.forecast.as_of == pd.Timestamp("2026-08-20")
    desk.day_choice.value = desk.days()[0].day
    assert desk.other_day.value == ""
    desk.unit_choice.value = "us"
    assert "short ton" in desk.sentence.value
    desk.season_choice.value = 2025
    assert desk.forecast.season == 2025


def test_a_day_that_is_none_is_one_message_and_the_panels_wait(desk):
    blocks = BlocksNow(desk)
    desk.other_day.value = "soon"
    assert "'soon' is not a date" in desk.message.value.replace("&#x27;", "'")
    assert blocks.body.layout.display == "none"
    desk.other_day.value = ""
    assert desk.message.value == ""
    assert blocks.body.layout.display is None


def test_records_that_cannot_be_read_are_told_and_every_panel_still_opens(tmp_path):
    desk = SeasonDesk(tmp_path / "nowhere")
    assert "nowhere" in desk.message.value
    for panel in (SeasonFan, BlocksNow, WhatChanged, WhatNext, CountSheets, CrewPanel,
                  ThinningPanel, KeptForecasts, StageErrors):  # fmt: skip
        made = panel(desk)
        assert "see the message" in made.where.value
        assert "role=" not in made.message.value


def test_fan_shows_every_date_and_the_harvest(opened):
    fan = SeasonFan(opened)
    assert "Press" in fan.message.value
    fan.draw_button.click()
    assert [each.words for each, _ in fan.made] == [each.words for each in opened.days()]
    assert fan.progress.value == fan.progress.max == len(fan.made)
    assert fan.progress.layout.display == "none"
    fan.total.value = ("block", "Long Acre")
    assert "16.3 t" in fan.table.value  # 6.51 t and 9.77 t in its table of picks
    for each, found in fan.made:
        assert amount(found, "block", "Long Acre").removesuffix(" t") in fan.table.value
        assert each.label().split(", ")[1] in fan.table.value
    assert NAMED in fan.figure.value
    fan.total.value = ("estate", "estate")
    assert "Fox Hollow" in fan.table.value


def test_fan_of_a_season_without_dates_says_what_to_enter(desk):
    fan = SeasonFan(desk)
    desk.season_choice.value = 2027
    fan.draw()
    assert "no plan, count or weight on record yet" in fan.message.value
    assert fan.figure.value == ""


def test_rows_of_a_block_can_be_said_where_they_are_not_on_record():
    bare = SeasonDesk(make_records(blocks=[block_row("A", vines=300)]), draws=200)
    panel = CountSheets(bare)
    assert "How many rows A has is not on record" in panel.words.value
    panel.block_rows.value = "10"
    assert panel.planned.picked["row"].astype(int).max() <= 10
    assert panel.message.value == ""
    panel.block_rows.value = "a few"
    assert "must be a whole number or blank" in panel.message.value


def test_blocks_stand_in_the_order_asked_for(opened):
    blocks = BlocksNow(opened)
    table = opened.forecast.frame
    for order, key in (("tonnes", "tonnes_p50"), ("range", "range_t")):
        blocks.order.value = order
        shown = re.findall(r'<th scope="row">([^<]+)</th>', blocks.table.value)
        assert shown == [*table.sort_values(key, ascending=False)["block"], "estate"]
    blocks.by.value = "variety"
    assert "Sauvignon blanc" in blocks.table.value
    blocks.parts_of.value = "Long Acre"
    assert "this block" in blocks.origins.value
    assert "cluster weight at harvest" in blocks.origins.value


def test_change_adds_up_to_the_difference_of_two_forecasts(opened):
    changed = WhatChanged(opened)
    changed.since.value = opened.days()[0].day
    now, then = opened.forecast, opened.forecast_on(opened.days()[0].day)
    moved = np.subtract(*(each.frame_by("estate")["tonnes_p50"][0] for each in (now, then)))
    rows = re.findall(r"<tr>(.*?)</tr>", changed.table.value)
    last = re.findall(r"<t[hd][^>]*>([^<]*)</t[hd]>", rows[-1])
    assert last[0] == "estate"
    assert last[-1] == f"{moved:+.2f}"
    parts = [float(cell) for cell in last[1:-1]]
    assert sum(parts) == pytest.approx(moved, abs=0.03)  # rounded cells, small parts left out


def test_the_first_day_has_nothing_earlier_to_compare_with(desk):
    changed = WhatChanged(desk)
    desk.day_choice.value = desk.days()[0].day
    assert "no earlier day" in changed.message.value


def test_ranking_is_that_of_next_counts_and_follows_hours_and_total(opened):
    panel = WhatNext(opened)
    panel.hours.value = 3.0
    panel.of.value = "Riesling"
    best = next_counts(opened.forecast, hours=3.0, of="Riesling").frame.iloc[0]
    assert f"on {best['vines']} vines of {best['block']}, which takes" in panel.ranking.value
    assert f"{best['removed_t']:.2f}" in panel.ranking.value
    panel.hours.value = -1
    assert "above 0" in panel.message.value


def test_counts_entered_give_the_forecast_of_records_that_hold_them(desk):
    panel = WhatNext(desk)
    before = panel.ranking.value
    panel.block.value, panel.measure.value = "Upper Knoll", "clusters"
    panel.numbers.value = "23 31, 18;27\n25 22 20 30"
    panel.enter_button.click()
    counts = [23, 31, 18, 27, 25, 22, 20, 30]
    rows = [
        {"season": 2026, "date": desk.as_of, "block": "Upper Knoll", "row": "x", "vine": str(at),
         "clusters": count}
        for at, count in enumerate(counts)
    ]  # fmt: skip
    records = example_records()
    want = expected(replace(records, counts=added(records.counts, rows)), desk.as_of)
    np.testing.assert_allclose(desk.forecast.draws, want.draws)
    assert amount(want, "block", "Upper Knoll") in panel.entered_words.value
    assert f"{np.mean(counts):.1f} clusters per vine" in panel.entered_words.value
    assert amount(want, "estate", "estate") in desk.sentence.value
    assert panel.ranking.value != before
    assert panel.numbers.value == ""


def test_a_count_after_the_day_looked_at_moves_the_day(desk):
    panel = WhatNext(desk)
    panel.block.value, panel.measure.value = "Upper Knoll", "weight_lag"
    panel.day.value, panel.numbers.value = "2026-08-01", "40 2045 32 1275"
    panel.enter()
    assert desk.as_of == pd.Timestamp("2026-08-01")
    weights = desk.records.weights.tail(2)
    assert weights["weight_g"].tolist() == [2045, 1275]
    assert f"{(2045 + 1275) / 72:.0f} g" in panel.entered_words.value


def test_weights_in_pounds_become_grams(desk):
    panel = WhatNext(desk)
    desk.unit_choice.value = "us"
    panel.measure.value, panel.day.value = "weight_lag", "2026-08-01"
    panel.block.value, panel.numbers.value = "Upper Knoll", "40 4.5"
    assert "[lb]" in panel.numbers.description
    panel.enter()
    # One pound is 453.59237 g by definition.
    assert desk.records.weights["weight_g"].iloc[-1] == pytest.approx(4.5 * 453.59237)


@pytest.mark.parametrize(
    ("measure", "day", "numbers", "told"),
    [
        ("clusters", "", "", "No numbers are entered"),
        ("clusters", "", "23 x 18", "'x': not a number"),
        ("clusters", "", "23 -1", "'-1': not a number"),
        ("clusters", "", "23 nan", "'nan': not a number"),
        ("clusters", "", "23.5", "not a whole number"),
        ("clusters", "", "2318", "no vine carries that"),
        ("clusters", "2062-07-01", "23", "outside season 2026"),
        ("clusters", "2026-12-24", "23", "was picked by"),
        ("clusters", "someday", "23", "is not a date"),
        ("weight_lag", "", "40 2045 32", "without its pair"),
        ("weight_lag", "", "0 2045", "whole number above 0"),
        ("weight_lag", "", "2045 40", "no cluster weighs"),
    ],
)
def test_what_cannot_be_a_count_is_told_and_changes_nothing(opened, measure, day, numbers, told):
    panel = WhatNext(opened)
    before = opened.forecast
    panel.measure.value, panel.day.value, panel.numbers.value = measure, day, numbers
    panel.enter_button.click()
    assert told in panel.entered_words.value.replace("&#x27;", "'")
    assert opened.forecast is before
    assert opened.entered == []


def test_more_clusters_than_six_a_shoot_are_called_doubtful(desk):
    panel = WhatNext(desk)
    panel.block.value, panel.numbers.value = "Upper Knoll", "300 310 290"
    panel.enter()
    assert "Doubtful" in panel.entered_words.value


def test_entered_counts_are_saved_to_ones_own_folder_once_and_read_back(folder):
    desk = SeasonDesk(folder, draws=400)
    panel = WhatNext(desk)
    panel.block.value, panel.numbers.value = "Upper Knoll", "23 31 18"
    panel.enter()
    old = (folder / "counts.csv").read_bytes()
    panel.save_button.click()
    assert "3 rows were added" in panel.entered_words.value
    new = (folder / "counts.csv").read_bytes()
    assert new.startswith(old)
    panel.save_button.click()
    assert "Nothing has been entered" in panel.entered_words.value
    assert (folder / "counts.csv").read_bytes() == new
    again = read_records(folder).counts
    assert again.tail(3)["clusters"].tolist() == [23, 31, 18]
    assert forecast(read_records(folder), 2026, desk.as_of, draws=400).frame[
        "tonnes_p50"
    ].to_numpy() == pytest.approx(desk.forecast.frame["tonnes_p50"].to_numpy())


def test_the_sample_is_never_written_into(desk):
    panel = WhatNext(desk)
    panel.block.value, panel.numbers.value = "Upper Knoll", "23 31 18"
    panel.enter()
    panel.save_button.click()
    assert "stay as they are" in panel.entered_words.value
    kept = KeptForecasts(desk)
    kept.keep_button.click()
    assert "stay as they are" in kept.kept.value


def test_forgetting_brings_the_forecast_back(desk):
    before = desk.forecast.draws
    panel = WhatNext(desk)
    panel.block.value, panel.numbers.value = "Upper Knoll", "23 31 18"
    panel.enter()
    panel.forget_button.click()
    np.testing.assert_array_equal(desk.forecast.draws, before)
    assert desk.entered == []


def test_two_entries_of_a_day_are_different_vines(desk):
    panel = WhatNext(desk)
    for numbers in ("23 31", "18"):
        panel.numbers.value = numbers
        panel.enter()
    assert desk.records.counts.tail(3)["vine"].tolist() == ["1", "2", "3"]


def test_sheet_says_its_size_and_comes_back_as_counts(desk):
    panel = CountSheets(desk)
    panel.block.value, panel.error.value, panel.day.value = "Upper Knoll", 15, "2026-07-12"
    want = sample_vines(
        desk.records, "Upper Knoll", "clusters", error=0.15, season=2026, date="2026-07-12"
    )
    assert panel.planned.vines == want.vines
    assert f"{want.vines} vines give the mean" in panel.words.value
    assert "number is for a mean" in panel.words.value
    lines = want.csv.strip().splitlines()
    filled = [lines[0], *(f"{line}{25 + at % 5}" for at, line in enumerate(lines[1:]))]
    filled[-1] = lines[-1]  # no vine there: the box stays blank
    panel.read("\n".join(filled).encode(), "back.csv")
    assert "1 left blank" in panel.returned.value
    before = desk.forecast.frame.set_index("block").loc["Upper Knoll", "range_t"]
    panel.use_button.click()
    after = desk.forecast.frame.set_index("block").loc["Upper Knoll", "range_t"]
    assert after < before
    mine = desk.records.counts.query("block == 'Upper Knoll' and season == 2026")
    assert mine["clusters"].notna().sum() == len(filled) - 2
    panel.read("\n".join(filled).encode(), "back.csv")
    assert "on record for that day already" in panel.returned.value


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda text: text.replace("Upper Knoll", "Long Acre"), "this sheet is for block"),
        (lambda text: text.replace(",\r\n", ",many\r\n", 2), "must be a whole number"),
        (lambda text: text, "is blank"),
        (lambda text: text.replace(",\r\n", ",9\r\n").replace("\n2026", "\n2025"), "season 2025"),
        (lambda text: "not,a,sheet\r\n", "is missing"),
        (lambda text: "\xff\xfe", "not UTF-8"),
    ],
)
def test_a_sheet_with_faults_tells_them_and_is_not_used(opened, change, told):
    panel = CountSheets(opened)
    panel.block.value, panel.day.value = "Upper Knoll", "2026-07-12"
    panel.read(change(panel.planned.csv).encode("latin-1"), "back.csv")
    assert told in panel.returned.value.replace("&#x27;", "'")
    assert panel.use_button.disabled
    panel.use()
    assert opened.entered == []


def test_sheets_are_written_to_new_files_only(folder):
    desk = SeasonDesk(folder, draws=400)
    panel = CountSheets(desk)
    panel.write_button.click()
    panel.write_button.click()
    assert len(list((folder / "results").glob("*.html"))) == 2
    assert len(list((folder / "results").glob("*.csv"))) == 2


def test_an_error_that_cannot_be_is_told(opened):
    panel = CountSheets(opened)
    panel.error.value = 0
    assert "above zero" in panel.message.value
    assert panel.planned is None
    panel.write_button.click()
    assert "There is no sheet" in panel.kept.value


def test_crew_check_says_a_word_and_the_crop(opened):
    panel = CrewPanel(opened)
    panel.block.value = "Long Acre"
    counts = example_records().counts
    buds = counts.query("block == 'Long Acre' and season == 2026")["buds"].dropna()
    assert panel.check.verdict == "on plan"
    assert f"{buds.mean():.1f} buds a vine" in panel.result.value
    assert "t/ha" in panel.result.value
    panel.plan.value = "2x8+2x2"
    assert panel.check.verdict == "long"
    assert panel.check.t_ha[1] > 0
    # Fewer clusters on each further bud: the crop rises, but by less than the buds do.
    share = buds.mean() / 20 - 1
    planned = opened.forecast.frame.set_index("block").loc["Long Acre", "t_ha_p50"]
    assert panel.check.t_ha[1] < share * planned
    panel.block.value = "Upper Knoll"
    assert "No buds are counted" in panel.result.value
    assert panel.check is None


def test_thinning_shows_the_advice_of_the_package_with_its_cautions(desk):
    panel = ThinningPanel(desk)
    panel.block.value = "Long Acre"
    panel.target.value = 6.0
    want = thin_to(desk.forecast, "Long Acre", target_t_ha=6.0)
    assert panel.found.keep == want.keep
    assert f"Leave at most {want.keep} clusters" in panel.result.value
    for caution in CAUTIONS:
        assert caution in panel.result.value
    desk.unit_choice.value = "us"
    assert panel.target.value == pytest.approx(US.convert("t_ha", 6.0), abs=0.005)
    assert "ton/ac" in panel.target.description
    assert "t/ha" not in panel.result.value
    panel.target.value = -1
    assert "above 0" in panel.message.value
    assert panel.figure.value == ""


def test_thinning_to_a_balance_and_too_late(desk):
    panel = ThinningPanel(desk)
    panel.aim.value = "band.ravaz.general"
    assert panel.target.layout.display == "none"
    assert "yield to prunings" in panel.result.value
    desk.other_day.value = "2026-10-30"
    assert "too late to thin" in panel.message.value


def test_forecasts_are_kept_one_line_a_block(folder):
    desk = SeasonDesk(folder, draws=400)
    kept = KeptForecasts(desk)
    assert "No forecast has been kept" in kept.table.value
    kept.keep_button.click()
    log, _ = read_log(folder)
    assert log["tonnes_p50"].to_numpy() == pytest.approx(
        desk.forecast.frame["tonnes_p50"].to_numpy()
    )
    assert f">{log['tonnes_p50'].sum():.1f}</td>" in kept.table.value


def test_errors_by_stage_are_said_to_be_of_invented_data(desk, monkeypatch):
    monkeypatch.setattr("cropload.season.stage_errors.seasons_to_judge", lambda _: [2026])
    panel = StageErrors(desk)
    panel.start_button.click()
    assert panel.progress.value == panel.progress.max == 5
    assert "invented sample estate" in panel.table.value
    # De la Fuente and others 2015: 16 to 17 % at veraison; ITV 2005: 10 % of cluster weight.
    assert "16 to 17 %" in panel.table.value
    row = panel.errors.frame.query("of == 'crop'").iloc[-1]
    assert f"{100 * row['error']:.0f} %" in panel.table.value


def test_names_from_records_are_escaped_everywhere():
    name = "<script>alert(1)</script>"
    records = make_records(
        blocks=[block_row(name, rows=20)],
        pruning=[{"season": 2025, "block": name, "plan": "2x8+2x2", "date": "2025-02-01"}],
        counts=[
            {"season": 2025, "date": "2025-02-02", "block": name, "row": "1", "vine": str(vine),
             "buds": 20}
            for vine in range(12)
        ],
    )  # fmt: skip
    desk = SeasonDesk(records, draws=400)
    panels = [panel(desk) for panel in (SeasonFan, BlocksNow, WhatChanged, WhatNext, CountSheets,
                                        CrewPanel, ThinningPanel, KeptForecasts)]  # fmt: skip
    panels[0].draw()
    for panel in panels:
        assert "Traceback" not in panel.message.value
        assert "not made for" not in panel.message.value
        for widget in html_of(panel):
            assert "<script>" not in widget.value


def html_of(widget):
    """Yield every HTML widget inside a widget."""
    if isinstance(widget, widgets.HTML):
        yield widget
    for child in getattr(widget, "children", ()):
        yield from html_of(child)


def test_a_panel_made_again_takes_the_place_of_the_first(desk):
    BlocksNow(desk)
    BlocksNow(desk)
    assert len(desk._watchers) == 1


def test_crew_check_without_any_plan_names_its_own_box():
    counts = [
        {"season": 2026, "date": "2026-01-20", "block": "North", "row": str(row), "vine": str(vine)}
        | {"buds": 24 + vine % 3}
        for row in (1, 2)
        for vine in range(9)
    ]
    made = make_records(blocks=[block_row("North")], counts=counts)
    panel = CrewPanel(SeasonDesk(made, season=2026, draws=400))
    assert "write it into “Planned”" in panel.message.value
    panel.plan.value = "2x10+2x2"
    assert panel.check.planned_buds == 24
