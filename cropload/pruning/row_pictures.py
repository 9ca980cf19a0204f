"""Pictures of one row of compared levels: shoots, crop and balance, on one axis for all levels.

Places along an axis are shares of the width, so that a picture follows its cell while its lines and
letters keep their size.
"""

import math
from dataclasses import dataclass
from html import escape

from cropload.beliefs import ranges
from cropload.beliefs.ranges import ENDINGS
from cropload.show import wording
from cropload.show.drawing import BLUE, DARK, GREEN, VERMILLION
from cropload.units import METRIC, UnitSystem
from cropload.vine.bands import INSIDE, OUTSIDE, Band

#: Narrowest cell that letters must fit [px], the size of a letter and its width [px].
_NARROWEST, _LETTER, _LETTER_WIDE = 150, 11, 6.6
#: Share of the width kept free at each end, for marks and for letters at the ends [%].
_INSET = 5.0
_RULE, _STRIP = "#DDDDDD", "#DDF1EA"


@dataclass(frozen=True)
class Scale:
    """One axis, in the unit shown.

    Attributes
    ----------
    low, high : float
        Its ends [unit shown].
    ticks : tuple of float
        Where it is marked [unit shown].
    """

    low: float
    high: float
    ticks: tuple

    def place(self, value):
        """Return where a value stands [% of the width]."""
        share = (value - self.low) / (self.high - self.low)
        return _INSET + (100 - 2 * _INSET) * min(max(share, 0.0), 1.0)


def _step(span, most):
    """Return a round step of which at most so many fit a span."""
    power = 10.0 ** math.floor(math.log10(span / most))
    return next(power * times for times in (1, 2, 5, 10) if power * times * most >= span)


def _scale(values, marked=(), from_zero=False):
    """Return an axis of values, its ends on round steps; marked at ``marked``, or at the steps."""
    known = [value for value in (*values, *marked) if math.isfinite(value)] or [1.0]
    low, high = min(0.0 if from_zero else min(known), max(known)), max(known)
    step = _step(max(high - low, 0.1 * abs(high), 1e-6), 4)
    low, high = step * math.floor(low / step), step * math.ceil(high / step + 1e-9)
    high = max(high, low + step)
    steps = tuple(low + step * at for at in range(round((high - low) / step) + 1))
    return Scale(low, high, tuple(marked) or steps)


@dataclass(frozen=True)
class RowAxes:
    """The axes that all levels of a comparison share, and the pictures drawn on them.

    Attributes
    ----------
    shoots_scale, crop_scale, balance_scale : Scale
        Of shoots per length of canopy, crop by area, and yield to pruning weight [unit shown].
    density, balance_band : Band
        Bands behind shoots [1/m] and yield to pruning weight [kg/kg].
    units : UnitSystem
        Units shown.
    """

    shoots_scale: Scale
    crop_scale: Scale
    balance_scale: Scale
    density: Band
    balance_band: Band
    units: UnitSystem

    def shoots(self, row):
        """Return the picture of shoots per length of canopy of a row, as SVG."""
        ends, band = self._shown(row, "shoots_per_m", "per_m"), _ends(self.density, self.units)
        stands = wording.against_band(row["density_word"])
        told = f"shoots {self._told(row, 'shoots_per_m', 'per_m')}, {stands}"
        return _banded(self.shoots_scale, ends, band, row["density_word"], told)

    def crop(self, row):
        """Return the picture of the crop of a row, first season above settled, as SVG."""
        first, settled = (self._shown(row, name, "t_ha") for name in ("t_ha", "t_ha_settled"))
        scale = self.crop_scale
        parts = [_line(scale.place(at), 0, scale.place(at), 40, _RULE) for at in scale.ticks]
        parts += _range(scale, first, 11, BLUE, 8) + _range(scale, settled, 29, VERMILLION, 4)
        return _svg(40, parts, self.crop_told(row))

    def balance(self, row):
        """Return the picture of yield to pruning weight of a row, first season, as SVG."""
        ends, band = self._shown(row, "ravaz"), _ends(self.balance_band)
        told = (
            f"yield to pruning weight {self._told(row, 'ravaz')}, "
            f"{wording.against_band(row['balance_word'])}; "
            f"settled {wording.number(row['ravaz_settled_p50'])}, {row['balance_settled_word']}"
        )
        return _banded(self.balance_scale, ends, band, row["balance_word"], told)

    def crop_told(self, row):
        """Return the crop of a row in words, such as ``crop 7.9 t/ha, 8 in 10: 5.4 to 11.9``."""
        settled = wording.range_of(row, "t_ha_settled", "t_ha", self.units)
        return f"crop {self._told(row, 't_ha', 't_ha')}; settled {settled}"

    def head_shoots(self):
        """Return the axis of shoots for the head of its column, as SVG."""
        return self._head(self.shoots_scale, f"shoots {self.units.label('per_m')}", "per_m")

    def head_crop(self):
        """Return the axis of the crop for the head of its column, as SVG."""
        return self._head(self.crop_scale, f"crop [{self.units.label('t_ha')}]")

    def head_balance(self):
        """Return the axis of yield to pruning weight for the head of its column, as SVG."""
        return self._head(self.balance_scale, "yield to pruning weight")

    def _shown(self, row, name, quantity=None):
        ends = (row[f"{name}_{end}"] for end in ENDINGS)
        return [self.units.convert(quantity, end) if quantity else end for end in ends]

    def _told(self, row, name, quantity=None):
        low, middle, high = self._shown(row, name, quantity)
        if not math.isfinite(middle):
            return wording.number(middle)
        places = wording.decimals(quantity, self.units, middle)
        low, middle, high = (wording.number(end, places) for end in (low, middle, high))
        unit = f" {self.units.label(quantity)}" if quantity else ""
        return f"{middle}{unit}, {10 * ranges.level():g} in 10: {low} to {high}"

    def _head(self, scale, axis, quantity=""):
        """Return ticks with their numbers; two that would touch are written as one."""
        parts = [_line(scale.place(at), 15, scale.place(at), 20, DARK) for at in scale.ticks]
        texts = [f"{at:.3g}" for at in scale.ticks]
        band = scale is self.balance_scale or (quantity and self.density.known)
        told = f"axis of {axis}, " + (
            f"band {' to '.join(texts)}" if band else f"from {texts[0]} on"
        )
        written = [(scale.place(at), text) for at, text in zip(scale.ticks, texts, strict=True)]
        gap = (written[1][0] - written[0][0]) / 100 * _NARROWEST
        if gap < _LETTER_WIDE * max(map(len, texts)) + 5:
            middle = (written[0][0] + written[-1][0]) / 2
            written = [(middle, "-".join(texts))] if band else written[::2]
        parts += [_text(*each) for each in written]
        parts.append(_line(_INSET, 20, 100 - _INSET, 20, DARK))
        return _svg(21, parts, told)


def axes(frame, density, balance, units=METRIC):
    """Fix the axes on which all levels of a comparison are drawn.

    Parameters
    ----------
    frame : DataFrame
        Of ``compare_plans``, one row a level.
    density, balance : Band
        Bands of shoots per metre [1/m] and of yield to pruning weight [kg/kg].
    units : UnitSystem
        Units to show.

    Returns
    -------
    RowAxes
        ``shoots(row)``, ``crop(row)`` and ``balance(row)`` draw a row of the frame as inline SVG,
        which follows the width of its cell; ``head_shoots()`` and so on the axis above a column.

    Notes
    -----
    Ends of axes are round, so that a small change of a level seldom moves them.
    Valid for one row or more; what is not known is not drawn, and told so.
    """

    def values(*names, quantity=None):
        found = frame[[f"{name}_{end}" for name in names for end in ENDINGS]].to_numpy(float)
        return (units.convert(quantity, found) if quantity else found).ravel().tolist()

    return RowAxes(
        _scale(values("shoots_per_m", quantity="per_m"), _ends(density, units)),
        _scale(values("t_ha", "t_ha_settled", quantity="t_ha"), from_zero=True),
        _scale(values("ravaz"), _ends(balance)),
        density,
        balance,
        units,
    )


def _ends(band, units=None):
    """Return the ends of a band [unit shown], or nothing where none is known."""
    if not band.known:
        return ()
    ends = (band.low, band.high)
    return ends if units is None else tuple(units.convert("per_m", end) for end in ends)


def _banded(scale, ends, band, word, told):
    """Return a range with its middle on a strip that is the band; a square mark is outside it."""
    parts = []
    if band:
        low, high = map(scale.place, band)
        parts = [
            f'<rect x="{low:.2f}%" y="1" width="{high - low:.2f}%" height="20" fill="{_STRIP}"/>',
            *(_line(at, 1, at, 21, GREEN) for at in (low, high)),
        ]
    return _svg(22, parts + _range(scale, ends, 11, DARK, 2, word), told)


def _range(scale, ends, y, colour, thick, word=INSIDE):
    """Return a range as a bar with its middle; nothing where it is not known."""
    if not all(map(math.isfinite, ends)):
        return []
    low, middle, high = map(scale.place, ends)
    bar = (
        f'<rect x="{low:.2f}%" y="{y - thick / 2:g}" width="{max(high - low, 0.5):.2f}%" '
        f'height="{thick}" fill="{colour}" fill-opacity="{0.35 if thick > 2 else 1}"/>'
    )
    if word not in OUTSIDE:
        mark = f'<circle cx="{middle:.2f}%" cy="{y}" r="5" fill="{colour}"/>'
    else:
        mark = (
            f'<rect x="{middle:.2f}%" y="{y - 5}" width="10" height="10" fill="white" '
            f'stroke="{VERMILLION}" stroke-width="2.5" transform="translate(-5)"/>'
        )
    return [bar, mark]


def _line(x1, y1, x2, y2, colour):
    return (
        f'<line x1="{x1:.2f}%" y1="{y1}" x2="{x2:.2f}%" y2="{y2}" stroke="{colour}" '
        'shape-rendering="crispEdges"/>'
    )


def _text(x, text):
    """Return the number of a tick; at an end of the axis it stays inside the picture."""
    anchor, x = ("start", 0) if x < 10 else ("end", 100) if x > 90 else ("middle", x)
    return (
        f'<text x="{x:.2f}%" y="11" text-anchor="{anchor}" font-size="{_LETTER}" '
        f'font-weight="normal" fill="#222">{escape(text)}</text>'
    )


def _svg(high, parts, told):
    told = escape(told)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="cl-row-picture" role="img" '
        f'aria-label="{told}" width="100%" height="{high}" style="display:block" '
        f'font-family="DejaVu Sans, Arial, sans-serif"><title>{told}</title>{"".join(parts)}</svg>'
    )
