"""What a block has of its own: its answer to the load, its trend, and how much its seasons scatter.

All of it is shrunk. A trend is drawn from a mixture (most blocks have none, some a strong one) and
a scatter from a scaled inverse chi-square. Both are then held as a spread of the block's own, so
that the update stays linear: exact given these spreads, which are plugged in.
"""

from dataclasses import dataclass, replace

import numpy as np

from cropload import handbook
from cropload.beliefs.loads import load_spread
from cropload.beliefs.measurements import whitened
from cropload.beliefs.posterior import covariance_given, without_residual
from cropload.beliefs.spreads import student_width, variances
from cropload.vine.growth import OWN, RESPONSES, STAGES

_TREND = OWN.index("trend")
_HARVEST = STAGES.index("harvest")


@dataclass(frozen=True, eq=False)
class OwnPrior:
    """Spreads of what blocks have of their own, one row a block.

    variances : (blocks, own), of the numbers in ``OWN`` [1]
    scatter : (blocks,), a block's residual variance over its estate's [1]
    widen : (blocks,), standard deviation of the Student distribution of its next residual,
        relative to ``scatter`` [1]
    strong : (blocks,), chance that the block has a strong trend [1]
    estate_trend : standard deviation of the yearly change that all blocks share [1/year]
    """

    variances: np.ndarray
    scatter: np.ndarray
    widen: np.ndarray
    strong: np.ndarray
    estate_trend: float

    @classmethod
    def nothing_seen(cls, load_known):
        """Return what is taken of blocks before any crop is looked at.

        Parameters
        ----------
        load_known : ndarray of bool, shape (blocks,)
            Whether any load is on record.
        """
        none = handbook.value("trend.none_spread") ** 2
        load = np.where(load_known, 0.0, load_spread() ** 2)
        one = np.ones(len(load_known))
        share = np.full(len(load_known), handbook.value("trend.strong_share"))
        widen = one * student_width(handbook.entry("sd.own_scatter").extra["dof"])
        trend = handbook.value("trend.strong_spread")
        return cls(np.column_stack([one, one * none, load]), one, widen, share, trend)

    def part(self, places):
        """Return the same of some blocks."""
        arrays = (self.variances, self.scatter, self.widen, self.strong)
        return OwnPrior(*(array[places] for array in arrays), self.estate_trend)

    def laid(self, whole, places):
        """Return ``whole`` with what is taken here of the blocks at ``places``."""
        names = ("variances", "scatter", "widen", "strong")
        arrays = {name: getattr(whole, name).copy() for name in names}
        for name, array in arrays.items():
            array[places] = getattr(self, name)
        return OwnPrior(**arrays, estate_trend=self.estate_trend)

    def of(self, measured, places):
        """Return measurements of some blocks with what is taken of them here."""
        scatter = np.tile(self.scatter[places, None], (1, measured.rows.shape[1]))
        scatter[:, -1] *= self.widen[places] ** 2
        return replace(measured, own=self.variances[places], scatter=scatter)


def own_prior(measured, learned, posterior, prior):
    """Learn what each block has of its own from the crops it has borne.

    Parameters
    ----------
    measured : Measurements
        Of all blocks; the last season does not speak.
    learned : Learned
        Spreads of the effects.
    posterior : SharedPosterior
        Of what the blocks share.
    prior : OwnPrior
        What is taken before.

    Returns
    -------
    OwnPrior

    Notes
    -----
    What the blocks share is taken at its centre.
    Valid for any number of seasons; with fewer than four nearly nothing is learnt.
    """
    strong, none = (handbook.value(f"trend.{kind}_spread") ** 2 for kind in ("strong", "none"))
    broad = prior.variances.copy()
    broad[:, _TREND] = strong
    wide = replace(measured, own=broad)
    blocks, seasons, k = len(broad), measured.rows.shape[1] - 1, measured.components
    rows, values = whitened(wide)
    variance = variances(learned.spreads, seasons + 1, learned.widen)
    residual = np.broadcast_to(
        wide.residual(variance.residual), (blocks, seasons + 1, rows.shape[-1])
    )
    rows, values, residual = rows[:, :-1], values[:, :-1], residual[:, :-1]
    info, vector = without_residual(rows, values, residual)
    own_cov = covariance_given(info.sum(1), wide.block(variance.block))
    levels, answers = _shared_levels(measured, posterior, seasons, k)
    shift = measured.responses()[:, :-1]
    given = np.einsum("ntkr,nr->ntk", shift, answers)
    given[..., :k] += levels
    told = vector - np.einsum("ntkj,ntj->ntk", info, given)
    own = np.einsum("nkj,nj->nk", own_cov, told.sum(1))

    line = measured.rows[:, :-1, _HARVEST]
    seen = measured.precision[:, :-1, _HARVEST] > 0
    error = measured.values[:, :-1, _HARVEST] - np.einsum("ntk,nk->nt", line, measured.mean)
    error = error - np.einsum("ntk,ntk->nt", line, given + own[:, None])
    noise = 1 / np.where(seen, measured.precision[:, :-1, _HARVEST], 1.0)
    spread = np.einsum("ntk,ntk->nt", line**2, residual) + noise
    squares = np.where(seen, error**2 / spread, 0.0).sum(1)
    leverage = np.einsum("ntk,nkj,ntj->nt", line, own_cov, line) / spread
    left = np.maximum(seen.sum(1) - np.where(seen, leverage, 0.0).sum(1), 0.0)
    dof = handbook.entry("sd.own_scatter").extra["dof"]
    # The squares are those of a block of the estate's own scatter.
    squares = squares * prior.scatter
    scatter = (dof + squares) / (dof + left)

    at = k + _TREND
    precision = np.maximum(1 / own_cov[:, at, at] - 1 / strong, 1e-9)
    slope = own[:, at] / (own_cov[:, at, at] * precision)
    precision = precision * prior.scatter
    error = scatter / precision
    share = _mixture_share(slope, error, strong, none, seen.sum(1) > 0)
    kept = share * strong / (strong + error) + (1 - share) * none / (none + error)
    kept = np.minimum(kept, 0.98)
    found = prior.variances.copy()
    found[:, _TREND] = np.where(seen.any(1), error * kept / (1 - kept), none)
    squares = squares + (slope * (1 - kept)) ** 2 * precision
    dof = dof + np.maximum(left, 0.0)
    scatter = (dof - left + squares) / dof
    lowest, highest = (getattr(handbook.entry("sd.own_scatter"), end) for end in ("low", "high"))
    scatter = np.clip(scatter, lowest**2, highest**2)
    widen = student_width(dof)
    trend = np.sqrt(_estate_trend(posterior, strong, none, prior.estate_trend**2))
    return OwnPrior(found, scatter, widen, share, float(trend))


def _estate_trend(posterior, strong, none, before):
    """Return the variance that stands for the mixture of what all blocks may share [1]."""
    at = posterior.shared.effects + len(RESPONSES)
    variance = float(posterior.root[at] @ posterior.root[at])
    precision = max(1 / variance - 1, 1e-9) / before
    error = 1 / precision
    slope = float(posterior.mean[at]) * np.sqrt(before) / (variance * before * precision)
    seen = np.ones(1, bool)
    share = _mixture_share(np.array([slope]), np.array([error]), strong, none, seen, "estate")
    kept = float(share[0] * strong / (strong + error) + (1 - share[0]) * none / (none + error))
    kept = min(kept, 0.98)
    return error * kept / (1 - kept)


def _shared_levels(measured, posterior, seasons, k):
    """Return the levels of the past seasons and the responses as each block bears them."""
    levels = np.empty((len(measured.variety), seasons, k))
    answers = np.empty((len(measured.variety), posterior.shared.responses))
    for v in np.unique(measured.variety):
        of = measured.variety == v
        local = posterior.shared.laid_out.T @ posterior.local_mean(v)
        levels[of] = local[: seasons * k].reshape(seasons, k)
        answers[of] = local[(seasons + 1) * k :]
    return levels, answers


def _mixture_share(slope, error, strong, none, seen, of="strong"):
    """Return the chance of a strong trend in each block; how usual one is, the estate says too."""
    entry = handbook.entry(f"trend.{of}_share")
    ratio = np.exp(
        0.5 * (np.log((none + error) / (strong + error)))
        + 0.5 * slope**2 * (1 / (none + error) - 1 / (strong + error))
    )
    usual, weight = entry.value, entry.extra["blocks"]
    for _ in range(20):
        share = usual * ratio / (usual * ratio + 1 - usual)
        usual = (weight * entry.value + share[seen].sum()) / (weight + seen.sum())
    return share
