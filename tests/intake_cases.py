"""Small forecasts with draws of a known law, for the tests of intake, limits and contracts."""

from types import SimpleNamespace

import numpy as np
import pandas as pd

SEASON = 2026


def made_forecast(draws, varieties=None, picked=None, share=None, as_of=None, seed=0):
    """Return what the decisions read of a forecast, with given draws (blocks x draws) [t]."""
    draws = np.asarray(draws, float)
    count = len(draws)
    blocks = tuple(f"Block {at}" for at in range(count))
    as_of = None if as_of is None else pd.Timestamp(as_of)
    found = SimpleNamespace(
        season=SEASON,
        as_of=as_of,
        seed=seed,
        blocks=blocks,
        varieties=tuple(varieties or ["Anyvine"] * count),
        draws=draws,
        area_ha=np.full(count, 2.0),
        notes=(),
        picked=pd.DataFrame(
            {
                "block": blocks,
                "tonnes": np.zeros(count) if picked is None else np.asarray(picked, float),
                "share": np.zeros(count) if share is None else np.asarray(share, float),
            }
        ),
    )
    found.attrs = lambda: {"as_of": "" if as_of is None else str(as_of.date()), "notes": ()}
    return found


def correlated_lognormals(blocks, draws, *, sigma, correlation, seed=1):
    """Return draws of log-normals with median 1 t whose logs go together, (blocks, draws) [t]."""
    rng = np.random.default_rng(seed)
    shared, own = rng.standard_normal(draws), rng.standard_normal((blocks, draws))
    return np.exp(sigma * (np.sqrt(correlation) * shared + np.sqrt(1 - correlation) * own))


def capacity(*rows):
    """Return limits of intake from (first day, last day, limit [t]) or with a variety behind."""
    columns = ["period_start", "period_end", "limit_t", "variety"]
    return pd.DataFrame([(*row, "")[:4] for row in rows], columns=columns)


GROWERS = ("Ash", "Birch", "Cedar", "Dogwood", "Elder", "Fir")
VARIETIES = ("Riesling", "Pinot noir", "Chardonnay", "Sauvignon blanc", "Merlot")


def growers_estate(folder, **more):
    """Write the invented records of a winery that takes in 40 blocks of 6 growers, 5 varieties.

    Weeks from 6 September to 24 October 2027 have a limit; each Sunday is closed, and what comes
    later is named by no row.
    """
    rng = np.random.default_rng(16)
    blocks = ["block,variety,row_spacing_m,vine_spacing_m,vines,grower,site"]
    harvest, dates = ["season,block,date,tonnes"], ["season,block,stage,date"]
    for at in range(40):
        grower, variety = GROWERS[at % 6], VARIETIES[at % 5]
        name, vines = f"{grower} {at + 1}", int(rng.integers(2000, 8000))
        site = ("Hill", "Plain")[at % 2]
        blocks.append(f"{name},{variety},2,1.2,{vines},{grower},{site}")
        start, bears = 255 + 6 * (at % 5), vines * 2.4 * rng.uniform(0.8, 1.1) / 1000
        for season in (2023, 2024, 2025, 2026):
            shared = 3 * (season % 3 - 1)
            day = pd.Timestamp(season, 1, 1) + pd.Timedelta(days=int(start + shared))
            crop = bears * (1 + 0.15 * (season % 2)) * rng.uniform(0.9, 1.1)
            harvest.append(f"{season},{name},{day:%Y-%m-%d},{crop:.2f}")
            dates.append(f"{season},{name},harvest,{day:%Y-%m-%d}")
    limits = ["period_start,period_end,limit_t,variety,intake"]
    for week in pd.date_range("2027-09-06", periods=7, freq="7D"):
        sunday = week + pd.Timedelta(days=6)
        limits.append(f"{week:%Y-%m-%d},{sunday:%Y-%m-%d},110,,")
        limits.append(f"{sunday:%Y-%m-%d},{sunday:%Y-%m-%d},,,closed")
    limits.append("2027-09-13,2027-09-26,40,Riesling,")
    tables = {"blocks": blocks, "harvest": harvest, "dates": dates, "capacity": limits} | more
    for name, lines in tables.items():
        (folder / f"{name}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return folder
