"""After harvest: how far each forecast of the season was off, and what a grower's guess was."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from cropload.decisions import scores
from cropload.errors import CroploadError
from cropload.forecasting import ranges
from cropload.forecasting.calendar import MOMENTS, forecast_days
from cropload.forecasting.measured import block_facts, measurements
from cropload.forecasting.season import forecast
from cropload.records.until import day, records_until
from cropload.vine.bud_damage import wilson_interval
from cropload.vine.growth import COMPONENTS, STAGES

_HARVEST = STAGES.index("harvest")

#: Guesses a grower would make without any model, with the words for them.
BASELINES = {
    "last_season": "same as last season",
    "block_mean": "the block's mean so far",
    "count_x_last_weight": "clusters counted x last season's cluster weight",
}


@dataclass(frozen=True, eq=False)
class SeasonReview:
    """What the forecasts of a season were worth.

    blocks : one row a moment and block: tonnes_p10, tonnes_p50, tonnes_p90, picked and error [t],
        error_share [1], inside (the range held it), crps [t], and one column a baseline [t].
    groups : the same by variety and for the estate.
    summary : one row a moment: bias [1], weighted_miss [1], inside, seen, inside_low and
        inside_high (Wilson) [1], width_share, mean width of the range relative to the crop [1],
        crps [t], and the weighted miss of each baseline [1].
    forecasts : {key of the moment: Forecast}.
    """

    season: int
    days: dict
    blocks: pd.DataFrame
    groups: pd.DataFrame
    summary: pd.DataFrame
    forecasts: dict
    notes: tuple


def picked_tonnes(records, season):
    """Return the whole crop of each block at the scale [t], as a Series; part-picked left out.

    Raises
    ------
    CroploadError
        When nothing of the season is on the scale.
    """
    facts = block_facts(records)
    found = measurements(records, facts)
    found = found[(found["season"] == season) & (found["stage"] == "harvest")]
    rows = records.harvest[records.harvest["season"] == season]
    if rows.empty:
        raise CroploadError(
            f"No harvest of {season} is on record, so there is nothing to hold a forecast "
            "against. Fill table harvest."
        )
    total = rows.groupby("block")["tonnes"].sum()
    last = rows.sort_values("date", kind="stable").groupby("block")["picked_pct"].last()
    whole = last.isna() | (last >= 100)
    return total[whole].astype(float)


def baselines(records, season, as_of):
    """Return what a grower would have guessed on a day, one column a baseline [t].

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    season : int
        Year of harvest.
    as_of : str or date
        Only records up to this day are used.

    Returns
    -------
    DataFrame
        Indexed by block; NaN where a guess needs what was not on record.
    """
    known = records_until(records, as_of)
    facts = block_facts(known)
    found = measurements(known, facts)
    wide = {
        stage: found[found["stage"] == stage].pivot_table(
            index="block", columns="season", values="value"
        )
        for stage in ("harvest", "clusters", "weight_harvest")
    }

    def of(stage, wanted):
        table = wide[stage]
        return table[wanted] if wanted in table else pd.Series(dtype=float)

    vines = pd.Series(facts.bearing, index=list(facts.names)) / 1000.0
    frame = pd.DataFrame(index=list(facts.names), dtype=float)
    frame["last_season"] = of("harvest", season - 1) * vines
    before = wide["harvest"]
    before = before[[s for s in before.columns if s < season]]
    frame["block_mean"] = before.mean(axis=1) * vines if before.shape[1] else np.nan
    frame["count_x_last_weight"] = (
        of("clusters", season) * of("weight_harvest", season - 1) / 1000.0 * vines
    )
    return frame


def _scored(picked, names, draws):
    """Return rows of one moment for groups of blocks: range, miss, inside, score."""
    low, middle, high = ranges.quantiles(draws)
    return pd.DataFrame(
        {
            "name": names,
            "tonnes_p10": low,
            "tonnes_p50": middle,
            "tonnes_p90": high,
            "picked_t": picked,
            "error_t": middle - picked,
            "error_share": middle / picked - 1,
            "inside": (picked >= low) & (picked <= high),
            "crps_t": scores.crps(draws, picked),
        }
    )


def review_season(records, season, *, moments=None, as_of=None, draws=4000, seed=0, progress=None):
    """Hold every forecast of a season against its harvest, beside a grower's own guesses.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    season : int
        Year of a harvest that is on record.
    moments : sequence of str, optional
        Keys of ``MOMENTS``; all that the records allow when left out.
    as_of : dict, optional
        {label: day} of further days to review.
    draws, seed : int
        As in ``forecast`` [1].
    progress : callable, optional
        Called as progress(done, total) after each forecast.

    Returns
    -------
    SeasonReview

    Raises
    ------
    CroploadError
        When the season has no harvest on record, or a moment is not known.

    Notes
    -----
    Each forecast is made again from what was dated up to its day, nothing later.
    Blocks that were picked in part, or have nothing on record to forecast them by, are left out
    of the scores and named in the notes.
    Valid for a season with at least one block picked whole; few blocks say little, which the
    Wilson range of the coverage shows.
    """
    season = int(season)
    truth = picked_tonnes(records, season)
    days = forecast_days(records, season)
    if moments is not None:
        unknown = [m for m in moments if m not in MOMENTS]
        if unknown:
            raise CroploadError(
                f"'{unknown[0]}' is no moment of the season. Choose from: {', '.join(MOMENTS)}."
            )
        days = {key: when for key, when in days.items() if key in moments}
    days.update({label: day(when) for label, when in (as_of or {}).items()})
    if not days:
        raise CroploadError(f"None of these moments is on record for {season}.")
    notes, parts, groups, rows, kept = [], [], [], [], {}
    for done, (key, when) in enumerate(days.items(), start=1):
        found = forecast(records, season, when, draws=draws, seed=seed)
        kept[key] = found
        at = [found.blocks.index(block) for block in truth.index if block in found.blocks]
        picked = truth.reindex([found.blocks[i] for i in at]).to_numpy(float)
        names = [found.blocks[i] for i in at]
        some = picked > 0
        if not some.all():
            lost = ", ".join(n for n, s in zip(names, some, strict=True) if not s)
            notes.append(f"{lost}: nothing was picked; a percentage of nothing means nothing.")
        at, picked = np.array(at)[some], picked[some]
        names = [n for n, s in zip(names, some, strict=True) if s]
        block = _scored(picked, names, found.draws[at])
        guess = baselines(records, season, when).reindex(names)
        for name in BASELINES:
            block[name] = guess[name].to_numpy(float)
        block.insert(0, "moment", key)
        parts.append(block)
        varieties = np.array([found.varieties[i] for i in at], dtype=object)
        for level, labels in (("variety", varieties), ("estate", np.full(len(at), "estate"))):
            unique = list(dict.fromkeys(labels))
            member = np.array([[label == u for label in labels] for u in unique], float)
            group = _scored(member @ picked, unique, member @ found.draws[at])
            group.insert(0, "level", level)
            group.insert(0, "moment", key)
            groups.append(group)
        inside, seen = int(block["inside"].sum()), len(block)
        low, high = wilson_interval(inside, seen)
        row = {
            "moment": key,
            "words": MOMENTS.get(key, key),
            "day": when,
            "bias": scores.bias(block["tonnes_p50"], picked),
            "weighted_miss": scores.weighted_miss(block["tonnes_p50"], picked),
            "inside": inside,
            "seen": seen,
            "inside_share": inside / seen,
            "inside_low": float(low),
            "inside_high": float(high),
            "width_share": float((block["tonnes_p90"] - block["tonnes_p10"]).sum() / picked.sum()),
            "crps_t": float(block["crps_t"].mean()),
        }
        for name in BASELINES:
            there = block[name].notna()
            row[f"{name}_miss"] = scores.weighted_miss(block.loc[there, name], picked[there])
            row[f"{name}_seen"] = int(there.sum())
        rows.append(row)
        if progress is not None:
            progress(done, len(days))
    unpicked = [b for b in block_facts(records).names if b not in truth.index]
    if unpicked:
        notes.append(f"Not picked whole, so not scored: {', '.join(unpicked)}.")
    summary = pd.DataFrame(rows)
    summary.attrs = {"season": season, "interval": ranges.label(), "seed": seed, "draws": draws}
    return SeasonReview(
        season=season,
        days=days,
        blocks=pd.concat(parts, ignore_index=True),
        groups=pd.concat(groups, ignore_index=True),
        summary=summary,
        forecasts=kept,
        notes=tuple(dict.fromkeys(notes)),
    )


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
    Valid for blocks picked whole.
    """
    truth = picked_tonnes(records, season)
    later = forecast(records, season, None, draws=draws)
    names, rows = list(COMPONENTS), []
    then_rows = found.estate.season_rows[:, _HARVEST]
    now_rows = later.estate.season_rows[:, _HARVEST]
    offset_then = found.estate.season_offset[:, _HARVEST]
    offset_now = later.estate.season_offset[:, _HARVEST]
    measured = found.estate.measured
    counted = set(
        measured.loc[
            (measured["season"] == season) & (measured["stage"] == "clusters"), "block"
        ]
    )
    then, now = found.component_centres(), later.component_centres()
    counting = names.index("counting_bias")
    clusters = names.index("clusters_per_shoot")
    for block, picked in truth.items():
        if block not in found.blocks or picked <= 0:
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
