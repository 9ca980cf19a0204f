"""What a cold night does to a shoot: the share killed, by stage and temperature."""

from dataclasses import dataclass

import numpy as np

from cropload import handbook
from cropload.errors import CroploadError


@dataclass(frozen=True)
class KillCurve:
    """Share of shoots killed by a night, by stage.

    The share is ``x**k / (x**k + x50**k)`` with ``x`` the degrees below 0 C, ``x50`` the degrees
    below 0 C that kill half, and ``k`` the steepness.
    So half die at LT50 whatever the steepness, none at 0 C or above, and the span between 10 and
    90 % killed narrows as shoots grow more tender, as the published pairs do.

    Attributes
    ----------
    stages : tuple of float
        Stages of the modified E-L scale [1], rising.
    lt50_c : tuple of float
        Temperature that kills half at each stage [C], below 0.
    steepness : tuple of float
        ``k`` at each stage [1]; one value stands for all.
    name : str
        What the curve was read from.

    Raises
    ------
    CroploadError
        When stages do not rise, an LT50 is not below 0 C, or a steepness is not positive.

    Notes
    -----
    Valid for the temperature of the tissue on one night of some hours, between the first and the
    last stage of the table; outside it the nearest stage's value is kept.
    Between two stages LT50 runs evenly on the scale of its logarithm.
    The steepness for vinifera is an assumption, hence a setting with a spread.
    """

    stages: tuple
    lt50_c: tuple
    steepness: tuple
    name: str = ""

    def __post_init__(self):
        stages, lt50 = np.asarray(self.stages, float), np.asarray(self.lt50_c, float)
        steep = np.atleast_1d(np.asarray(self.steepness, float))
        if stages.ndim != 1 or stages.size != lt50.size or np.any(np.diff(stages) <= 0):
            raise CroploadError("a kill curve needs one LT50 for each stage, with stages rising.")
        if not np.all(np.isfinite(lt50)) or np.any(lt50 >= 0):
            raise CroploadError(
                "every LT50 must lie below 0 C: check the sign, and that the values"
                " are in degrees Celsius."
            )
        if steep.size not in (1, stages.size) or not np.all(steep > 0):
            raise CroploadError("the steepness is one positive number, or one for each stage.")
        object.__setattr__(self, "stages", tuple(stages.tolist()))
        object.__setattr__(self, "lt50_c", tuple(lt50.tolist()))
        object.__setattr__(self, "steepness", tuple(np.broadcast_to(steep, stages.shape).tolist()))

    @classmethod
    def from_handbook(cls):
        """Return the handbook's curve: Pinot noir, with the winter bud added below it."""
        table, steep = handbook.entry("frost.lt50_c"), handbook.entry("frost.steepness")
        return cls(tuple(table.extra["stages"]), tuple(table.value), (steep.value,), "Pinot noir")

    def log_x50(self, stage):
        """Return the logarithm of the degrees below 0 C that kill half at a stage."""
        return np.interp(stage, self.stages, np.log(-np.asarray(self.lt50_c)))

    def lt50(self, stage):
        """Return the temperature that kills half at a stage [C]."""
        return -np.exp(self.log_x50(stage))

    def killed(self, temperature_c, stage):
        """Return the share of shoots killed [1].

        Parameters
        ----------
        temperature_c : array_like
            Temperature at the shoot [C].
        stage : array_like
            Modified E-L stage [1]; shapes are broadcast.
        """
        cold = np.maximum(-np.asarray(temperature_c, float), 0.0)
        # log(0) is -inf, so the share killed is exactly 0 at 0 C and above.
        with np.errstate(divide="ignore", over="ignore"):
            power = (self.log_x50(stage) - np.log(cold)) * np.interp(
                stage, self.stages, self.steepness
            )
            return 1.0 / (1.0 + np.exp(power))


def crop_index_after_kill(killed, secondary_share):
    """Return the crop left when a counted share of shoots is dead, frost-free crop = 1.

    Parameters
    ----------
    killed : array_like
        Share of primary shoots killed [1].
    secondary_share : array_like
        Yield of a secondary shoot relative to a primary's [1].

    Notes
    -----
    ``1 - killed * (1 - secondary_share)``; Chardonnay with 33 and 3 % killed and a share of 0.32
    gives 0.776 and 0.980 (Friend et al. 2011).
    Valid when every killed shoot is replaced by its secondary, and nothing else makes up for it.
    """
    killed, share = np.asarray(killed, float), np.asarray(secondary_share, float)
    if np.any((killed < 0) | (killed > 1)) or np.any((share < 0) | (share > 1)):
        raise CroploadError("the killed share and the secondary share lie between 0 and 1.")
    return 1.0 - killed * (1.0 - share)
