"""Time of the frost replay: python tests/benchmarks/bench_frost.py

Prints seconds, and ratios to drawing and ranking as many normals with numpy, which tell more than
seconds from one machine to the next.
"""

import time

import numpy as np
import pandas as pd

from cropload.frost.replay import replay_frost
from cropload.frost.survival import frost_survival
from cropload.frost.years import frost_years
from cropload.vine.weather.heat import season_days

PLANS = ["3x8+3x2", "3x10+3x2", "3x12+3x2", "4x10+4x2", "24x2"]
CASES = ["laid_down"] * 3 + ["upright_until_final_cut"] * 2
YEARS, DRAWS = 40, 4000


def clock(task, repeats=1):
    start = time.perf_counter()
    for _ in range(repeats):
        found = task()
    return (time.perf_counter() - start) / repeats, found


def main():
    rng = np.random.default_rng(1)
    dates = pd.date_range("1981-01-01", periods=366 * YEARS)
    season = 11 - 9 * np.cos(2 * np.pi * (dates.day_of_year.to_numpy() - 20) / 365.25)
    mean = season + rng.normal(0, 3, len(dates))
    weather = pd.DataFrame({"date": dates, "tmin_c": mean - 7, "tmax_c": mean + 7})

    normals, _ = clock(
        lambda: np.quantile(
            rng.standard_normal((len(PLANS), YEARS, DRAWS)), [0.1, 0.5, 0.9], axis=2
        )
    )
    whole, found = clock(
        lambda: replay_frost(
            weather,
            PLANS,
            330.0,
            cases=CASES,
            offset=-1.5,
            draws=DRAWS,
            seasons=range(1981, 1981 + YEARS),
        )
    )
    nights = sum(len(nodes.nights) for nodes in found.years.seasons)
    print(
        f"{len(PLANS)} plans x {len(found.seasons)} years x {DRAWS} draws, {nights} frost nights:"
        f" {whole:.2f} s (wanted under 2), {whole / normals:.1f} x as many normals"
    )
    years = frost_years(weather, 330.0, offset=-1.5, draws=DRAWS)
    move, _ = clock(lambda: replay_frost(years, PLANS, cases=CASES).table(), 5)
    print(f"one move of a plan over all years, with its table: {move:.3f} s (wanted under 0.1)")
    days = season_days(weather, 1990)
    night, _ = clock(
        lambda: frost_survival(
            PLANS, days.with_night("1990-05-01", -2.0), "1990-04-15", cases=CASES, draws=DRAWS
        ).table(),
        5,
    )
    print(f"one what-if night: {night:.3f} s (wanted under 0.1)")


if __name__ == "__main__":
    main()
