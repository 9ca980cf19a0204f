"""What a frost leaves: a forecast in which a block has frozen, and its crop by kind of shoot."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.beliefs import ranges
from cropload.beliefs.result import Forecast


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class FrostedForecast(Forecast):
    """A forecast in which one or more blocks bear what a frost left.

    ``before`` is the forecast without the frost; all else is as in ``Forecast``.
    """

    before: Forecast = None

    @arguments.check_arguments(earlier=arguments.forecast)
    def explain(self, earlier):
        """Split the change since an earlier forecast, with what the frost took on its own rows.

        As ``Forecast.explain``, with the component ``frost`` after the others [t].
        """
        found = self.before.explain(earlier)
        lost = self.centre_tonnes() - self.before.centre_tonnes()
        hit = np.flatnonzero(lost)
        rows = pd.DataFrame(
            {
                "block": [self.blocks[at] for at in hit],
                "component": "frost",
                "change_t": lost[hit],
            }
        )
        frame = pd.concat([found.frame, rows], ignore_index=True) if len(rows) else found.frame
        return replace(found, frame=frame, now_t=self.middle_t())


@dataclass(frozen=True, eq=False)
class AfterFrost:
    """What a count of dead shoots says of a block's crop.

    Attributes
    ----------
    forecast : FrostedForecast
        The season's forecast with the frost in it.
    block : str
        The block.
    shoots_killed, shoots_seen : int
        Counted shoots [1].
    killed : tuple of float
        Low end, middle and high end of the share of shoots killed [1], Wilson range.
    shoots_alike : float
        How much the share's variance is widened because shoots of a vine freeze alike [1].
    before, primary, secondary, total : tuple of float
        Low end, middle and high end of the crop [t]: without frost, of the primary shoots that
        live, of the secondary shoots that take the dead ones' place, and of both.
    late_days : tuple of float
        Days by which the second crop ripens later, low and high [d].
    judge_from : Timestamp or None
        The day from which shoots can be judged; None when the day of the frost was not given.
    notes : tuple of str
        What a reader must know.
    """

    forecast: FrostedForecast
    block: str
    shoots_killed: int
    shoots_seen: int
    killed: tuple
    shoots_alike: float
    before: tuple
    primary: tuple
    secondary: tuple
    total: tuple
    late_days: tuple
    judge_from: pd.Timestamp | None
    notes: tuple

    def table(self):
        """Return one row a part of the crop: part, ``t_p10 _p50 _p90`` [t]."""
        rows = (
            ("without frost", self.before),
            ("primary shoots", self.primary),
            ("secondary shoots", self.secondary),
            ("together", self.total),
        )
        ends = [f"tonnes_{end}" for end in ranges.ENDINGS]
        return pd.DataFrame(
            [{"part": name, **dict(zip(ends, held, strict=True))} for name, held in rows]
        )
