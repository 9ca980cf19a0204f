"""Spring frost, night by night: what lives of each rung of a cane after a season's nights.

Buds burst from the tip of a cane inwards, so on one night the nodes of a vine stand at several
stages. A node is described by its rung: 0 bursts first, the last rung is held back in full. What
lives on a rung does not depend on the plan, so it is worked out once and every plan is a weighted
mean of the rungs: moving a plan's slider costs next to nothing.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from cropload import handbook
from cropload.errors import CroploadError
from cropload.random_streams import stream
from cropload.vine.weather.phenology import BudburstSum, stage_from_leaves
from cropload.vine.weather.settings import CASES
from cropload.vine.weather.station_offset import StationOffset

#: Before burst heat moves buds stage by stage: winter bud 2, swollen bud 3, burst 4.
_BEFORE = 2.0
#: A night on which even the first buds lose less than this, in the mean, is not followed.
_NEGLIGIBLE = 1e-4


@dataclass(frozen=True)
class NodeSurvival:
    """What lives of each rung after one season's nights.

    Attributes
    ----------
    season : int
        Year of harvest [1].
    burst : Timestamp
        Middle date on which the first buds burst.
    primary, secondary : ndarray
        Living share of primary shoots, and of secondary shoots that took a dead one's place [1],
        shape (cases, rungs, draws); rows of a case that was not asked for are missing.
    nights : DataFrame
        Nights that could hurt: date, tmin_c at the station [C], block_c in the block [C].
    stage, killed : ndarray
        Mean stage (modified E-L) of each rung on those nights, and the mean share that the night
        killed of what still lived [1], shape (nights, cases, rungs).
    secondary_share, late_cut_cost : ndarray
        Draws of both settings [1], shape (draws,).
    """

    season: int
    burst: pd.Timestamp
    primary: np.ndarray
    secondary: np.ndarray
    nights: pd.DataFrame
    stage: np.ndarray
    killed: np.ndarray
    secondary_share: np.ndarray
    late_cut_cost: np.ndarray

    def crop_left(self, weights):
        """Return the share of the crop left for weights from `rung_weights` [1], (plans, draws)."""
        living = np.nan_to_num(self.primary) + self.secondary_share * np.nan_to_num(self.secondary)
        plans, cases, rungs = weights.shape
        return weights.reshape(plans, -1) @ living.reshape(cases * rungs, -1)

    def shoots(self, weights):
        """Return living primary and secondary shoots, weighted by crop [1], each (plans, draws)."""
        flat = weights.reshape(weights.shape[0], -1)
        return tuple(
            flat @ np.nan_to_num(part).reshape(flat.shape[1], -1)
            for part in (self.primary, self.secondary)
        )

    def nights_of(self, weights):
        """Return the nights that hurt one plan, in order of date.

        Parameters
        ----------
        weights : ndarray
            One plan's row of `rung_weights`, (cases, rungs).

        Returns
        -------
        DataFrame
            date, tmin_c, block_c [C], stage_first and stage_last of the kept buds (modified E-L),
            killed: mean share of the living primaries that the night killed, by crop [1].
            Nights that kill less than the handbook's ``frost.night_counts`` are left out.
        """
        kept = weights > 0
        out = self.nights.assign(
            stage_first=np.where(kept, self.stage, -np.inf).max(axis=(1, 2)),
            stage_last=np.where(kept, self.stage, np.inf).min(axis=(1, 2)),
            killed=(np.nan_to_num(self.killed) * weights).sum(axis=(1, 2)),
        )
        counts = out["killed"] >= handbook.value("frost.night_counts")
        return out[counts].reset_index(drop=True)


class _Heat:
    """Turns nights and burst days into stages and kills: leaves after burst, swelling before it."""

    #: One coordinate for both sides of burst, leaves above 0 and stages of swelling below it, in
    #: steps so fine that reading the nearest lower one moves LT50 by less than 1 in 200.
    LOWEST, HIGHEST, STEPS = -2.0, 6.0, 256

    def __init__(self, days, draws, curve):
        self.days, self.draws = days, draws
        self.bases = (
            handbook.value("phenology.leaf_base_c"),
            handbook.value("phenology.budburst_base_c"),
        )
        self.pace = 1.0 / draws.leaf_interval, 1.0 / draws.swell_interval
        grid = np.arange(self.LOWEST, self.HIGHEST + 1e-9, 1.0 / self.STEPS)
        stages = self.stage(grid)
        self.log_x50 = curve.log_x50(stages)
        steep = np.interp(stages, curve.stages, curve.steepness)
        self.steepness = steep if np.ptp(steep) > 0 else float(steep[0])

    @staticmethod
    def stage(place):
        return np.where(
            place < 0, np.maximum(4.0 + place, _BEFORE), stage_from_leaves(np.maximum(place, 0))
        )

    def at_burst(self, burst):
        """Return burst days, their span, and leaves and swelling summed until then."""
        marks = (
            self.days.heat_at(burst, base) * pace
            for base, pace in zip(self.bases, self.pace, strict=True)
        )
        return burst, burst.min(), burst.max(), *marks

    def place(self, night, burst):
        """Return leaves (or, below 0, stages short of burst) at dawn of a night."""
        day, earliest, latest, leaf_mark, swell_mark = burst
        leaves = swelling = None
        if night >= earliest:
            leaves = self.days.sums(self.bases[0])[night] * self.pace[0] - leaf_mark
            np.maximum(leaves, 0.0, out=leaves)
        if night < latest:
            swelling = self.days.sums(self.bases[1])[night] * self.pace[1] - swell_mark
            np.minimum(swelling, 0.0, out=swelling)
        if swelling is None or leaves is None:
            return leaves if swelling is None else swelling
        return np.where(night >= day, leaves, swelling)

    def killed(self, temperature_c, place):
        """Return the share killed at a temperature (draws,) and place (..., draws)."""
        step = np.clip((place - self.LOWEST) * self.STEPS, 0, self.log_x50.size - 1).astype(np.intp)
        steep = self.draws.steepness_factor * (
            self.steepness if np.isscalar(self.steepness) else self.steepness[step]
        )
        # log(0) is -inf, so the power is +inf and the share killed exactly 0 at 0 C and above.
        with np.errstate(divide="ignore", over="ignore"):
            log_x = np.log(np.maximum(-temperature_c, 0.0))
            power = self.log_x50[step]
            power += self.draws.lt50_shift - log_x
            power *= steep
            np.exp(power, out=power)
            power += 1.0
            return np.reciprocal(power, out=power)


def last_night(burst, settings):
    """Return the last night of a season that counts as spring frost.

    Parameters
    ----------
    burst : Timestamp
        Budburst of the first buds.
    settings : FrostSettings
        Its ``days_after``.

    Returns
    -------
    Timestamp
        So many days after budburst, or the end of the handbook's ``frost.last_month``.

    Notes
    -----
    Valid for budburst in the spring of its hemisphere, February to June or August to December.
    """
    burst = pd.Timestamp(burst).normalize()
    entry = handbook.entry("frost.last_month")
    month = entry.value if burst.month <= 6 else entry.extra["southern"]
    end = pd.Timestamp(burst.year, int(month), 1) + pd.offsets.MonthEnd(0)
    return min(burst + pd.Timedelta(days=settings.days_after), end)


def node_survival(
    days, burst, *, settings, draws, offset=None, cases=("laid_down",), seed=0, block=""
):
    """Follow what lives on each rung through the nights of one season.

    Parameters
    ----------
    days : SeasonDays
        The season's weather.
    burst : date or BudburstSum
        When the first buds burst: a recorded date, or the heat sum that predicts it.
    settings : FrostSettings
        Delays, kill curve and the rest.
    draws : FrostDraws
        Draws of the settings, common to all seasons and plans.
    offset : StationOffset, optional
        Block less station at night; none when the weather is the block's own.
    cases : sequence of str
        Which of `CASES` to work out.
    seed, block
        Mark the random stream of this season's nights.

    Returns
    -------
    NodeSurvival

    Raises
    ------
    CroploadError
        When weather is missing between the start of summing and the last night, or when the sum is
        never reached.
    """
    offset = offset or StationOffset.none()
    count = draws.delay_chance.size
    noise = stream(seed, block, "burst", days.season).standard_normal(count)
    if isinstance(burst, BudburstSum):
        need = np.maximum(burst.value + burst.spread * noise, 1.0)
        first = days.day_of(need, burst.base_c)
        middle = float(days.day_of(burst.value, burst.base_c))
        if not np.isfinite(middle):
            raise CroploadError(
                f"season {days.season}: the heat sum of {burst.value:g} C d is not "
                "reached within the weather given; check the sum and its base."
            )
        # A draw that would burst past the record meets no frost in it: its last day stands in.
        first = np.minimum(first, days.dates.size)
    else:
        middle = days.index(burst) + 0.5
        first = middle + settings.burst_spread_days * noise
    start = max(int(middle) - settings.days_before, 0)
    stop = min(int(middle) + settings.days_after + 1, days.dates.size)
    if not 0 <= middle < days.dates.size:
        raise CroploadError(f"season {days.season}: budburst lies outside the weather given.")
    stop = min(stop, days.index(last_night(days.date(middle), settings)) + 1)
    if not np.isfinite(days.tmin_c[:stop] + days.tmax_c[:stop]).all():
        raise CroploadError(
            f"season {days.season}: weather is missing before or within the frost "
            "window; fill the hole from a neighbour station, or leave the season "
            "out."
        )
    heat = _Heat(days, draws, settings.curve)
    rungs = np.linspace(0.0, 1.0, settings.gradient_nodes + 1)[:, None]
    first = np.clip(first, 0.0, None)
    burst_of = {
        case: heat.at_burst(first + rungs * settings.delay(case).at(draws.delay_chance))
        for case in cases
    }
    shape = (len(CASES), rungs.size, count)
    primary, secondary = np.full(shape, np.nan), np.full(shape, np.nan)
    for case in cases:
        primary[CASES.index(case)] = 1.0
        secondary[CASES.index(case)] = 0.0
    cohorts, rows, seen = [], [], []
    foremost = heat.at_burst(first)
    mean = offset.mean_c + offset.standard_error_c * draws.offset_z
    coldest = days.lows + mean.min() - 4.0 * offset.spread_c
    for night in np.flatnonzero(coldest[start:stop] < 0) + start:
        date = days.dates[night]
        block_c = days.lows[night] + mean
        if offset.spread_c > 0:
            block_c = block_c + offset.spread_c * stream(seed, block, date).standard_normal(count)
        if heat.killed(block_c, heat.place(night, foremost)).mean() < _NEGLIGIBLE:
            continue
        for lived in cohorts:
            lived[2] *= 1.0 - heat.killed(block_c, heat.place(night, lived[1]))
        rows.append((pd.Timestamp(date), days.lows[night], float(np.median(block_c))))
        stage, killed = np.full((2, *shape[:2]), np.nan)
        dead_now = {}
        for case in cases:
            at = CASES.index(case)
            place = heat.place(night, burst_of[case])
            dead = heat.killed(block_c, place)
            dead_now[at] = primary[at] * dead
            primary[at] -= dead_now[at]
            stage[at], killed[at] = heat.stage(place.mean(axis=-1)), dead.mean(axis=-1)
        seen.append((stage, killed))
        # A secondary bud opens some days after its primary died; it can freeze in its turn.
        if max(dead.mean() for dead in dead_now.values()) < _NEGLIGIBLE:
            for at, dead in dead_now.items():
                secondary[at] += dead
            continue
        opens = np.maximum(night + draws.secondary_burst_days, first)
        cohorts.append([dead_now, heat.at_burst(opens), np.ones(count)])
    for dead_now, _, alive in cohorts:
        for at, dead in dead_now.items():
            secondary[at] += dead * alive
    stage, killed = np.array(seen).swapaxes(0, 1) if seen else np.empty((2, 0, *shape[:2]))
    return NodeSurvival(
        days.season,
        days.date(middle),
        primary,
        secondary,
        pd.DataFrame(rows, columns=["date", "tmin_c", "block_c"]),
        stage,
        killed,
        draws.secondary_share,
        draws.late_cut_cost,
    )
