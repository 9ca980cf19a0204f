"""Where the wood of a pruned vine stands, by its training; y runs down from the head at 0, 0."""

import itertools
import math
from dataclasses import dataclass

from cropload.vine.training import HEAD, HEDGE, cane_length_m

#: Least distance between two pieces of wood, and between two wires or rows [SVG units].
_APART, _WIRE, _ROW_GAP = 13.0, 30.0, 10.0
#: First wire above the head where canes are tied [SVG units]; renewal spurs stay below it.
_FIRST_WIRE = 46.0
#: A spur is drawn no longer, so that wood above it stays clear [SVG units].
_SPUR_MOST = 40.0
#: Beyond this many times the distance between vines a cane is drawn cut off.
_MOST_REACH = 1.5
#: Arms of a head reach this far [m], over this angle either way from upright [rad].
_ARM_M, _FAN = 0.22, 1.35


@dataclass(frozen=True)
class Piece:
    """One cane or spur.

    Attributes
    ----------
    kind : str
        ``"cane"`` or ``"spur"``.
    number : int
        Counted from 1 in its wall.
    points, buds : tuple of (float, float)
        Its course from base to tip, and where its buds are [SVG units].
    hidden : int
        Buds that are cut off in the drawing [1].
    """

    kind: str
    number: int
    points: tuple
    buds: tuple
    hidden: int = 0


@dataclass(frozen=True)
class Wood:
    """All wood of one wall: pieces, old wood, stubs of cuts, heights of wires [SVG units].

    ``old`` and ``stubs`` are lines (x1, y1, x2, y2), old wood each with its thickness.
    """

    pieces: tuple
    old: tuple
    stubs: tuple
    wires: tuple

    @property
    def _ends(self):
        lines = [*(points for points, _ in self.old), *self.stubs]
        found = [point for piece in self.pieces for point in piece.points]
        return found + [point for line in lines for point in (line[:2], line[2:])]

    @property
    def left(self):
        """How far it reaches to the left, below 0 [SVG units]."""
        return min(x for x, _ in self._ends) - 6

    @property
    def right(self):
        """How far it reaches to the right [SVG units]."""
        return max(x for x, _ in self._ends) + 6

    @property
    def rise(self):
        """How far it rises above the head [SVG units]."""
        return 6 - min(*(y for _, y in self._ends), *self.wires)


def bearing_wood(plan, canes, spurs, wall_length_m, training, scale):
    """Return where the wood of one wall stands.

    Parameters
    ----------
    plan : PruningPlan
        Buds of a cane and of a spur.
    canes, spurs : int
        Those of this wall [1].
    wall_length_m : float
        Distance between vines [m].
    training : str
        As in table blocks; vines with canes are drawn as canes tied down whatever it says.
    scale : float
        SVG units a metre.

    Returns
    -------
    Wood
    """
    internode = cane_length_m(1)[1] * scale
    spur = min(plan.buds_per_spur * internode, _SPUR_MOST)
    if canes:
        return _canes(plan, canes, spurs, wall_length_m * scale, internode, spur)
    if training == HEAD:
        return _head(plan, spurs, scale, spur)
    return _rows(plan, spurs, wall_length_m * scale, spur, training == HEDGE)


def _spur(plan, number, x, y, length, angle=0.0):
    """Return a spur from a base, leaning by an angle from upright [rad]."""
    way = (math.sin(angle), -math.cos(angle))
    at = [length * bud / plan.buds_per_spur for bud in range(plan.buds_per_spur + 1)]
    points = [(x + way[0] * each, y + way[1] * each) for each in at]
    return Piece("spur", number, (points[0], points[-1]), tuple(points[1:]))


def _canes(plan, canes, spurs, width, internode, spur):
    """Return canes tied along wires each way; the innermost goes to the highest, so none cross."""
    sides = {1: (canes + 1) // 2, -1: canes // 2}
    # A renewal spur for each cane as far as they go; further ones nearest the trunk.
    renewal = min(canes, spurs)
    extra = spurs - renewal
    extras = {1: extra // 2, -1: extra - extra // 2}
    low = {1: min(sides[1], (renewal + 1) // 2), -1: 0}
    low[-1] = renewal - low[1]
    pieces, old, stubs, number, short = [], [], [], 0, 0
    for side in (1, -1):
        x = 12.0
        for _ in range(extras[side]):
            short += 1
            pieces.append(_spur(plan, short, side * x, -2, spur))
            x += _APART
        for place in range(sides[side]):
            if place < low[side]:
                short += 1
                pieces.append(_spur(plan, short, side * x, 0, spur))
                x += _APART
            number += 1
            wire = _FIRST_WIRE + _WIRE * (sides[side] - 1 - place)
            pieces.append(_cane(plan, number, side, x, wire, width, internode))
            x += _APART
        if x > 12.0:
            end = side * (x - _APART)
            old.append(((0.0, 0.0, end, 0.0), 11))
            stubs.append((end, 0.0, end + side * 12, 0.0))
    most = max(sides.values())
    wires = tuple(-_FIRST_WIRE - _WIRE * at for at in range(most))
    return Wood(tuple(pieces), tuple(old), tuple(stubs), wires)


def _cane(plan, number, side, x, wire, width, internode):
    """Return a cane that rises to its wire, bends over a corner and runs along it."""
    corner = min(14.0, wire / 2)
    course = [(x, 0.0), (x, corner - wire), (x + corner, -wire)]
    whole = plan.buds_per_cane * internode
    drawn = min(plan.buds_per_cane, max(4, math.floor(_MOST_REACH * width / internode)))
    course.append((x + whole, -wire))

    def at(length):
        for (x1, y1), (x2, y2) in itertools.pairwise(course):
            part = math.hypot(x2 - x1, y2 - y1)
            if length <= part:
                share = length / part
                return side * (x1 + share * (x2 - x1)), y1 + share * (y2 - y1)
            length -= part
        return side * course[-1][0], course[-1][1]

    tip = drawn * internode
    bends, gone = [(side * x, 0.0)], 0.0
    for (x1, y1), (x2, y2) in itertools.pairwise(course[:3]):
        gone += math.hypot(x2 - x1, y2 - y1)
        if gone < tip:
            bends.append((side * x2, y2))
    buds = tuple(at(bud * internode) for bud in range(1, drawn + 1))
    return Piece("cane", number, (*bends, at(tip)), buds, plan.buds_per_cane - drawn)


def _rows(plan, spurs, width, spur, hedge):
    """Return spurs along arms at the wire; where they do not fit side by side, in rows."""
    room = 0.94 * width
    rows = max(1, math.ceil(spurs * (_APART - 2) / room), 3 if hedge and spurs >= 12 else 1)
    pieces, old, number, base, wires = [], [], 0, -8.0, []
    for row, here in enumerate(_even(spurs, rows)):
        y = base - row * (spur + _ROW_GAP)
        wires.append(y)
        old.append(((-room / 2, y, room / 2, y), 9 if row == 0 else 3))
        for place in range(here):
            number += 1
            x = room * ((place + 0.5) / here - 0.5)
            pieces.append(_spur(plan, number, x, y, spur))
    if rows > 1:
        old.append(((0.0, 0.0, 0.0, wires[-1]), 7))
    stubs = ((room / 2, base, room / 2 + 9, base),)
    return Wood(tuple(pieces), tuple(old), stubs, tuple(wires))


def _even(pieces, rows):
    return [pieces // rows + (row < pieces % rows) for row in range(rows)]


def _head(plan, spurs, scale, spur):
    """Return spurs on short arms about a head, in two rings where one would be crowded."""
    angle = 2 * _FAN / max(spurs - 1, 1)
    near = max(_ARM_M * scale, 2 * _APART / max(angle, 1e-9) if spurs > 4 else 0.0)
    crowded = near * angle < 2 * _APART + 1 and spurs > 4 and near > _ARM_M * scale
    pieces, old, stubs = [], [], []
    for place in range(spurs):
        lean = 0.0 if spurs == 1 else -_FAN + angle * place
        arm = near / 2 if crowded else near
        if crowded and place % 2:
            arm += spur + _ROW_GAP
        x, y = arm * math.sin(lean), -arm * math.cos(lean)
        old.append(((0.0, 0.0, x, y), 6 if spurs <= 16 else 3))
        pieces.append(_spur(plan, place + 1, x, y, spur, lean))
    stubs.append((0.0, 0.0, 16.0, 6.0))
    return Wood(tuple(pieces), tuple(old), tuple(stubs), (0.0,))
