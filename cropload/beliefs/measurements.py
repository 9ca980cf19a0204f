"""All that was measured, by block, season and stage, as straight lines with errors."""

from dataclasses import dataclass, fields

import numpy as np


@dataclass(frozen=True)
class Measurements:
    """What was measured, by blocks x seasons; the last season is the one forecast.

    What a block has of its own follows its components: numbers that no season moves (its answer
    to the load, its trend), so ``state`` is components and then those.

    rows : (blocks, seasons, stages, state), coefficients [1]
    values : (blocks, seasons, stages), ln(measured) less the offset [1]; anything where absent
    precision : (blocks, seasons, stages), 1 / sampling variance of ln(measured) [1]; 0 = absent
    mean : (blocks, state), prior means of the logs [1]
    variety : (blocks,), index of the variety
    response : (blocks, seasons, state, responses), shift of each component's log, as
        measured, for each unit of a load response's standard normal [1]
    added : (blocks, seasons, components), variance that single cells add to the residual's [1]
    own : (blocks, own), variances of what blocks have of their own beside the components [1]
    scatter : (blocks, seasons), how many times the residual variance of all a block's own is [1]
    """

    rows: np.ndarray
    values: np.ndarray
    precision: np.ndarray
    mean: np.ndarray
    variety: np.ndarray
    response: np.ndarray | None = None
    added: np.ndarray | None = None
    own: np.ndarray | None = None
    scatter: np.ndarray | None = None

    @property
    def components(self):
        """How many of the state's numbers are components, which seasons move."""
        return self.rows.shape[-1] - (0 if self.own is None else self.own.shape[1])

    def part(self, places):
        """Return the measurements of some blocks."""
        arrays = (getattr(self, field.name) for field in fields(self))
        return Measurements(*(None if array is None else array[places] for array in arrays))

    def responses(self):
        """Return ``response``, empty where none is given."""
        if self.response is not None:
            return self.response
        blocks, seasons, _, state = self.rows.shape
        return np.zeros((blocks, seasons, state, 0))

    def residual(self, variance):
        """Return the variance of the residual of each cell's state; none of what is its own.

        Parameters
        ----------
        variance : ndarray, shape (seasons, components)
            Of any cell [1].

        Returns
        -------
        ndarray, shape ([blocks, ]seasons, state)
        """
        if self.scatter is not None:
            variance = variance * self.scatter[..., None]
        return self._padded(variance if self.added is None else variance + self.added)

    def block(self, variance):
        """Return the variance of each block's own part, from that of its components.

        Parameters
        ----------
        variance : ndarray, shape (components,)
            Of any block [1].

        Returns
        -------
        ndarray, shape ([blocks, ]state)
        """
        if self.own is None:
            return variance
        own = np.maximum(self.own, 1e-8)
        return np.concatenate([np.broadcast_to(variance, (len(own), len(variance))), own], axis=1)

    def _padded(self, variance):
        more = self.rows.shape[-1] - variance.shape[-1]
        if not more:
            return variance
        return np.concatenate([variance, np.zeros((*variance.shape[:-1], more))], axis=-1)

    def varieties(self, spreads):
        """Return how many varieties there are, also those of blocks that are not at hand."""
        if np.ndim(spreads.variety) == 2:
            return len(spreads.variety)
        return int(self.variety.max()) + 1 if len(self.variety) else 0


def whitened(measured):
    """Return the lines of what was measured in units of their errors.

    Returns
    -------
    rows : ndarray, shape (blocks, seasons, stages, state)
        Coefficients over the error [1]; zero where nothing was measured.
    values : ndarray, shape (blocks, seasons, stages)
        What was measured less the prior mean, over the error [1].
    """
    root = np.sqrt(measured.precision)
    residual = measured.values - np.einsum("btsk,bk->bts", measured.rows, measured.mean)
    return measured.rows * root[..., None], np.where(measured.precision > 0, residual * root, 0.0)
