"""The frost panel without a browser: values are set, buttons clicked, messages read."""

import datetime
import html
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from cropload.frost.cover import frost_cover
from cropload.frost.panels.frost_cover import FrostCover
from cropload.frost.panels.frost_weather import OWN_LOGGER
from cropload.records.example import example_records, shipped
from cropload.show.wording import range_of
from cropload.vine.weather.settings import CASES
from tests.frost.test_frost_cover import damaged, records, weather

SPRINGS = 8


@pytest.fixture(scope="module")
def recent():
    """The sample with its latest springs alone, which are quickly replayed."""
    sample = example_records()
    last = sample.weather["date"].dt.year.max()
    return replace(sample, weather=sample.weather[sample.weather["date"].dt.year > last - SPRINGS])


@pytest.fixture
def panel(recent, tmp_path):
    return FrostCover(recent, block="Mill Meadow", results_folder=tmp_path, draws=200)


@pytest.fixture(scope="module")
def opened(recent):
    """One panel for all tests that leave it as they found it, or do not mind what they find."""
    return FrostCover(recent, block="Mill Meadow", draws=200)


def text(widget):
    return html.unescape(widget.value)


def said(panel):
    return text(panel.message)


def test_opens_on_the_coldest_block_with_longer_canes_beside_last_winter():
    panel = FrostCover(draws=200)
    assert panel.block == "Mill Meadow"
    assert [str(plan) for plan in panel.plans] == ["2x12+2x2", "2x14+2x2", "2x16+2x2"]
    assert panel.message.value == ""
    assert panel.nights.offset.value == -1.5
    assert "All of them are invented" in panel.children[0].value


def results(panel):
    return text(panel.words) + text(panel.springs)


def test_results_are_those_of_the_library(panel, recent):
    direct = frost_cover(recent, "Mill Meadow", panel.plans, draws=200, case=CASES)
    panel.case_choice.value = CASES
    assert panel.replay.crop == pytest.approx(direct.crop)
    row = direct.frame.iloc[0]
    assert f"{range_of(row, 'mean_crop', 't_ha')} t/ha in the mean" in results(panel)
    for words in ("wood laid down in winter", "wood upright until a late final cut"):
        assert f"Spring by spring, {words}" in results(panel)


def test_evidence_and_cautions_stand_in_the_panel(opened):
    shown = "".join(text(child) for child in opened.children[-2:])
    for phrase in (
        "What is known, and what is not",
        "Hardly supported",
        "inversion",
        "noise rules",
    ):
        assert phrase in shown
    assert "Local codes" in shown


def test_a_longer_plan_and_the_first_season_change_the_crop(panel):
    before = panel.replay.frame["frost_free_p50"]
    panel.levels.rows[0].fields["buds_per_cane"].box.value = 6
    assert str(panel.plans[0]) == "2x6+2x2"
    assert panel.replay.frame["frost_free_p50"][0] < before[0]
    settled = panel.replay.frame["frost_free_p50"]
    panel.crop_choice.value = False
    assert (panel.replay.frame["frost_free_p50"] != settled).all()


def test_a_colder_block_loses_more_and_a_logger_sets_the_offset(panel):
    before = panel.replay.crop_left.mean()
    panel.nights.offset.value = -3.0
    assert panel.replay.crop_left.mean() < before
    panel.nights.logger.value = "low block logger"
    # The sample's logger hangs in a hollow made 1.5 C colder, with a spread of 0.5 C.
    assert panel.nights.offset.value == pytest.approx(-1.5, abs=0.4)
    assert panel.nights.offset.disabled
    assert "station nights below" in results(panel)
    panel.nights.logger.value = OWN_LOGGER
    assert not panel.nights.offset.disabled


def test_us_units_change_what_is_shown_and_not_what_is_meant(panel):
    crop = panel.replay.crop.copy()
    panel.unit_choice.value = "us"
    assert panel.nights.offset.value == pytest.approx(-2.7)
    assert panel.replay.crop == pytest.approx(crop)
    assert "ton/ac" in results(panel)
    panel.tabs.selected_index = 1
    assert panel.night.low.box.value == pytest.approx(28.4)
    assert "°F" in panel.night.low.box.description


@pytest.fixture
def night(panel):
    panel.tabs.selected_index = 1
    return panel.night


def left(night):
    return np.median(night.found.crop_left, axis=1)


def test_colder_never_leaves_more_and_a_later_stage_never_more(night):
    found = []
    for low in (-0.5, -1.5, -2.5, -4.0):
        night.low.slider.value = low
        assert night.low.box.value == low
        found.append(left(night))
    assert (np.diff(found, axis=0) <= 1e-9).all()
    night.low.box.value = -2.0
    by_date = []
    for days in (0, 10, 20, 30):
        night.days.slider.value = days
        by_date.append(left(night))
    assert (np.diff(by_date, axis=0) <= 1e-9).all()


def test_date_and_days_after_budburst_follow_each_other(night):
    night.season.value = 2021
    night.days.box.value = 12
    # The sample records budburst of Mill Meadow in 2021 on 27 April.
    assert night.date.value == datetime.date(2021, 5, 9)
    night.date.value = datetime.date(2021, 5, 1)
    assert night.days.box.value == 4
    night.season.value = 2020
    assert night.days.box.value == 4
    assert night.date.value.year == 2020


def test_a_night_out_of_the_spring_or_no_temperature_gets_a_message(night):
    night.days.box.value = 200
    assert "no spring night" in text(night.message)
    assert night.answer.value == ""
    night.season.value = 2021
    night.days.box.value = 73  # within 75 days of budburst, but the 9th of July
    assert "until 30 June" in text(night.message)
    night.days.box.value = 10
    assert night.message.value == ""
    night.low.box.value = -300
    assert "check the number and the units" in text(night.message)
    # The box is free: what was typed stays.
    assert night.low.box.value == -300


def test_the_map_stands_one_plan_beside_another(night):
    assert "2x12+2x2" in text(night.map)
    night.beside.index = 1
    assert "2x16+2x2" in text(night.map)
    assert "picture of the model, not a forecast" in text(night.map)


def test_the_case_is_that_chosen(panel, night):
    down = left(night)
    panel.case_choice.value = CASES[1:]
    night.days.box.value = 15
    assert night.found.cases == (CASES[1],) * 3
    assert (left(night) >= down - 1e-9).all()


def test_after_a_frost_the_crop_is_told_in_parts(panel):
    panel.after.dead.value, panel.after.alive.value = 90, 90
    panel.after.button.click()
    assert panel.after.message.value == ""
    assert "90 of 180 shoots are dead: 50 %" in text(panel.after.answer)
    assert "ripens 2 to 4 weeks later" in text(panel.after.answer)
    found = panel.after.found
    assert found.total[1] < found.before[1]
    panel.block_choice.value = "Long Acre"
    assert panel.after.answer.value == ""


def test_counts_vine_by_vine_are_read(opened):
    opened.after.vines.value = "3/14, 5/12; 0/13"
    opened.after.button.click()
    assert (opened.after.found.shoots_killed, opened.after.found.shoots_seen) == (8, 39)
    opened.after.vines.value = "3 of 14"
    opened.after.button.click()
    assert "'3' is no count of a vine" in text(opened.after.message)
    assert opened.after.found is None


@pytest.mark.parametrize(
    ("dead", "alive", "words"),
    [
        (0, 0, "No shoot was seen"),
        (-3, 5, "Dead shoots counted must be a whole number"),
        (3, 1.5, "Living shoots counted must be a whole number"),
        (float("nan"), 5, "Dead shoots counted must be a whole number"),
    ],
)
def test_bad_counts_get_one_message(opened, dead, alive, words):
    panel = opened
    panel.after.vines.value = ""
    panel.after.dead.value, panel.after.alive.value = dead, alive
    panel.after.button.click()
    assert words in text(panel.after.message)
    assert panel.after.answer.value == ""


def test_a_block_without_budburst_asks_for_a_sum_and_takes_it(panel):
    panel.block_choice.value = "Fox Hollow"
    assert "no budburst date on record, and no heat sum" in said(panel)
    assert panel.results.layout.display == "none"
    panel.nights.sum.value = "soon"
    assert "not 'soon'" in said(panel)
    panel.nights.sum.value = "170"
    assert said(panel) == ""
    assert panel.results.layout.display is None
    assert "heat sum of" not in said(panel)
    assert len(panel.replay.seasons) == SPRINGS


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("crossed", "tmin_c lies above tmax_c"),
        ("twice", "stand twice with different values"),
        ("no weather", "no weather on record"),
    ],
)
def test_bad_weather_is_one_message_without_a_traceback(kind, words):
    panel = FrostCover(records(damaged(kind)), draws=200)
    assert words in said(panel)
    assert "Traceback" not in said(panel)
    assert panel.results.layout.display == "none"
    # What needs no weather still works.
    panel.after.dead.value, panel.after.alive.value = 10, 10
    panel.after.button.click()
    assert panel.after.found is not None


def test_dates_of_the_other_hemisphere_are_one_message():
    held = records()
    held.dates["date"] = pd.to_datetime(held.dates["season"].astype(str) + "-10-05")
    assert "northern hemisphere" in said(FrostCover(held, draws=200))


def test_doubts_are_told_beside_the_result():
    gap = weather()
    gap = gap[~gap["date"].between("2016-02-03", "2016-02-04")]
    shown = results(FrostCover(records(gap), draws=200))
    assert "2 missing day(s) filled" in shown
    hot = weather()
    hot[["tmin_c", "tmax_c"]] = hot[["tmin_c", "tmax_c"]] * 1.8 + 32
    shown = results(FrostCover(records(hot), draws=200))
    assert "if these are degrees Fahrenheit" in shown
    one = results(FrostCover(records(weather(1), bursts=1), draws=200))
    assert "one season only" in one


def test_names_from_records_are_escaped():
    held = records()
    for table in (held.blocks, held.dates, held.pruning):
        table["block"] = "<b>North</b>"
    panel = FrostCover(held, draws=200)
    panel.after.dead.value, panel.after.alive.value = 10, 10
    panel.after.button.click()
    shown = panel.words.value + panel.springs.value + panel.message.value + panel.after.answer.value
    assert "&lt;b&gt;North" in shown
    assert "<b>North" not in shown


def test_all_springs_are_exported_and_nothing_is_overwritten(panel, tmp_path):
    panel.csv_button.click()
    panel.csv_button.click()
    assert "Done" in panel.kept.value
    files = sorted(tmp_path.glob("*.csv"))
    assert len(files) == 2
    rows = pd.read_csv(files[0])
    assert len(rows) == SPRINGS * 3
    assert {"block", "season", "plan", "crop_left_p50", "t_ha_p50"} <= set(rows.columns)
    assert rows["t_ha_p50"].to_numpy() == pytest.approx(
        panel.replay.frame_by("season")["crop_p50"].to_numpy(), rel=1e-3
    )


def test_an_unreadable_folder_is_a_message(tmp_path):
    panel = FrostCover(tmp_path / "nowhere")
    assert "nowhere" in said(panel)


def test_a_folder_of_ones_own_is_read(tmp_path):
    for file in (shipped("sample_data") / "quillfoot").glob("*.csv"):
        (tmp_path / file.name).write_bytes(file.read_bytes())
    panel = FrostCover(str(tmp_path), draws=200)
    assert panel.message.value == ""
    assert "All of them are invented" not in panel.children[0].value
