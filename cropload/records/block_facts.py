"""Facts of blocks that do not change from season to season."""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class BlockFacts:
    """What does not change from season to season, one value a block, in the order of ``blocks``.

    canopy_length_m [m/vine], vines [1] planted, bearing [1] vines, area_ha [ha], year_planted (NaN
    where it is not known).
    """

    names: tuple
    varieties: tuple
    canopy_length_m: np.ndarray
    canopies: np.ndarray
    vines: np.ndarray
    bearing: np.ndarray
    area_ha: np.ndarray
    year_planted: np.ndarray

    def place(self, block):
        """Return the place of a block by name."""
        return self.names.index(block)

    def part(self, places):
        """Return the facts of some blocks, by place."""
        return BlockFacts(
            tuple(self.names[at] for at in places),
            tuple(self.varieties[at] for at in places),
            self.canopy_length_m[places],
            self.canopies[places],
            self.vines[places],
            self.bearing[places],
            self.area_ha[places],
            self.year_planted[places],
        )


def block_facts(records):
    """Return the fixed facts of every block.

    Notes
    -----
    Bearing vines are planted vines less the missing ones; a missing vine is never a zero in a
    sample.
    """
    blocks = records.blocks
    canopies = blocks["canopies"].fillna(1).to_numpy(float)
    vines = blocks["vines"].to_numpy(float)
    spacing = blocks["vine_spacing_m"].to_numpy(float)
    area = vines * spacing * blocks["row_spacing_m"].to_numpy(float) / 10_000
    given = blocks["area_ha"].to_numpy(float)
    return BlockFacts(
        names=tuple(str(name) for name in blocks["block"]),
        varieties=tuple(str(name) for name in blocks["variety"]),
        canopy_length_m=spacing * canopies,
        canopies=canopies,
        vines=vines,
        bearing=vines * (1 - blocks["missing_pct"].fillna(0).to_numpy(float) / 100),
        area_ha=np.where(np.isnan(given), area, given),
        year_planted=blocks["year_planted"].to_numpy(float),
    )
