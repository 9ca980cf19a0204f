"""One vine drawn with its plan: canes and spurs at even places along its canopy, to scale."""

from html import escape

from cropload import handbook
from cropload.show import wording
from cropload.show.drawing import BLUE, VERMILLION
from cropload.units import METRIC

#: Drawn size of the canopy [SVG units], and the heights of trunk and one wall [SVG units].
_WIDTH, _MARGIN = 520.0, 34.0
_TRUNK, _LETTER = 46.0, 14.0

#: Canes lean outwards so that neighbours stay apart: rise and run of a unit of length.
_RISE, _RUN = 0.96, 0.28

#: Tallest cane drawn [SVG units]; the whole vine is drawn smaller rather than cut off.
_TALLEST = 250.0


def places(canes, spurs, walls=1):
    """Return what stands at each even place of each wall, from left to right.

    Parameters
    ----------
    canes, spurs : int
        Canes and spurs of a vine [1].
    walls : int
        Canopy walls [1].

    Returns
    -------
    list of str
        One text a wall, ``c`` for a cane and ``s`` for a spur, shared out as evenly as they go.

    Examples
    --------
    >>> places(3, 3), places(4, 4, walls=2)
    (['cscscs'], ['cscs', 'cscs'])
    """
    found = []
    for wall in range(walls):
        # The first walls take what cannot be shared out; spurs from the other end.
        here_canes = canes // walls + (wall < canes % walls)
        here_spurs = spurs // walls + (walls - 1 - wall < spurs % walls)
        total = here_canes + here_spurs
        order, due = "", total // 2
        for _ in range(total):
            due += here_canes
            if due >= total:
                due -= total
                order += "c"
            else:
                order += "s"
        found.append(order)
    return found


def sketch_text(plan, canopy_length_m, shoots_per_m=None, canopies=1, units=METRIC, title=""):
    """Return the drawing in words, for whoever cannot see it.

    Parameters
    ----------
    plan, canopy_length_m, shoots_per_m, canopies, units, title
        As in ``sketch_svg``.
    """
    walls = "" if canopies == 1 else f" in {canopies} walls"
    text = (
        f"{title + ': ' if title else ''}one vine with {plan.words()}, {plan.buds} buds, along "
        f"{wording.amount('length_m', canopy_length_m, units)} of canopy{walls}"
    )
    if shoots_per_m is not None:
        text += f"; about {wording.amount('per_m', shoots_per_m, units)} shoots"
    return text + "."


def _cane(x, arm, lean, length, buds):
    """Return an SVG group of one cane: a full line with a round bud at each node."""
    top_x, top_y = x + lean * _RUN * length, arm - _RISE * length
    parts = [
        f'<line x1="{x:.1f}" y1="{arm:.1f}" x2="{top_x:.1f}" y2="{top_y:.1f}" stroke="{BLUE}" '
        'stroke-width="3.5"/>'
    ]
    for bud in range(1, buds + 1):
        share = bud / buds
        parts.append(
            f'<circle cx="{x + lean * _RUN * length * share:.1f}" '
            f'cy="{arm - _RISE * length * share:.1f}" r="3.2" fill="{BLUE}"/>'
        )
    return "".join(parts)


def _spur(x, arm, length, buds):
    """Return an SVG group of one spur: a dashed line with a square bud at each node."""
    parts = [
        f'<line x1="{x:.1f}" y1="{arm:.1f}" x2="{x:.1f}" y2="{arm - length:.1f}" '
        f'stroke="{VERMILLION}" stroke-width="3" stroke-dasharray="4 2.5"/>'
    ]
    for bud in range(1, buds + 1):
        y = arm - length * bud / buds
        parts.append(
            f'<rect x="{x - 3:.1f}" y="{y - 3:.1f}" width="6" height="6" fill="white" '
            f'stroke="{VERMILLION}" stroke-width="1.6"/>'
        )
    return "".join(parts)


def _text(x, y, text, anchor="start", size=14.5, weight="normal"):
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="{size}" '
        f'font-weight="{weight}" fill="#222">{escape(text)}</text>'
    )


def _lean(x, run, middle, left, right):
    """Return the way a cane leans: away from the trunk, unless it would leave the drawing."""
    lean = -1 if x < middle - 1 else 1
    return lean if left <= x + lean * run <= right else -lean


def _wall(order, plan, arm, scale, internode, width):
    """Return one wall: arm, trunk, and the wood at its even places, each with its letter."""
    middle = _MARGIN + _WIDTH / 2
    left, right = middle - width / 2, middle + width / 2
    length = plan.buds_per_cane * internode * scale
    parts = [
        f'<line x1="{left}" y1="{arm}" x2="{right}" y2="{arm}" stroke="#6B6B6B" stroke-width="7" '
        'stroke-linecap="round"/>',
        f'<line x1="{middle}" y1="{arm}" x2="{middle}" y2="{arm + _TRUNK}" stroke="#6B6B6B" '
        'stroke-width="12"/>',
    ]
    step = width / max(len(order), 1)
    letters = step >= 11
    for place, kind in enumerate(order):
        x = left + step * (place + 0.5)
        if kind == "c":
            lean = _lean(x, _RUN * length, middle, _MARGIN, _MARGIN + _WIDTH)
            parts.append(_cane(x, arm, lean, length, plan.buds_per_cane))
        else:
            tall = max(plan.buds_per_spur * internode * scale, 9.0)
            parts.append(_spur(x, arm, tall, plan.buds_per_spur))
        if letters and abs(x - middle) > 7:
            parts.append(_text(x, arm + 18, kind.upper(), "middle", _LETTER))
    return "".join(parts)


def spur_word(plan):
    """Return what the spurs of a plan are for: renewal, bearing, or some of each."""
    if not plan.canes:
        return "bearing spur"
    return "renewal spur" if plan.spurs <= plan.canes else "spur"


def _legend(plan, y):
    """Return the key to the lines; each kind of wood has its own line, bud and letter."""
    parts, x = [], _MARGIN
    if plan.canes:
        parts.append(
            f'<line x1="{x}" y1="{y - 5}" x2="{x + 34}" y2="{y - 5}" stroke="{BLUE}" '
            f'stroke-width="3.5"/><circle cx="{x + 17}" cy="{y - 5}" r="3.2" fill="{BLUE}"/>'
        )
        words = f"C production cane: {plan.canes} x {plan.buds_per_cane} buds"
        parts.append(_text(x + 42, y, words))
        x += 282
    if plan.spurs:
        parts.append(
            f'<line x1="{x}" y1="{y - 5}" x2="{x + 34}" y2="{y - 5}" stroke="{VERMILLION}" '
            f'stroke-width="3" stroke-dasharray="4 2.5"/><rect x="{x + 14}" y="{y - 8}" width="6" '
            f'height="6" fill="white" stroke="{VERMILLION}" stroke-width="1.6"/>'
        )
        kind = spur_word(plan)
        parts.append(_text(x + 42, y, f"S {kind}: {plan.spurs} x {plan.buds_per_spur} buds"))
    return "".join(parts)


def sketch_svg(plan, canopy_length_m, shoots_per_m=None, canopies=1, units=METRIC, title=""):
    """Draw one vine as inline SVG.

    Parameters
    ----------
    plan : PruningPlan
        What is left on the vine.
    canopy_length_m : float
        Canopy of a vine, all walls together [m/vine]; drawn to scale, and canes with it.
    shoots_per_m : float, optional
        Shoots expected per metre of canopy [1/m], written on the drawing.
    canopies : int
        Canopy walls of a vine [1]; each is drawn under the other.
    units : UnitSystem
        Units to show.
    title : str
        Name written on the drawing; escaped.

    Returns
    -------
    str
        An ``<svg>`` element with its own text alternative and no outside address.

    Notes
    -----
    Canes are as long as their buds times an internode of the handbook
    (``layout.internode_mm``, middle).  Valid as a picture of the count of wood and its places, not
    as a rule where to cut.
    """
    internode = sum(handbook.band("layout.internode_mm")) / 2000
    wall_length = canopy_length_m / canopies
    tallest = max(_RISE * plan.buds_per_cane, plan.buds_per_spur) * internode
    scale = min(_WIDTH / wall_length, _TALLEST / tallest)
    width = wall_length * scale
    rise = tallest * scale
    head, wall_height = 66.0, max(rise, 30.0) + _TRUNK + 26
    parts, y = [], head
    for wall, order in enumerate(places(plan.canes, plan.spurs, canopies), start=1):
        arm = y + max(rise, 30.0) + 8
        parts.append(_wall(order, plan, arm, scale, internode, width))
        if canopies > 1:
            parts.append(_text(_MARGIN, arm + _TRUNK, f"wall {wall} of {canopies}", size=13))
        y += wall_height
    length = wording.amount("length_m", wall_length, units)
    ruler, start = y + 6, _MARGIN + (_WIDTH - width) / 2
    each = "canopy" if canopies == 1 else "canopy of each wall"
    parts.append(
        f'<path d="M{start:.1f} {ruler - 5:.1f}v10m0 -5h{width:.1f}m0 -5v10" '
        'stroke="#222" stroke-width="1.4" fill="none"/>'
    )
    parts.append(_text(_MARGIN + _WIDTH / 2, ruler + 17, f"{each} {length}", "middle", 14))
    parts.append(_legend(plan, ruler + 42))
    heading = f"{title}: {plan}" if title else str(plan)
    note = f"{plan.buds} buds"
    if shoots_per_m is not None:
        label = units.label("per_m").removeprefix("per ")
        shown = wording.amount("per_m", shoots_per_m, units, unit=False)
        note += f", about {shown} shoots per {label} of canopy"
    parts.insert(0, _text(_MARGIN, 24, heading, size=19, weight="bold"))
    parts.insert(1, _text(_MARGIN, 48, note, size=16))
    words = escape(sketch_text(plan, canopy_length_m, shoots_per_m, canopies, units, title))
    high, wide = ruler + 54, _WIDTH + 2 * _MARGIN
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide:.0f} {high:.0f}" role="img" '
        f'aria-label="{words}" width="100%" style="max-width:{wide:.0f}px" '
        f'font-family="DejaVu Sans, Arial, sans-serif">'
        f"<title>{words}</title>{''.join(parts)}</svg>"
    )
