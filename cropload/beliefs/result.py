"""A forecast as draws, and what reduces them: by block, variety, component, change."""

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.answer import Answer, Asked
from cropload.beliefs import ranges
from cropload.beliefs.events import Happened
from cropload.beliefs.history import Estate
from cropload.beliefs.origins import component_origins, seasons_seen
from cropload.errors import CroploadError
from cropload.vine.growth import COMPONENTS, RESPONSES, STAGES, Growth

_HARVEST = STAGES.index("harvest")
_NONCOUNT = COMPONENTS.index("noncount_shoots")

#: Blocks whose parts are held in memory at once.
_CHUNK = 128


def crop_columns(tonnes, area_ha):
    """Return the range of a crop as columns, in tonnes [t] and per hectare [t/ha]."""
    tonnes_columns = ranges.columns("tonnes", tonnes)
    per_ha = {f"t_ha_{end}": tonnes_columns[f"tonnes_{end}"] / area_ha for end in ranges.ENDINGS}
    return tonnes_columns | per_ha


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class Change(Answer):
    """What moved between two forecasts of a season.

    Attributes
    ----------
    frame : DataFrame
        block, component, change_t [t]: the changes of a block add up to the change of its centre.
    season : int
        Year of harvest.
    was_t, now_t : float
        Middle of the estate's crop then and now, as each forecast tells it [t].
    since, since_stage : str
        Day of the earlier forecast, and where the season stood.
    """

    season: int
    was_t: float
    now_t: float
    since: str = ""
    since_stage: str = ""

    @property
    def change_t(self):
        """Change of the middle of the estate's crop [t]."""
        return self.now_t - self.was_t

    @property
    def lean_t(self):
        """What the middle of the total moved beside the middles of its blocks [t]."""
        return self.change_t - float(self.frame["change_t"].sum())

    def frame_by(self, by="component"):
        """Return ``by`` and change_t [t]: the change summed by ``component`` or by ``block``."""
        return self.frame.groupby(by, sort=False)["change_t"].sum().reset_index()


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class Forecast(Answer, Asked):
    """A season's forecast as draws; every table is a reduction of them.

    Attributes
    ----------
    frame : DataFrame
        One row a block, as ``frame_by("block")``.
    season : int
        Year of harvest.
    as_of : Timestamp or None
        The day up to which records were used; None for all of them.
    stage : str
        Where the season stands, in words.
    blocks, varieties : tuple of str
        In the order of the draws.
    plans : tuple of str
        The plan taken for each block, and in ``plan_from`` where it is known from.
    draws : ndarray, shape (blocks, draws)
        Crop that reaches the scale [t].
    growth : Growth
        Per vine, arrays of shape (blocks, draws).
    picked : DataFrame
        What has been picked so far: block, tonnes [t], share [1].
    log_left : ndarray, shape (blocks,)
        Log of what the season's events left of each crop [1].
    events : Happened
        What befell the crops in the season, up to the day.
    """

    #: Made when first asked for: of very many blocks often only sums are wanted.
    frame: pd.DataFrame = field(default=cached_property(lambda self: self.frame_by()), init=False)
    season: int
    as_of: pd.Timestamp | None
    stage: str
    seed: int
    blocks: tuple
    varieties: tuple
    plans: tuple
    plan_from: tuple
    draws: np.ndarray
    growth: Growth
    log_components: np.ndarray
    responses: np.ndarray
    picked: pd.DataFrame
    log_left: np.ndarray
    events: Happened
    estate: Estate

    @property
    def area_ha(self):
        """Area of each block [ha]."""
        return self.estate.facts.area_ha

    @property
    def bearing(self):
        """Bearing vines of each block [1]."""
        return self.estate.facts.bearing

    def centre_tonnes(self):
        """Return the centre of each block's crop [t]: the median of the log-normal, not a draw."""
        estate = self.estate
        log_kg = (
            np.einsum("bk,bk->b", estate.season_rows[:, _HARVEST], estate.season_centre())
            + estate.season_offset[:, _HARVEST]
            + self.log_left
        )
        return self.with_picked(np.exp(log_kg) * self.bearing / 1000.0)

    def with_picked(self, tonnes):
        """Return what was picked plus the rest of a crop ``tonnes``, (blocks[, draws]) [t]."""
        share = self.picked["share"].to_numpy(float)
        known = self.picked["tonnes"].to_numpy(float)
        if tonnes.ndim == 2:
            share, known = share[:, None], known[:, None]
        return known + (1 - share) * tonnes

    def groups(self, by):
        """Return (names, places of each one's blocks) by block, variety or estate.

        Raises
        ------
        CroploadError
            For any other word.
        """
        labels = {
            "block": list(self.blocks),
            "variety": list(self.varieties),
            "estate": ["estate"] * len(self.blocks),
        }.get(by if isinstance(by, str) else None)
        if labels is None:
            raise CroploadError(
                f"Crops are told by block, variety or estate, not by {arguments.shown(by)}."
            )
        members = {name: [] for name in labels}
        for at, label in enumerate(labels):
            members[label].append(at)
        return list(members), [np.array(places) for places in members.values()]

    def frame_by(self, by="block"):
        """Return the crop by block, variety or for the estate.

        Parameters
        ----------
        by : str
            ``"block"``, ``"variety"`` or ``"estate"``.

        Returns
        -------
        DataFrame
            One row a group: its name, plan (by block), area_ha [ha], bearing vines [1], tonnes
            and t_ha as ``_p10 _p50 _p90`` [t, t/ha], range_t, the width of the range [t]; by block
            also own_mean_t, the mean of its own crops on record [t], and chance_lost, the chance
            that the crop is lost [1].

        Notes
        -----
        Sums keep what the blocks share: the estate's range is not narrowed by pretending that
        blocks are independent.
        """
        names, members = self.groups(by)
        if by == "block":
            total, area, vines = self.draws, self.area_ha, self.bearing
        else:
            total = np.array([self.draws[places].sum(0) for places in members])
            area = np.array([self.area_ha[places].sum() for places in members])
            vines = np.array([self.bearing[places].sum() for places in members])
        columns = {by: names}
        if by == "block":
            columns["variety"] = list(self.varieties)
            columns["plan"] = list(self.plans)
        columns.update(area_ha=area, bearing_vines=vines)
        columns.update(crop_columns(total, area))
        frame = pd.DataFrame(columns)
        frame["range_t"] = frame["tonnes_p90"] - frame["tonnes_p10"]
        if by == "block":
            frame["own_mean_t"] = self.estate.own_crops[0] * self.bearing / 1000.0
            frame["chance_lost"] = np.where(
                self.estate.young.barren, np.nan, self.estate.loss.chance
            )
        return frame

    def middle_t(self):
        """Return the middle of the estate's crop [t], as every total of it is told."""
        return float(ranges.quantiles(self.draws.sum(0))[1])

    def attrs(self):
        """Return what a file or a log says of this forecast."""
        return {
            "season": self.season,
            "as_of": "" if self.as_of is None else str(self.as_of.date()),
            "stage": self.stage,
            "interval": ranges.label(),
            "seed": self.seed,
            "draws": int(self.draws.shape[1]),
            "notes": self.notes,
        }

    @property
    def components(self):
        """Each component of each block: centre, range, spread and where it came from.

        Returns
        -------
        DataFrame
            block, component, words, centre [unit], low and high of the range [unit], unit, spread
            (standard deviation on the log scale [1]), came_from, detail, key.
        """
        frames = []
        seen = seasons_seen(self.estate)
        for at, block in enumerate(self.blocks):
            rows = component_origins(self.estate, block, seen)
            ends = ranges.quantiles(np.exp(self.log_components[:, at]))
            for place, row in enumerate(rows):
                low, high = ends[0, place], ends[2, place]
                frames.append({"block": block, **row, "low": low, "high": high})
        return pd.DataFrame(frames)

    def log_parts(self, places=None):
        """Return each component's part in the log of each block's crop, about its centre.

        Parameters
        ----------
        places : sequence of int, optional
            Places of the blocks wanted; all of them when left out.

        Returns
        -------
        names : list of str
            The components, then ``load_response``.
        parts : ndarray, shape (parts, blocks, draws)
            Their sum over parts is the log of the crop still hanging, less its centre [1].
        """
        places = np.arange(len(self.blocks)) if places is None else np.asarray(places)
        rows = self.estate.season_rows[places, _HARVEST]
        beliefs = self.estate.beliefs
        deviation = self.log_components[:, places] - self.estate.centre()[places].T[:, :, None]
        parts = rows.T[:, :, None] * deviation
        moved = (self.responses - beliefs.response_mean[:, None])[: len(RESPONSES)]
        shift = self.estate.season_shift[places][..., : len(RESPONSES)]
        response = np.einsum("bk,bkr->br", rows, shift) @ moved
        response += parts[len(COMPONENTS) :].sum(0)
        parts = np.concatenate([parts[: len(COMPONENTS)], response[None]])
        return [*COMPONENTS, "load_response"], parts

    def contributions(self, by="block"):
        """Say how much of the spread each component carries.

        Parameters
        ----------
        by : str
            ``"block"``, ``"variety"`` or ``"estate"``.

        Returns
        -------
        DataFrame
            One row a group and component: the group, component, share of the variance of the log
            crop [1] (they add up to 1), and range_t, the same share of the range's width [t].

        Notes
        -----
        A share is the covariance of the component's part with the whole over the variance of the
        whole; blocks are weighed by their crop. Components that hold each other in check (a crop
        is known, its parts are not) may carry a negative share.
        """
        names, members = self.groups(by)
        words = [*COMPONENTS, "load_response"]
        weight = self.centre_tonnes() * (1 - self.picked["share"].to_numpy(float))
        width = self.frame_by(by)["range_t"].to_numpy()
        rows = []
        for name, places, range_t in zip(names, members, width, strict=True):
            share = self._shares(places[weight[places] > 0], weight)
            rows += [
                (name, word, part, part * range_t) for word, part in zip(words, share, strict=True)
            ]
        return pd.DataFrame(rows, columns=[by, "component", "share", "range_t"])

    def _shares(self, places, weight):
        """Return each part's share of the variance of the log crop of some blocks [1]."""
        summed = np.zeros((len(COMPONENTS) + 1, self.draws.shape[1]))
        for start in range(0, len(places), _CHUNK):
            here = places[start : start + _CHUNK]
            summed += np.einsum("b,pbd->pd", weight[here], self.log_parts(here)[1])
        summed -= summed.mean(1, keepdims=True)
        whole = summed.sum(0)
        return summed @ whole / max(whole @ whole, 1e-300)

    @arguments.check_arguments(earlier=arguments.forecast)
    def explain(self, earlier):
        """Split the change since an earlier forecast by block and component.

        Parameters
        ----------
        earlier : Forecast
            Of the same season and blocks.

        Returns
        -------
        Change
            The changes of a block add up exactly to the change of its centre. The component
            ``plan`` is the change of plan or of the load carried, ``picked`` what the scale has
            said.

        Raises
        ------
        CroploadError
            When the two forecasts are not of the same season and blocks.
        """
        if earlier.season != self.season or earlier.blocks != self.blocks:
            raise CroploadError("Only two forecasts of the same season and blocks can be compared.")
        was, now = earlier.centre_tonnes(), self.centre_tonnes()
        rows_was = earlier.estate.season_rows[:, _HARVEST]
        rows_now = self.estate.season_rows[:, _HARVEST]
        x_was, x_now = (f.estate.season_centre() for f in (earlier, self))
        middle = (rows_was + rows_now) / 2
        # The vines answer to another load: that comes from the plan, not from what was learnt.
        means = zip(earlier.estate.mean_answers(), self.estate.mean_answers(), strict=True)
        means = [(was + now) / 2 for was, now in means]
        answer = self.estate.answered(*means) - earlier.estate.answered(*means)
        moves = middle * (x_now - x_was - answer)
        plan = (
            self.estate.season_offset[:, _HARVEST]
            - earlier.estate.season_offset[:, _HARVEST]
            + np.einsum("bk,bk->b", rows_now - rows_was, (x_now + x_was) / 2)
            + np.einsum("bk,bk->b", middle, answer)
        )
        # Under the same load what is left is the bend of the chain: the clusters' own weight
        # response, and the share of them that non-count shoots bear.
        same = np.all(earlier.estate.load() == self.estate.load(), axis=0)
        moves[same] += (middle * answer)[same]
        moves[same, _NONCOUNT] += (plan - np.einsum("bk,bk->b", middle, answer))[same]
        plan[same] = 0.0
        hanging_was, hanging_now = (
            np.exp(
                np.einsum("bk,bk->b", rows, x)
                + found.estate.season_offset[:, _HARVEST]
                + found.log_left
            )
            for found, rows, x in ((earlier, rows_was, x_was), (self, rows_now, x_now))
        )
        # The logarithmic mean turns a sum of log changes into an exact sum of tonnes.
        with np.errstate(divide="ignore", invalid="ignore"):
            mean = np.where(
                np.isclose(hanging_now, hanging_was, rtol=1e-12),
                hanging_now,
                (hanging_now - hanging_was) / np.log(hanging_now / hanging_was),
            )
        # A load that nobody wrote down is a matter of the plan.
        known = len(COMPONENTS)
        plan, moves = plan + moves[:, known:].sum(1), moves[:, :known]
        scale = mean * earlier.bearing / 1000.0 * (1 - earlier.picked["share"].to_numpy(float))
        events = self.log_left - earlier.log_left
        # Most seasons have none, and a row of zeros tells nothing.
        befell = {"events": events} if events.any() else {}
        parts = np.column_stack([moves, plan, *befell.values()]) * scale[:, None]
        picked = (now - was) - parts.sum(1)
        names = [*COMPONENTS, "plan", *befell, "picked"]
        frame = pd.DataFrame(
            {
                "block": np.repeat(self.blocks, len(names)),
                "component": names * len(self.blocks),
                "change_t": np.column_stack([parts, picked]).ravel(),
            }
        )
        return Change(
            frame,
            season=self.season,
            was_t=earlier.middle_t(),
            now_t=self.middle_t(),
            since=earlier.attrs()["as_of"],
            since_stage=earlier.stage,
        )
