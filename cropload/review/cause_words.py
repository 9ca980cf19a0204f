"""How a cause of a season's misses is said, and what to do about it."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from cropload import handbook
from cropload.show import wording


@dataclass(frozen=True, eq=False)
class CauseWords:
    """What the words of causes rest on.

    cells : as weighed; nights : {what happened: blocks}; events : what befell the season;
    early : days by which lag-phase lots came before the lag phase [d], below 0.
    """

    season: int
    cells: pd.DataFrame
    nights: dict
    events: object
    early: np.ndarray

    def of(self, each, log):
        """Return what a cause of this size [ln] is, and what to do, in words."""
        tell = getattr(self, f"_{each.kind.replace(' ', '_')}")
        return tell(each, log, wording.percent(abs(np.expm1(log))))

    def _lots(self, block=None):
        cells = self.cells[self.cells["of"] == "gap"]
        return cells if block is None else cells[cells["block"] == block]

    def _counter(self, each, log, share):
        seen = self._lots()
        seen = seen[seen["who"] == each.name]
        return (
            f"{each.name} counts {share} too {'few' if log < 0 else 'many'} clusters, in "
            f"{seen['block'].nunique()} blocks over {seen['season'].nunique()} seasons",
            f"Accept counter:{each.name} to set counts right; count ten vines side by side.",
        )

    def _after_count(self, each, log, share):
        known = self.events.words(each.name)
        beyond = f", beyond the {known}" if known else ""
        return (
            f"{each.name}: {wording.percent(-np.expm1(-log))} of what was counted did not reach "
            f"the scale{beyond}: thinned, left or lost after the count",
            "Write it in table events, with its share.",
        )

    def _method(self, each, log, share):
        what, name = each.name.split(" of ", 1)
        way = "more" if log > 0 else "fewer"
        if what == "lag lots":
            soon = "early" if log < 0 else "late"
            other = "berries grew more after it" if log < 0 else "fruit shrank or dried after it"
            days = ""
            if log < 0 and self.early.size:
                days = f", by their dates up to {-self.early.min():.0f} days"
            return (
                f"Lag-phase lots of {name} were {share} {'lighter' if log < 0 else 'heavier'} "
                f"beside harvest's than in other seasons: weighed too {soon}{days}, or the "
                f"{other}; these records cannot tell them apart",
                f"Note flowering, and weigh about {handbook.value('lag_phase.day'):.0f} days "
                "after it.",
            )
        if what == "counts":
            how = (
                "counted otherwise, or thinned or left after the count"
                if log > 0
                else "counted otherwise, or less was left hanging than usual"
            )
            return (
                f"In all blocks {share} {way} clusters were counted than came over the scale, "
                f"beside other seasons: {how}; these records cannot tell them apart",
                "Ask who counted, and how; count ten vines again the same way next year.",
            )
        if what == "vines":
            seasons = self._lots(name)["season"].nunique()
            return (
                f"{name}: {share} {way} clusters are counted than come over the scale, in each of "
                f"{seasons} seasons: the vines counted do not stand for the block (one row, one "
                "side, the same few)",
                "Count vines in every part of the block, both sides of each.",
            )
        lots = self._lots(name)
        vines = int(lots.loc[lots["season"] == self.season, "n"].sum())
        usual = self._lots().groupby(["block", "season"])["n"].sum().median()
        why = (
            f"{vines} vines are few beside the {usual:.0f} that are usual here"
            if vines < usual / 2
            else "the vines were not of all parts, or one side alone"
        )
        return (
            f"{name}: {share} {way} clusters were counted than came over the scale, its crop being "
            f"as usual: {why}",
            "Count more vines there, in every part of the block, both sides of each.",
        )

    def _night(self, each, log, share):
        took = wording.percent(-np.expm1(-log))
        return (
            f"{each.name} took {took} of the crop in {', '.join(self.nights[each.name])}",
            "No lesson for another year; see that table events tells its share.",
        )

    def _trend(self, each, log, share):
        wood = self.cells["of"].to_numpy() == "wood"
        also = " and the wood" if (each.column[wood] != 0).any() else ""
        falls = log < 0
        if also:
            then = (
                "leave fewer buds than last winter, by the wood weighed before you prune"
                if falls
                else "the wood can carry more buds, if the shoots have room"
            )
        else:
            then = (
                "look for missing vines and disease before you leave more buds"
                if falls
                else "weigh prunings before you leave more buds"
            )
        verb = ("fall" if falls else "rise") + ("" if also else "s")
        return (
            f"{each.name}: the crop{also} {verb} by {share} a year beside the others",
            f"Next winter: {then}.",
        )

    def _own_season(self, each, log, share):
        return (
            f"{each.name} bore {share} {'less' if log < 0 else 'more'} than by its own seasons",
            "Frost, hail, thinning, fruit left? Write it in table events."
            if log < 0
            else "Look at the ticket: is it this block's fruit alone?",
        )
