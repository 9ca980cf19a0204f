"""The frost page without a browser: values are set, buttons clicked, messages read."""

import datetime
import html
import io
import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from helpers import sample_copy

from cropload.frost.cover import frost_cover
from cropload.frost.panels.frost_after import AfterPart
from cropload.frost.panels.frost_night import NightPart
from cropload.frost.panels.frost_weather import OWN_LOGGER, FrostWeather
from cropload.frost.worth import late_cut_worth
from cropload.pages.frost_cover import FrostCover
from cropload.records.example import example_records
from cropload.show import wording
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
def page(recent):
    return FrostCover(recent, block="Mill Meadow", draws=200)


@pytest.fixture(scope="module")
def opened(recent):
    """One page for all tests that leave it as they found it, or do not mind what they find."""
    return FrostCover(recent, block="Mill Meadow", draws=200)


def unfold(page, words):
    """Open a fold and return what lies in it."""
    for fold in page.children[-1].children:
        if fold.words == words:
            if not fold.is_open:
                fold.turn()
            return fold.inside.children[0]
    raise AssertionError(words)


def text(widget):
    return re.sub(r"\s+", " ", re.sub("<[^>]+>", " ", html.unescape(widget.value)))


def said(page):
    return text(page.levels.message)


def test_opens_on_the_coldest_block_with_longer_canes_beside_last_winter():
    page = FrostCover(draws=200)
    assert page.desk.block == "Mill Meadow"
    assert [str(plan) for plan in page.plans] == ["2x12+2x2", "2x14+2x2", "2x16+2x2"]
    assert page.message.value == said(page) == ""
    assert "Quillfoot (invented)" in page.bar.estate.value


def test_rows_say_what_the_library_computes(page, recent):
    direct = frost_cover(recent, "Mill Meadow", page.plans, draws=200, case=CASES)
    assert page.comparison.crop == pytest.approx(direct.crop)
    for row, told in zip(direct.frame.to_dict("records"), page.levels.table.rows, strict=False):
        assert (
            f"<b>{wording.amount('t_ha', row['mean_crop_p50'], unit=False)}</b>" in told["shoots"]
        )
        assert wording.percent(row["mean_share_p50"]) in told["crop"]
    picture = page.levels.table.rows[0]["crop"]
    left = np.median(direct.crop_left[0], axis=1)
    worst = direct.seasons[int(left.argmin())]
    assert f"{worst} {wording.percent(left.min())}" in picture
    # A column a spring, its lower part as tall as what was left.
    tall = [float(each) for each in re.findall(r'height="([\d.]+)" fill="#0072B2"', picture)]
    assert tall == pytest.approx(42 * left, abs=0.06)


def test_gain_is_parted_into_frost_and_buds(page):
    told = text(page.sentence.text)
    assert "instead of 2x12+2x2 changes the crop of a year by" in told
    assert "from its number of buds" in told


def test_a_longer_plan_and_the_first_season_change_the_crop(page):
    before = page.comparison.frame["frost_free_p50"]
    page.set_number(0, buds_per_cane=6)
    assert str(page.plans[0]) == "2x6+2x2"
    settled = page.comparison.frame["frost_free_p50"]
    assert settled[0] < before[0]
    fold = unfold(page, "weather and station offset")
    fold.crop.value = False
    assert (page.comparison.frame["frost_free_p50"] != settled).all()
    fold.heavy.value = 90
    assert page.comparison.heavy_loss == pytest.approx(0.9)


def test_one_wrong_level_harms_only_itself(page):
    page.set_number(1, canes=1200)
    rows = page.levels.table.rows
    assert "canes is 1200" in rows[1]["fault"]
    assert "<svg" in rows[0]["crop"]
    assert "<svg" in rows[2]["crop"]
    page.levels._step("undo")
    assert "fault" not in page.levels.table.rows[1]


def test_the_late_cut_is_weighed_at_its_price(page):
    late = page.late
    assert late.grapes.value == 1700  # Chardonnay in table contracts of the sample
    free = late.found
    late.price.value = 340.0
    # 340 a hectare at 1,700 a tonne is worth 0.2 t/ha.
    want = late_cut_worth(page.comparison, 0.2)
    pd.testing.assert_frame_equal(late.found, want)
    assert (free["net_p50"] - late.found["net_p50"]).tolist() == pytest.approx([0.2] * 3)
    assert "and 340 EUR per ha" in text(late.answer)
    late.paid_in.value = "hours"
    assert "What an hour costs is not told yet" in text(late.message)
    late.hour.value, late.price.value = 20.0, 17.0
    pd.testing.assert_frame_equal(late.found, want)


def test_us_units_keep_the_money_and_what_is_meant(page):
    page.late.price.value = 340.0
    crop, found = page.comparison.crop.copy(), page.late.found
    page.desk.open_with(units="us")
    assert page.comparison.crop == pytest.approx(crop)
    assert page.late.price.value == pytest.approx(340 * 0.40469, abs=0.01)
    assert page.late.found["net_p50"].to_numpy() == pytest.approx(
        found["net_p50"].to_numpy(), abs=1e-4
    )
    assert "ton/ac" in page.levels.table.head["shoots"]
    fold = unfold(page, "weather and station offset")
    assert fold.offset.value == pytest.approx(-2.7)
    night = unfold(page, "one night")
    assert night.low.box.value == pytest.approx(28.4)
    assert "°F" in night.low.box.description


@pytest.mark.parametrize(
    ("price", "worth", "told"), [(-5, 1700, "must be 0 or more"), (100, 0, "not told yet")]
)
def test_a_price_that_cannot_be_weighed_is_one_message(page, price, worth, told):
    page.late.grapes.value, page.late.price.value = worth, price
    assert told in text(page.late.message)
    assert page.late.answer.value == ""
    assert page.comparison is not None


def test_a_colder_block_loses_more_and_a_logger_sets_the_offset(page):
    fold = unfold(page, "weather and station offset")
    assert isinstance(fold, FrostWeather)
    assert fold.offset.value == -1.5
    before = page.comparison.crop_left.mean()
    fold.offset.value = -3.0
    assert page.comparison.crop_left.mean() < before
    fold.logger.value = "low block logger"
    # The sample's logger hangs in a hollow made 1.5 C colder, with a spread of 0.5 C.
    assert fold.offset.value == pytest.approx(-1.5, abs=0.4)
    assert fold.offset.disabled
    assert "station nights below" in text(unfold(page, "where the numbers come from").text)
    page.desk.block = "Long Acre"
    assert not fold.offset.disabled
    page.desk.block = "Mill Meadow"
    assert fold.logger.value == "low block logger"
    fold.logger.value = OWN_LOGGER
    assert not fold.offset.disabled


@pytest.fixture
def night(page):
    found = unfold(page, "one night")
    assert isinstance(found, NightPart)
    return found


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


def test_the_map_and_the_case_are_those_chosen(night):
    assert "2x12+2x2" in night.map.value
    night.beside.index = 1
    assert "2x16+2x2" in night.map.value
    assert "picture of the model, not a forecast" in night.map.value
    night.days.box.value = 15
    down = left(night)
    night.case.value = CASES[1]
    assert night.found.cases == (CASES[1],) * 3
    assert (left(night) >= down - 1e-9).all()


@pytest.fixture
def after(opened):
    found = unfold(opened, "after a frost")
    assert isinstance(found, AfterPart)
    found.vines.value = ""
    return found


def test_after_a_frost_the_crop_is_told_in_parts(page):
    after = unfold(page, "after a frost")
    after.dead.value, after.alive.value = 90, 90
    after.button.click()
    assert after.message.value == ""
    assert "90 of 180 shoots are dead: 50 %" in text(after.answer)
    assert "ripens 2 to 4 weeks later" in text(after.answer)
    assert after.found.total[1] < after.found.before[1]
    page.desk.open_with(units="us")
    assert "short ton" in text(after.answer)
    page.desk.block = "Long Acre"
    assert after.answer.value == ""


def test_counts_vine_by_vine_are_read(after):
    after.dead.value = after.alive.value = 0
    after.vines.value = "3/14, 5/12; 0/13"
    after.button.click()
    assert (after.found.shoots_killed, after.found.shoots_seen) == (8, 39)
    after.vines.value = "3 of 14"
    after.button.click()
    assert "'3' is no count of a vine" in text(after.message)
    assert after.found is None


@pytest.mark.parametrize(
    ("dead", "alive", "words"),
    [
        (0, 0, "No shoot was seen"),
        (-3, 5, "Dead shoots counted must be a whole number"),
        (3, 1.5, "Living shoots counted must be a whole number"),
        (float("nan"), 5, "Dead shoots counted must be a whole number"),
    ],
)
def test_bad_counts_get_one_message(after, dead, alive, words):
    after.dead.value, after.alive.value = dead, alive
    after.button.click()
    assert words in text(after.message)
    assert after.answer.value == ""


def test_a_block_without_budburst_asks_for_a_sum_and_takes_it(page):
    page.desk.block = "Fox Hollow"
    assert "no budburst date on record, and no heat sum" in said(page)
    assert page.sentence.text.value == page.late.answer.value == ""
    fold = unfold(page, "weather and station offset")
    fold.sum.value = "soon"
    assert "not 'soon'" in text(fold.message)
    fold.sum.value = "170"
    assert said(page) == fold.message.value == ""
    assert len(page.comparison.seasons) == SPRINGS


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("crossed", "tmin_c lies above tmax_c"),
        ("twice", "stand twice with different values"),
        ("no weather", "no weather on record"),
    ],
)
def test_bad_weather_is_one_message_without_a_traceback(kind, words):
    page = FrostCover(records(damaged(kind)), draws=200)
    assert words in said(page)
    assert "Traceback" not in said(page)
    # What needs no weather still works.
    after = unfold(page, "after a frost")
    after.dead.value, after.alive.value = 10, 10
    after.button.click()
    assert after.found is not None


def test_dates_of_the_other_hemisphere_are_one_message():
    held = records()
    held.dates["date"] = pd.to_datetime(held.dates["season"].astype(str) + "-10-05")
    assert "northern hemisphere" in said(FrostCover(held, draws=200))


def test_doubts_are_told_where_the_numbers_come_from():
    def notes(weather):
        page = FrostCover(records(weather), draws=200)
        return text(unfold(page, "where the numbers come from").text)

    gap = weather()
    assert "2 missing day(s) filled" in notes(gap[~gap["date"].between("2016-02-03", "2016-02-04")])
    hot = weather()
    hot[["tmin_c", "tmax_c"]] = hot[["tmin_c", "tmax_c"]] * 1.8 + 32
    assert "if these are degrees Fahrenheit" in notes(hot)


def test_names_from_records_are_escaped():
    held = records()
    for table in (held.blocks, held.dates, held.pruning):
        table["block"] = "<b>North</b>"
    page = FrostCover(held, draws=200)
    after = unfold(page, "after a frost")
    after.dead.value, after.alive.value = 10, 10
    after.button.click()
    shown = page.sentence.text.value + page.levels.about.value + after.answer.value
    assert "<b>North" not in shown
    assert "&lt;b&gt;North" in after.answer.value


def test_all_springs_are_handed_out(page):
    name, data = page.springs_file()
    assert name == "frost_Mill-Meadow_2027.csv"
    rows = pd.read_csv(io.BytesIO(data))
    assert len(rows) == SPRINGS * 3 * 2
    assert rows["t_ha_p50"].to_numpy() == pytest.approx(
        page.comparison.frame_by("season")["crop_p50"].to_numpy(), rel=1e-3
    )


def test_evidence_and_cautions_lie_in_their_folds(opened):
    known = text(unfold(opened, "what is known and what not"))
    care = text(unfold(opened, "taking care"))
    assert "Hardly supported" in known
    for phrase in ("inversion", "noise rules", "Work in pairs", "Local codes"):
        assert phrase in care


def test_an_unreadable_folder_is_a_message(tmp_path):
    assert "nowhere" in FrostCover(tmp_path / "nowhere").message.value


def test_daily_files_are_taken_into_the_folder_and_the_springs_follow(tmp_path):
    folder = sample_copy(tmp_path / "estate", "blocks", "pruning", "dates", "weather")
    rows = (folder / "weather.csv").read_text("utf-8").splitlines(keepends=True)
    recent = [row for row in rows if row.startswith("station,") or row.split(",")[1] > "2023"]
    (folder / "weather.csv").write_text("".join(recent), "utf-8")
    page = FrostCover(folder, draws=100)
    stations = unfold(page, "weather and station offset")
    daily = beside(page, stations)
    assert daily.station.value == "Quillfoot station"
    before = len(page.records.weather)
    text_of = "date,tmin_c,tmax_c\n2026-11-21,1,9\n2026-11-20,-40,9\n"
    daily.take({"logger.csv": text_of.encode()})
    assert "1 day added" in text(daily.answer)
    assert "on record with other values" in text(daily.answer)
    assert len(page.records.weather) == before + 1
    daily.take({"logger.csv": b"no weather"})
    assert "is no daily weather" in text(daily.answer)
    daily.station.value = "New logger"
    daily.take({"logger.csv": text_of.encode()})
    assert "New logger" in stations.station.options


def test_the_shipped_sample_takes_no_daily_file(page):
    daily = beside(page, unfold(page, "weather and station offset"))
    daily.take({"logger.csv": b"date,tmin_c,tmax_c\n2026-11-21,1,9\n"})
    assert "sample" in text(daily.answer)


def beside(page, part):
    """Return the part that lies next in the fold of a part."""
    for fold in page.children[-1].children:
        if fold.is_open and part in fold.inside.children:
            return fold.inside.children[fold.inside.children.index(part) + 1]
    raise AssertionError(part)
