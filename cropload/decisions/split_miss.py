"""Which component missed: the miss of each block's forecast, split so that the parts add up."""

import numpy as np
import pandas as pd

from cropload.decisions.picked import on_the_scale
from cropload.forecasting.season import forecast
from cropload.vine.growth import COMPONENTS, STAGES

_HARVEST = STAGES.index("harvest")


def split_miss(records, season, found, *, draws=1000):
    """Split the miss of a forecast by component, block by block.

    Parameters
    ----------
    records : Records
        Everything on record, the season's harvest weights and tonnes included.
    season : int
        Year of harvest.
    found : Forecast
        The forecast under review.
    draws : int
        Draws of the look back [1]; they do not enter the split.

    Returns
    -------
    DataFrame
        block, component, log_miss, the part of ln(forecast / picked) that the component carries
        [1], and factor, its exp [1]: above 1 means forecast too high. The parts of a block add up
        exactly to the log of its miss. ``counting_bias`` is the part of the clusters' miss that
        was counted wrong; ``clusters_per_shoot`` what there was more or less of. ``unexplained``
        is what no component can carry (the scale, rounding).

    Notes
    -----
    The truth of each component is what is believed of it once everything is known, the harvest
    included; where shoots, clusters and weights were all measured it stands near what was
    measured, and where little was, the miss is shared out by how uncertain each component was.
    Blocks weighed together are left out: their own crop is not known.
    Valid for blocks picked whole.
    """
    crops = [crop for crop in on_the_scale(records, season).crops if len(crop.blocks) == 1]
    truth = {crop.blocks[0]: crop.tonnes for crop in crops}
    later = forecast(records, season, None, draws=draws)
    names, rows = list(COMPONENTS), []
    then_rows = found.estate.season_rows[:, _HARVEST]
    now_rows = later.estate.season_rows[:, _HARVEST]
    offset_then = found.estate.season_offset[:, _HARVEST]
    offset_now = later.estate.season_offset[:, _HARVEST]
    measured = found.estate.measured
    counted = set(
        measured.loc[(measured["season"] == season) & (measured["stage"] == "clusters"), "block"]
    )
    then, now = found.component_centres(), later.component_centres()
    counting = names.index("counting_bias")
    clusters = names.index("clusters_per_shoot")
    for block, picked in truth.items():
        if block not in found.blocks:
            continue
        at = found.blocks.index(block)
        middle = (then_rows[at] + now_rows[at]) / 2
        parts = middle * (then[at] - now[at])
        plan = (
            offset_then[at]
            - offset_now[at]
            + (then_rows[at] - now_rows[at]) @ (then[at] + now[at]) / 2
        )
        # Clusters were counted: then what the count had wrong is the counting bias, moved over.
        wrong = 0.0
        if block in counted:
            wrong = middle[clusters] * (now[at][counting] - then[at][counting])
            parts[clusters] -= wrong
            parts[counting] += wrong
        hanging = np.exp(then_rows[at] @ then[at] + offset_then[at]) * found.bearing[at] / 1000.0
        miss = np.log(hanging / picked)
        whole = [*parts, plan, miss - parts.sum() - plan]
        for name, part in zip([*names, "plan", "unexplained"], whole, strict=True):
            rows.append((block, name, part, np.exp(part)))
    frame = pd.DataFrame(rows, columns=["block", "component", "log_miss", "factor"])
    frame.attrs = {"season": season, "as_of": found.attrs()["as_of"], "stage": found.stage}
    return frame
