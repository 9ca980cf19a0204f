"""After a frost: dead shoots counted on sampled vines, and the season's forecast with them."""

import re
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from cropload import arguments, handbook
from cropload.answer import Answer
from cropload.beliefs import ranges
from cropload.beliefs.events import Taken, vines_alike, with_left
from cropload.beliefs.meant import check_block
from cropload.beliefs.result import Forecast
from cropload.clock import day
from cropload.errors import CroploadError
from cropload.records.events import Event
from cropload.units import METRIC
from cropload.vine.bud_damage import wilson_interval
from cropload.vine.weather.kill import crop_index_after_kill
from cropload.vine.weather.settings import Spread, secondary_share

#: Stages of this season that hold the frost already when they were counted after it.
_CROP_STAGES = ("clusters", "weight_lag", "weight_veraison", "weight_harvest")


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class AfterFrost(Answer):
    """What a count of dead shoots says of a block's crop.

    Attributes
    ----------
    frame : DataFrame
        One row a part of the crop: part, ``tonnes_p10 _p50 _p90`` [t].
    forecast, earlier : Forecast
        The season's forecast with the frost in it, and without.
    block : str
        The block.
    shoots_killed, shoots_seen : int
        Counted shoots [1].
    killed : tuple of float
        Low end, middle and high end of the share of shoots killed [1], Wilson range.
    shoots_alike : float
        How much the share's variance is widened because shoots of a vine freeze alike [1].
    before, primary, secondary, total : tuple of float
        Low end, middle and high end of the crop [t]: without frost, of the primary shoots that
        live, of the secondary shoots that take the dead ones' place, and of both.
    late_days : tuple of float
        Days by which the second crop ripens later, low and high [d].
    judge_from : Timestamp or None
        The day from which shoots can be judged; None when the day of the frost was not given.
    """

    frame: Any = field(init=False)

    forecast: Forecast
    earlier: Forecast
    block: str
    shoots_killed: int
    shoots_seen: int
    killed: tuple
    shoots_alike: float
    before: tuple
    primary: tuple
    secondary: tuple
    total: tuple
    late_days: tuple
    judge_from: pd.Timestamp | None

    def __post_init__(self):
        rows = (
            ("without frost", self.before),
            ("primary shoots", self.primary),
            ("secondary shoots", self.secondary),
            ("together", self.total),
        )
        ends = [f"tonnes_{end}" for end in ranges.ENDINGS]
        frame = pd.DataFrame(
            [{"part": name, **dict(zip(ends, held, strict=True))} for name, held in rows]
        )
        object.__setattr__(self, "frame", frame)

    def save(self, records, frost_date):
        """Write the frost down in the user's own table ``events``, and return the file.

        Raises
        ------
        CroploadError
            Without a day of the frost, and as ``record_event``.

        Notes
        -----
        Totals of dead and living shoots are kept; counts a vine belong into table ``counts``.
        """
        from cropload.records.writing.event_row import record_event

        if frost_date is None:
            raise CroploadError("Give the day of the frost, so that it can be written down.")
        alive = self.shoots_seen - self.shoots_killed
        return record_event(
            records, self.block, frost_date, "frost", dead=self.shoots_killed, alive=alive
        )

    def heading(self, units=METRIC):
        """Return what the count says of the block's crop, in sentences."""
        from cropload.frost import words

        return " ".join(words.after_sentences(self, units))

    def tables(self, units=METRIC):
        """Return one table, a row a part of the crop."""
        from cropload.frost import tables

        return [tables.after_table(self)]

    def plot(self, ax=None, units=METRIC):
        """Draw the parts of the crop on axes, new ones when none are given, and return them."""
        from cropload.frost.charts import after_rows

        return after_rows(self, units).plot(ax)


def read_vine_counts(text):
    """Return dead and seen shoots a vine from text like ``3/14, 5/12``.

    Parameters
    ----------
    text : str
        Dead and all shoots of each vine with a stroke between, vines with commas or spaces.

    Returns
    -------
    (list of int, list of int)
        Dead shoots and all shoots seen, one a vine [1].

    Raises
    ------
    CroploadError
        For a piece that is not two whole numbers with a stroke between.

    Examples
    --------
    >>> read_vine_counts("3/14, 5/12")
    ([3, 5], [14, 12])
    """
    pieces = [piece for piece in re.split(r"[\s,;]+", text.strip()) if piece]
    found = [re.fullmatch(r"(\d{1,6})/(\d{1,6})", piece) for piece in pieces]
    for piece, match in zip(pieces, found, strict=True):
        if match is None:
            raise CroploadError(
                f"'{piece}' is no count of a vine: write dead/all shoots, like 3/14, with a comma "
                "or space between vines."
            )
    return [int(match[1]) for match in found], [int(match[2]) for match in found]


def _whole(name, given):
    """Return counts as whole numbers, 0 or more, one or one a vine."""
    try:
        members = [given] if np.ndim(given) == 0 else list(given)
        found = np.array([arguments.plain_number(member) for member in members])
    except (TypeError, ValueError):
        found = np.array([np.nan])
    if found.ndim != 1 or not np.isfinite(found).all() or (found < 0).any() or (found % 1).any():
        raise CroploadError(
            f"{name} is a count of shoots, a whole number of 0 or more, or one for each vine; "
            f"got {arguments.shown(given)}."
        )
    return found


def dead_of_seen(shoots_killed, shoots_seen):
    """Return dead and seen shoots as they were counted, in all or a vine.

    Parameters
    ----------
    shoots_killed, shoots_seen : int or sequence of int
        As in ``after_frost`` [1].

    Returns
    -------
    (ndarray, ndarray)
        Dead shoots, and all shoots seen [1].

    Raises
    ------
    CroploadError
        For counts that cannot be.
    """
    dead, seen = _whole("shoots_killed", shoots_killed), _whole("shoots_seen", shoots_seen)
    if dead.size != seen.size:
        raise CroploadError(
            f"There are {dead.size} counts of dead shoots and {seen.size} of all shoots seen: give "
            "both for each vine."
        )
    if (dead > seen).any():
        at = int(np.flatnonzero(dead > seen)[0])
        vine = f" on vine {at + 1}" if dead.size > 1 else ""
        raise CroploadError(
            f"{dead[at]:.0f} dead shoots of {seen[at]:.0f} seen{vine}: all seen are dead and "
            "living ones together, so there cannot be more dead ones."
        )
    if seen.sum() == 0:
        raise CroploadError("No shoot was seen: count dead and living shoots on some vines.")
    return dead, seen


def _check_times(forecast, at, frost_date, counted_on, notes):
    """Check the day of the frost against what was counted; return when shoots can be judged."""
    frost, counted = day(frost_date), day(counted_on)
    wait = int(handbook.value("frost.wait_days"))
    judge = None if frost is None else frost + pd.Timedelta(days=wait)
    if frost is not None and counted is not None and counted < frost:
        raise CroploadError(
            f"The shoots were counted on {counted:%Y-%m-%d}, before the frost of "
            f"{frost:%Y-%m-%d}: mend one of the days."
        )
    if judge is not None and counted is not None and counted < judge:
        notes.append(
            f"Counted {(counted - frost).days} days after the frost: wait {wait} days or more, to "
            f"{judge:%Y-%m-%d}, and count again, because dead shoots may still look alive and "
            "living ones dead."
        )
    measured = forecast.estate.measured
    here = measured[
        (measured["block"] == forecast.blocks[at])
        & (measured["season"] == forecast.season)
        & measured["stage"].isin(_CROP_STAGES)
    ]
    later = here if frost is None else here[here["date"] >= frost]
    if len(later) and frost is not None:
        raise CroploadError(
            f"{forecast.blocks[at]} was counted or weighed on {later['date'].max():%Y-%m-%d}, "
            f"after the frost of {frost:%Y-%m-%d}, so this forecast holds the frost already. "
            "Make the forecast as of a day before the frost, or leave the frost to the counts."
        )
    if len(later):
        notes.append(
            "Clusters or weights of this block were taken this season: if that was after the "
            "frost, they hold the frost already, and it must not be taken off again."
        )
    return judge


@arguments.check_arguments(
    forecast=arguments.forecast,
    share_of_primary=arguments.optional(
        arguments.any_of(arguments.number(), arguments.pair(arguments.number()))
    ),
)
def after_frost(
    forecast,
    block,
    shoots_killed,
    shoots_seen,
    *,
    frost_date=None,
    counted_on=None,
    share_of_primary=None,
):
    """Update a season's forecast from a count of shoots that a frost killed.

    Parameters
    ----------
    forecast : Forecast
        As from ``forecast``, without the frost in it.
    block : str
        The block that froze.
    shoots_killed, shoots_seen : int or sequence of int
        Dead shoots, and dead and living ones together, on sampled vines [1]: totals, or one
        number a vine, from which the spread between vines is then read.
    frost_date, counted_on : str or date, optional
        Day of the frost and of the count, such as ``"2026-05-09"``.
    share_of_primary : float or (low, high), optional
        Crop of a secondary shoot relative to a primary's [1]; the variety's published share, or
        the handbook's wide one, when left out.

    Returns
    -------
    AfterFrost
        Primary and secondary crop apart, and ``.forecast`` with the frost in it.

    Raises
    ------
    CroploadError
        For counts, days, a block or a share that cannot be, or a block that was counted after
        the frost or is picked already.

    Notes
    -----
    The crop left is ``1 - killed x (1 - share)`` of the crop without frost (Friend et al. 2011).
    Valid when the vines were picked at random over the block, when killed shoots are replaced by
    their secondary ones as in the published share, and before anything of the block is picked.
    Few shoots make a wide share; shoots of one vine freeze alike, so vines count more than shoots.

    Examples
    --------
    >>> from cropload import example_records, forecast
    >>> early = forecast(example_records(), 2027, draws=400)
    >>> found = after_frost(early, "Mill Meadow", 90, 180, frost_date="2027-05-09")
    >>> found.total[1] < found.before[1]
    True
    """
    block = check_block(forecast, block)
    at = forecast.blocks.index(block)
    by_vine = dead_of_seen(shoots_killed, shoots_seen)
    alike, (dead, seen) = vines_alike(*by_vine), (counts.sum() for counts in by_vine)
    notes = []
    judge = _check_times(forecast, at, frost_date, counted_on, notes)
    if forecast.estate.young.barren[at]:
        raise CroploadError(
            f"{block} {forecast.estate.young.standing(at)}: no crop is expected of it, so a "
            "frost takes none."
        )
    picked = float(forecast.picked["share"].iloc[at])
    if picked >= 1:
        raise CroploadError(f"{block} is picked: a frost takes nothing from it any more.")
    if any(each.event.kind == "frost" for each in forecast.events.of_block(block)):
        raise CroploadError(
            f"This forecast holds a frost in {block} already. Count the dead shoots of both frosts "
            "together, and start from the forecast of a day before them."
        )
    share = (
        secondary_share(forecast.varieties[at])
        if share_of_primary is None
        else Spread.of(share_of_primary)
    )
    if share.low < 0 or share.high > 1:
        raise CroploadError(
            f"The share of a secondary shoot lies between 0 and 1; got {share.low:g} to "
            f"{share.high:g}."
        )
    frost = Event(
        block, forecast.season, day(frost_date) or pd.NaT, "frost", "clusters", np.nan, "shoots",
        tuple(by_vine[0]), tuple(by_vine[1]),
    )  # fmt: skip
    taken = Taken(frost, share, alike)
    killed, worth = taken.drawn(forecast.draws.shape[1], forecast.seed)
    before = forecast.draws[at]
    hanging = before - float(forecast.picked["tonnes"].iloc[at])
    primary, secondary = hanging * (1 - killed), hanging * killed * worth
    total = before - hanging + primary + secondary
    frosted = _frosted(forecast, at, crop_index_after_kill(killed, worth), total, taken)
    low, high = wilson_interval(dead / alike, seen / alike, ranges.level())
    late = handbook.entry("frost.second_crop_late_days")
    notes += _advice(forecast, at, alike, seen, late)
    notes += forecast.estate.accepted_notes
    before, primary, secondary, total = (
        tuple(ranges.quantiles(part).tolist()) for part in (before, primary, secondary, total)
    )
    return AfterFrost(
        notes=tuple(notes),
        forecast=frosted,
        earlier=forecast,
        block=block,
        shoots_killed=int(dead),
        shoots_seen=int(seen),
        killed=(float(low), float(dead / seen), float(high)),
        shoots_alike=float(alike),
        before=before,
        primary=primary,
        secondary=secondary,
        total=total,
        late_days=(late.low, late.high),
        judge_from=judge,
    )


def _advice(forecast, at, alike, seen, late):
    stage = handbook.value("frost.leave_until_stage")
    wait = handbook.value("frost.wait_days")
    yield f"Wait {wait:g} days or more after the frost before judging which shoots are dead."
    yield (
        f"After a frost up to modified E-L stage {stage:g} (four leaves) nothing needs doing; "
        "breaking out frosted shoots gained nothing where it was tried (Kasimatis and Kissler "
        "1974)."
    )
    yield (
        f"The second crop ripens {late.low / 7:g} to {late.high / 7:g} weeks after the first: "
        "think of picking twice, and of sorting."
    )
    if alike > 1 and seen > 0:
        yield (
            f"Shoots of one vine freeze alike: {seen:.0f} shoots count as {seen / alike:.0f} taken "
            "one by one. More vines narrow the range, not more shoots a vine."
        )
    if forecast.picked["share"].iloc[at] > 0:
        yield "Part of this block is picked; the frost is taken off what still hangs."


def _frosted(forecast, at, index, total, taken):
    """Return a copy of the forecast in which one block bears the crop index of a frost."""
    draws, log_left = forecast.draws.copy(), forecast.log_left.copy()
    draws[at] = total
    log_index = np.log(np.maximum(index, 1e-12))
    # Centres follow, so that tables and explanations of the centre hold the frost as well.
    log_left[at] += np.median(log_index)
    note = (
        f"{forecast.blocks[at]}: {sum(taken.event.dead):.0f} of {sum(taken.event.seen):.0f} shoots "
        "counted dead after a frost; the "
        "crop is that of the living primary shoots and of secondary shoots, which ripen later."
    )
    return replace(
        forecast,
        draws=draws,
        growth=with_left(forecast.growth, {at: {"clusters": log_index}}),
        log_left=log_left,
        events=replace(forecast.events, taken=(*forecast.events.taken, taken)),
        notes=(*forecast.notes, note),
    )
