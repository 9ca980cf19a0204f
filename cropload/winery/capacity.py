"""What a winery can take in: limits by period with the chance of more, and room in the tanks."""

from dataclasses import dataclass

import numpy as np

from cropload import arguments, handbook
from cropload.answer import Answer
from cropload.beliefs import ranges
from cropload.errors import CroploadError
from cropload.units import METRIC, SHORT_TON_T, unit_system
from cropload.vine.checking import numbers
from cropload.winery import periods as intake_periods
from cropload.winery.limits import limited_sums, limits_of
from cropload.winery.schedule import IntakeSchedule

#: Seasons that a capacity called enough is to do for [1].
ENOUGH = 0.8
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
        One row a limit: period, period_start, period_end, variety (blank for all fruit), intake
        (limit, closed or no limit), limit_t [t] (NaN for no limit), tonnes_mean, tonnes_p10,
        tonnes_p50, tonnes_p90 [t], chance_over [1], over_mean_t, the mean of what is over when it
        is [t], over_p90_t, exceeded in one case of ten [t], enough_t, what would do in 8 cases of
        10 [t].
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


def _gap_notes(schedule, limits):
    """Say where periods overlap or leave days out, and what is expected on those days."""
    notes = []
    until = dict(schedule.until("variety"))
    for variety in dict.fromkeys(limits.varieties):
        rows = np.array([name == variety for name in limits.varieties])
        whose = f" of {variety}" if variety else ""
        starts, ends = limits.starts[rows], limits.ends[rows]
        _, holes = intake_periods.overlaps_and_holes(starts, ends)
        # A closed day inside a week is meant to lie there.
        apart = rows & (limits.limit > 0) & np.isfinite(limits.limit)
        overlaps, _ = intake_periods.overlaps_and_holes(limits.starts[apart], limits.ends[apart])
        if overlaps:
            notes.append(
                f"Limits{whose} overlap on {intake_periods.stretch_words(overlaps)}: fruit of "
                "those days counts against each of them."
            )
        found = until[variety] if variety else sum(until.values())

        def expected(stretches, found=found):
            low, high = np.array(stretches).T
            return float(schedule.between(found, low, high).sum(0).mean())

        if variety and "" in limits.varieties:
            continue
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
    named = ["period", "period_start", "period_end", "variety", "intake", "limit_t"]
    frame = limits.table[named].copy()
    frame["tonnes_mean"] = sums.mean(1)
    ends = ranges.quantiles(sums) if len(sums) else np.zeros((3, 0))
    for end, values in zip(ranges.ENDINGS, ends, strict=True):
        frame[f"tonnes_{end}"] = values
    frame["chance_over"] = count / max(sums.shape[1], 1)
    frame["over_mean_t"] = over.sum(1) / np.maximum(count, 1)
    frame["over_p90_t"] = ranges.quantiles(over)[2] if len(over) else np.zeros(0)
    frame["enough_t"] = np.quantile(sums, ENOUGH, axis=1) if len(sums) else np.zeros(0)
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
