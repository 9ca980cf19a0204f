"""Every figure of the intake counted anew from the draws, season by season, in plain Python."""

from collections import Counter
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest
from intake_cases import GROWERS, capacity, growers_estate, made_forecast

from cropload import example_records, forecast, harvest_dates, read_records
from cropload.errors import CroploadError
from cropload.pages.cli import main
from cropload.winery.capacity import capacity_table
from cropload.winery.fit import fit_of
from cropload.winery.intake import intake_schedule
from cropload.winery.limits import own_periods
from cropload.winery.relief import relieve

DRAWS = 200


@pytest.fixture(scope="module", params=["sample", "40 blocks"])
def estate(request, tmp_path_factory):
    """Records, forecast, dates and schedule of the sample and of a winery with six growers."""
    if request.param == "sample":
        records = example_records()
    else:
        records = read_records(growers_estate(tmp_path_factory.mktemp("growers")))
    now, dates = (f(records, 2027, draws=DRAWS) for f in (forecast, harvest_dates))
    given = {"blocks": records.blocks, "capacity": records.capacity}
    periods = own_periods(records.capacity, 2027)
    return records, now, dates, intake_schedule(now, dates, period=periods, **given)


def plain_rows(records):
    """Table capacity as (first day, last day, most [t], variety), closed days with 0."""
    for row in records.capacity.to_dict("records"):
        most = 0.0 if row["intake"] == "closed" else row["limit_t"]
        yield row["period_start"].date(), row["period_end"].date(), most, row["variety"]


def deliveries(estate):
    """Each season's (block, variety, day, tonnes); no forecast falls on a closed day."""
    records, now, dates, _ = estate
    shut = set()
    for first, last, most, variety in plain_rows(records):
        assert not (most == 0 and variety)
        for step in range((last - first).days + 1):
            if most == 0:
                shut.add(first + timedelta(step))
    seasons = []
    for season in range(DRAWS):
        found = []
        for at, block in enumerate(now.blocks):
            day = date(1970, 1, 1) + timedelta(int(dates.draws[at, season]))
            for step in (0, -1, 1, -2, 2, -3, 3):
                if day + timedelta(step) not in shut:
                    day += timedelta(step)
                    break
            found.append((block, now.varieties[at], day, float(now.draws[at, season])))
        seasons.append(found)
    return seasons


def test_each_limit_is_held_against_what_comes_on_its_days(estate):
    records, _, _, schedule = estate
    table = capacity_table(schedule, records.capacity).frame
    for first, last, most, variety in plain_rows(records):
        sums = [
            sum(t for _, v, day, t in found if first <= day <= last and variety in ("", v))
            for found in deliveries(estate)
        ]
        (row,) = table[
            (table["period_start"] == pd.Timestamp(first))
            & (table["period_end"] == pd.Timestamp(last))
            & (table["variety"] == variety)
        ].to_dict("records")
        assert row["chance_over"] == pytest.approx(np.mean([s > most for s in sums]))
        over = [s - most for s in sums if s > most]
        assert row["over_mean_t"] == pytest.approx(np.mean(over) if over else 0)
        assert row["enough_t"] == pytest.approx(np.percentile(sums, 80))


def test_the_fit_in_all_is_that_of_the_seasons_one_by_one(estate):
    records, _, _, schedule = estate
    weeks = [row for row in plain_rows(records) if not row[3] and row[2]]
    single = [row for row in plain_rows(records) if row[3]]
    some, elsewhere, nowhere, fullest, which = [], [], [], [], Counter()
    for found in deliveries(estate):

        def crop(row, found=found):
            return sum(t for _, v, day, t in found if row[0] <= day <= row[1] and row[3] in ("", v))

        over = [max(crop(row) - row[2], 0) for row in weeks]
        # In the 40 blocks a limit of one variety lies over two weeks: at most both are over.
        less = sum(max(crop(row) - row[2], 0) for row in single)
        some.append(sum(over) + less > 0)
        elsewhere.append(sum(over) + less)
        named = [t for _, _, day, t in found if any(r[0] <= day <= r[1] for r in weeks)]
        nowhere.append(sum(t for *_, t in found) - sum(named))
        crops = [crop(row) for row in weeks]
        fullest.append(max(crops))
        which[weeks[crops.index(max(crops))][:2]] += 1
    fit = fit_of(schedule, records.capacity)
    assert fit.chance_any == pytest.approx(np.mean(some))
    assert fit.elsewhere_mean == pytest.approx(np.mean(elsewhere))
    assert fit.elsewhere == pytest.approx(np.percentile(elsewhere, [10, 50, 90]))
    assert fit.outside_mean == pytest.approx(np.mean(nowhere))
    assert fit.outside_high == pytest.approx(np.percentile(nowhere, 90))
    assert fit.peak_t == pytest.approx(np.percentile(fullest, [10, 50, 90]))
    assert fit.enough_t == pytest.approx(np.percentile(fullest, 80))
    (first, last), often = which.most_common(1)[0]
    assert fit.peak == f"{first} to {last}"
    assert fit.peak_chance == pytest.approx(often / DRAWS)


def test_growers_sites_and_varieties_add_up_to_their_blocks(estate):
    records, now, _, schedule = estate
    blocks = records.blocks.set_index("block")
    for by in ("grower", "variety", "site"):
        found = dict(zip(*schedule.totals(by), strict=True))
        assert set(found) == set(blocks[by])
        for name, tonnes in found.items():
            mine = [at for at, b in enumerate(now.blocks) if blocks.loc[b, by] == name]
            assert np.allclose(tonnes, now.draws[mine].sum(0))


def test_without_growers_the_column_to_fill_in_is_named():
    records = example_records()
    records = replace(records, blocks=records.blocks.assign(grower=""))
    now = forecast(records, 2027, draws=100)
    dates = harvest_dates(records, 2027, draws=100)
    schedule = intake_schedule(now, dates, blocks=records.blocks)
    with pytest.raises(CroploadError, match=r"Fill in column grower of table blocks"):
        schedule.groups("grower")


def test_forty_blocks_of_six_growers_are_told_on_one_screen(tmp_path, capsys):
    assert main(["intake", str(growers_estate(tmp_path)), "--draws", "200"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) <= 70
    assert max(map(len, lines)) <= 80
    assert all(any(line.startswith(name) for line in lines) for name in GROWERS)
    for by, rows in (("block", 40), ("site", 2), ("variety", 5)):
        assert main(["intake", str(tmp_path), "--draws", "200", "--by", by]) == 0
        lines = capsys.readouterr().out.splitlines()
        assert len(lines) <= 70 + rows
        assert f"BY {by.upper()}" in lines


def test_a_limit_within_another_turns_fruit_away_once():
    """16 t, a day that takes 5, a week that takes 8: 8 t go elsewhere, not 11 + 8."""
    made = made_forecast(np.full((1, 100), 16.0))
    schedule = intake_schedule(made, {"Block 0": "2026-09-15"})
    week, day = ("2026-09-14", "2026-09-20"), ("2026-09-15", "2026-09-15")
    assert fit_of(schedule, capacity((*week, 8.0), (*day, 5.0))).elsewhere_mean == 11.0
    assert fit_of(schedule, capacity((*week, 3.0), (*day, 5.0))).elsewhere_mean == 13.0
    shut = pd.concat([capacity((*week, 8.0)), capacity((*day, np.nan)).assign(intake="closed")])
    assert fit_of(schedule, shut).elsewhere_mean == 16.0


def test_fruit_on_days_that_no_row_names_is_told_apart_and_no_move_goes_there():
    made = made_forecast(np.full((2, 100), 6.0))
    schedule = intake_schedule(made, {"Block 0": "2026-09-18", "Block 1": "2026-09-19"})
    week = capacity(("2026-09-14", "2026-09-20", 7.0))
    found = relieve(schedule, week, windows=(0, 7))
    assert found.frame.empty
    assert [fit.outside_mean for fit in found.fits] == [0.0, 0.0]
    free = pd.concat([week, capacity(("2026-09-21", "2026-09-27", np.nan))])
    free["intake"] = ["", "no limit"]
    found = relieve(schedule, free, windows=(0, 7))
    assert found.frame["days"].tolist() == [2]
    assert found.fits[1].elsewhere_mean == found.fits[1].outside_mean == 0.0


def test_a_date_that_was_set_for_a_closed_day_stays_there_and_is_over():
    made = made_forecast(np.full((1, 100), 6.0))
    days = capacity(("2026-09-14", "2026-09-20", 9.0), ("2026-09-20", "2026-09-20", np.nan))
    days["intake"] = ["", "closed"]
    schedule = intake_schedule(made, {"Block 0": "2026-09-20"}, capacity=days)
    assert fit_of(schedule, days).elsewhere_mean == 6.0


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("2027-09-06,2027-09-12,,,", "must be filled in where column intake says neither"),
        ("2027-09-06,2027-09-12,9,,closed", "Keep one of the two"),
        ("2027-09-06,2027-09-12,9,,shut", "closed"),
    ],
)
def test_limits_that_contradict_themselves_are_faults(tmp_path, row, told):
    lines = ["period_start,period_end,limit_t,variety,intake", row]
    with pytest.raises(CroploadError, match=told):
        read_records(growers_estate(tmp_path, capacity=lines))


def test_a_column_of_numbers_that_may_be_a_term_is_a_fault(tmp_path):
    lines = ["period_start,period_end,limit_t,min_t", "2027-09-06,2027-09-12,9,4"]
    with pytest.raises(CroploadError, match="its numbers may be"):
        read_records(growers_estate(tmp_path, capacity=lines))
