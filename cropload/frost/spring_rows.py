"""Pictures of one row of plans on the frost page: a column a spring, on one axis for all plans."""

from html import escape

from cropload.beliefs import ranges
from cropload.frost.words import CASE_WORDS
from cropload.show import wording
from cropload.show.drawing import BLUE, DARK, VERMILLION

#: Height of a picture, and of the columns [px]; narrowest cell, width of a letter of 11 px [px].
_HIGH, _COLUMN = 44, 42
_NARROWEST, _LETTER = 205, 7


def springs_svg(replay, at):
    """Return what each spring left of a plan's crop as SVG: left below, lost above.

    Parameters
    ----------
    replay : FrostReplay
        As from ``frost_cover``.
    at : int
        Place of the plan.

    Notes
    -----
    Places along the row are shares of its width, so lines keep their size at every width.
    """
    left = ranges.quantiles(replay.crop_left[at])[1]
    wide = 100 / len(left)
    parts = []
    for place, share in enumerate(left):
        x, tall = place * wide + 0.12 * wide, _COLUMN * float(share)
        size = f'x="{x:.2f}%" width="{0.76 * wide:.2f}%"'
        heavy = share < 1 - replay.heavy_loss
        lost = VERMILLION if heavy else "#F3C9AE"
        parts.append(f'<rect {size} y="1" height="{_COLUMN - tall:.1f}" fill="{lost}"/>')
        parts.append(
            f'<rect {size} y="{1 + _COLUMN - tall:.1f}" height="{tall:.1f}" fill="{BLUE}" '
            'fill-opacity="0.55"/>'
        )
    parts.append(f'<line x1="0" x2="100%" y1="{_HIGH - 0.5}" y2="{_HIGH - 0.5}" stroke="{DARK}"/>')
    return _svg(_HIGH, parts, springs_told(replay, at))


def springs_told(replay, at):
    """Return the springs of a plan in words, those that left all of it together."""
    left = ranges.quantiles(replay.crop_left[at])[1]
    hurt = [
        f"{season} {wording.percent(share)}"
        for season, share in zip(replay.seasons, left, strict=True)
        if share < 0.995
    ]
    told = f"left of the crop, wood {CASE_WORDS[replay.cases[at]]}"
    return f"{told}: {', '.join(hurt)}; all in the others" if hurt else f"{told}: all every spring"


def springs_axis(replay):
    """Return the years below which the columns stand, as SVG; as many as can be read."""
    count = len(replay.seasons)
    step = next((s for s in (1, 2, 5, 10, 20) if _NARROWEST * s / count > 2 * _LETTER + 8), 50)
    parts = [
        f'<text x="{100 * (at + 0.5) / count:.2f}%" y="11" text-anchor="middle" font-size="11" '
        f'fill="#222">{season % 100:02d}</text>'
        for at, season in enumerate(replay.seasons)
        if season % step == 0 or step == 1
    ]
    told = f"springs {replay.seasons[0]} to {replay.seasons[-1]}"
    return _svg(14, parts, told)


def _svg(high, parts, told):
    told = escape(told)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="cl-row-picture" role="img" '
        f'aria-label="{told}" width="100%" height="{high}" style="display:block" '
        f'font-family="DejaVu Sans, Arial, sans-serif"><title>{told}</title>{"".join(parts)}</svg>'
    )
