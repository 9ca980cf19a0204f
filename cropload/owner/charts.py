"""Pictures of an owner's report: drawn as SVG with real text, legible on a phone and on paper."""

from html import escape

from cropload.beliefs import ranges
from cropload.owner.words import margin_step
from cropload.pruning.plan_figures import FIRST_LABEL, SETTLED_LABEL
from cropload.show import wording
from cropload.show.figures import BLUE, VERMILLION
from cropload.units import METRIC

#: Width of a picture [SVG units], about that of a phone, so that its text stays as large there.
WIDTH = 420
_LONGEST = 34
#: Size of a scenario's name [SVG units].
_LABEL = 13
_INK, _GRID = "#1a1a1a", "#c8c8c8"


def _short(text, most=_LONGEST):
    return text if len(text) <= most else text[: most - 1] + "…"


def _svg(body, height, title, told, name):
    """Return a whole picture with its text alternative; ``name`` keeps its ids apart."""
    return (
        f'<svg class="figure" viewBox="0 0 {WIDTH} {height:g}" role="img" '
        'font-family="DejaVu Sans, Arial, sans-serif" '
        f'aria-labelledby="{name}-title {name}-told" xmlns="http://www.w3.org/2000/svg">'
        f'<title id="{name}-title">{escape(title)}</title>'
        f'<desc id="{name}-told">{escape(told)}</desc>{body}</svg>'
    )


def _text(x, y, text, size=12, anchor="start", weight="normal"):
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size}" text-anchor="{anchor}" '
        f'font-weight="{weight}" fill="{_INK}">{escape(text)}</text>'
    )


def _label(x, y, text):
    """Return a name on a white ground, so that no grid line runs through it."""
    wide = 0.68 * _LABEL * len(text)
    return (
        f'<rect x="{x:.1f}" y="{y - 11:.1f}" width="{wide:.1f}" height="15" fill="#fff"/>'
        + _text(x, y, text, _LABEL, weight="bold")
    )


def _line(x1, y1, x2, y2, colour=_GRID, width=1, dash=""):
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{colour}" '
        f'stroke-width="{width}"{dashed}/>'
    )


def _ticks(low, high, most=5):
    """Return round numbers within a span."""
    from math import ceil, floor, log10

    raw = (high - low) / most
    step = 10 ** floor(log10(raw))
    step *= next(k for k in (1, 2, 5, 10) if k * step >= raw)
    return [step * k for k in range(ceil(low / step), floor(high / step) + 1)]


def _mark(kind, x, y):
    if kind == "first":
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4.5" fill="{BLUE}"/>'
    return (
        f'<rect x="{x - 4:.1f}" y="{y - 4:.1f}" width="8" height="8" fill="#fff" '
        f'stroke="{VERMILLION}" stroke-width="2"/>'
    )


def _bar(kind, place, y, span, text):
    low, middle, high = span
    colour, dash = (BLUE, "") if kind == "first" else (VERMILLION, "5 3")
    return (
        _line(place(low), y, place(high), y, colour, 2.5, dash)
        + _mark(kind, place(middle), y)
        + _text(WIDTH - 4, y + 4, text, 11.5, "end")
    )


def first_figure(found, units=METRIC):
    """Draw the first page's figure: what each scenario leaves, or gives, now and settled.

    Parameters
    ----------
    found : Scenarios
        As from ``compare_scenarios``.
    units : UnitSystem
        Units to show.

    Returns
    -------
    svg, words : str
        The picture, and the same in words.
    """
    if found.money_settled is not None:
        frames = (found.money_first, found.money_settled)
        step, currency = margin_step(found), found.currency
        title = f"What each scenario leaves over in a season{f' [{currency}]' if currency else ''}"
        names = ("margin", "margin")

        def show(value):
            return wording.money(value, step)

        def convert(value):
            return value
    else:
        frames = (found.totals, found.totals)
        one = len(found.block_names) == 1
        of = found.block_names[0] if one else "all blocks together"
        title = f"Crop of {of} [{units.label('tonnes')}]"
        names = ("tonnes", "tonnes_settled")

        def show(value):
            return wording.figure(value, wording.decimals("tonnes", units))

        def convert(value):
            return units.convert("tonnes", value)

    spans = [
        [tuple(convert(float(row[f"{n}_{end}"])) for end in ranges.ENDINGS) for row in rows]
        for n, rows in zip(names, (f.to_dict("records") for f in frames), strict=True)
    ]
    low = min(0.0, *(span[0] for side in spans for span in side))
    high = max(span[2] for side in spans for span in side)
    left, right = 12.0, WIDTH - 172.0

    def place(value):
        return left + (value - low) / ((high - low) or 1.0) * (right - left)

    top, each = 66.0, 58.0
    bottom = top + each * len(found.names)
    body, told = [], []
    for value in _ticks(low, high):
        body.append(_line(place(value), top - 8, place(value), bottom, _GRID))
        body.append(_text(place(value), bottom + 14, f"{value:,.10g}", 10.5, "middle"))
    body.append(_line(left, bottom, right, bottom, _INK))
    now = place(spans[1][0][1])
    body.append(_line(now, top - 8, now, bottom, "#444", 1, "2 3"))
    body.append(_mark("first", left + 6, 30) + _text(left + 18, 34, FIRST_LABEL))
    body.append(_mark("settled", left + 116, 30) + _text(left + 128, 34, SETTLED_LABEL))
    for at, name in enumerate(found.names):
        y = top + each * at
        chosen = " (recommended)" if name == found.choice.chosen else ""
        body.append(_label(left, y + 8, _short(name) + chosen))
        texts = []
        for side, kind, down in ((0, "first", 22), (1, "settled", 40)):
            lo, mid, hi = spans[side][at]
            texts.append(f"{show(mid)} ({show(lo)} to {show(hi)})")
            body.append(_bar(kind, place, y + down, (lo, mid, hi), texts[-1]))
        told.append(f"{name}{chosen}: first season {texts[0]}, settled {texts[1]}.")
    body.append(
        _text(
            left,
            bottom + 32,
            f"Middle and {found.interval}. Dotted: '{_short(found.names[0], 18)}', settled.",
            10.5,
        )
    )
    body.insert(0, _text(left, 14, title, 13.5, weight="bold"))
    words = f"{title}, middle and {found.interval}. {' '.join(told)}"
    return _svg("".join(body), bottom + 42, title, words, "first-figure"), words


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
    density = about == "density"
    column = "shoots_per_m_p50" if density else "ravaz_settled_p50"
    word = "density_word" if density else "balance_settled_word"
    title = (
        f"Shoots {units.label('per_m')} of canopy, middles"
        if density
        else "Yield / pruning weight once settled, middles"
    )

    def convert(value):
        return units.convert("per_m", value) if density else value

    rows = found.blocks.to_dict("records")
    bands = {block: pair[0 if density else 1] for block, pair in found.bands.items()}
    high = 1.08 * max(
        *(convert(row[column]) for row in rows), *(convert(b.high) for b in bands.values())
    )
    left, right = 132.0, WIDTH - 12.0

    def place(value):
        return left + value / high * (right - left)

    each = 16.0 + 9.0 * len(found.names)
    top = 28.0 + 15.0 * len(found.names) + 8
    bottom = top + each * len(found.block_names)
    body = [_text(12, 14, title, 13.5, weight="bold")]
    for at, name in enumerate(found.names):
        y = 32.0 + 15.0 * at
        body.append(_number(at, 20, y - 4) + _text(32, y, _short(name, 50), 11.5))
    told = []
    for value in _ticks(0, high):
        body.append(_line(place(value), top, place(value), bottom))
        body.append(_text(place(value), bottom + 14, f"{value:,.10g}", 10.5, "middle"))
    for b, block in enumerate(found.block_names):
        y = top + each * b
        band = bands[block]
        ends = place(convert(band.low)), place(convert(band.high))
        body.append(
            f'<rect x="{ends[0]:.1f}" y="{y + 2:.1f}" width="{ends[1] - ends[0]:.1f}" '
            f'height="{each - 4:.1f}" fill="#e6efe9" stroke="#444" stroke-dasharray="2 2"/>'
        )
        body.append(_text(left - 8, y + each / 2 + 4, _short(block, 19), 12, "end"))
        texts = []
        for at, row in enumerate(r for r in rows if r["block"] == block):
            value = convert(row[column])
            body.append(_number(at, place(value), y + 12 + 9.0 * at))
            texts.append(f"{row['scenario']} {wording.figure(value)}, {row[word]} the band")
        told.append(f"{block}: {'; '.join(texts)}.")
    body.append(_line(left, bottom, right, bottom, _INK))
    body.append(_text(left, bottom + 30, "Shaded: the band of the block", 10.5))
    words = f"{title}. {' '.join(told)}"
    return _svg("".join(body), bottom + 38, title, words, f"{about}-figure"), words


def _number(at, x, y):
    """Return a scenario's number in a circle; scenarios are told apart by it, not by colour."""
    return (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="7" fill="#fff" stroke="{BLUE}" stroke-width="1.6"/>'
        f'<text x="{x:.1f}" y="{y + 3.6:.1f}" font-size="10" text-anchor="middle" '
        f'font-weight="bold" fill="{_INK}">{at + 1}</text>'
    )
