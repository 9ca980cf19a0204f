"""Words of the season views: short names of components, sentences for a forecast and its parts."""

from cropload.show import wording
from cropload.units import METRIC

#: Component -> its short name on figures and in tables.
SHORT = {
    "buds_left": "buds left",
    "shoots_per_bud": "shoots per bud",
    "clusters_per_shoot": "clusters per shoot",
    "cluster_weight_g": "cluster weight",
    "recovery": "share that reaches the scale",
    "noncount_shoots": "non-count shoots",
    "pruning_weight_kg_per_m": "pruning weight",
    "counting_bias": "clusters missed by eye",
    "increase_factor": "growth from lag phase",
    "ripening_factor": "growth from veraison",
    "load_response": "response to the load",
    "plan": "plan",
    "picked": "what the scale said",
}

#: What is asked of a vine or a lot -> words for it, in the order of the season.
MEASURES = {
    "buds": "buds per vine",
    "shoots": "shoots per vine",
    "noncount_shoots": "non-count shoots per vine",
    "clusters": "clusters per vine",
    "weight_lag": "cluster weights at lag phase",
    "weight_veraison": "cluster weights at veraison",
    "weight_harvest": "cluster weights before picking",
}


def short(component):
    """Return a component's short name."""
    return SHORT.get(component, str(component).replace("_", " "))


def total_words(by, name):
    """Return a total in words, such as ``block Long Acre``."""
    return "the estate" if by == "estate" else f"{by} {name}"


def forecast_sentence(forecast, by="estate", name="estate", units=METRIC):
    """Return the forecast of one total in a sentence, its range named.

    Parameters
    ----------
    forecast : Forecast
        As it stands.
    by, name : str
        The total: ``"estate"``, or a variety or a block by name.
    units : UnitSystem
        Units to show.
    """
    table = forecast.table(by)
    row = table[table[by] == name].iloc[0]
    when = "on all records" if forecast.as_of is None else f"as of {forecast.as_of:%Y-%m-%d}"
    words = total_words(by, name)
    return (
        f"{words[0].upper()}{words[1:]}, season {forecast.season}, {when} ({forecast.stage}): "
        f"{wording.amount('tonnes', row['tonnes_p50'], units)}, "
        f"{wording.span('tonnes', row['tonnes_p10'], row['tonnes_p90'], units, unit=True)} "
        f"({table.attrs['interval']})."
    )


def contribution_sentence(contributions, by="estate", name="estate"):
    """Return which components carry the range of a total, largest first, in a sentence.

    Parameters
    ----------
    contributions : DataFrame
        Of ``Forecast.contributions(by)``.
    by, name : str
        As in ``forecast_sentence``.
    """
    mine = contributions[contributions[by] == name].sort_values("share", ascending=False)
    mine = mine[mine["share"] >= 0.05].head(4)
    if mine.empty:
        return "Nothing is left open: the crop has been picked, or none is expected."
    parts = [
        f"{short(c)} {100 * s:.0f} %" for c, s in zip(mine["component"], mine["share"], strict=True)
    ]
    return f"What the range of {total_words(by, name)} comes from: {', '.join(parts)}."


def change_table(change, by="component"):
    """Return a change summed by ``component`` or by ``block``, in the order of the chain.

    Parameters
    ----------
    change : DataFrame
        Of ``Forecast.explain``.
    by : str
        ``"component"`` or ``"block"``.

    Returns
    -------
    DataFrame
        ``by`` and change_t [t]; the changes still add up to the whole.
    """
    return change.groupby(by, sort=False)["change_t"].sum().reset_index()


def change_sentence(change, earlier, units=METRIC):
    """Return a change since an earlier forecast in a sentence: the sum and its largest parts.

    Parameters
    ----------
    change : DataFrame
        Of ``Forecast.explain``.
    earlier : Forecast
        The forecast it was held against.
    units : UnitSystem
        Units to show.
    """
    total = change.attrs["change_t"]
    since = "the earlier forecast" if earlier.as_of is None else f"{earlier.as_of:%Y-%m-%d}"
    largest = change_table(change).assign(size=lambda t: t["change_t"].abs())
    largest = largest[largest["size"] > 0.005].sort_values("size", ascending=False).head(3)
    parts = [
        f"{short(c)} {signed('tonnes', v, units)}"
        for c, v in zip(largest["component"], largest["change_t"], strict=True)
    ]
    text = f"Since {since} the middle of the estate moved by {signed('tonnes', total, units)}"
    return text + (f": mostly {', '.join(parts)}." if parts else ".")


def signed(quantity, value, units=METRIC, places=None):
    """Return a change with its sign and unit, such as ``+1.2 t``.

    Parameters
    ----------
    quantity : str
        As in ``UnitSystem.show``.
    value : float
        Metric value.
    units : UnitSystem
        Units to show.
    places : int, optional
        Decimals [1]; those of the quantity when left out.
    """
    places = wording.decimals(quantity, units) if places is None else places
    number = wording.figure(units.convert(quantity, float(value)), places)
    sign = "" if number.startswith("-") or float(number.replace(",", "")) == 0 else "+"
    return f"{sign}{number} {units.label(quantity)}"


def _small(tonnes, units):
    """Return tonnes as text, with a second decimal where one would show nothing."""
    shown = units.convert("tonnes", tonnes)
    if abs(shown) >= 0.1:
        return wording.amount("tonnes", tonnes, units)
    return f"{shown:.2f} {units.label('tonnes')}{'s' if units.name == 'us' else ''}"


def nothing_to_count(forecast):
    """Return why nothing is left to count, in a sentence."""
    bare = forecast.estate.young.barren
    if bare.all():
        return "Nothing is left to count: no block bears a crop yet."
    if bare.any():
        return "Nothing is left to count: every block that bears has been picked."
    return "Nothing is left to count: every block has been picked."


def next_sentence(row, units=METRIC):
    """Return one row of ``next_counts`` in a sentence."""
    return (
        f"{row['block']}: {row['words']} on {row['vines']} vines, {row['hours']:.1f} crew hours; "
        f"takes {_small(row['removed_t'], units)} off a range of "
        f"{wording.amount('tonnes', row['range_now_t'], units)}."
    )
