"""All that was measured, by block, season and stage, as straight lines with errors."""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Measurements:
    """What was measured, by blocks x seasons; the last season is the one forecast.

    rows : (blocks, seasons, stages, components), coefficients [1]
    values : (blocks, seasons, stages), ln(measured) less the offset [1]; anything where absent
    precision : (blocks, seasons, stages), 1 / sampling variance of ln(measured) [1]; 0 = absent
    mean : (blocks, components), prior means of the logs [1]
    variety : (blocks,), index of the variety
    response : (blocks, seasons, components, responses), shift of each component's log, as
        measured, for each unit of a load response's standard normal [1]
    added : (blocks, seasons, components), variance that single cells add to the residual's [1]
    """

    rows: np.ndarray
    values: np.ndarray
    precision: np.ndarray
    mean: np.ndarray
    variety: np.ndarray
    response: np.ndarray | None = None
    added: np.ndarray | None = None

    def part(self, places):
        """Return the measurements of some blocks."""
        arrays = (self.rows, self.values, self.precision, self.mean, self.variety)
        response = None if self.response is None else self.response[places]
        added = None if self.added is None else self.added[places]
        return Measurements(*(array[places] for array in arrays), response, added)

    def responses(self):
        """Return ``response``, empty where none is given."""
        if self.response is not None:
            return self.response
        blocks, seasons, _, components = self.rows.shape
        return np.zeros((blocks, seasons, components, 0))

    def residual(self, variance):
        """Return the variance of the residual of each cell.

        Parameters
        ----------
        variance : ndarray, shape (seasons, components)
            Of any cell [1].

        Returns
        -------
        ndarray, shape ([blocks, ]seasons, components)
        """
        return variance if self.added is None else variance + self.added

    def varieties(self, spreads):
        """Return how many varieties there are, also those of blocks that are not at hand."""
        if np.ndim(spreads.variety) == 2:
            return len(spreads.variety)
        return int(self.variety.max()) + 1 if len(self.variety) else 0


def whitened(measured):
    """Return the lines of what was measured in units of their errors.

    Returns
    -------
    rows : ndarray, shape (blocks, seasons, stages, components)
        Coefficients over the error [1]; zero where nothing was measured.
    values : ndarray, shape (blocks, seasons, stages)
        What was measured less the prior mean, over the error [1].
    """
    root = np.sqrt(measured.precision)
    residual = measured.values - np.einsum("btsk,bk->bts", measured.rows, measured.mean)
    return measured.rows * root[..., None], np.where(measured.precision > 0, residual * root, 0.0)
