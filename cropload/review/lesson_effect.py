"""What lessons would change in the next forecast, seen before they are accepted."""

import pandas as pd

from cropload.beliefs import ranges
from cropload.beliefs.accepted import Accepted, accepted_before
from cropload.beliefs.forecast import draw_forecast, forecast, prepare
from cropload.beliefs.groundwork import lay_ground
from cropload.beliefs.history import estate_of
from cropload.beliefs.meant import check_draws, next_season
from cropload.beliefs.ranges import DEFAULT_DRAWS
from cropload.records.as_of import records_until
from cropload.review.accepting import chosen, weighed


def forecast_with(records, season, accepted, *, draws=DEFAULT_DRAWS, seed=0):
    """Return the forecast of a season as it were with some lessons in force.

    Parameters
    ----------
    records : Records
        As read by ``read_records``; what their folder holds of lessons is not used.
    season : int
        Year of harvest.
    accepted : Accepted
        Lessons in force.
    draws, seed : int
        As in ``forecast`` [1].

    Notes
    -----
    The spreads are learnt again with the lessons in force, as ``forecast`` does it once they are
    accepted, so that the preview is the forecast that follows.
    Valid as ``forecast``.
    """
    check_draws(draws, seed)
    before = records_until(records, f"{int(season)}-01-01")
    learned = lay_ground(before, int(season), accepted=accepted).learn()
    ground, learned, so_far = prepare(records, season, None, learned=learned, accepted=accepted)
    return draw_forecast(estate_of(ground, learned), so_far, draws, seed)


def lesson_effect(
    records, lessons, only=None, season=None, *, draws=DEFAULT_DRAWS, seed=0, older=False
):
    """Return each block's next forecast as it stands, and with lessons accepted.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    lessons : Lessons
        As from ``learn``.
    only : sequence of str, optional
        Lessons to accept, as in ``chosen``; everything when left out, nothing for an empty one.
    season : int, optional
        Year of harvest; the next one that these lessons hold for when left out.
    draws, seed : int
        As in ``forecast`` [1].
    older : bool
        As in ``accept``.

    Returns
    -------
    DataFrame
        One row a block and one for ``"estate"``: name, before_p10, before_p50, before_p90,
        after_p10, after_p50, after_p90 [t] and change, of the middle [1].
        ``.attrs``: season, interval, and lessons, how many would be accepted [1].

    Raises
    ------
    CroploadError
        For a key that is no lesson.

    Notes
    -----
    Nothing is written. Both forecasts take everything on record; what is in force now is in both,
    and lessons of the same key take its place in the second.
    Valid for seasons after the last one that taught the lessons.
    """
    following = next_season(records)
    if season is None:
        season = max(following, lessons.through + 1)
    season = int(season)
    entries = chosen(lessons, only)
    in_force = accepted_before(records, season).entries
    kept = {entry.key: entry for entry in in_force}
    taken = weighed(entries, in_force, older).taken
    kept.update({entry.key: entry for entry in taken if entry.through < season})
    now = forecast(records, season, draws=draws, seed=seed)
    then = forecast_with(records, season, Accepted(tuple(kept.values())), draws=draws, seed=seed)
    rows = {"name": [*now.blocks, "estate"]}
    for word, found in (("before", now), ("after", then)):
        block, estate = found.frame_by("block"), found.frame_by("estate")
        for end in ranges.ENDINGS:
            column = f"tonnes_{end}"
            rows[f"{word}_{end}"] = [*block[column], float(estate[column].iloc[0])]
    table = pd.DataFrame(rows)
    table["change"] = table["after_p50"] / table["before_p50"] - 1
    table.attrs = {"season": season, "interval": ranges.label(), "lessons": len(entries)}
    return table
