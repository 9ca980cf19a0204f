"""Tanks and presses against days worked by hand, and against seasons counted one by one."""

from collections import defaultdict

import numpy as np
import pandas as pd
import pytest
from intake_cases import growers_estate, made_forecast

from cropload import forecast, harvest_dates, read_records
from cropload.errors import CroploadError
from cropload.pages.cli import main
from cropload.winery.cellar import cellar_table
from cropload.winery.intake import intake_schedule

NONE = pd.DataFrame()
TANKS = [
    "tank,volume_hl,variety,days_held,kg_per_hl",
    *(f"Steel {at},100,,6,120" for at in range(8)),
    *(f"Oak {at},60,Merlot,10,130" for at in range(3)),
]
PRESSES = ["press,load_t,cycles_a_day,variety", "Big,4,3,", "Small,1.5,2,Riesling"]


def on_days(tonnes, days, varieties=None):
    made = made_forecast(np.repeat(np.array(tonnes, float)[:, None], 100, axis=1), varieties)
    dates = (f"2026-09-{day:02d}" for day in days)
    return intake_schedule(made, dict(zip(made.blocks, dates, strict=True)))


def tanks(*rows):
    names = ["tank", "volume_hl", "variety", "days_held", "kg_per_hl"]
    return pd.DataFrame([(f"T{at}", *row) for at, row in enumerate(rows)], columns=names)


def test_three_hundred_hectolitres_with_six_days_held_by_hand():
    """36 t fill 300 hl at 120 kg. 20 t on the 1st; of 20 t on the 4th 16 fit; on the 7th the
    first 20 t are out, so 20 t fit; on the 8th nothing does."""
    schedule = on_days([20, 20, 20, 5], [1, 4, 7, 8])
    found = cellar_table(schedule, tanks((100, "", 6, 120), (200, "", 6, 120)), NONE)
    days = found.frame.set_index(found.frame["day"].dt.day)
    assert days["used_p50"].round(6).tolist() == [166.666667] * 3 + [300.0] * 5
    assert days["left_mean"].round(6).to_dict() == {1: 0, 2: 0, 3: 0, 4: 4, 5: 0, 6: 0, 7: 0, 8: 5}
    (use,) = found.uses
    assert (use.room, use.chance_left, use.left_mean) == (300, 1.0, pytest.approx(9))


def test_tanks_kept_for_a_variety_fill_first_and_take_no_other():
    """12 t of A: 6 t in its own 50 hl, 6 t beside B's 4 t in 90 hl for any: 10 of 10.8 t."""
    schedule = on_days([12, 4], [1, 1], ["A", "B"])
    book = tanks((50, "A", 6, 120), (90, "", 6, 120))
    assert cellar_table(schedule, book, NONE).uses[0].left_mean == 0
    assert cellar_table(schedule, book[:1], NONE).uses[0].left_mean == pytest.approx(6)
    assert "No tanks are kept for B" in cellar_table(schedule, book[:1], NONE).notes[0]


def test_what_a_press_leaves_waits_for_the_next_day():
    """12 t a day: of 20 t on the 1st 8 wait; on the 2nd they and 6 t come to 14, and 2 wait."""
    presses = pd.DataFrame({"press": ["P"], "load_t": [4.0], "cycles_a_day": [3.0]})
    found = cellar_table(on_days([20, 6, 1], [1, 2, 5]), NONE, presses).frame
    assert found["used_p50"].tolist() == [12, 12, 2, 1]
    assert found["left_mean"].tolist() == [8, 2, 0, 0]


def test_forty_blocks_counted_season_by_season(tmp_path):
    records = read_records(growers_estate(tmp_path, tanks=TANKS, presses=PRESSES))
    now, dates = (f(records, 2027, draws=100) for f in (forecast, harvest_dates))
    schedule = intake_schedule(now, dates)
    found = cellar_table(schedule, records.tanks, records.presses)
    tank, press = found.uses
    lost, waiting = [], []
    for season in range(100):
        days = defaultdict(lambda: defaultdict(float))
        for at, variety in enumerate(now.varieties):
            days[int(dates.draws[at, season])][variety] += float(now.draws[at, season])
        steel, oak, gone, queue, wait = [], [], 0.0, defaultdict(float), []
        for day in range(schedule.span[0], schedule.span[1] + 1):
            steel, oak = [f for f in steel if f[0] > day], [f for f in oak if f[0] > day]
            big, small = 12.0, 3.0
            for variety in dict.fromkeys(now.varieties):
                rest = days[day][variety]
                if variety == "Merlot":
                    fits = min(rest, 180 * 0.130 - sum(t for _, t in oak))
                    oak.append((day + 10, fits))
                    rest -= fits
                fits = min(rest, 800 * 0.120 - sum(t for _, t in steel))
                steel.append((day + 6, fits))
                gone += rest - fits
                queue[variety] += days[day][variety]
                if variety == "Riesling":
                    done = min(queue[variety], small)
                    small, queue[variety] = small - done, queue[variety] - done
                done = min(queue[variety], big)
                big, queue[variety] = big - done, queue[variety] - done
            wait.append(sum(queue.values()))
        lost.append(gone)
        waiting.append(max(wait))
    assert tank.left_mean == pytest.approx(np.mean(lost))
    assert tank.left_high == pytest.approx(np.percentile(lost, 90))
    assert tank.chance_left == pytest.approx(np.mean([gone > 1e-9 for gone in lost]))
    assert press.left_mean == pytest.approx(np.mean(waiting))
    assert press.chance_left == pytest.approx(np.mean([wait > 1e-9 for wait in waiting]))


def test_the_command_tells_of_tanks_and_presses(tmp_path, capsys):
    folder = str(growers_estate(tmp_path, tanks=TANKS, presses=PRESSES))
    assert main(["intake", folder, "--draws", "200", "--units", "us"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "TANKS AND PRESSES Tanks (25,889 US gal)" in out
    assert "Presses (16.5 short tons a day)" in out


def test_a_tank_without_a_volume_is_said():
    with pytest.raises(CroploadError, match="volume_hl above 0"):
        cellar_table(on_days([1], [1]), tanks((0, "", 6, 120)), NONE)
