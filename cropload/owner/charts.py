"""Pictures of an owner's report: drawn as SVG with real text, legible on a phone and on paper."""

import numpy as np

from cropload.owner.words import margin_step
from cropload.pruning.charts import FIRST, FIRST_LABEL, SETTLED, SETTLED_LABEL
from cropload.show import wording
from cropload.show.charts import Rows, amounts
from cropload.show.drawing import LOOKS, cut_name, page_svg
from cropload.units import METRIC

#: Width of a picture [SVG units], that of a small phone, so that its text stays as large there.
WIDTH = 350


def _picture(rows, title, name):
    """Return rows as a picture of the page and the same in words."""
    words = rows.text()
    return page_svg(rows.plot(width=WIDTH / 72).figure, title, words, name), words


def first_figure(found, units=METRIC):
    """Return the first page's figure as SVG, and the same in words; see ``first_rows``."""
    rows = first_rows(found, units)
    return _picture(rows, rows.title, "first-figure")


def first_rows(found, units=METRIC):
    """Return what each scenario leaves, or gives, now and settled, to draw or to tell.

    Parameters
    ----------
    found, units : Scenarios, UnitSystem
        As from ``compare_scenarios``, and the units to show.
    """
    names = tuple(
        f"{cut_name(name, 30)} (recommended)" if name == found.choice.chosen else name
        for name in found.names
    )
    pairs = zip((FIRST_LABEL, SETTLED_LABEL), (FIRST, SETTLED), strict=True)
    if found.money_settled is not None:
        frames = (found.money_first, found.money_settled)
        step, currency = margin_step(found), found.currency
        title = f"What each scenario leaves over in a season{f' [{currency}]' if currency else ''}"
        axis = "margin"
        series = tuple(
            amounts(label, frame, "margin", look=look, show=lambda end: wording.money(end, step))
            for (label, look), frame in zip(pairs, frames, strict=True)
        )
    else:
        one = len(found.block_names) == 1
        of = found.block_names[0] if one else "all blocks together"
        title, axis = f"Crop of {of} [{units.label('tonnes')}]", "crop at the scale"
        columns = ("tonnes", "tonnes_settled")
        series = tuple(
            amounts(label, found.totals, column, "tonnes", units, look=look)
            for (label, look), column in zip(pairs, columns, strict=True)
        )
    return Rows(
        title, names, f"{axis}; dotted: '{cut_name(found.names[0], 18)}', settled", series,
        heading=title, apart=True, above=True, reference=series[1].three[1, 0],
    )  # fmt: skip


def beside_rows(found, units=METRIC):
    """Return how each scenario differs from the first one in the same season, once settled.

    Parameters
    ----------
    found, units : Scenarios, UnitSystem
        As from ``compare_scenarios``, and the units to show.

    Notes
    -----
    Of money where prices are known, else of crop; the line at 0 is the first scenario.
    """
    first = cut_name(found.names[0], 18)
    names = tuple(found.names[1:])
    if found.money_settled is not None:
        step, title = margin_step(found), f"Left over beside '{first}' [{found.currency}]"
        frame = found.money_settled.iloc[1:]
        series = amounts(
            "difference", frame, "change", written="range",
            show=lambda end: wording.money(end, step, signed=True),
        )  # fmt: skip
    else:
        title = f"Crop beside '{first}' [{units.label('tonnes')}]"
        series = amounts(
            "difference", found.totals.iloc[1:], "change_settled", "tonnes", units, written="range"
        )
    return Rows(title, names, title, (series,))


def band_figure(found, about, units=METRIC):
    """Draw the middles of all scenarios in each block against the band of the block.

    Parameters
    ----------
    found : Scenarios
        As from ``compare_scenarios``.
    about : str
        ``density`` or ``balance``.
    units : UnitSystem
        Units to show.

    Returns
    -------
    svg, words : str
    """
    if about == "density":
        column, word, quantity, place = "shoots_per_m_p50", "density_word", "per_m", 0
        title = f"Shoots {units.label('per_m')} of canopy, middles"
    else:
        column, word, quantity, place = "ravaz_settled_p50", "balance_settled_word", None, 1
        title = "Yield / pruning weight once settled, middles"
    series = []
    for at, name in enumerate(found.names):
        mine = found.blocks[found.blocks["scenario"] == name].set_index("block")
        mine = mine.loc[list(found.block_names)]
        look = LOOKS[at % len(LOOKS)]
        made = amounts(cut_name(name, 30), mine, column, quantity, units, look=look)
        series.append(made.saying(map(wording.against_band, mine[word])))
    bands = np.array([[found.bands[b][place].low, found.bands[b][place].high]
                      for b in found.block_names])  # fmt: skip
    bands = units.convert(quantity, bands) if quantity else bands
    rows = Rows(
        title, tuple(found.block_names), "shaded: the band of the block", tuple(series),
        bands=tuple(map(tuple, bands)), heading=title, apart=True,
    )  # fmt: skip
    return _picture(rows, title, f"{about}-figure")
