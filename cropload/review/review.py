"""After harvest: how far each forecast of the season was off, and what a grower's guess was."""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.answer import Answer
from cropload.beliefs import ranges
from cropload.beliefs.calendar import MOMENTS, forecast_days
from cropload.beliefs.forecast import forecast
from cropload.beliefs.meant import check_draws, picked_seasons
from cropload.beliefs.ranges import DEFAULT_DRAWS
from cropload.clock import day
from cropload.errors import CroploadError, choose
from cropload.review import scores
from cropload.review.picked import baselines, frost_notes, joint_notes, on_the_scale, sums
from cropload.review.words import score_notes
from cropload.season.forecast_log import MODEL, models, read_log
from cropload.units import METRIC


@dataclass(frozen=True, eq=False, repr=False)
class SeasonReview(Answer):
    """What the forecasts of a season were worth.

    Attributes
    ----------
    frame : DataFrame
        One row a moment: moment, words, day, and the scores of ``level_scores`` over its blocks.
    season : int
        Year of harvest.
    days : dict
        {key of the moment: day}.
    blocks : DataFrame
        One row a moment and crop: tonnes_p10, tonnes_p50, tonnes_p90, picked_t and error_t [t],
        error_share [1], inside (the range held it), crps_t [t], and one column a baseline [t].
        Blocks weighed together are one crop.
    groups : DataFrame
        The same by variety, by grower where the blocks name them, and for the estate (column
        ``level``).
    logged, logged_blocks : DataFrame
        The same of the forecasts in the log, as they were logged.
    forecasts : dict
        {key of the moment: Forecast}.
    """

    season: int = field(kw_only=True)
    days: dict = field(kw_only=True)
    blocks: pd.DataFrame = field(kw_only=True)
    groups: pd.DataFrame = field(kw_only=True)
    logged: pd.DataFrame = field(kw_only=True)
    logged_blocks: pd.DataFrame = field(kw_only=True)
    forecasts: dict = field(kw_only=True)

    def frame_by(self, group="block"):
        """Return each moment's crops with a grower's guesses, one row a crop.

        Parameters
        ----------
        group : str
            ``"block"`` (blocks weighed together are one crop), ``"variety"``, ``"grower"`` or
            ``"estate"``.

        Returns
        -------
        DataFrame
            The columns of ``blocks`` [t]. A guess is NaN where it cannot guess a part.

        Raises
        ------
        CroploadError
            For another group, or where no block names its grower.
        """
        if group not in scores.LEVELS:
            raise CroploadError(f"Scores are by {', '.join(scores.LEVELS)}; not by '{group}'.")
        if group == "block":
            return self.blocks
        kept = self.groups[self.groups["level"] == group]
        if kept.empty:
            raise CroploadError("No block names its grower. Fill column grower of table blocks.")
        return kept.drop(columns="level").reset_index(drop=True)

    def heading(self, units=METRIC):
        """Return what is scored, and what the ranges are."""
        return (
            f"Season {self.season}: what each forecast was worth, made again from what was known "
            f"on its day. Ranges: {ranges.label()}."
        )

    def tables(self, units=METRIC):
        """Return the scores by moment, a grower's own guesses, and the scores of the log."""
        from cropload.review import tables

        logged = (tables.logged_table(self.logged),) if len(self.logged) else ()
        return (*scores.level_scores([self]).tables(units), *logged)

    def plot(self, ax=None, units=METRIC):
        """Draw the miss of each moment's forecast beside a grower's own guesses."""
        return scores.level_scores([self]).plot(ax, units)


def _scored(names, ends, picked, crps):
    """Return rows of some crops: range (low, middle and high end), miss, inside, score."""
    low, middle, high = ends
    return pd.DataFrame(
        {
            "name": names,
            **dict(zip((f"tonnes_{end}" for end in ranges.ENDINGS), ends, strict=True)),
            "picked_t": picked,
            "error_t": middle - picked,
            "error_share": middle / picked - 1,
            "inside": (picked >= low) & (picked <= high),
            "crps_t": crps,
        }
    )


def last_picked(records):
    """Return the last season on the scale."""
    if records.harvest.empty:
        raise CroploadError(
            "No harvest is on record yet, so there is nothing to review. Fill table harvest."
        )
    over = picked_seasons(records)
    return max(over) if over else int(records.harvest["season"].max())


def check_moments(moments):
    """Raise ``CroploadError`` when one of some keys is no moment of a season."""
    for key in moments:
        if key not in MOMENTS:
            raise CroploadError(f"'{key}' is no moment of the season. {choose(key, MOMENTS)}")


def _days(records, season, moments, as_of):
    days = forecast_days(records, season)
    if moments is not None:
        check_moments(moments)
        days = {key: when for key, when in days.items() if key in moments}
    loads = records.harvest.loc[records.harvest["season"] == season, "date"]
    # Undated loads count as known from the end of the year.
    first_load = loads.fillna(pd.Timestamp(int(season), 12, 31)).min()
    for label, when in (as_of or {}).items():
        limit = day(when)
        if limit is None:
            raise CroploadError(f"'{label}' needs a day to look back from, like 2026-07-15.")
        if limit >= first_load:
            raise CroploadError(
                f"'{label}', {limit:%Y-%m-%d}, is no day to forecast {season} from: the first load "
                f"was on the scale on {first_load:%Y-%m-%d}. Choose an earlier day."
            )
        days[str(label)] = limit
    if not days:
        raise CroploadError(f"None of these moments is on record for {season}.")
    return days


def _labels(crops, blocks, column):
    """Return the variety or the grower of each crop, those of blocks weighed together joined."""
    of = dict(zip(blocks["block"], blocks[column], strict=True))
    return [" + ".join(dict.fromkeys(of[each] or "-" for each in crop.blocks)) for crop in crops]


@arguments.check_arguments(
    records=arguments.records,
    season=arguments.season,
    moments=arguments.optional(arguments.each(arguments.text)),
    as_of=arguments.optional(arguments.by_block("days")),
    progress=arguments.optional(arguments.calling),
)
def review_season(
    records, season, *, moments=None, as_of=None, draws=DEFAULT_DRAWS, seed=0, progress=None
):
    """Hold every forecast of a season against its harvest, beside a grower's own guesses.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    season : int
        Year of harvest, of a season on the scale.
    moments : sequence of str, optional
        Keys of ``MOMENTS``; all that the records allow when left out.
    as_of : dict, optional
        {label: day} of further days to review, each before the first load.
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
        When the season has no harvest on record, a moment is not known, or a day is not before
        the first load.

    Notes
    -----
    Each forecast is made again from what was dated up to its day, nothing later. Forecasts that
    were kept in the log are scored as they were logged.
    Several picks of a block are summed. Blocks on one ticket were weighed together and are scored
    as one crop. What cannot be scored is named in the notes.
    Valid for a season with at least one block picked whole; few blocks say little, which the
    Wilson range of the coverage shows.

    Examples
    --------
    >>> from cropload import example_records
    >>> found = review_season(example_records(), 2026, moments=["pruning", "picking"], draws=500)
    >>> [str(key) for key in found["moment"]]
    ['pruning', 'picking']
    >>> bool(found["weighted_miss"].iloc[1] < found["weighted_miss"].iloc[0])
    True
    """
    check_draws(draws, seed)
    scale = on_the_scale(records, season)
    if not scale.crops:
        raise CroploadError(
            f"No block of {season} was picked whole, so there is nothing to score. "
            + " ".join(scale.notes)
        )
    days = _days(records, season, moments, as_of)
    parts, kept = [], {}
    for done, (key, when) in enumerate(days.items(), start=1):
        found = forecast(records, season, when, draws=draws, seed=seed)
        kept[key] = found
        matrix, there = sums(scale.crops, found.blocks)
        crops = [crop for crop, here in zip(scale.crops, there, strict=True) if here]
        matrix = matrix[there]
        picked = np.array([crop.tonnes for crop in crops])
        lots = [("block", [crop.name for crop in crops], np.eye(len(crops)))]
        named = ["variety", *["grower"] * bool((records.blocks["grower"] != "").any())]
        labelled = {each: _labels(crops, records.blocks, each) for each in named}
        for level, labels in (labelled | {"estate": ["estate"] * len(crops)}).items():
            unique = list(dict.fromkeys(labels))
            member = np.array([[label == each for label in labels] for each in unique], float)
            lots.append((level, unique, member))
        names = np.array(found.blocks, dtype=object)
        members = [member @ matrix for _, _, member in lots]
        whole = [names[row > 0].tolist() for row in np.concatenate(members)]
        guess = baselines(records, season, when, whole).reset_index(drop=True)
        start = 0
        for (level, names, member), summed in zip(lots, members, strict=True):
            of_lot, drawn = member @ picked, summed @ found.draws
            ends = ranges.quantiles(drawn)
            lot = _scored(names, ends, of_lot, scores.crps(drawn, of_lot)).assign(moment=key)
            mine = guess.iloc[start : start + len(names)].reset_index(drop=True)
            parts.append(lot.join(mine).assign(level=level))
            start += len(names)
        if progress is not None:
            progress(done, len(days))
    crops = pd.concat(parts, ignore_index=True)
    alone = crops["level"] == "block"
    blocks = crops[alone].drop(columns="level").reset_index(drop=True)
    frame = scores.moment_scores(blocks.assign(season=season))
    frame.insert(2, "day", [days[key] for key in frame["moment"]])
    logged, logged_blocks, log_notes = _review_logged(records, season, scale.crops)
    return SeasonReview(
        frame,
        (
            *score_notes(),
            *scale.notes,
            *frost_notes(records, season),
            *joint_notes(records, season),
            *log_notes,
            *records.not_as_written(season),
        ),
        sources=("interval.level",),
        season=season,
        days=days,
        blocks=blocks,
        groups=crops[~alone].reset_index(drop=True),
        logged=logged,
        logged_blocks=logged_blocks,
        forecasts=kept,
    )


def log_normal_of(low, high, level):
    """Return centre and spread of the log-normal whose equal-tailed range is this [1].

    Parameters
    ----------
    low, high : ndarray
        Ends of the range, above 0 [any unit].
    level : float
        Level of the range [1].
    """
    from scipy.special import ndtri

    low, high = np.log(low), np.log(high)
    return (low + high) / 2, (high - low) / (2 * ndtri((1 + level) / 2))


def _scored_lines(lines, crops):
    """Return one row for each crop that is one block of the log."""
    single = {crop.blocks[0]: crop.tonnes for crop in crops if len(crop.blocks) == 1}
    lines = lines[lines["block"].isin(single) & (lines["tonnes_p10"] > 0)]
    picked = lines["block"].map(single).to_numpy(float)
    low, middle, high = (lines[f"tonnes_{end}"].to_numpy(float) for end in ranges.ENDINGS)
    centre, spread = log_normal_of(low, high, ranges.level())
    sharp = spread < 1e-9
    score = scores.log_normal_crps(centre, np.where(sharp, 1.0, spread), picked)
    score = np.where(sharp, np.abs(middle - picked), score)
    return _scored(lines["block"].to_numpy(), (low, middle, high), picked, score)


def _review_logged(records, season, crops):
    """Score the forecasts of a season in the log.

    Parameters
    ----------
    records : Records
        Their folder holds the log.
    season : int
        Year of harvest.
    crops : sequence of Picked
        What the scale said.

    Returns
    -------
    summary, blocks : DataFrame
        One row a logged forecast, and one row of each and each block; empty when none was logged.
    notes : list of str
        Lines of the log that were skipped, crops that cannot be scored, and forecasts logged with
        hindsight.

    Notes
    -----
    A log holds ends and middle of each block's range, no draws: the score is that of the
    log-normal with the same range. Blocks weighed together are left out, because the range of
    their sum was not logged.
    A forecast that was kept after its day has seen no more than it says, yet somebody chose to
    keep it then: one kept after the first load is marked.
    """
    nothing = pd.DataFrame(), pd.DataFrame(), []
    # Records made in memory have no folder, and another one's log is none of theirs.
    if not Path(records.path).exists():
        return nothing
    log, faults = read_log(records.path)
    notes = [str(fault) for fault in faults]
    log = log[log["season"] == season] if len(log) else log
    if log.empty:
        return (*nothing[:2], notes)
    older = models(log) < MODEL
    if older.any():
        notes.append(
            f"{int(older.sum())} lines of the log are of an older way of forecasting; they are "
            "scored as they were logged."
        )
    joint = [crop.name for crop in crops if len(crop.blocks) > 1]
    if joint:
        notes.append(
            f"The log does not score {', '.join(joint)}: they were weighed together, and the range "
            "of their sum was not logged."
        )
    single = {crop.blocks[0] for crop in crops if len(crop.blocks) == 1}
    nothing = log[log["block"].isin(single) & ~(log["tonnes_p10"] > 0)]["block"].unique()
    if len(nothing):
        notes.append(
            f"The log does not score forecasts of {', '.join(nothing)} whose range starts at "
            "nothing: such a range has no shape to score."
        )
    first_load = records.harvest.loc[records.harvest["season"] == season, "date"].min()
    rows, parts = [], []
    for (at, as_of, stage), lines in log.groupby(["logged_at", "as_of", "stage"], sort=False):
        # Kept twice within a second: the later line stands.
        crop = _scored_lines(lines.drop_duplicates("block", keep="last"), crops)
        if crop.empty:
            continue
        kept = pd.to_datetime(at, errors="coerce", utc=True)
        seen = pd.to_datetime(as_of, errors="coerce") if as_of else kept.tz_localize(None)
        late = bool(pd.notna(first_load) and not seen < first_load)
        after = bool(pd.notna(first_load) and not kept.tz_localize(None) < first_load)
        head = {
            "logged_at": at,
            "as_of": as_of,
            "words": stage,
            "while_picking": late,
            "kept_after_first_load": after,
        }
        rows.append(head | scores.summary_row(crop))
        parts.append(crop.assign(logged_at=at, as_of=as_of))
    if not rows:
        return (*nothing[:2], notes)
    summary = pd.DataFrame(rows)
    if summary["kept_after_first_load"].any():
        notes.append(
            f"{int(summary['kept_after_first_load'].sum())} forecasts of the log were kept after "
            "the first load: they are marked, for somebody chose to keep them then."
        )
    return summary, pd.concat(parts, ignore_index=True), notes
