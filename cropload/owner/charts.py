"""Pictures of an owner's report: drawn as SVG with real text, legible on a phone and on paper."""

from dataclasses import replace

import numpy as np

from cropload.owner.decision import MIX
from cropload.owner.words import change_step
from cropload.show import wording
from cropload.show.charts import Rows, amounts, row_marks
from cropload.show.drawing import LOOKS, cut_name, page_svg
from cropload.show.languages import say
from cropload.units import METRIC

#: Width of a picture [SVG units], that of a small phone, so that its text stays as large there.
WIDTH = 350


#: Longest name that leaves room for a picture of that width beside it, and half the longest
#: range behind a mark [letters].
_SHORT = 14
#: Blocks in one picture of many, so that it is no longer than a page [1].
_TALL = 20


def _picture(rows, title, name):
    """Return rows as a picture of the page and the same in words."""
    words, ax = rows.text(), rows.plot(width=WIDTH / 72)
    return page_svg(ax.figure, title, words, name, row_marks(rows, ax)), words


def first_figure(found, units=METRIC):
    """Return the first page's figure as SVG, and the same in words; see ``beside_rows``."""
    rows = beside_rows(found, units)
    texts = [rows.series[0].text(at) for at in range(len(rows.names))]
    if max(map(len, rows.names)) > _SHORT or max(map(len, texts)) > 2 * _SHORT:
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
        f"{cut_name(name, 30)} ({say('recommended')})"
        if name == decision.chosen != MIX
        else say("recommended")
        if name == MIX
        else name
        for name in decision.names[1:]
    )
    frame = decision.estate.iloc[1:]
    if decision.by == "margin":
        step = change_step(found)
        unit = found.currency or "currency"
        title = say("Left over beside '%(first)s', five seasons [%(unit)s]", first=first, unit=unit)
        series = amounts(
            "", frame, "money_all", written="range",
            show=lambda end: wording.money(end, step, signed=True),
        )  # fmt: skip
    else:
        unit = units.label("tonnes")
        title = say("Crop beside '%(first)s', five seasons [%(unit)s]", first=first, unit=unit)
        series = amounts("", frame, "crop_all", "tonnes", units, written="range")
    return Rows(title, names, title, (series,), plain=True)


def band_figures(found, about, units=METRIC, few=False):
    """Draw the middles of scenarios in each block against the band of the block.

    Parameters
    ----------
    found : Scenarios
        As from ``compare_scenarios``.
    about : str
        ``density`` or ``balance``.
    units : UnitSystem
        Units to show.
    few : bool
        Of the scenarios only the first one and the plans recommended.

    Returns
    -------
    list of str
        SVG, so many blocks a picture as are legible.
    """
    if about == "density":
        column, word, quantity, place = "shoots_per_m_p50", "density_word", "per_m", 0
        title = f"Shoots {units.label('per_m')} of canopy, middles"
    else:
        column, word, quantity, place = "ravaz_settled_p50", "balance_settled_word", None, 1
        title = "Yield / pruning weight once settled, middles"
    every = found.blocks.set_index(["scenario", "block"])
    drawn, tall = [], _TALL if few else len(found.block_names)
    for start in range(0, len(found.block_names), tall):
        blocks = found.block_names[start : start + tall]
        lines = {name: [(name, block) for block in blocks] for name in found.names}
        if few:
            lines = {found.names[0]: lines[found.names[0]]}
            lines["recommended"] = [(found.decision.picks[block], block) for block in blocks]
        series = []
        for at, (name, rows) in enumerate(lines.items()):
            mine = every.loc[rows]
            look = LOOKS[at % len(LOOKS)]
            made = amounts(cut_name(name, 30), mine, column, quantity, units, look=look)
            series.append(made.saying(map(wording.against_band, mine[word])))
        bands = np.array([[found.bands[b][place].low, found.bands[b][place].high] for b in blocks])
        bands = units.convert(quantity, bands) if quantity else bands
        rows = Rows(
            title, tuple(blocks), "shaded: the band of the block", tuple(series),
            bands=tuple(map(tuple, bands)), heading=title, apart=not few,
        )  # fmt: skip
        drawn.append(_picture(rows, title, f"{about}-{start}-figure")[0])
    return drawn
