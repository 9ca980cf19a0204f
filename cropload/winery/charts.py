"""The figure of an intake: tonnes by period and variety, with the range, against the limits."""

import numpy as np

from cropload.show import wording
from cropload.show.charts import Rows, Series, amounts
from cropload.show.drawing import FILLS, VERMILLION, WHOLE, Look
from cropload.show.wording import chance
from cropload.units import METRIC
from cropload.winery.words import short_period, shown_periods

#: Most varieties drawn apart; the smaller ones go together.
_MOST = len(FILLS) - 1


def intake_rows(schedule, limits=None, units=METRIC):
    """Return tonnes by period, varieties stacked, the range and the limits, to draw or to tell.

    Parameters
    ----------
    schedule : IntakeSchedule
        As from ``intake_schedule`` [t].
    limits : DataFrame, optional
        Of ``capacity_table``; shown where a limit for all fruit has a period of the schedule.
    units : UnitSystem
        Units to show [t or short tons].

    Returns
    -------
    Rows
        A row a period, so that the days of a long season stay legible.

    Notes
    -----
    Bars are means, because means of varieties add up to the mean of the whole and middles do not;
    the range is that of the whole, seasons shared by the blocks included.
    """
    estate = shown_periods(schedule.frame_by("estate"))
    periods = list(estate["period"])
    series = [amounts("all fruit", estate, "tonnes", "tonnes", units, look=WHOLE)]
    if limits is not None and len(limits):
        known = limits[limits["variety"] == ""].set_index("period").reindex(periods)
        tonnes = known["limit_t"].to_numpy(float)
        if np.isfinite(tonnes).any():
            chances = map(chance, known["chance_over"])
            texts = (
                f"{over} over {wording.amount('tonnes', value, units, unit=False)}"
                for over, value in zip(chances, tonnes, strict=True)
            )
            series.append(
                Series(
                    "limit, with the chance of more", units.convert("tonnes", tonnes),
                    Look(VERMILLION, "|", size=22), written="range", texts=tuple(texts),
                )
            )  # fmt: skip
    title = f"Intake of season {schedule.season} by period, means by variety"
    axis = f"intake [{units.label('tonnes')}]; bars: means by variety"
    names = tuple(short_period(period) for period in periods)
    parts = _parts(schedule.frame_by("variety"), periods, units)
    return Rows(title, names, axis, tuple(series), parts)


def _parts(table, periods, units):
    """Return the mean tonnes of each variety by period, small varieties together at the end."""
    wide = table.pivot(index="variety", columns="period", values="tonnes_mean")
    wide = units.convert("tonnes", wide.reindex(columns=periods).fillna(0.0))
    order = wide.sum(axis=1).sort_values(ascending=False, kind="stable").index
    # In the order of the table, so that a variety keeps its look from one day to the next.
    large = [name for name in dict.fromkeys(table["variety"]) if name in set(order[:_MOST])]
    parts = [(str(name), wide.loc[name]) for name in large]
    if len(order) > _MOST:
        rest = wide.loc[order[_MOST:]].sum(axis=0)
        parts.append((f"{len(order) - _MOST} other varieties", rest))
    unit = units.label("tonnes")
    return tuple(
        Series(name, values.to_numpy(float), unit=unit) for name, values in parts if values.any()
    )


def contract_rows(room, units=METRIC):
    """Return the crop of each contract against the most it takes, to draw or to tell.

    Parameters
    ----------
    room : ContractRoom
        As from ``contract_table`` [t].
    units : UnitSystem
        Units to show [t or short tons].
    """
    crop = amounts("crop", room.frame, "tonnes", "tonnes", units, written="range")
    most = Look(VERMILLION, "|", "", size=16)
    cap = amounts("most it takes", room.frame, "most_t", "tonnes", units, look=most)
    title = f"Crop of season {room.season} against the contracts"
    return Rows(title, tuple(room["contract"]), f"crop [{crop.unit}]", (crop, cap))
