"""Pictures of an owner's report: drawn as SVG with real text, legible on a phone and on paper."""

from dataclasses import replace

import numpy as np

from cropload.owner.decision import MIX
from cropload.owner.words import change_step
from cropload.show import wording
from cropload.show.charts import Rows, amounts
from cropload.show.drawing import LOOKS, cut_name, page_svg
from cropload.units import METRIC

#: Width of a picture [SVG units], that of a small phone, so that its text stays as large there.
WIDTH = 350


#: Longest name that leaves room for a picture of that width beside it [letters].
_SHORT = 16


def _picture(rows, title, name):
    """Return rows as a picture of the page and the same in words."""
    words = rows.text()
    return page_svg(rows.plot(width=WIDTH / 72).figure, title, words, name), words


def first_figure(found, units=METRIC):
    """Return the first page's figure as SVG, and the same in words; see ``beside_rows``."""
    rows = beside_rows(found, units)
    if max(map(len, rows.names)) > _SHORT:
        rows = replace(rows, heading=rows.title, axis="", apart=True, above=True)
    return _picture(rows, rows.title, "first-figure")


def beside_rows(found, units=METRIC):
    """Return how each scenario differs from the first one over the seasons followed.

    Parameters
    ----------
    found, units : Scenarios, UnitSystem
        As from ``compare_scenarios``, and the units to show.

    Notes
    -----
    Of money where prices are known, else of crop; the line at 0 is the first scenario.
    """
    decision, first = found.decision, cut_name(found.names[0], 18)
    names = tuple(
        f"{cut_name(name, 30)} (recommended)" if name == decision.chosen != MIX else name
        for name in decision.names[1:]
    )
    frame = decision.estate.iloc[1:]
    if decision.by == "margin":
        step = change_step(found)
        title = f"Left over beside '{first}', five seasons [{found.currency or 'currency'}]"
        series = amounts(
            "difference", frame, "money_all", written="range",
            show=lambda end: wording.money(end, step, signed=True),
        )  # fmt: skip
    else:
        title = f"Crop beside '{first}', five seasons [{units.label('tonnes')}]"
        series = amounts("difference", frame, "crop_all", "tonnes", units, written="range")
    return Rows(title, names, title, (series,), plain=True)


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
