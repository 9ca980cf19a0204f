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
