"""How likely each cause is: all sets of up to two, weighed by what they explain of all cells."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

#: Weight of the scatter expected beside what is left, of all cells and of those of a kind [cells].
_WEIGHT, _KIND_WEIGHT = 2.0, 8.0
#: Rounds in which the scatter of each kind of cells is found, what strays by a cause left out.
_ROUNDS = 3
#: Scatters from its level beyond which a cell says nothing more of the scatter [1].
_FAR = 2.5


@dataclass(frozen=True, eq=False)
class Tried:
    """A cause that may be one.

    kind, name : what it is; ``column`` : (cells,), what it does to each cell for a size of 1 [ln];
    spread : of its size before the records speak [ln]; before : its chance before [1];
    takes : whether its size cannot be below 0.
    """

    kind: str
    name: str
    column: np.ndarray
    spread: float
    before: float
    takes: bool = False

    @property
    def key(self):
        """Its kind and name: columns of one key are ways in which one cause shows."""
        return self.kind, self.name


def weighed(y, sd, kinds, apart, tried):
    """Return the chance and the size of each of some causes, and how alike they look.

    Parameters
    ----------
    y, sd : ndarray, shape (cells,)
        What was seen, and its scatter before the records speak [ln].
    kinds : ndarray, shape (cells,)
        Kind of each cell; the cells of a kind share one scatter.
    apart : ndarray, shape (cells, levels)
        Columns of levels, which say nothing, each of cells of one kind.
    tried : sequence of Tried

    Returns
    -------
    chance, size : ndarray, shape (causes,)
        [1], [ln].
    alike : ndarray, shape (causes, causes)
        Correlation of their columns, levels taken out [1]; 0 of two of one cause.

    Notes
    -----
    Levels have flat priors, sizes normal ones, the scatter a scaled inverse chi-square one. Of two
    columns of one cause at most one is in a set.
    """
    count, nothing = len(tried), np.zeros(len(tried))
    if len(y) < apart.shape[1] + 4 or not count:
        return nothing, nothing, np.zeros((count, count))
    codes, columns = pd.factorize(kinds)[0], np.column_stack([each.column for each in tried])
    spread = np.array([each.spread for each in tried])
    odds = np.array([each.before / (1 - each.before) for each in tried])
    keys = pd.factorize(pd.Series([each.key for each in tried]))[0]
    pairs = np.triu(keys[:, None] != keys, 1)
    seen, free = _without_levels(
        np.column_stack([columns, y]) / sd[:, None], apart / sd[:, None], codes
    )
    # A loss that would have added to the crop was none.
    takes = np.array([each.takes for each in tried])
    odds[takes & (seen[:, :-1].T @ seen[:, -1] <= 0)] = 0.0
    wide = np.ones(len(free))
    for at in range(_ROUNDS + 1):
        # Levels are of one kind each: however wide its scatter, they take out the same.
        x = seen / np.sqrt(wide)[codes, None]
        chance, size, gram = _sets(x[:, :-1], x[:, -1], free.sum(), spread, odds, pairs)
        if at < _ROUNDS:
            left = (seen[:, -1] - seen[:, :-1] @ (chance * size)) ** 2
            # A cell that strays by a cause not yet sure must not hide itself.
            left = np.minimum(left, _FAR**2 * wide[codes])
            wide = (_KIND_WEIGHT + np.bincount(codes, left)) / (_KIND_WEIGHT + free)
    length = np.sqrt(np.maximum(np.diag(gram), 1e-12))
    return chance, size, gram / np.outer(length, length) * (keys[:, None] != keys)


def _without_levels(seen, apart, codes):
    """Return columns with the levels of each kind taken out, and the cells left free of each."""
    seen, free = seen.copy(), np.zeros(codes.max() + 1)
    for kind in range(len(free)):
        rows = codes == kind
        levels = apart[rows][:, (apart[rows] != 0).any(0)]
        basis, values, _ = np.linalg.svd(levels, full_matrices=False)
        basis = basis[:, values > 1e-9 * values.max()]
        seen[rows] -= basis @ (basis.T @ seen[rows])
        free[kind] = rows.sum() - basis.shape[1]
    return seen, free


def _sets(x, y, free, spread, odds, pairs):
    """Return the chance and size of each cause over all sets of up to two, and their products.

    ``free``: cells less levels [1]; ``pairs``: which causes may be in a set, the upper half.
    """
    gram, along, whole = x.T @ x, x.T @ y, float(y @ y)
    own = np.diag(gram) + spread**-2.0
    det = np.outer(own, own) - gram**2
    # Sizes of the first of each pair, the second's being the transpose.
    first = (along[:, None] * own - gram * along) / det
    gains = [np.zeros(1), along**2 / own, (first * along[:, None] + first.T * along)[pairs]]
    log = np.log(spread)
    dets = [np.zeros(1), np.log(own) + 2 * log]
    dets.append((np.log(det) + 2 * (log[:, None] + log))[pairs])
    with np.errstate(divide="ignore"):
        log = np.log(odds)
    before = [np.zeros(1), log, (log[:, None] + log)[pairs]]
    gain, det, before = (np.concatenate(each) for each in (gains, dets, before))
    left = np.maximum(whole - gain, 0.0)
    fit = before - det / 2 - (free + _WEIGHT) / 2 * np.log(_WEIGHT + left)
    weight = np.exp(fit - fit.max())
    weight /= weight.sum()
    alone = weight[1 : len(own) + 1]
    both = np.zeros_like(gram)
    both[pairs] = weight[len(own) + 1 :]
    both = both + both.T
    chance = alone + both.sum(1)
    total = alone * along / own + (both * first).sum(1)
    return chance, total / np.maximum(chance, 1e-12), gram
