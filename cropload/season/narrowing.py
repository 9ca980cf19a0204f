"""How far measurements narrow a total, known before they are made: the exact update."""

import numpy as np

from cropload import handbook
from cropload.beliefs import ranges
from cropload.errors import CroploadError, choose
from cropload.vine.growth import STAGES

_HARVEST = STAGES.index("harvest")


def vine_minutes(stage):
    """Return the crew's minutes for one vine at a stage [min], from the handbook."""
    if stage.startswith("weight_"):
        each = handbook.value("sampling.clusters_weighed_a_vine")
        return handbook.value("sampling.minutes_weigh_vine") + each * handbook.value(
            "sampling.minutes_weigh_cluster"
        )
    return handbook.value(f"sampling.minutes_{stage}")


def vine_variance(stage):
    """Return the sampling variance of the log of a mean, for one vine [1]."""
    if stage.startswith("weight_"):
        each = handbook.value("sampling.clusters_weighed_a_vine")
        between = handbook.value("sampling.weight_cv_between_vines")
        return between**2 + handbook.value("sampling.cv_cluster_weight_g") ** 2 / each
    return handbook.value(f"sampling.cv_{stage}") ** 2


def vines_measured(forecast):
    """Return the vines measured this season, a Series by (block, stage) [1]."""
    here = forecast.estate.measured
    here = here[here["season"] == forecast.season]
    counted = here.set_index(["block", "stage"])["n"].astype(float)
    weighed = counted.index.get_level_values("stage").str.startswith("weight_")
    return counted / np.where(weighed, handbook.value("sampling.clusters_weighed_a_vine"), 1.0)


def still_counts(forecast):
    """Return which blocks still hang and bear, an array of bool."""
    return (forecast.picked["share"].to_numpy(float) < 1) & ~np.asarray(
        forecast.estate.young.barren
    )


class Narrowing:
    """A total's range, and what counts of some blocks and stages would leave of it.

    Parameters
    ----------
    forecast : Forecast
        As it stands.
    tasks : sequence of (str, str)
        Block and stage of what could be measured.
    of : str
        The total whose range matters: ``"estate"``, or the name of a variety.

    Raises
    ------
    CroploadError
        For a total that cannot be.

    Notes
    -----
    The effect of a count is computed exactly from the update, without waiting for the count: how
    much a Gaussian observation of that precision narrows the total, whatever it turns out to be.
    The total is taken straight in the logs, block by block at its centre.
    Valid for ranges up to about a factor of two either way.
    """

    def __init__(self, forecast, tasks, of="estate"):
        estate, beliefs = forecast.estate, forecast.estate.beliefs
        varieties = np.array(forecast.varieties, dtype=object)
        if of == "estate":
            inside = np.ones(len(varieties), bool)
        elif of in set(forecast.varieties):
            inside = varieties == of
        else:
            known = ["estate", *dict.fromkeys(forecast.varieties)]
            raise CroploadError(f"There is no total of '{of}'. {choose(of, known)}")
        open_share = 1 - forecast.picked["share"].to_numpy(float)
        tonnes = np.where(inside, forecast.centre_tonnes() * open_share, 0.0)
        weight = tonnes[:, None] * estate.season_rows[:, _HARVEST]

        # The total's loading on what blocks share, and on each block's own part.
        shared = np.zeros(beliefs.root.shape[0])
        places = {v: beliefs.shared.places(v) for v in np.unique(beliefs.variety)}
        load = beliefs.load.copy()
        ends = beliefs.shared.local * beliefs.shared.components
        # What is measured, and the crop, also bear the load response; components alone do not.
        load[:, :, ends:] += estate.season_shift
        for v, at in places.items():
            members = beliefs.variety == v
            np.add.at(shared, at, np.einsum("bk,bkq->q", weight[members], load[members]))
        through = beliefs.root.T @ shared
        own = np.einsum("bk,bkj->bj", weight, beliefs.own_covariance)

        self.forecast, self.tasks, self.of = forecast, list(tasks), of
        at = {block: b for b, block in enumerate(forecast.blocks)}
        size = len(self.tasks) + 1
        self._seen, self._tie = np.zeros((size, through.size)), np.zeros((size, size))
        self._seen[0] = through
        self._tie[0, 0] = np.einsum("bj,bj->", own, weight)
        lines = []
        for i, (block, stage) in enumerate(self.tasks, start=1):
            b = at[block]
            line = estate.season_rows[b, STAGES.index(stage)]
            self._seen[i] = (line @ load[b]) @ beliefs.root[places[beliefs.variety[b]]]
            self._tie[0, i] = self._tie[i, 0] = line @ own[b]
            for j, (other, mine) in enumerate(lines, start=1):
                if other == b:
                    self._tie[i, j] = self._tie[j, i] = line @ beliefs.own_covariance[b] @ mine
            self._tie[i, i] = line @ beliefs.own_covariance[b] @ line
            lines.append((b, line))
        #: Covariance of the total [t] and of the log of what each task measures [1].
        self.covariance = self._seen @ self._seen.T + self._tie
        self.one_vine = np.array([vine_variance(stage) for _, stage in self.tasks])

    def width(self, variance):
        """Return the width of a range from a variance [t]."""
        return 2 * ranges.reach() * np.sqrt(np.maximum(variance, 0.0))

    @property
    def now(self):
        """The total's range as it stands [t]."""
        return self.width(self.covariance[0, 0])

    def alone(self, vines):
        """Return the range after each task on its own, on so many vines of each [t]."""
        tie, own = self.covariance[0, 1:], np.diag(self.covariance)[1:]
        return self.width(self.covariance[0, 0] - tie**2 / (own + self.one_vine / vines))

    def together(self, vines):
        """Return the range after all tasks, on so many vines of each; 0 leaves one out [t]."""
        vines = np.asarray(vines, float)
        done = np.flatnonzero(vines > 0)
        inner = self.covariance[np.ix_(done + 1, done + 1)]
        inner = inner + np.diag(self.one_vine[done] / vines[done])
        tie = self.covariance[0, done + 1]
        return self.width(self.covariance[0, 0] - tie @ np.linalg.solve(inner, tie))

    def best_first(self, vines, minutes, budget):
        """Return what to measure in a time, each next the one that takes most off for its time.

        Parameters
        ----------
        vines, minutes : ndarray
            Vines worth measuring in each task [1], and minutes for one of them [min].
        budget : float
            Minutes there are [min].

        Returns
        -------
        list of (int, int, float)
            Place of the task, vines [1], and the range left after it and all before it [t]. The
            last one takes what time is left.
        """
        left, covariance, chosen = float(budget), self.covariance.copy(), []
        open_ones = np.ones(len(self.tasks), bool)
        while True:
            fit = np.minimum(vines, np.floor(left / minutes + 1e-9)) * open_ones
            if not (fit >= 1).any():
                return chosen
            noise = self.one_vine / np.maximum(fit, 1)
            off = covariance[0, 1:] ** 2 / (np.diag(covariance)[1:] + noise)
            off = self.width(covariance[0, 0]) - self.width(covariance[0, 0] - off)
            pays = np.where(fit >= 1, off / (np.maximum(fit, 1) * minutes), -1.0)
            best = int(np.argmax(pays))
            row = covariance[:, best + 1].copy()
            covariance -= np.outer(row, row) / (row[best + 1] + noise[best])
            left -= fit[best] * minutes[best]
            open_ones[best] = False
            chosen.append((best, int(fit[best]), float(self.width(covariance[0, 0]))))
