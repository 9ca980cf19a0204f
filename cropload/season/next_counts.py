"""What to count next: the tonnes of range that one more crew hour would remove."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.answer import Answer
from cropload.beliefs.result import Forecast
from cropload.errors import CroploadError, choose
from cropload.season.narrowing import Narrowing, still_counts, vine_minutes, vines_measured
from cropload.season.tables import counts_table
from cropload.season.words import next_sentence
from cropload.units import METRIC

#: What a crew can measure, in the order of the season, with the words for it.
COUNTABLE = {
    "buds": "count buds",
    "shoots": "count shoots",
    "clusters": "count clusters",
    "weight_lag": "weigh clusters at lag phase",
    "weight_veraison": "weigh clusters at veraison",
    "weight_harvest": "weigh clusters before picking",
}


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class NextCounts(Answer):
    """What a crew could count next, best first.

    Attributes
    ----------
    frame : DataFrame
        block, what, words, vines [1], hours [h], range_now_t, range_after_t and removed_t [t],
        removed_t_per_hour [t/h], counted, vines already measured [1].
    forecast : Forecast
        The forecast as it stands.
    of : str
        The total whose range matters.
    hours : float
        Crew hours asked for [h].
    """

    forecast: Forecast
    of: str
    hours: float

    def heading(self, units=METRIC):
        """Return how wide the range is, and the best count."""
        return next_sentence(self, units)

    def tables(self, units=METRIC):
        """Return the ranking; the same in any units."""
        return [counts_table(self)]

    def plot(self, ax=None, units=METRIC):
        """Draw what the best counts take off the range."""
        from cropload.season.charts import counts_rows

        return counts_rows(self, units).plot(ax)


def _stages_open(forecast, block):
    """Return the stages a crew could measure in a block now: where the season is, and the next."""
    order = list(COUNTABLE)
    here = forecast.estate.measured
    here = here[here["season"] == forecast.season]
    seen = [order.index(stage) for stage in set(here["stage"]) if stage in order]
    if not seen:
        return order[:2]
    at = max(seen)
    done = set(here[here["block"] == block]["stage"])
    current = order[at : at + 2]
    # Weights say little of a block whose clusters nobody has counted.
    if at > order.index("clusters") and "clusters" not in done:
        current = ["clusters", *current]
    return current


@arguments.check_arguments(
    forecast=arguments.forecast,
    hours=arguments.number(0, above=True, unit="h"),
    of=arguments.text,
    what=arguments.optional(arguments.each(arguments.text)),
)
def next_counts(forecast, *, hours=1.0, of="estate", what=None):
    """Rank what a crew could count next by the range it would take off a total.

    Parameters
    ----------
    forecast : Forecast
        The forecast as it stands.
    hours : float
        Crew hours to spend on one block and measure [h].
    of : str
        The total whose range matters: ``"estate"``, or the name of a variety.
    what : sequence of str, optional
        Measures to consider, keys of ``COUNTABLE``; those that the season has reached, and the
        next one, when left out.

    Returns
    -------
    NextCounts

    Raises
    ------
    CroploadError
        For hours, a total or a measure that cannot be.

    Notes
    -----
    Computed without waiting for the count; see ``Narrowing``.
    Blocks that have been picked or are too young to bear, and vines beyond those that bear, are
    left out.
    Valid for ranges up to about a factor of two either way.
    """
    if not np.isfinite(hours) or hours <= 0:
        raise CroploadError(f"Crew hours must be above 0, not {hours!r}.")
    wanted = list(COUNTABLE) if what is None else [what] if isinstance(what, str) else list(what)
    for word in wanted:
        if word not in COUNTABLE:
            raise CroploadError(f"'{word}' cannot be counted. {choose(word, COUNTABLE)}")
    measured, open_ones = vines_measured(forecast), still_counts(forecast)
    tasks, vines = [], []
    for b, block in enumerate(forecast.blocks):
        if not open_ones[b]:
            continue
        for stage in _stages_open(forecast, block) if what is None else wanted:
            most = max(forecast.bearing[b] - measured.get((block, stage), 0.0), 0)
            number = int(min(int(hours * 60 // vine_minutes(stage)), most))
            if number >= 1:
                tasks.append((block, stage))
                vines.append(number)
    narrowing = Narrowing(forecast, tasks, of)
    after = narrowing.alone(np.array(vines, float))
    rows = []
    for (block, stage), number, left in zip(tasks, vines, after, strict=True):
        spent = number * vine_minutes(stage) / 60
        rows.append(
            {
                "block": block,
                "what": stage,
                "words": COUNTABLE[stage],
                "vines": number,
                "hours": spent,
                "range_now_t": narrowing.now,
                "range_after_t": left,
                "removed_t": narrowing.now - left,
                "removed_t_per_hour": (narrowing.now - left) / spent,
                "counted": round(measured.get((block, stage), 0.0)),
            }
        )
    columns = ["block", "what", "words", "vines", "hours", "range_now_t", "range_after_t"]
    columns += ["removed_t", "removed_t_per_hour", "counted"]
    frame = pd.DataFrame(rows, columns=columns).sort_values(
        ["removed_t_per_hour", "block", "what"], ascending=[False, True, True], kind="stable"
    )
    return NextCounts(
        frame.reset_index(drop=True), forecast.notes, forecast=forecast, of=of, hours=hours
    )
