"""Settings of the spring-frost model, each with its spread, and the draws made from them."""

import unicodedata
from dataclasses import dataclass, fields, replace

import numpy as np

from cropload import handbook
from cropload.errors import CroploadError, near
from cropload.random_streams import stream
from cropload.vine.weather.kill import KillCurve

#: How the wood stands while the first buds push.  Never one number for both.
CASES = ("laid_down", "upright_until_final_cut")


@dataclass(frozen=True)
class Spread:
    """A number that is known only within a range: drawn from a triangle low - value - high."""

    low: float
    value: float
    high: float

    def __post_init__(self):
        if not (
            np.isfinite([self.low, self.value, self.high]).all()
            and self.low <= self.value <= self.high
        ):
            raise CroploadError(
                f"a setting needs low <= value <= high; got {self.low}, {self.value}, {self.high}."
            )

    @classmethod
    def of(cls, number):
        """Take a Spread, a pair (low, high), a triple (low, value, high) or an exact number."""
        if isinstance(number, cls):
            return number
        given = np.atleast_1d(np.asarray(number, float))
        if given.size == 1:
            return cls(*np.repeat(given, 3).tolist())
        if given.size == 2:
            return cls(float(given[0]), float(given.mean()), float(given[1]))
        return cls(*given.tolist())

    @classmethod
    def from_handbook(cls, key):
        """Return the handbook's value and range."""
        entry = handbook.entry(key)
        return cls(
            entry.value if entry.low is None else entry.low,
            entry.value,
            entry.value if entry.high is None else entry.high,
        )

    def at(self, chance):
        """Return the value below which a share ``chance`` of the triangle lies (its quantile)."""
        low, mode, high = self.low, self.value, self.high
        if high <= low:
            return np.full(np.shape(chance), mode)
        rise = (mode - low) / (high - low)
        up = low + np.sqrt(np.maximum(chance * (high - low) * (mode - low), 0.0))
        down = high - np.sqrt(np.maximum((1 - chance) * (high - low) * (high - mode), 0.0))
        return np.where(chance < rise, up, down)


def secondary_share(variety=None):
    """Return the yield of a secondary shoot relative to a primary's [1], as a Spread.

    Parameters
    ----------
    variety : str, optional
        The variety's published share when there is one, else the handbook's wide default.
    """
    named = {}
    for key in handbook.keys("frost.secondary_share."):
        names = (key.rsplit(".", 1)[1], *handbook.entry(key).extra.get("aliases", ()))
        named |= {_plain(name): key for name in names}
    key = named.get(_plain(variety or "default"), "frost.secondary_share.default")
    return Spread.from_handbook(key)


def _plain(name):
    """Fold case, accents and marks, so that a variety is found however it is written."""
    letters = unicodedata.normalize("NFKD", str(name).casefold())
    return "".join(letter for letter in letters if letter.isalnum())


@dataclass(frozen=True)
class FrostSettings:
    """Everything the frost model assumes; start from `from_handbook` and change what you know.

    Attributes
    ----------
    curve : KillCurve
        Share killed by stage and temperature.
    lt50_spread, steepness_spread : float
        Standard deviation of the logarithm of LT50's degrees below 0 C, and of the steepness [1].
    delay_laid_down : Spread
        Days by which a basal bud bursts after the terminal one on a cane tied down in winter [d].
    delay_upright : Spread
        Days by which buds kept at a late final cut burst later [d].
    late_cut_cost : Spread
        Share of a frost-free crop that a late final cut costs [1].
    gradient_nodes : int
        Nodes from the tip after which the delay is full [1].
    upright_none, upright_full : int
        Upright wood up to this many nodes gains no delay; from so many on, all of it [1].
    upright_extra : int
        Nodes left above the kept ones until the final cut [1].
    leaf_interval, swell_interval : Spread
        Heat per leaf above 10 C after burst, and per stage above 5 C before burst [C d].
    secondary_share : Spread
        Yield of a secondary shoot relative to a primary's [1].
    secondary_burst_days : Spread
        Days from the kill of a primary to the burst of its secondary [d].
    burst_spread_days : float
        Standard deviation of a recorded budburst date [d].
    days_before, days_after : int
        Nights from so many days before budburst to so many after it are looked at [d].
    """

    curve: KillCurve
    lt50_spread: float
    steepness_spread: float
    delay_laid_down: Spread
    delay_upright: Spread
    late_cut_cost: Spread
    gradient_nodes: int
    upright_none: int
    upright_full: int
    upright_extra: int
    leaf_interval: Spread
    swell_interval: Spread
    secondary_share: Spread
    secondary_burst_days: Spread
    burst_spread_days: float
    days_before: int
    days_after: int

    def __post_init__(self):
        for held in fields(self):
            if held.type is Spread:
                object.__setattr__(self, held.name, Spread.of(getattr(self, held.name)))
        for name in ("secondary_share", "late_cut_cost"):
            spread = getattr(self, name)
            if spread.low < 0 or spread.high > 1:
                raise CroploadError(
                    f"{name} lies between 0 and 1; got {spread.low} to {spread.high}."
                )
        for name in ("delay_laid_down", "delay_upright", "secondary_burst_days"):
            if getattr(self, name).low < 0:
                raise CroploadError(f"{name} is a number of days and cannot be negative.")
        for name in ("leaf_interval", "swell_interval"):
            if getattr(self, name).low <= 0:
                raise CroploadError(f"{name} must be more than 0 C d.")

    @classmethod
    def from_handbook(cls, variety=None, **changes):
        """Return the handbook's settings, with the variety's secondary share, and your changes.

        Parameters
        ----------
        variety : str, optional
            For the share of a secondary shoot.
        **changes
            Any attribute by name; a Spread may be given as a number, a pair or a triple.
        """
        known = [held.name for held in fields(cls)]
        for name in changes:
            if name not in known:
                raise CroploadError(
                    f"{name!r} is no setting of the frost model. " + near(name, known)
                )
        value = handbook.value
        spread = Spread.from_handbook
        base = cls(
            KillCurve.from_handbook(),
            handbook.entry("frost.lt50_c").spread,
            handbook.entry("frost.steepness").spread,
            spread("frost.delay_laid_down"),
            spread("frost.delay_upright_until_final_cut"),
            spread("frost.late_cut_cost"),
            int(value("frost.gradient_nodes")),
            int(value("frost.upright_none")),
            int(value("frost.upright_full")),
            int(value("frost.upright_extra")),
            spread("phenology.leaf_interval"),
            spread("phenology.swell_interval"),
            secondary_share(variety),
            spread("frost.secondary_burst_days"),
            value("phenology.recorded_date_spread"),
            int(value("frost.days_before")),
            int(value("frost.days_after")),
        )
        return replace(base, **changes)

    def delay(self, case):
        """Return the delay of a fully held back bud in a case [d]."""
        if case not in CASES:
            raise CroploadError(
                f"case {case!r} is not known: use one of {', '.join(CASES)}. " + near(case, CASES)
            )
        return self.delay_laid_down if case == "laid_down" else self.delay_upright

    def delay_shares(self, buds, case):
        """Return which share of the full delay each kept node gets, basal node first.

        Parameters
        ----------
        buds : int
            Count buds kept on the cane or spur [1].
        case : {"laid_down", "upright_until_final_cut"}
            How the wood stands while the first buds push.

        Notes
        -----
        The delay grows evenly from the tip inwards and is full after `gradient_nodes` nodes, so a
        longer cane adds early nodes at its end and never hastens the basal ones (Antcliff 1955).
        Upright wood keeps `upright_extra` nodes above until the final cut; at or under
        `upright_none` nodes it gains nothing, from `upright_full` on all of it (Deloire 2021).
        """
        self.delay(case)
        total = buds + (self.upright_extra if case != "laid_down" else 0)
        share = np.clip((total - np.arange(1, buds + 1)) / self.gradient_nodes, 0.0, 1.0)
        if case != "laid_down":
            steps = self.upright_full - self.upright_none
            share = share * min(max((total - self.upright_none) / steps, 0.0), 1.0)
        return share


@dataclass(frozen=True)
class FrostDraws:
    """One draw of every setting, common to all plans, nights and years; arrays (draws,)."""

    delay_chance: np.ndarray
    lt50_shift: np.ndarray
    steepness_factor: np.ndarray
    leaf_interval: np.ndarray
    swell_interval: np.ndarray
    secondary_share: np.ndarray
    secondary_burst_days: np.ndarray
    late_cut_cost: np.ndarray
    offset_z: np.ndarray

    @classmethod
    def make(cls, settings, draws, seed=0, block=""):
        """Draw `draws` sets of the settings; the same seed and block give the same draws."""
        if int(draws) < 1:
            raise CroploadError(f"draws must be 1 or more; got {draws}.")
        rng = stream(seed, block, "frost")
        chance, normal = rng.random((6, int(draws))), rng.standard_normal((3, int(draws)))
        return cls(
            chance[0],
            settings.lt50_spread * normal[0],
            np.exp(settings.steepness_spread * normal[1]),
            settings.leaf_interval.at(chance[1]),
            settings.swell_interval.at(chance[2]),
            settings.secondary_share.at(chance[3]),
            settings.secondary_burst_days.at(chance[4]),
            settings.late_cut_cost.at(chance[5]),
            normal[2],
        )
