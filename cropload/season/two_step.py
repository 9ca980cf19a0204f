"""Count clusters on many vines and weigh a few on few: the split that takes the least crew time."""

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from cropload import handbook
from cropload.answer import Answer
from cropload.beliefs.counting import checked_confidence
from cropload.errors import CroploadError
from cropload.season.sampling import above, quantile_of, sample_size
from cropload.show.table import NUMBER, WHOLE, Column, Table
from cropload.units import METRIC


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class TwoStepPlan(Answer):
    """Vines to count, vines to weigh on, and the crew time it takes.

    Attributes
    ----------
    frame : DataFrame
        Two rows, counting many and weighing few, and both on the same vines: way, vines_counted,
        vines_weighed, clusters_weighed [1], hours [h].
    vines_counted, vines_weighed, clusters_weighed : int
        Of the two steps [1].
    minutes, one_step_minutes : float
        Crew time of the two steps, and of both on the same vines [min].
    error : float
        Half range reached, relative to the crop of a vine [1].
    confidence : float
        Level of the range [1].
    """

    vines_counted: int
    vines_weighed: int
    clusters_weighed: int
    minutes: float
    one_step_minutes: float
    error: float
    confidence: float

    def heading(self, units=METRIC):
        """Return the plan in one sentence."""
        both = self.frame.iloc[1]
        return (
            f"Count clusters on {self.vines_counted} vines and weigh {self.clusters_weighed} "
            f"clusters from {self.vines_weighed} of them: {self.minutes / 60:.1f} crew hours for "
            f"the crop of a vine within ±{100 * self.error:.1f} % at {100 * self.confidence:g} % "
            f"confidence; counting and weighing on the same {both['vines_counted']} vines takes "
            f"{both['hours']:.1f} hours."
        )

    def tables(self, units=METRIC):
        """Return both ways side by side; the same in any units."""
        columns = [
            (Column("way"), "way"),
            (Column("vines counted", WHOLE), "vines_counted"),
            (Column("vines weighed", WHOLE), "vines_weighed"),
            (Column("clusters weighed", WHOLE), "clusters_weighed"),
            (Column("crew hours", NUMBER), "hours"),
        ]
        return [Table.of("two steps", "", self.frame.to_dict("records"), columns)]

    def plot(self, ax=None, units=METRIC):
        """Draw the crew hours of both ways."""
        from cropload.season.charts import hours_rows

        return hours_rows(self).plot(ax)


def two_step_plan(
    error,
    confidence=0.95,
    population=None,
    *,
    cv_clusters=None,
    cv_weight=None,
    cv_weight_within=None,
    clusters_a_vine=None,
    minutes_count=None,
    minutes_weigh=None,
):
    """Count clusters on many vines, weigh a few on few, for the least crew time.

    Parameters
    ----------
    error : float
        Wanted half range of the crop of a vine, relative [1].
    confidence : float
        Level of the range [1].
    population : int, optional
        Bearing vines of the block [1].
    cv_clusters : float, optional
        CV of clusters between vines [1].
    cv_weight, cv_weight_within : float, optional
        CV of cluster weight between vines and between the clusters of a vine [1].
    clusters_a_vine : int, optional
        Clusters weighed on each vine of the second step [1].
    minutes_count, minutes_weigh : float, optional
        Crew time for a vine of the first and of the second step [min/vine].
        Whatever is left out comes from the handbook (``sampling.*``).

    Returns
    -------
    TwoStepPlan
        Vines and clusters [1], minutes [min], and the error reached [1], beside the time of doing
        both steps on the same vines.

    Raises
    ------
    CroploadError
        A number out of range, or an error that no number of vines reaches.

    Notes
    -----
    Relative variance of the product: ``cv_c**2/n1 (1 - n1/N) + cv_w**2/n2 (1 - n2/N) +
    cv_in**2/(n2 k)``, Student's t with Satterthwaite's degrees of freedom; the least crew time
    over whole vines, near the square-root rule ``n_i ~ cv_i / sqrt(minutes_i)`` (Cochran 1977,
    section 5.5).  Counting many and weighing few follows Wolpert & Vilas (1992).
    Valid where the weight of a cluster does not depend on how many the vine carries; where heavy
    loads have small clusters the true error is a little smaller.
    """
    error = above(error, "The wanted error")
    confidence = checked_confidence(confidence)
    read = handbook.value
    cv_c = above(_or(cv_clusters, "sampling.cv_clusters"), "The CV of clusters", zero=True)
    cv_w = above(_or(cv_weight, "sampling.weight_cv_between_vines"), "The CV of weight", zero=True)
    cv_in = above(
        _or(cv_weight_within, "sampling.cv_cluster_weight_g"), "The CV within vines", zero=True
    )
    each = int(above(_or(clusters_a_vine, "sampling.clusters_weighed_a_vine"), "Clusters a vine"))
    if minutes_weigh is None:
        minutes_weigh = read("sampling.minutes_weigh_vine") + each * read(
            "sampling.minutes_weigh_cluster"
        )
    t_count = above(_or(minutes_count, "sampling.minutes_clusters"), "The minutes to count")
    t_weigh = above(minutes_weigh, "The minutes to weigh")
    most = None if population is None else int(min(above(population, "The number of vines"), 2**53))

    def parts(n1, n2):
        left1, left2 = (1.0, 1.0) if most is None else (1 - n1 / most, 1 - n2 / most)
        first = cv_c**2 / n1 * left1
        second = cv_w**2 / n2 * left2 + cv_in**2 / (n2 * each)
        return first, second

    def half_range(n1, n2, together=False):
        first, second = parts(n1, n2)
        with np.errstate(divide="ignore", invalid="ignore"):
            df = (first + second) ** 2 / (first**2 / (n1 - 1) + second**2 / (n2 - 1))
        df = np.where(np.isnan(df) | together, np.minimum(n1, n2) - 1, df)
        return quantile_of(confidence, df) * np.sqrt(first + second)

    cap = most or _unbounded(error, confidence, cv_c, cv_w, cv_in)
    if cap < 2 or half_range(np.array(cap), np.array(cap)) > error:
        raise CroploadError(
            f"No number of vines reaches +-{100 * error:g} % here; accept a wider error or weigh "
            f"more than {each} clusters on each vine."
        )
    one = _least(lambda n: half_range(n, n, together=True) <= error, np.array([2]), cap)[0]
    low = int(_least(lambda n: half_range(n, np.full_like(n, cap)) <= error, np.array([2]), cap)[0])
    # Past this many counted vines the counting alone would cost more than doing both on `one`.
    high = int(min(cap, max(low, one * (t_count + t_weigh) / t_count)))
    n1 = np.arange(low, high + 1) if high - low < 4000 else np.unique(
        np.geomspace(low, high, 4000).astype(np.int64)
    )  # fmt: skip
    n2 = _least(lambda n: half_range(n1, n) <= error, np.full_like(n1, 2), cap)
    minutes = np.where(half_range(n1, n2) <= error, n1 * t_count + n2 * t_weigh, np.inf)
    best = int(np.argmin(minutes))
    counted, weighed, both = int(n1[best]), int(n2[best]), int(one)
    spent, together = float(minutes[best]), float(one * (t_count + t_weigh))
    rows = [
        ("count many, weigh few", counted, weighed, weighed * each, spent / 60),
        ("both on the same vines", both, both, both * each, together / 60),
    ]
    columns = ["way", "vines_counted", "vines_weighed", "clusters_weighed", "hours"]
    return TwoStepPlan(
        pd.DataFrame(rows, columns=columns),
        vines_counted=counted,
        vines_weighed=weighed,
        clusters_weighed=weighed * each,
        minutes=spent,
        one_step_minutes=together,
        error=float(half_range(n1[best], n2[best])),
        confidence=confidence,
    )


def _or(given, key):
    return handbook.value(key) if given is None else given


def _unbounded(error, confidence, cv_c, cv_w, cv_in):
    """Enough vines for each step alone to reach a twentieth of the wanted error."""
    wide = max(cv_c, math.hypot(cv_w, cv_in))
    return max(10, 20 * sample_size(wide, error, confidence))


def _least(reached, low, cap):
    """Return the smallest whole numbers from ``low`` to ``cap`` for which ``reached`` holds."""
    low, high = low.astype(np.int64), np.full_like(low, cap, dtype=np.int64)
    while (low < high).any():
        middle = (low + high) // 2
        good = reached(middle)
        low, high = np.where(good, low, np.minimum(middle + 1, high)), np.where(good, middle, high)
    return high
