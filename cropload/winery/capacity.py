"""What a winery can take in: limits by period with the chance of more, and room in the tanks."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from cropload import arguments, handbook
from cropload.answer import Answer
from cropload.beliefs import ranges
from cropload.errors import CroploadError, near
from cropload.units import METRIC, SHORT_TON_T, unit_system
from cropload.vine.checking import numbers
from cropload.winery import periods as intake_periods
from cropload.winery.intake import IntakeSchedule

#: Tonnes that still count as nothing [t].
_NOTHING = 1e-9
#: The US gallon is 231 cubic inches of 2.54 cm each [l].
GALLON_L = 231 * 0.254**3


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class Capacity(Answer):
    """A schedule of intake held against limits, one by one.

    Attributes
    ----------
    frame : DataFrame
        One row a limit: period, period_start, period_end, variety (blank for all fruit), limit_t
        [t], tonnes_p10, tonnes_p50, tonnes_p90 [t], chance_over [1], over_mean_t, the mean of
        what is over when it is [t], over_p90_t, exceeded in one case of ten [t].
    notes : tuple of str
        Those of the schedule, and overlaps, holes and fruit outside all periods.
    schedule : IntakeSchedule
        What is held against the limits.
    """

    schedule: IntakeSchedule

    def heading(self, units=METRIC):
        """Return the intake in sentences, with the limit that is likeliest exceeded."""
        from cropload.winery.words import intake_sentence

        return intake_sentence(self.schedule, self, unit_system(units))

    def tables(self, units=METRIC):
        """Return the limits one by one, and all fruit by period beside them."""
        from cropload.winery import tables

        units = unit_system(units)
        return [tables.limit_table(self), tables.intake_table(self.schedule, "estate", self, units)]

    def plot(self, ax=None, units=METRIC):
        """Draw the intake by period with its limits, and return the axes."""
        from cropload.winery.charts import intake_rows

        return intake_rows(self.schedule, self, unit_system(units)).plot(ax)


@arguments.check_arguments(capacity=arguments.frame)
def check_capacity(capacity):
    """Check limits of intake, also when they were not read from a file.

    Parameters
    ----------
    capacity : DataFrame
        As table capacity: period_start, period_end, limit_t [t], variety (blank for all fruit).

    Returns
    -------
    DataFrame
        In order of time, with a column period (its name) in front.

    Raises
    ------
    CroploadError
        For a period without its days or that ends before it starts, or a limit that is missing
        or below zero.
    """
    frame = pd.DataFrame(capacity).copy().reset_index(drop=True)
    missing = [n for n in ("period_start", "period_end", "limit_t") if n not in frame]
    if missing:
        raise CroploadError(f"The capacity has no column {' and '.join(missing)}.")
    frame["variety"] = frame["variety"].fillna("").astype(str) if "variety" in frame else ""
    try:
        for name in ("period_start", "period_end"):
            frame[name] = pd.to_datetime(frame[name]).astype("datetime64[ns]")
        frame["limit_t"] = frame["limit_t"].astype(float)
    except (TypeError, ValueError) as fault:
        raise CroploadError(f"The capacity cannot be read: {fault}.") from None
    intake_periods.check(frame)
    words = [
        intake_periods.span_words(start, end)
        for start, end in zip(frame["period_start"], frame["period_end"], strict=True)
    ]
    for word, limit in zip(words, frame["limit_t"], strict=True):
        if not limit >= 0 or np.isinf(limit):
            shown = "missing" if np.isnan(limit) else f"{limit:g} t"
            raise CroploadError(
                f"The limit for {word} is {shown}; a limit is 0 t or more. Where there is none, "
                "leave the row out."
            )
    frame.insert(0, "period", pd.Series(words, dtype=object))
    order = ["period_start", "period_end", "variety"]
    return frame.sort_values(order, kind="stable", ignore_index=True)


@dataclass(frozen=True, eq=False)
class Limits:
    """Limits of intake laid out for arrays.

    starts, ends : first and last days [d since 1970-01-01]; limit [t]; member : (limits, blocks),
    whether a limit counts a block's fruit; varieties : its variety, blank for all fruit.
    """

    table: pd.DataFrame
    starts: np.ndarray
    ends: np.ndarray
    limit: np.ndarray
    member: np.ndarray
    varieties: tuple


def limits_of(schedule, capacity):
    """Return the limits that concern a schedule, and notes on those that do not.

    Parameters
    ----------
    schedule, capacity : IntakeSchedule, DataFrame
        As from ``intake_schedule``, and as table capacity.

    Returns
    -------
    limits : Limits
    notes : list of str
    """
    frame = check_capacity(capacity)
    notes, known = [], set(schedule.varieties)
    for variety in dict.fromkeys(frame["variety"]):
        if variety and variety not in known:
            hint = near(variety, known)
            notes.append(
                f"No block of variety '{variety}' is in this forecast, so its limits are not "
                f"used. {hint}".strip()
            )
    frame = frame[frame["variety"].isin(["", *known])]
    # A table may hold the limits of several seasons; picking may run into the January after.
    first, last = pd.Timestamp(schedule.season, 1, 1), pd.Timestamp(schedule.season + 1, 1, 31)
    here = (frame["period_end"] >= first) & (frame["period_start"] <= last)
    if len(frame) and not here.any():
        notes.append(f"None of the limits of intake lies in season {schedule.season}.")
    frame = frame[here].reset_index(drop=True)
    starts, ends = intake_periods.days(frame)
    member = np.array(
        [[word in ("", v) for v in schedule.varieties] for word in frame["variety"]], bool
    ).reshape(len(frame), len(schedule.blocks))
    varieties = tuple(frame["variety"])
    return Limits(frame, starts, ends, frame["limit_t"].to_numpy(float), member, varieties), notes


def limited_sums(schedule, limits):
    """Return the tonnes that each limit counts, (limits, draws) [t]."""
    until = dict(schedule.until("variety"))
    every = sum(until.values())
    out = np.empty((len(limits.limit), schedule.undated.shape[1]))
    for variety in dict.fromkeys(limits.varieties):
        rows = np.array([name == variety for name in limits.varieties])
        found = every if not variety else until[variety]
        out[rows] = schedule.between(found, limits.starts[rows], limits.ends[rows])
    return out


def _gap_notes(schedule, limits):
    """Say where periods overlap or leave days out, and what is expected on those days."""
    notes = []
    until = dict(schedule.until("variety"))
    for variety in dict.fromkeys(limits.varieties):
        rows = np.array([name == variety for name in limits.varieties])
        whose = f" of {variety}" if variety else ""
        starts, ends = limits.starts[rows], limits.ends[rows]
        overlaps, holes = intake_periods.overlaps_and_holes(starts, ends)
        if overlaps:
            notes.append(
                f"Limits{whose} overlap on {intake_periods.stretch_words(overlaps)}: fruit of "
                "those days counts against each of them."
            )
        found = until[variety] if variety else sum(until.values())

        def expected(stretches, found=found):
            low, high = np.array(stretches).T
            return float(schedule.between(found, low, high).sum(0).mean())

        if holes:
            notes.append(
                f"No limit{whose} is given for {intake_periods.stretch_words(holes)}, when about "
                f"{expected(holes):.1f} t are expected."
            )
        first, last = schedule.span
        around = [(first, int(starts.min()) - 1), (int(ends.max()) + 1, last)]
        around = [(low, high) for low, high in around if high >= low]
        if around and expected(around) > 0.05:
            notes.append(
                f"About {expected(around):.1f} t{whose} are expected before or after all the "
                "periods with a limit."
            )
    return notes


@arguments.check_arguments(schedule=arguments.kind("IntakeSchedule"))
def capacity_table(schedule, capacity):
    """Hold a schedule against limits of intake.

    Parameters
    ----------
    schedule : IntakeSchedule
        As from ``intake_schedule``; the limits bring their own periods.
    capacity : DataFrame
        As table capacity.

    Returns
    -------
    Capacity
        ``.frame`` has one row a limit: the crop of its period [t], the chance of more than the
        limit [1] and by how much [t]; ``.notes`` tells of overlaps, holes and fruit outside all
        periods.

    Raises
    ------
    CroploadError
        For limits that cannot be.

    Notes
    -----
    A limit of exactly the tonnes that arrive is not exceeded.
    What has no picking date counts against no limit and is named in the notes.
    Valid as the schedule.
    """
    limits, notes = limits_of(schedule, capacity)
    sums = limited_sums(schedule, limits)
    over = np.maximum(sums - limits.limit[:, None], 0.0)
    is_over = over > _NOTHING
    count = is_over.sum(1)
    frame = limits.table[["period", "period_start", "period_end", "variety", "limit_t"]].copy()
    ends = ranges.quantiles(sums) if len(sums) else np.zeros((3, 0))
    for end, values in zip(ranges.ENDINGS, ends, strict=True):
        frame[f"tonnes_{end}"] = values
    frame["chance_over"] = count / max(sums.shape[1], 1)
    frame["over_mean_t"] = over.sum(1) / np.maximum(count, 1)
    frame["over_p90_t"] = ranges.quantiles(over)[2] if len(over) else np.zeros(0)
    if len(frame):
        notes += _gap_notes(schedule, limits)
    apart = schedule.undated.sum(0)
    if apart.any():
        notes.append(f"About {apart.mean():.1f} t have no picking date and count against no limit.")
    return Capacity(frame=frame, notes=(*schedule.notes, *notes), schedule=schedule)


def tank_volume(tonnes, kg_per_hl=None):
    """Return the least and the most volume that grapes fill [hl].

    Parameters
    ----------
    tonnes : float or ndarray
        Grapes [t].
    kg_per_hl : (float, float), optional
        Least and most grapes for a hectolitre [kg/hl]; the published range when left out.

    Returns
    -------
    low, high : float or ndarray
        Volume when most and when least grapes are needed [hl].

    Raises
    ------
    CroploadError
        When the range is not two numbers above 0, the lower one first.

    Notes
    -----
    Published as 115 to 140 kg/hl; the same source says 150 (120 to 180) US gallons a short ton,
    which is 133 to 200 kg/hl (160 at 150): the two ranges overlap only in part, and the source
    does not say why. Measure your own and give it here.
    Leave room above for fermentation; the volume is that of the juice or wine alone.
    Valid for still wine.

    Examples
    --------
    >>> [round(volume, 1) for volume in tank_volume(10.0)]
    [71.4, 87.0]
    """
    low, high = (
        handbook.band("intake.kg_per_hl")
        if kg_per_hl is None
        else (arguments.pair(lambda _, end: arguments.plain_number(end))("kg_per_hl", kg_per_hl))
    )
    if not (np.isfinite(low) and np.isfinite(high) and 0 < low <= high):
        raise CroploadError(
            f"Grapes for a hectolitre must be two numbers above 0, the lower first, not "
            f"{low:g} and {high:g} kg/hl."
        )
    kg = numbers("tonnes", tonnes, "t") * 1000
    volumes = kg / high, kg / low
    return tuple(float(v) if v.ndim == 0 else v for v in volumes)


@arguments.check_arguments(gallons_per_short_ton=arguments.number(0, above=True))
def kg_per_hl(gallons_per_short_ton):
    """Return the grapes for a hectolitre [kg/hl] from US gallons a short ton.

    Parameters
    ----------
    gallons_per_short_ton : float
        Wine from 2,000 lb of grapes [US gal].

    Examples
    --------
    >>> round(kg_per_hl(150), 1)
    159.8
    """
    return SHORT_TON_T * 1000 / (gallons_per_short_ton * GALLON_L / 100)
