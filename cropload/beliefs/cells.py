"""A number for each block and season, so that rows are reduced by arrays and not by names."""

import numpy as np

from cropload.errors import CroploadError
from cropload.records.facts import latest


class Cells:
    """The blocks and seasons of some tables, numbered season by season, block after block.

    Parameters
    ----------
    facts : BlockFacts
        Fixed facts of the blocks.
    *tables : DataFrame
        Tables with columns block and season, all of whose blocks are known.
    """

    def __init__(self, facts, *tables):
        years = [table["season"].to_numpy(int) for table in tables if len(table)]
        self.names = facts.names
        self._places = {name: at for at, name in enumerate(facts.names)}
        # What is pruned grew in the season before.
        self._first = min((int(each.min()) for each in years), default=0) - 1
        last = max((int(each.max()) for each in years), default=self._first)
        self.seasons = last - self._first + 1
        self.count = len(facts.names) * self.seasons

    def of(self, frame):
        """Return the cell of each row of a frame with block and season, (rows,) of int.

        Raises
        ------
        CroploadError
            For a block that table blocks does not have.
        """
        place = frame["block"].map(self._places).to_numpy(float)
        if np.isnan(place).any():
            name = frame["block"].iloc[int(np.isnan(place).argmax())]
            raise CroploadError(
                f"The records tell of block '{name}', which table blocks does not have. Add it "
                "there, or leave its rows out."
            )
        place = place.astype(int)
        return place * self.seasons + (frame["season"].to_numpy(int) - self._first)

    def place(self, cell):
        """Return the places of the blocks of cells."""
        return cell // self.seasons

    def season(self, cell):
        """Return the seasons of cells, years of harvest."""
        return cell % self.seasons + self._first

    def before(self, cell):
        """Return the cells of the season before."""
        return cell - 1

    def name(self, cell):
        """Return a cell as (block, season)."""
        return self.names[self.place(cell)], int(self.season(cell))

    def spread_out(self, table):
        """Return a Series by block and season as an array, (cells,), 0 elsewhere; None is none."""
        values = np.zeros(self.count)
        if table is not None:
            values[self.of(table.index.to_frame())] = table.to_numpy(float)
        return values

    def latest(self, cell, dates):
        """Return the latest of the dates of each cell, (cells,) of datetime64, NaT where none."""
        return latest(cell, dates, self.count)
