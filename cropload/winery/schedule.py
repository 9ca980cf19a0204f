"""An intake laid out: tonnes by day, period, variety, grower and block, as draws."""

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.answer import Answer
from cropload.beliefs import ranges
from cropload.beliefs.meant import check_block
from cropload.errors import CroploadError
from cropload.units import METRIC, unit_system
from cropload.winery import periods as intake_periods

#: Days off which a forecast picking date goes to stay clear of closed ones, at most [d].
_NEAR = 3
#: Name of the row that holds what has no picking date, and of what falls outside all periods.
NO_DATE, OUTSIDE = "no picking date", "outside the periods"


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class IntakeSchedule(Answer):
    """Tonnes by period, variety and block, as draws.

    Attributes
    ----------
    frame : DataFrame
        One row a period and variety, as ``frame_by("variety")``.
    season : int
        Year of harvest.
    as_of : str
        The day of the forecast behind it; empty when it is of all records.
    blocks, varieties : tuple of str
        In the order of the draws.
    periods : DataFrame
        period (its name), period_start, period_end (last day).
    portions : tuple of (int, ndarray, ndarray)
        Place of the block, day of each draw [d since 1970-01-01], tonnes of each draw [t]; a
        picked portion is the same in every draw.
    movable : ndarray of bool, shape (portions,)
        Whether a portion is still to be picked.
    pickers : tuple of str
        Who picks each portion; blank where nobody is named.
    held : dict
        {place of the block: ((first day, last day) of each pass, ...)} for picks held to wanted
        days [d since 1970-01-01].
    undated : ndarray, shape (blocks, draws)
        What has no picking date [t].
    owned : dict
        ``grower`` and ``site`` of every block, where the blocks were given.
    closed : dict
        {variety: days on which nobody takes it in [d since 1970-01-01]}.
    """

    #: Made when first asked for: many schedules are only summed.
    frame: pd.DataFrame = field(
        default=cached_property(lambda self: self.frame_by("variety")), init=False
    )
    season: int
    as_of: str
    blocks: tuple
    varieties: tuple
    periods: pd.DataFrame
    portions: tuple
    movable: np.ndarray
    undated: np.ndarray
    pickers: tuple = ()
    held: dict = field(default_factory=dict)
    owned: dict = field(default_factory=dict)
    closed: dict = field(default_factory=dict)
    seed: int = 0
    _kept: dict = field(default_factory=dict)

    def heading(self, units=METRIC):
        """Return the crop in all, what it fills, and when most is expected."""
        from cropload.winery.words import intake_sentence

        return intake_sentence(self, None, unit_system(units))

    def tables(self, units=METRIC):
        """Return the intake by period of all fruit, and by variety."""
        from cropload.winery import tables

        units = unit_system(units)
        return [
            tables.intake_table(self, "estate", None, units),
            tables.group_table(self, "variety", units),
        ]

    def plot(self, ax=None, units=METRIC):
        """Draw tonnes by period, varieties stacked, and return the axes."""
        from cropload.winery.charts import intake_rows

        return intake_rows(self, None, unit_system(units)).plot(ax)

    def groups(self, by):
        """Return the names of the groups and the place of each block's group.

        Raises
        ------
        CroploadError
            For another word than block, variety, grower, site or estate, or for growers or sites
            where no block names one.
        """
        labels = {
            "block": self.blocks,
            "variety": self.varieties,
            "estate": ("estate",) * len(self.blocks),
            "grower": self.owned.get("grower", ()),
            "site": self.owned.get("site", ()),
        }.get(by if isinstance(by, str) else None)
        if labels is None:
            raise CroploadError(
                "An intake is by block, variety, grower, site or estate, not by "
                f"{arguments.shown(by)}."
            )
        if not any(labels):
            raise CroploadError(f"No block names its {by}. Fill in column {by} of table blocks.")
        labels = [label or f"no {by} named" for label in labels]
        names = list(dict.fromkeys(labels))
        place = {name: at for at, name in enumerate(names)}
        return names, np.array([place[label] for label in labels])

    @property
    def empty(self):
        """Whether there is nothing to take in, because no block bears a crop."""
        no_date = not self.undated.any()
        return bool(no_date and not any(tonnes.any() for _, _, tonnes in self.portions))

    @property
    def span(self):
        """First day and last day on which anything may be picked [d since 1970-01-01]."""
        if "span" not in self._kept:
            days = [(int(day.min()), int(day.max())) for _, day, _ in self.portions]
            self._kept["span"] = (
                (min(low for low, _ in days), max(high for _, high in days)) if days else (0, -1)
            )
        return self._kept["span"]

    def _parts(self):
        """Return the portions of each block."""
        if "parts" not in self._kept:
            parts = [[] for _ in self.blocks]
            for block, day, tonnes in self.portions:
                parts[block].append((day, tonnes))
            self._kept["parts"] = parts
        return self._kept["parts"]

    def movable_parts(self):
        """Return {place of the block: [(days, tonnes) of each portion that may still move]}."""
        found = {}
        for (block, day, tonnes), movable in zip(self.portions, self.movable, strict=True):
            if movable:
                found.setdefault(block, []).append((day, tonnes))
        return found

    def _until(self, members):
        """Return tonnes picked before each day of the span by some blocks, (days + 1, draws)."""
        first, last = self.span
        draws = self.undated.shape[1]
        every, size = np.arange(draws), (last - first + 2) * draws
        parts = [part for block in members for part in self._parts()[block]]
        if not parts:
            return np.zeros((last - first + 2, draws))
        cells = np.concatenate([(day - (first - 1)) * draws + every for day, _ in parts])
        tonnes = np.concatenate([each for _, each in parts])
        total = np.bincount(cells, tonnes, minlength=size).reshape(-1, draws)
        return np.cumsum(total, axis=0, out=total)

    def until(self, by):
        """Yield (name, tonnes picked before each day of the span (days + 1, draws) [t])."""
        names, place = self.groups(by)
        for at, name in enumerate(names):
            key = (by, name)
            if by != "block" and key in self._kept:
                yield name, self._kept[key]
                continue
            found = self._until(np.flatnonzero(place == at))
            if by != "block":
                self._kept[key] = found
            yield name, found

    def between(self, until, starts, ends):
        """Return tonnes of periods (periods, draws) [t] from an array of ``until``.

        Parameters
        ----------
        until : ndarray
            As yielded by ``until``.
        starts, ends : ndarray of int
            First and last days [d since 1970-01-01].
        """
        first, last = self.span
        low = np.clip(np.asarray(starts) - first, 0, last - first + 1)
        high = np.clip(np.asarray(ends) - first + 1, 0, last - first + 1)
        return until[high] - until[low]

    def _split(self, by, starts, ends):
        """Yield each group's tonnes by period (periods, draws), in all, and inside any period."""
        first, last = self.span
        held = np.zeros(max(last - first + 1, 0), bool)
        for start, end in zip(starts, ends, strict=True):
            held[max(start - first, 0) : max(end - first + 1, 0)] = True
        if by != "block":
            for _, until in self.until(by):
                covered = until[-1] if held.all() else np.diff(until, axis=0)[held].sum(0)
                yield self.between(until, starts, ends), until[-1], covered
            return
        # Block by block it is quicker to ask each period for the few days that a block may have.
        for parts in self._parts():
            inside = np.zeros((len(starts), self.undated.shape[1]))
            every, covered = np.zeros((2, self.undated.shape[1]))
            for day, tonnes in parts:
                low, high = day.min(), day.max()
                for at in np.flatnonzero((starts <= high) & (ends >= low)):
                    inside[at] += tonnes * ((day >= starts[at]) & (day <= ends[at]))
                every += tonnes
                covered += tonnes if held.all() else tonnes * held[day - first]
            yield inside, every, covered

    def sums(self, by="block", periods=None):
        """Return the names of the groups and their tonnes, (periods, groups, draws) [t].

        Parameters
        ----------
        by : str
            ``"block"``, ``"variety"``, ``"grower"``, ``"site"`` or ``"estate"``.
        periods : DataFrame, optional
            Periods other than the schedule's own.
        """
        starts, ends = intake_periods.days(self.periods if periods is None else periods)
        names, _ = self.groups(by)
        out = np.empty((len(starts), len(names), self.undated.shape[1]))
        for at, (inside, _, _) in enumerate(self._split(by, starts, ends)):
            out[:, at] = inside
        return names, out

    @property
    def draws(self):
        """Tonnes of each period and block, (periods, blocks, draws) [t]; made when asked for."""
        return self.sums("block")[1]

    def frame_by(self, by="variety"):
        """Return the intake of each period with its range.

        Parameters
        ----------
        by : str
            ``"variety"``, ``"block"``, ``"grower"``, ``"site"`` or ``"estate"``.

        Returns
        -------
        DataFrame
            One row a period and group: period, period_start, period_end, the group,
            tonnes_p10, tonnes_p50, tonnes_p90 and tonnes_mean [t], and chance_any of any fruit in
            the period [1]; then, where there is any, a row a group for what has no picking date
            and for what lies outside the periods.

        Notes
        -----
        Means add up over periods and groups to the forecast; p10, p50 and p90 do not.
        """
        names, place = self.groups(by)
        starts, ends = intake_periods.days(self.periods)
        count, found = len(starts), []
        for at, (inside, every, covered) in enumerate(self._split(by, starts, ends)):
            apart = self.undated[place == at].sum(0)
            # Periods of the user may overlap or leave days out.
            outside = np.where(np.abs(every - covered) < 1e-9, 0.0, every - covered)
            rows = np.vstack([inside, apart, outside])
            values = np.zeros((len(rows), 5))
            some = rows.any(1)
            if some.any():
                shown = rows[some]
                values[some] = np.column_stack(
                    [ranges.quantiles(shown).T, shown.mean(1), (shown > 0).mean(1)]
                )
            found.append(values)
        values = np.array(found).reshape(len(names), count + 2, 5)
        frames = [self._rows(by, names, self.periods.iloc[[p]], values[:, p]) for p in range(count)]
        days = {"period_start": "datetime64[ns]", "period_end": "datetime64[ns]"}
        for extra, words in ((count, NO_DATE), (count + 1, OUTSIDE)):
            held = values[:, extra, 3] > 0
            blank = pd.DataFrame(
                {"period": [words], "period_start": [pd.NaT], "period_end": [pd.NaT]}
            ).astype(days)
            kept = [name for name, yes in zip(names, held, strict=True) if yes]
            if kept:
                frames.append(self._rows(by, kept, blank, values[held, extra]))
        if not frames:
            # No block bears a crop: the columns stay, so that what reads them still works.
            frames.append(self._rows(by, [], blank, np.zeros((0, 5))).astype(days))
        return pd.concat(frames, ignore_index=True)

    @staticmethod
    def _rows(by, names, period, values):
        found = {name: [period[name].iloc[0]] * len(names) for name in period}
        frame = pd.DataFrame({**found, by: names})
        for place, name in enumerate((*ranges.ENDINGS, "mean")):
            frame[f"tonnes_{name}"] = values[:, place]
        frame["chance_any"] = values[:, 4]
        return frame

    def totals(self, by="variety"):
        """Return the tonnes of the whole season by group, (groups, draws) [t], with their names."""
        names, place = self.groups(by)
        every = self.undated.copy()
        for block, _, tonnes in self.portions:
            every[block] += tonnes
        return names, np.array([every[place == at].sum(0) for at in range(len(names))])

    def open_days(self, block, day):
        """Return forecast picking days of a block (its place), none of them closed if it can be.

        Parameters
        ----------
        block : int
            Place of the block.
        day : ndarray of int
            Day of each draw [d since 1970-01-01].

        Notes
        -----
        Picks that a forecast puts on a closed day come on the nearest open one up to 3 days away,
        of two the earlier. A date that is the same in every draw was set by someone, and stays.
        """
        closed = self.closed.get(self.varieties[block], ())
        if not len(closed) or day.min() == day.max():
            return day
        first, last = int(day.min()) - _NEAR, int(day.max()) + _NEAR
        shut = np.isin(np.arange(first, last + 1), closed)
        go = np.arange(len(shut))
        for step in range(_NEAR, 0, -1):
            for way in (step, -step):
                there = np.clip(np.arange(len(shut)) + way, 0, len(shut) - 1)
                go = np.where(shut & ~shut[there], there, go)
        return (first + go[day - first]).astype(np.int32)

    def moved(self, days):
        """Return the schedule with the picks of some blocks moved.

        Parameters
        ----------
        days : dict
            {block: days later (earlier when negative) [d]}; what is picked already stays.
        """
        steps = arguments.by_block("days to move")("days", days)
        whole = arguments.whole(low=-366, high=366)
        by_place = {
            self.blocks.index(check_block(self, name)): whole("days", step)
            for name, step in steps.items()
        }
        portions = tuple(
            (block, self.open_days(block, day + np.int32(by_place[block])), tonnes)
            if movable and by_place.get(block)
            else (block, day, tonnes)
            for (block, day, tonnes), movable in zip(self.portions, self.movable, strict=True)
        )
        return replace(self, portions=portions, _kept={})
