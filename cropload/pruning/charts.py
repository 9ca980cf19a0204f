"""Figures of a comparison of plans: crop with its range, shoot density and balance with bands."""

from cropload.show import wording
from cropload.show.charts import Rows, amounts, axis_room, rows_room
from cropload.show.drawing import LOOKS, WIDTH, axes_at, blank, name_room
from cropload.units import METRIC

#: Looks and names of the crop of the first season and the settled crop.
FIRST, SETTLED = LOOKS[:2]
FIRST_LABEL, SETTLED_LABEL = "first season", "settled (third season on)"


def crop_rows(comparison, units=METRIC):
    """Return the crop per area of each plan, first season and settled, to draw or to tell.

    Parameters
    ----------
    comparison : DataFrame
        Rows of ``compare_plans``, one a level [t/ha].
    units : UnitSystem
        Units to show [t/ha or ton/ac].
    """
    axis = f"crop at the scale [{units.label('t_ha')}]"
    columns = ["t_ha", "t_ha_settled"]
    return _levels(comparison, "Crop of each level", axis, columns, "t_ha", units)


def density_rows(comparison, band, units=METRIC):
    """Return shoots per length of canopy of each plan against a band, to draw or to tell.

    Parameters
    ----------
    comparison : DataFrame
        Rows of ``compare_plans``, one a level [1/m].
    band : Band
        Band of shoots per metre [1/m].
    units : UnitSystem
        Units to show.
    """
    axis = f"shoots {units.label('per_m')} of canopy"
    columns = ["shoots_per_m"]
    return _levels(comparison, "Shoots of each level", axis, columns, "per_m", units, band)


def balance_rows(comparison, band):
    """Return yield to pruning weight of each plan against a band, to draw or to tell.

    Parameters
    ----------
    comparison : DataFrame
        Rows of ``compare_plans``, one a level [kg/kg].
    band : Band
        Band of yield to pruning weight [kg/kg].
    """
    columns = ["ravaz", "ravaz_settled"]
    axis = "yield / pruning weight [kg/kg]"
    return _levels(comparison, "Yield to pruning weight of each level", axis, columns, band=band)


def _levels(comparison, title, axis, columns, quantity=None, units=METRIC, band=None):
    """Return rows of levels: columns of ranges, each on a line of its own, against a band."""
    names = tuple(f"{place}: {plan}" for place, plan in enumerate(comparison["plan"], start=1))
    rows = {"names": names, "axis": axis, "apart": True, "side": "level: plan"}
    made = []
    pairs = zip(columns, (FIRST_LABEL, SETTLED_LABEL), (FIRST, SETTLED), strict=False)
    for column, label, look in pairs:
        written = "middle" if band else "range"
        series = amounts(label, comparison, column, quantity, units, look=look, written=written)
        if band:
            middles = comparison[f"{column}_p50"]
            series = series.saying(wording.against_band(band.word(middle)) for middle in middles)
        made.append(series)
    if band and not band.known:
        title, rows["heading"] = f"{title}, {band.name}", band.name
    elif band:
        words = wording.band_text(band, units, quantity)
        title, rows["heading"] = f"{title} against the band {words}", f"band {words}"
        ends = (band.low, band.high)
        rows["bands"] = (tuple(units.convert(quantity, end) if quantity else end for end in ends),)
    return Rows(title, series=tuple(made), **rows)


def plans_figure(comparison, density, balance, units=METRIC):
    """Draw the whole comparison: crop above, shoot density and balance with their bands below.

    Parameters
    ----------
    comparison : DataFrame
        Rows of ``compare_plans``, one a level.
    density, balance : Band
        Bands of shoots per metre [1/m] and of yield to pruning weight [kg/kg].
    units : UnitSystem
        Units to show.

    Returns
    -------
    matplotlib.figure.Figure
        Made without any global state; save it with ``drawing.svg``.
    """
    crop, shoots, ratio = _three(comparison, density, balance, units)
    # Margins in inches, so that the text keeps its room for one level as for five.
    left, right = name_room(crop.names) + 0.25, 0.12
    wide = WIDTH - left - right
    half = (wide - 0.3) / 2
    tall, top, bottom = (
        rows_room(crop),
        0.32,
        max(axis_room(rows, half) for rows in (shoots, ratio)),
    )
    # Two lines of a band stand above it.
    between = axis_room(crop, wide) + 0.5
    drawn = blank(top + between + bottom + 2 * tall)
    crop.plot(axes_at(drawn, left, bottom + tall + between, wide, tall))
    shoots.plot(axes_at(drawn, left, bottom, half, tall))
    beside = ratio.plot(axes_at(drawn, left + half + 0.3, bottom, half, tall))
    beside.set_yticklabels([])
    beside.set_ylabel("")
    # Its looks are those of the crop above.
    beside.get_legend().remove()
    return drawn


def figure_text(comparison, density, balance, units=METRIC):
    """Return the whole comparison in words, for whoever cannot see it; as `plans_figure`."""
    return " ".join(rows.text() for rows in _three(comparison, density, balance, units))


def _three(comparison, density, balance, units):
    return (
        crop_rows(comparison, units),
        density_rows(comparison, density, units),
        balance_rows(comparison, balance),
    )
