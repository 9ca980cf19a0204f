"""Vines as they are pruned: canes tied along the wire or spurs on their arms, to one scale."""

from dataclasses import dataclass
from html import escape

from cropload.pruning.vine_shape import bearing_wood
from cropload.show import wording
from cropload.show.drawing import BLUE, DARK, VERMILLION
from cropload.units import METRIC
from cropload.vine.training import cane_length_m

#: Width of a drawing, its margin, size of its letters [SVG units]: 11 px where it is 350 px wide.
WIDE, _MARGIN, _LETTER = 640.0, 14.0, 20
#: Height of the head above the ground as drawn [SVG units]: a picture, no advice on a trellis.
_TRUNK = 74.0
_OLD = "#6B6B6B"

#: Where a practitioner takes the wood, a line each: common practice, no source.
CHOOSING_WOOD = (
    "Take canes from the top of the head, grown in the sun, and near the head.",
    "Leave each renewal spur below its cane and nearer the head.",
    "Next winter's cane comes from the renewal spur.",
    "Leave a short stub where old wood is cut.",
)


def drawing_text(plan, canopy_length_m, shoots_per_m=None, canopies=1, units=METRIC, title=""):
    """Return the drawing in words, for whoever cannot see it.

    Parameters
    ----------
    plan, canopy_length_m, shoots_per_m, canopies, units, title
        As in ``vine_drawings``; one plan, its shoots and its title.
    """
    walls = "" if canopies == 1 else f" in {canopies} walls"
    text = (
        f"{title + ': ' if title else ''}one vine with {plan.words()}, {plan.buds} buds, along "
        f"{wording.amount('length_m', canopy_length_m, units)} of canopy{walls}"
    )
    if shoots_per_m is not None:
        text += f"; about {wording.amount('per_m', shoots_per_m, units)} shoots"
    past = past_words(plan, canopy_length_m / canopies, units)
    return f"{text}. {past}".strip()


def past_words(plan, wall_length_m, units=METRIC):
    """Return a sentence on canes that reach past the vine's place, or an empty text.

    Parameters
    ----------
    plan : PruningPlan
        What is left on the vine.
    wall_length_m : float
        Canopy of one wall, the distance between vines [m].
    units : UnitSystem
        Units to show.

    Notes
    -----
    A single cane has the whole distance between vines; canes that go both ways have half of it.
    Valid for middling internodes (``layout.internode_mm``) and canes tied down flat.
    """
    place, length = _place_m(plan, wall_length_m), cane_length_m(plan.buds_per_cane or 1)[1]
    if not plan.canes or length <= place:
        return ""
    long, room = (wording.amount("length_m", each, units) for each in (length, place))
    return f"A cane of {plan.buds_per_cane} buds is about {long} long; its place is {room}."


def _place_m(plan, wall_length_m):
    return wall_length_m if plan.canes == 1 else wall_length_m / 2


def spur_word(plan):
    """Return what the spurs of a plan are for: renewal, bearing, or some of each."""
    if not plan.canes:
        return "bearing spur"
    return "renewal spur" if plan.spurs <= plan.canes else "spur"


@dataclass(frozen=True)
class _Sheet:
    """What all drawings of a comparison share: px a metre, left and right end, room above."""

    scale: float
    left: float
    width: float
    rise: float


def vine_drawings(
    plans,
    canopy_length_m,
    training="",
    canopies=1,
    units=METRIC,
    titles=(),
    shoots_per_m=(),
    told=(),
    length_words=None,
):
    """Draw one vine of each plan as inline SVG, all to one scale.

    Parameters
    ----------
    plans : sequence of PruningPlan
        What is left on the vine, a plan a drawing.
    canopy_length_m : float
        Canopy of a vine, all walls together [m/vine].
    training : str
        As in table blocks; ``""`` where not said.
    canopies : int
        Canopy walls of a vine [1]; each is drawn under the other.
    units : UnitSystem
        Units to show.
    titles : sequence of str, optional
        What each plan is called, for its text alternative; escaped.
    shoots_per_m : sequence of float, optional
        Shoots expected of each [1/m], for its text alternative.
    told : sequence of str, optional
        The text alternatives themselves, in another language.
    length_words : callable, optional
        Writes a length [m] in another language.

    Returns
    -------
    list of str
        An ``<svg>`` a plan with its own text alternative and no outside address. Each bud has
        class ``cl-bud``, ``data-bud`` and ``data-cane`` or ``data-spur``, counted from 1.

    Notes
    -----
    Canes are as long as their buds times a middling internode (``layout.internode_mm``); heights
    are a picture. Wood beyond one and a half times the vine's place is cut off in the drawing and
    said so.
    Valid as a picture of how much is left and where it stands, not as a rule where to cut.
    """
    wall = canopy_length_m / canopies
    titles = list(titles) or [""] * len(plans)
    shoots = list(shoots_per_m) or [None] * len(plans)
    sheet = _sheet(plans, wall, training, canopies)
    show = length_words or (lambda metres: wording.amount("length_m", metres, units))
    words = told or [
        drawing_text(plan, canopy_length_m, many, canopies, units, title)
        for plan, title, many in zip(plans, titles, shoots, strict=True)
    ]
    return [
        _drawing(plan, wall, training, canopies, show, sheet, text)
        for plan, text in zip(plans, words, strict=True)
    ]


def _shares(pieces, walls):
    return [pieces // walls + (wall < pieces % walls) for wall in range(walls)]


def _walls(plan, canopies):
    """Return (canes, spurs) of each wall; the first walls take what cannot be shared out."""
    return list(zip(_shares(plan.canes, canopies), _shares(plan.spurs, canopies), strict=True))


def _sheet(plans, wall, training, canopies):
    """Return the scale at which every plan fits, found by laying each out once at a start."""
    scale = (WIDE - 2 * _MARGIN) / (1.06 * wall)
    for _ in range(4):
        left = right = wall / 2 * scale
        rise = 60.0
        for plan in plans:
            for canes, spurs in _walls(plan, canopies):
                wood = bearing_wood(plan, canes, spurs, wall, training, scale)
                left, right = max(left, -wood.left), max(right, wood.right)
                rise = max(rise, wood.rise)
        found = (WIDE - 2 * _MARGIN) / (left + right)
        if found >= 0.999:
            break
        scale *= found
    return _Sheet(scale, left, left + right, rise)


def _drawing(plan, wall, training, canopies, show, sheet, told):
    parts, high = [], 0.0
    canes = spurs = 0
    for place, (here, short) in enumerate(_walls(plan, canopies), start=1):
        head_y = high + sheet.rise + 18
        wood = bearing_wood(plan, here, short, wall, training, sheet.scale)
        middle = (WIDE - sheet.width) / 2 + sheet.left
        parts.append(f'<g transform="translate({middle:.1f} {head_y:.1f})">')
        parts += _stand(wood, wall * sheet.scale, sheet, plan)
        parts += [_piece(piece, canes, spurs) for piece in wood.pieces]
        parts += _past(plan, wood, wall, show)
        parts.append("</g>")
        high = head_y + _TRUNK + 12
        if canopies > 1:
            parts.append(_text(_MARGIN, high - 16, f"{place}/{canopies}"))
        canes, spurs = canes + here, spurs + short
    told = escape(told)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="cl-vine" viewBox="0 0 {WIDE:.0f} '
        f'{high:.0f}" role="img" aria-label="{told}" width="100%" '
        f'style="display:block;max-width:{WIDE:.0f}px" '
        f'font-family="DejaVu Sans, Arial, sans-serif"><title>{told}</title>{"".join(parts)}</svg>'
    )


def _stand(wood, width, sheet, plan):
    """Return what does not change from winter to winter: ground, posts, wires, trunk, old wood."""
    left, right = -sheet.left, sheet.width - sheet.left
    # A single cane goes one way: its place begins at the head.
    at = 0.0 if plan.canes == 1 else -width / 2
    parts = [_line(left, _TRUNK, right, _TRUNK, "#9A8467", 3)]
    parts += [
        _line(x, _TRUNK, x, -sheet.rise, "#BBBBBB", 3, ' class="cl-place" stroke-dasharray="7 6"')
        for x in (at, at + width)
        if left - 1 <= x <= right + 1
    ]
    parts += [_line(left, y, right, y, "#AAAAAA", 1.2, ' class="cl-wire"') for y in wood.wires]
    parts.append(_line(0, _TRUNK, 0, 0, _OLD, 15, ' stroke-linecap="round"'))
    parts += [
        _line(*points, _OLD, thick, ' class="cl-old" stroke-linecap="round"')
        for points, thick in wood.old
    ]
    # The face of the cut is pale, with a dark rim.
    parts += [
        _line(*points, _OLD, 7)
        + f'<ellipse class="cl-cut" cx="{points[2]:.1f}" cy="{points[3]:.1f}" rx="3" ry="5" '
        f'fill="#F3E3C3" stroke="{DARK}" stroke-width="1.4"/>'
        for points in wood.stubs
    ]
    return parts


def _piece(piece, canes, spurs):
    """Return one cane or spur with its buds; canes have round buds, spurs square ones."""
    cane = piece.kind == "cane"
    number = piece.number + (canes if cane else spurs)
    colour, thick = (BLUE, 4) if cane else (VERMILLION, 4)
    dash = "" if cane else ' stroke-dasharray="5 2.5"'
    way = " ".join(f"{x:.1f},{y:.1f}" for x, y in piece.points)
    parts = [
        f'<g class="cl-{piece.kind}" data-{piece.kind}="{number}"><polyline points="{way}" '
        f'fill="none" stroke="{colour}" stroke-width="{thick}" stroke-linejoin="round"{dash}/>'
    ]
    for bud, (x, y) in enumerate(piece.buds, start=1):
        named = f'class="cl-bud" data-{piece.kind}="{number}" data-bud="{bud}"'
        if cane:
            parts.append(f'<circle {named} cx="{x:.1f}" cy="{y:.1f}" r="4" fill="{colour}"/>')
        else:
            parts.append(
                f'<rect {named} x="{x - 3:.1f}" y="{y - 3:.1f}" width="6" height="6" fill="white" '
                f'stroke="{colour}" stroke-width="1.6"/>'
            )
    return "".join(parts) + "</g>"


def _past(plan, wood, wall, show):
    """Return the mark of canes that reach past their place; the highest each way has its length."""
    if not past_words(plan, wall):
        return []
    length = show(cane_length_m(plan.buds_per_cane)[1])
    canes = [piece for piece in wood.pieces if piece.kind == "cane"]
    tips = [piece.points[-1] for piece in canes]
    parts = [_line(x, y - 7, x, y + 7, DARK, 2.5, ' class="cl-past"') for x, y in tips]
    cut = f" +{canes[0].hidden}" if canes and canes[0].hidden else ""
    for side in (-1, 1):
        # Letters above the highest cane cross no other.
        highest = min(
            (tip for tip in tips if tip[0] * side > 0), key=lambda tip: tip[1], default=None
        )
        if highest:
            x, y = highest
            parts.append(_text(x, y - 9, length + cut, "start" if side < 0 else "end"))
    return parts


def _line(x1, y1, x2, y2, colour, thick, more=""):
    return (
        f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{colour}" '
        f'stroke-width="{thick}"{more}/>'
    )


def _text(x, y, text, anchor="start"):
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="{_LETTER}" '
        f'fill="#222">{escape(text)}</text>'
    )


def vines_html(plans, canopy_length_m, training="", canopies=1, units=METRIC, **more):
    """Return the drawings of a comparison as HTML: each with its caption, then how to choose wood.

    Parameters
    ----------
    plans, canopy_length_m, training, canopies, units
        As in ``vine_drawings``.
    more
        ``titles`` and ``shoots_per_m`` of ``vine_drawings``.
    """
    drawn = vine_drawings(plans, canopy_length_m, training, canopies, units, **more)
    titles = list(more.get("titles", ())) or [""] * len(plans)
    text = "".join(
        f'<figure data-level="{place}" style="margin:0 0 12px">{svg}'
        f"<figcaption>{caption_html(plan, title)}{escape(past)}</figcaption></figure>"
        for place, svg, plan, title, past in zip(
            range(len(plans)),
            drawn,
            plans,
            titles,
            [past_words(plan, canopy_length_m / canopies, units) for plan in plans],
            strict=True,
        )
    )
    length = wording.amount("length_m", canopy_length_m / canopies, units)
    points = "".join(f"<li>{escape(line)}</li>" for line in CHOOSING_WOOD)
    return (
        f'<div class="cl-sketches">{text}</div><p class="cl-note">All to one scale; dashed posts '
        f"stand {length} apart. Grey is old wood, cut to a short stub; heights are a picture.</p>"
        f"<details><summary>Which wood to keep</summary><ul>{points}</ul>"
        "<p>Common practice, no source.</p></details>"
    )


def caption_html(plan, title=""):
    """Return the key to one drawing as HTML: its name, its plan, and what each kind of wood is."""
    said = f"<strong>{escape(f'{title}: {plan}' if title else str(plan))}</strong>, "
    kinds = []
    if plan.canes:
        kinds.append(f"{plan.canes} x {plan.buds_per_cane} buds on canes (blue, round buds)")
    if plan.spurs:
        kinds.append(
            f"{plan.spurs} x {plan.buds_per_spur} on {spur_word(plan)}s (dashed, square buds)"
        )
    return f"{said}{plan.buds} buds: {'; '.join(kinds)}. "
