"""Past springs of a comparison of scenarios: what each would leave of every block's plans."""

import copy
import weakref
from dataclasses import dataclass, replace

import numpy as np

from cropload.beliefs import ranges
from cropload.errors import CroploadError
from cropload.frost.harvest_doubts import spring_doubts
from cropload.frost.replay import replay_frost
from cropload.frost.years import block_frost_years, block_weather
from cropload.handbook import entry
from cropload.random_streams import stream
from cropload.records.events import season_events

#: Columns of the frost replay, left empty for a block without weather.
FROST_COLUMNS = (
    *(f"frost_mean_share_{end}" for end in ranges.ENDINGS),
    *(f"frost_worst_in_ten_{end}" for end in ranges.ENDINGS),
    "frost_loss_chance_low",
    "frost_loss_chance_high",
    *(f"t_ha_settled_with_frost_{end}" for end in ranges.ENDINGS),
)

#: Replays by records, as a page asks for them again with every plan that is changed.
_KEPT = weakref.WeakKeyDictionary()


@dataclass(frozen=True, eq=False)
class Springs:
    """The springs replayed for each block and plan, on as many draws as the crops have.

    Attributes
    ----------
    replays : dict
        {(block, plan): FrostReplay of that plan alone, of a crop of 1}.
    missing : dict
        {block: why it has none}.
    learned_from : dict
        {block: seasons whose harvest bears a frost that no event tells}: the crop without frost
        has learnt from them, and is too low.
    """

    replays: dict
    missing: dict
    learned_from: dict

    @property
    def about(self):
        """``loss`` that counts as heavy [1], ``worst`` and ``seasons`` [1]; empty for none."""
        found = list(self.replays.values())
        if not found:
            return {}
        return {
            "loss": found[0].heavy_loss,
            "worst": found[0].worst,
            "seasons": min(len(each.seasons) for each in found),
        }

    def shares(self, found, seed, later=0):
        """Draw the share of each crop that one season's spring leaves.

        Parameters
        ----------
        found : ScenarioDraws
            The scenarios.
        seed : int
            Of the draws [1].
        later : int
            So many seasons on; every season has a spring of its own [1].

        Returns
        -------
        ndarray, shape (scenarios, blocks, draws)
            Shares [1]; 1 in a block without springs.

        Notes
        -----
        Each draw takes one past spring, the same in every block that has it on record: a frost
        seldom hits one block alone.
        """
        shape = (len(found.names), len(found.blocks), found.drawn.log_components.shape[-1])
        out, luck, everyone = np.ones(shape), {}, np.arange(shape[-1])
        for at, block in enumerate(found.blocks):
            for s, name in enumerate(found.names):
                replay = self.replays.get((block, found.plans[name][block]))
                if replay is None:
                    continue
                for year in replay.seasons:
                    if year not in luck:
                        luck[year] = stream(seed, "spring", year, later).random(shape[-1])
                spring = np.argmax([luck[year] for year in replay.seasons], axis=0)
                out[s, at] = replay.crop_left[0, spring, everyone]
        return out

    def columns(self, found):
        """Return {(block, plan): columns of FROST_COLUMNS}, the crop on the comparison's draws."""
        columns = {}
        crop = found.drawn.settled.kg_picked * (found.drawn.bearing / 1000.0)[:, None]
        crop = crop / found.drawn.area_ha[:, None]
        for at, block in enumerate(found.blocks):
            for s, name in enumerate(found.names):
                key = block, found.plans[name][block]
                if key in self.replays and key not in columns:
                    one, free = self.replays[key], crop[s, at][None]
                    held = replace(one, crop=one.crop_left * free[:, None], frost_free=free)
                    columns[key] = held.columns()[list(FROST_COLUMNS)].iloc[0].to_dict()
        return columns

    def notes(self):
        """Return what is to be said of harvests that a frost made smaller, a sentence a block."""
        for block, seasons in self.learned_from.items():
            years = " and ".join(map(str, seasons))
            yield (
                f"{block}: by its springs frost took part of the harvest of {years}, and no event "
                "tells it, so the crop without frost is learnt too low and frost counts twice. "
                "Tell it in table events."
            )


#: No block's springs.
NO_SPRINGS = Springs({}, {}, {})


def past_springs(records, found, season, draws, seed):
    """Replay the springs of every block that has weather and budburst on record.

    Parameters
    ----------
    records : Records
        With weather and dates.
    found : ScenarioDraws
        Blocks and their plans.
    season, draws, seed : int
        Year of harvest; as of the crops [1].

    Returns
    -------
    Springs
    """
    if len(records.weather) == 0:
        return Springs({}, dict.fromkeys(found.blocks, "no weather is on record"), {})
    kept = _KEPT.setdefault(records, {})
    replays, missing, learned = {}, {}, {}
    for block in found.blocks:
        plans = list(dict.fromkeys(found.plans[name][block] for name in found.names))
        how = season, found.estate.accepted, draws, seed
        lacking = [plan for plan in plans if (how, block, plan) not in kept]
        try:
            if lacking:
                years = block_frost_years(
                    block_weather(records, block), case="laid_down", draws=draws, seed=seed
                )
                variety = found.estate.facts.varieties[found.estate.facts.place(block)]
                for plan in lacking:
                    one = replay_frost(years, [plan], profile=found.estate.profiles[variety])
                    kept[how, block, plan] = _slim(one)
        except CroploadError as fault:
            missing[block] = str(fault)
            continue
        for plan in plans:
            replays[block, plan] = kept[how, block, plan]
        first = replays[block, plans[0]]
        if (how, block) not in kept:
            kept[how, block] = _learned_from(first, records, season)
        if kept[how, block]:
            learned[block] = kept[how, block]
    return Springs(replays, missing, learned)


def _slim(replay):
    """Return a replay without what lives on each rung, which takes most of the memory."""
    first = replace(replay.years.seasons[0], primary=None, secondary=None, stage=None, killed=None)
    slim = copy.copy(replay)
    # Made anew it would go over all of its years again.
    object.__setattr__(slim, "years", replace(replay.years, seasons=(first,)))
    return slim


def _learned_from(replay, records, season):
    """Return the earlier seasons whose harvest a frost made smaller, and that no event tells."""
    block = replay.years.block
    limit = entry("plausible.spring_and_harvest").high
    picked = set(records.harvest.loc[records.harvest["block"] == block, "season"])
    told = {event.season for event in season_events(records) if event.block == block}
    full = {doubt.season for doubt in spring_doubts(replay, records) if doubt.full}
    left = ranges.quantiles(replay.crop_left[0])[1]
    return [
        year
        for year, share in zip(replay.seasons, left, strict=True)
        if share < limit and year < season and year in picked and year not in told | full
    ]
