"""Picks held to wanted days, in two passes, and what machines and hands pick in a day."""

import argparse

import numpy as np
import pandas as pd
import pytest
from intake_cases import growers_estate

from cropload import forecast, harvest_dates, intake_schedule, read_records
from cropload.errors import CroploadError
from cropload.winery.cellar import cellar_of
from cropload.winery.commands.intake import costs
from cropload.winery.relief import relieve
from cropload.winery.sheets import deliveries
from cropload.winery.words import cellar_sentence, next_picks

PICKING = [
    "season,block,first_day,last_day,share_pct,picker",
    "2027,Ash 1,2027-09-15,2027-09-20,,Machine",
    "2027,Birch 2,2027-09-14,2027-09-16,60,Machine",
    "2027,Birch 2,2027-09-24,2027-09-26,,Crew",
    "2027,Cedar 3,2027-09-18,,,Machine",
    "2026,Fir 6,2026-09-18,,,",
]
PICKERS = ["picker,kind,t_per_hour,hours_a_day", "Machine,machine,2,5", "Crew,hand,0.5,8"]
EPOCH = pd.Timestamp(0)


@pytest.fixture(scope="module")
def planned(tmp_path_factory):
    folder = growers_estate(tmp_path_factory.mktemp("a"), picking=PICKING, pickers=PICKERS)
    records = read_records(folder)
    now, dates = (f(records, 2027, draws=200) for f in (forecast, harvest_dates))
    free = read_records(growers_estate(tmp_path_factory.mktemp("b")))
    return records, now, intake_schedule(now, dates, blocks=records.blocks), harvest_dates(
        free, 2027, draws=200
    )  # fmt: skip


def test_a_day_has_24_hours_and_a_price_of_a_move_is_given_once(tmp_path):
    with pytest.raises(CroploadError, match="above 0 and not above 24"):
        read_records(growers_estate(tmp_path, pickers=[*PICKERS, "Night,machine,2,25"]))
    with pytest.raises(argparse.ArgumentTypeError, match="short is given twice"):
        costs("short=250,short=300")


def days(first, last=None):
    return tuple((pd.Timestamp(f"2027-{each}") - EPOCH).days for each in (first, last or first))


def test_picks_come_on_the_wanted_day_nearest_to_the_forecast_one(planned):
    _, now, schedule, free = planned
    wanted = {
        "Ash 1": [(1.0, days("09-15", "09-20"))],
        "Birch 2": [(0.6, days("09-14", "09-16")), (0.4, days("09-24", "09-26"))],
        "Cedar 3": [(1.0, days("09-18"))],
    }
    for name, passes in wanted.items():
        at = now.blocks.index(name)
        found = schedule.movable_parts()[at]
        assert len(found) == len(passes)
        for (day, tonnes), (share, (first, last)) in zip(found, passes, strict=True):
            nearest = [min(max(each, first), last) for each in free.draws[at]]
            assert day.tolist() == nearest
            assert tonnes == pytest.approx(share * now.draws[at])
    other = now.blocks.index("Fir 6")
    assert (schedule.movable_parts()[other][0][0] == free.draws[other]).all()


def test_what_a_machine_does_not_pick_on_its_day_is_counted_day_by_day(planned):
    records, now, schedule, _ = planned
    waits, chance = [], 0
    for season in range(200):
        comes = {}
        for at, name in ((at, now.blocks[at]) for at in range(40)):
            for (day, tonnes), by in zip(schedule.movable_parts()[at], _pickers(name), strict=True):
                if by == "Machine":
                    comes[day[season]] = comes.get(day[season], 0.0) + tonnes[season]
        rest, nights = 0.0, [0.0]
        for day in range(min(comes), schedule.span[1] + 1):
            rest = max(rest + comes.get(day, 0.0) - 10.0, 0.0)
            nights.append(rest)
        waits.append(max(nights))
        chance += max(nights) > 1e-9
    crew = _crew(now, schedule)
    (use,) = [each for each in cellar_of(schedule, records).uses if each.what == "pickers"]
    assert use.room == 2 * 5 + 0.5 * 8
    both = [max(pair) for pair in zip(waits, crew, strict=True)]
    assert use.left_mean >= np.mean(both) - 1e-9
    assert use.left_mean <= np.mean(np.add(waits, crew)) + 1e-9
    assert use.chance_left >= chance / 200
    assert "not picked on its day" in cellar_sentence(cellar_of(schedule, records))


def _pickers(name):
    return {"Ash 1": ["Machine"], "Birch 2": ["Machine", "Crew"], "Cedar 3": ["Machine"]}.get(
        name, [""]
    )


def _crew(now, schedule):
    """Return the most that waits for the crew: the second pass of one block, 4 t a day."""
    _, tonnes = schedule.movable_parts()[now.blocks.index("Birch 2")][1]
    return np.maximum(tonnes - 4.0, 0.0)


def test_moves_stay_within_the_wanted_days(planned):
    records, _, schedule, _ = planned
    found = relieve(schedule, records.capacity, windows=3, pickers=records.pickers)
    assert "Cedar 3" not in set(found.frame["block"])
    for place, passes in schedule.held.items():
        for (day, _), (first, last) in zip(
            found.schedule.movable_parts()[place], passes, strict=True
        ):
            assert first <= day.min()
            assert day.max() <= last


def test_the_plan_of_a_day_names_the_machine(planned):
    _, _, schedule, _ = planned
    plan = deliveries(schedule).set_index("block")
    assert plan.loc["Cedar 3", "picker"] == "Machine"
    assert plan.loc["Birch 2", "picker"].tolist() == ["Machine", "Crew"]
    assert any("by Machine" in line for line in next_picks(schedule, most=40)[1])


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("2027,Ash 1,2027-09-15,,60,\n2027,Ash 1,2027-09-20,,50,", "come to 110 %"),
        ("2027,Ash 1,2027-09-15,,,Machin", "Did you mean 'Machine'"),
        ("2027,Ash 1,2026-09-15,,,", "is not in the season"),
        ("2027,Ash 1,2027-09-15,2027-09-10,,", "may not come before first_day"),
        ("2027,Ash,2027-09-15,,,", "Ash"),
    ],
)
def test_wanted_days_that_cannot_be_are_faults_of_the_file(tmp_path, row, told):
    with pytest.raises(CroploadError) as fault:
        read_records(growers_estate(tmp_path, picking=[PICKING[0], row], pickers=PICKERS))
    assert told in " ".join(str(fault.value).split())


def test_wanted_days_that_are_over_leave_the_forecast_date(tmp_path):
    records = read_records(growers_estate(tmp_path, picking=PICKING, pickers=PICKERS))
    late = harvest_dates(records, 2027, "2027-09-21", draws=100)
    assert set(late.held) == {"Birch 2"}
    assert late.held["Birch 2"] == ((*days("09-24", "09-26"), 1.0, "Crew"),)
    assert "wanted days of Ash 1, Cedar 3 are over" in " ".join(late.notes)
