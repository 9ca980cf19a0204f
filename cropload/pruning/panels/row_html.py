"""The answer in the row of a level, as HTML: picture and figures side by side."""

from html import escape

from cropload.beliefs import ranges
from cropload.show import wording
from cropload.vine.bands import OUTSIDE


def head_html(drawn, comparison):
    """Return what stands above each column of answers.

    Parameters
    ----------
    drawn : RowAxes
        The axes of the levels.
    comparison : Comparison
        What they are of.
    """
    units = drawn.units
    often = f"{10 * ranges.level():g} in 10"
    crop = f"{units.label('t_ha')}, harvest {comparison.season} and settled (bars: {often})"
    return {
        "buds": "buds",
        "shoots": escape(f"shoots {units.label('per_m')}") + _line(drawn.head_shoots(), ""),
        "crop": escape(crop) + _line(drawn.head_crop(), ""),
        "balance": "yield to pruning weight" + _line(drawn.head_balance(), ""),
    }


def row_html(row, drawn):
    """Return the columns of answers of one level.

    Parameters
    ----------
    row : dict
        One row of ``compare_plans``.
    drawn : RowAxes
        The axes of the levels.
    """
    units = drawn.units
    range_text = wording.range_of(row, "t_ha", "t_ha", units)
    middle, _, ends = range_text.partition(" ")
    settled = wording.amount("t_ha", row["t_ha_settled_p50"], units, unit=False)
    label = escape(units.label("t_ha"))
    narrow = f'<span class="cl-lv-only-narrow"> {label}</span>'
    ends = f'<span class="cl-lv-ends">{ends}</span>'
    crop = f"<b>{middle}</b>{narrow} {ends}<br>{settled} settled"
    shoots = wording.number(units.convert("per_m", row["shoots_per_m_p50"]), 0)
    per_m = f'<span class="cl-lv-only-narrow"> shoots {escape(units.label("per_m"))}</span>'
    ratio = wording.number(row["ravaz_p50"])
    to = '<span class="cl-lv-only-narrow">balance </span>'
    return {
        "buds": f"{row['buds_per_vine']:g}",
        "shoots": _line(drawn.shoots(row), f"{shoots}{per_m}{_word(row['density_word'])}"),
        "crop": _line(drawn.crop(row), crop),
        "balance": _line(drawn.balance(row), f"{to}{ratio}{_word(row['balance_word'])}"),
    }


def _word(word):
    kind = word if word in OUTSIDE else "calm"
    return f' <span class="cl-lv-word-{kind}">{escape(word)}</span>'


def _line(picture, text):
    return f'<div class="cl-lv-line"><div>{picture}</div><div class="cl-lv-text">{text}</div></div>'
