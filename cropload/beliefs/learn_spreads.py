"""Learning of spreads: how much blocks and seasons differ, from the records and the handbook."""

from dataclasses import dataclass, replace

import numpy as np

from cropload.beliefs.measurements import Measurements, whitened
from cropload.beliefs.posterior import covariance_given, without_blocks, without_residual
from cropload.beliefs.spreads import Learned, Variances, student_width, variances

#: Spreads are learnt from at most so many blocks, evenly taken: more hardly sharpen them.
_TEACHERS = 400

#: Longest step on the log scale, and earlier steps that the mixing looks at.
_STRIDE, _DEPTH = 0.5, 10


def teachers(precision, most=_TEACHERS):
    """Return the places of the blocks that spreads are learnt from.

    Parameters
    ----------
    precision : ndarray, shape (blocks, seasons, stages)
        As in ``Measurements``; a block where nothing was measured teaches nothing.
    most : int
        How many of them at most, evenly taken [1].
    """
    places = np.flatnonzero((precision > 0).any((1, 2)))
    if len(places) > most:
        places = places[np.linspace(0, len(places) - 1, most).round().astype(int)]
    return places


@dataclass(frozen=True)
class _Lesson:
    """The whitened lines of the blocks that teach, without what none of them measures.

    lines : Measurements, whitened, of the seasons, stages and state that speak
    shift : as ``Measurements.response`` of these
    members : places of the blocks of each variety
    speaks : (components,), which components the lines are about
    """

    lines: Measurements
    shift: np.ndarray
    members: tuple
    speaks: np.ndarray


def _lesson(measured):
    rows, values = whitened(measured)
    seasons = (measured.precision > 0).any((0, 2))
    stages = (measured.precision > 0).any((0, 1))
    state = (rows != 0).any((0, 1, 2))
    speaks, own = state[: measured.components], state[measured.components :]
    shift = measured.responses()[:, seasons][:, :, state]
    lines = replace(
        measured,
        rows=rows[:, seasons][:, :, stages][..., state],
        values=values[:, seasons][..., stages],
        response=shift,
        added=None if measured.added is None else measured.added[:, seasons][..., speaks],
        own=None if measured.own is None else measured.own[:, own],
        scatter=None if measured.scatter is None else measured.scatter[:, seasons],
    )
    members = tuple(np.flatnonzero(measured.variety == v) for v in np.unique(measured.variety))
    return _Lesson(lines, shift, members, speaks)


def _part(spreads, lesson):
    """Return the variances of the lesson's seasons and components."""
    at = lesson.speaks
    some = replace(
        spreads,
        sd=spreads.sd[:, at],
        variety=np.atleast_2d(spreads.variety)[:, at],
        estate=None if spreads.estate is None else spreads.estate[at],
    )
    return variances(some, lesson.lines.rows.shape[1])


def _every_season(variance, seasons):
    """Return the covariance of levels that an effect moves by the same in every season."""
    return np.kron(np.ones((seasons, seasons)), np.diag(variance))


def _diagonal_of_levels(by_season, responses):
    return np.concatenate([by_season.ravel(), np.zeros(responses)])


def _varieties_prior(variance, variety, responses):
    """Return the prior covariance of what a variety adds to the levels of its seasons."""
    seasons = len(variance.variety_season)
    levels = np.diag(_diagonal_of_levels(variance.variety_season, responses))
    own = variance.variety[min(variety, len(variance.variety) - 1)]
    end = seasons * len(own)
    levels[:end, :end] += _every_season(own, seasons)
    return levels


def _effects(lesson, variance: Variances, varieties):
    """Return what is found of the effects under given variances, for each group of ``GROUPS``.

    Returns
    -------
    squares : ndarray, shape (groups, components)
        Summed squares of the effects' posterior means [1].
    known : ndarray, shape (groups, components)
        Effective number of effects seen: how much of their prior variance is gone [1].
    """
    lines = lesson.lines
    # What single cells add is known: it belongs to the noise, not to the residual that is learnt.
    info, vector = without_residual(lines.rows, lines.values, lines.residual(variance.residual))
    seasons, k = vector.shape[1], lines.components
    levels, r = seasons * k, lesson.shift.shape[-1]
    block = covariance_given(info.sum(1), lines.block(variance.block))
    squares, known = np.zeros((4, k)), np.zeros((4, k))

    # First each variety, then the levels and responses that all share, in the same way.
    one = np.eye(levels + r)
    prior = one.copy()
    prior[:levels, :levels] = _every_season(variance.estate, seasons)
    prior[:levels, :levels] += np.diag(variance.season.ravel())
    prior = np.linalg.inv(prior)
    precision, right, by_variety = prior.copy(), 0.0, []
    for members, variety in zip(lesson.members, varieties, strict=True):
        square, vec, load = without_blocks(
            info[members], vector[members], block[members], lesson.shift[members], k
        )
        added = _varieties_prior(variance, variety, r)
        # What the variety adds is normal with covariance G: information C becomes C (1 + G C)^-1.
        share = np.linalg.solve(one + square @ added, np.column_stack([square, vec]))
        by_variety.append((members, square, vec, load, added, share[:, :-1], share[:, -1]))
        precision += share[:, :-1]
        right = right + share[:, -1]
    covariance = np.linalg.inv(precision)
    covariance = (covariance + covariance.T) / 2
    mean = covariance @ right
    # Of a level that all share, the season has what the estate has not.
    season = variance.season.ravel()[:, None] * prior[:levels, :levels]
    squares[1] = ((season @ mean[:levels]).reshape(seasons, k) ** 2).sum(0)
    gone = np.diag(season) - np.einsum(
        "ij,jk,ik->i", season, covariance[:levels, :levels], prior[:levels, :levels]
    )
    known[1] = gone.reshape(seasons, k).sum(0)

    for members, square, vec, load, added, share, alone in by_variety:
        both = _diagonal_of_levels(variance.variety_season, r)
        left = both * (alone - share @ mean)
        squares[2] += (left[:levels].reshape(seasons, k) ** 2).sum(0)
        gone = both * np.diag(share - share @ covariance @ share)
        known[2] += gone[:levels].reshape(seasons, k).sum(0)

        # The levels of this variety: what all share, and what the variety adds to it.
        held = np.linalg.solve(one + added @ square, added)
        turn = one - held @ square
        level = turn @ mean + held @ vec
        level_cov = turn @ covariance @ turn.T + (held + held.T) / 2
        arrays = (info, vector, block)
        groups = _of_blocks(lesson, members, arrays, load, level, level_cov, variance)
        for group, (part_squares, part_known) in zip((0, 3), groups, strict=True):
            squares[group] += part_squares
            known[group] += part_known
    return squares, known


def _of_blocks(lesson, members, arrays, load, level, level_cov, variance):
    """Return squares and known of the own parts and of the residuals of one variety's blocks."""
    info, vector, block = (array[members] for array in arrays)
    shift, lines = lesson.shift[members], lesson.lines.part(members)
    blocks, seasons, state = vector.shape
    k = lines.components
    levels = seasons * k
    own = np.einsum("nkj,nj->nk", block, vector.sum(1)) + load @ level
    through = load @ level_cov
    own_cov = through @ np.swapaxes(load, 1, 2) + block
    gone = 1 - np.einsum("nkk->nk", own_cov)[:, :k] / variance.block
    of_own = (own[:, :k] ** 2).sum(0), gone.sum(0)

    # The state of a block in a season, and its variance: level, response, own, and their products.
    here = own[:, None] + shift @ level[levels:]
    here[..., :k] += level[:levels].reshape(seasons, k)
    response = level_cov[:levels, levels:].reshape(seasons, k, -1)
    turned = np.swapaxes(shift, -1, -2)
    half = np.tile(own_cov[:, None] / 2, (1, seasons, 1, 1))
    half += (0.5 * shift @ level_cov[levels:, levels:]) @ turned
    half += through[:, None, :, levels:] @ turned
    half[..., :k, :] += response @ turned
    half[..., :k] += np.swapaxes(through[..., :levels].reshape(blocks, state, seasons, k), 1, 2)
    for t in range(seasons):
        half[:, t, :k, :k] += level_cov[t * k : t * k + k, t * k : t * k + k] / 2
    base = lines.residual(variance.residual)
    base = np.broadcast_to(base, (blocks, seasons, state))[..., :k]
    if lines.added is not None:
        base = base - lines.added
    info = info[..., :k, :]
    residual = base * (vector[..., :k] - np.einsum("ntkj,ntj->ntk", info, here))
    gain = base[..., None] * info
    seen = np.einsum("ntkj,ntjl,ntkl->ntk", gain, half, gain)
    gone = np.einsum("ntkk->ntk", gain[..., :k]) - 2 * seen / base
    # A block whose seasons scatter more tells of the spread in its own measure.
    scale = 1.0 if lines.scatter is None else lines.scatter[..., None]
    return of_own, ((residual**2 / scale).sum((0, 1)), gone.sum((0, 1)))


def learn_spreads(measured, spreads, *, widest=np.inf, iterations=100, tolerance=1e-5, start=None):
    """Estimate the spreads of the random effects: the mode of their posterior.

    Parameters
    ----------
    measured : Measurements
        What was measured.
    spreads : Spreads
        Prior spreads [1], with their degrees of freedom (scaled inverse chi-square).
    widest : float
        A spread is at most so many times its prior one [1].
    iterations : int
        Most steps [1].
    start : Spreads, optional
        Where to start from; the prior ones by default.
    tolerance : float
        The estimate is settled when no more than so much log density is left to gain [1].

    Returns
    -------
    Learned

    Notes
    -----
    With prior degrees of freedom of zero this is the restricted maximum likelihood estimate.
    A group that the records say nothing about keeps its prior spread.
    Each step is that of MacKay (1992, Neural Computation 4:415), which rests where
    expectation-maximisation rests and comes there sooner; steps are mixed as Anderson (1965, J. ACM
    12:547) does, and a mixed step that leads downhill is taken back.
    So few effects leave a spread uncertain, and ranges are widened for it: see ``student_width``.
    The chain is made linear near the handbook's means. Records that contradict it (copies of a
    few blocks, say) can pull a spread so far off that the straight line means nothing any more,
    and crops with it: hence ``widest``.
    Blocks without a measurement teach nothing, and of very many every second or third is taken.
    Valid for any number of blocks and seasons, including none.
    """
    measured = measured.part(teachers(measured.precision))
    known = np.zeros_like(spreads.sd)
    now = spreads
    if (measured.precision > 0).any():
        lesson = _lesson(measured)
        varieties = np.unique(measured.variety)
        sd, seen = _climb(
            lesson, spreads, start or spreads, varieties, widest, iterations, tolerance
        )
        now = replace(spreads, sd=sd)
        known[:, lesson.speaks] = seen
    known = np.clip(known, 0, None)
    # With fewer than five the mean hangs on tails that no vineyard has.
    own = spreads.dof if not spreads.common else spreads.common + known.sum(1, keepdims=True)
    dof = np.maximum(np.minimum(spreads.dof + known, own), 5.0)
    return Learned(now, known, student_width(dof))


def _climb(lesson, spreads, start, varieties, widest, iterations, tolerance):
    """Return the spreads at the top of their posterior, and what is known there."""
    at = lesson.speaks
    dof = spreads.dof[:, at]
    centre = dof * spreads.sd[:, at] ** 2
    sd = np.maximum(spreads.sd, 1e-6)
    mixed = _Mixing(np.log(sd[:, at]), np.log(widest), np.log(np.maximum(start.sd[:, at], 1e-6)))
    for _ in range(iterations):
        sd = sd.copy()
        sd[:, at] = np.exp(mixed.place)
        squares, known = _effects(lesson, _part(replace(spreads, sd=sd), lesson), varieties)
        known = np.maximum(known, 1e-12)
        ratio = centre / sd[:, at] ** 2
        total = ratio * _common(ratio, dof, spreads.common) + squares / sd[:, at] ** 2
        weight = dof + known
        slope = total - weight
        if not mixed.uphill(slope):
            continue
        left = np.where((mixed.place >= mixed.top) & (slope > 0), 0.0, slope)
        if (left**2 / (4 * weight)).sum() < tolerance:
            break
        step = 0.5 * np.log(np.maximum(total, 1e-12) / weight)
        mixed.go(np.clip(step, -_STRIDE, _STRIDE), slope)
    return sd, known


def _common(ratio, dof, common):
    """Return how far the prior variances of each group are moved together, (groups, 1) [1].

    Crops tell little of how a spread is shared out between the components, and much of their sum.
    """
    if not common:
        return 1.0
    whole = dof.sum(1, keepdims=True) + common
    return whole / (ratio.sum(1, keepdims=True) + common)


class _Mixing:
    """A place on the log scale that goes on by steps mixed with those before.

    ``room``: how far above the ``prior`` place it may go [1].
    """

    def __init__(self, prior, room, place):
        self.top = np.maximum(prior, np.log(1e-6)) + room
        self.place = self._inside(place)
        self.places, self.steps, self.last = [], [], None

    def uphill(self, slope):
        """Return whether the last step led uphill; take a mixed one back, and step plainly."""
        if self.last is None:
            return True
        before, step, slope_before = self.last
        self.last = None
        # The slope at both ends tells the gain without the density itself.
        if ((slope + slope_before) * (self.place - before)).sum() >= 0:
            return True
        self.place = before + step
        self.places, self.steps = [], []
        return False

    def go(self, step, slope):
        """Go on from here, where the plain step would be ``step``."""
        before = self.place
        self.places = [*self.places, before.ravel()][-_DEPTH - 1 :]
        self.steps = [*self.steps, step.ravel()][-_DEPTH - 1 :]
        if len(self.steps) > 1:
            change = np.diff(self.steps, axis=0)
            weights = np.linalg.lstsq(change.T, self.steps[-1], rcond=1e-8)[0]
            back = (np.diff(self.places, axis=0) + change).T @ weights
            mixed = np.clip(step - back.reshape(step.shape), -2 * _STRIDE, 2 * _STRIDE)
            self.last = (before, step, slope)
            self.place = before + mixed
        else:
            self.place = before + step
        self.place = self._inside(self.place)

    def _inside(self, place):
        return np.clip(place, np.log(1e-6), self.top)
