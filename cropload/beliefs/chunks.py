"""Forecasts of very many blocks in little memory: some at a time, with all that they share."""

import numpy as np
import pandas as pd

from cropload.beliefs.forecast import draw_forecast, prepare
from cropload.beliefs.history import estates
from cropload.beliefs.meant import check_draws
from cropload.beliefs.result import crop_columns
from cropload.errors import CroploadError


def forecast_chunks(
    records,
    season=None,
    as_of=None,
    *,
    size=1000,
    plans=None,
    draws=4000,
    seed=0,
    reference_plans=None,
    learned=None,
):
    """Forecast a season some blocks at a time.

    Parameters
    ----------
    records, season, as_of, plans, draws, seed, reference_plans, learned
        As in ``forecast``.
    size : int
        Most blocks at a time [1]; 1,000 blocks of 4,000 draws take about 0.6 GB.

    Yields
    ------
    Forecast
        Of the next blocks, in the order of the records.

    Raises
    ------
    CroploadError
        As ``forecast``, or for a size below 1.

    Notes
    -----
    What blocks share is learnt from all of them first, so every block has the draws it has in
    ``forecast``, and sums over chunks keep the shared part.
    Valid as ``forecast``.
    """
    check_draws(draws, seed)
    if isinstance(size, bool) or not isinstance(size, (int, np.integer)) or size < 1:
        raise CroploadError(f"size must be a whole number of blocks, 1 or more, not {size!r}.")
    ground, learned, so_far = prepare(
        records, season, as_of, plans=plans, reference_plans=reference_plans, learned=learned
    )
    for estate in estates(ground, learned, size):
        yield draw_forecast(estate, so_far, draws, seed)


def chunked_table(chunks, by="block"):
    """Return the crop by block, variety or for the estate from chunks of its blocks.

    Parameters
    ----------
    chunks : iterable of Forecast
        As from ``forecast_chunks``; each is let go before the next is made.
    by : str
        ``"block"``, ``"variety"`` or ``"estate"``.

    Returns
    -------
    DataFrame
        As ``Forecast.frame_by(by)`` of all the blocks: ranges of tonnes [t] and t_ha [t/ha].

    Raises
    ------
    CroploadError
        For any other word, or no chunk.
    """
    tables, sums = [], {}
    for chunk in chunks:
        if by == "block":
            tables.append(chunk.frame_by(by))
            continue
        for name, places in zip(*chunk.groups(by), strict=True):
            parts = (
                chunk.draws[places].sum(0),
                chunk.area_ha[places].sum(),
                chunk.bearing[places].sum(),
            )
            before = sums.get(name, (0.0, 0.0, 0.0))
            sums[name] = tuple(old + new for old, new in zip(before, parts, strict=True))
    if not tables and not sums:
        raise CroploadError("There is no block to forecast.")
    if by == "block":
        frame = pd.concat(tables, ignore_index=True)
    else:
        total, area, vines = map(np.array, zip(*sums.values(), strict=True))
        frame = pd.DataFrame({by: list(sums), "area_ha": area, "bearing_vines": vines})
        frame = frame.assign(**crop_columns(total, area))
        frame["range_t"] = frame["tonnes_p90"] - frame["tonnes_p10"]
    return frame
