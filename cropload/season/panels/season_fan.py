"""The picture of the season page: harvests of seasons past, then the range that narrows."""

from cropload.beliefs.calendar import MOMENTS
from cropload.clock import today
from cropload.season import charts
from cropload.season.next_counts import COUNTABLE
from cropload.season.panels.season_part import SeasonPart
from cropload.season.season_days import SeasonDay, forecast_fan, harvested, season_days
from cropload.season.words import total_words
from cropload.show import wording
from cropload.show.panels import parts
from cropload.show.panels.fields import choice

#: Harvests of earlier seasons, and counts to come, that are drawn at most [1].
MOST_PAST, MOST_AHEAD = 4, 2
#: Share of a range that a count must take off to be seen in the picture [1].
_SEEN = 0.05
#: What is counted -> the words for the day after it.
_AFTER = {
    COUNTABLE[what]: MOMENTS[key]
    for what, key in {
        "shoots": "shoots",
        "clusters": "clusters",
        "weight_lag": "lag",
        "weight_veraison": "veraison",
    }.items()
}


class SeasonFan(SeasonPart):
    """What is summed, and how its range narrowed until the day looked at."""

    needs = (*SeasonPart.needs, "total")

    def build(self):
        """Make the choices and the picture."""
        desk = self.desk
        varieties = dict.fromkeys(str(name) for name in desk.records.blocks["variety"])
        totals = [("estate", "estate"), *(("variety", name) for name in varieties)]
        totals += [("block", name) for name in desk.blocks]
        self.of = choice(
            "Crop of",
            [(wording.capital(total_words(*each)), each) for each in totals],
            width="20em",
        )
        self.picture = parts.html()
        self.told = (self.picture,)
        self.of.observe(self._other_total, "value")
        self.body.children = (self.of, self.picture)

    def _other_total(self, change):
        self.page.total = change["new"]
        self.desk.follow("total")

    def show(self):
        """Forecast every day known until the one looked at, and draw it after past harvests."""
        page, desk = self.page, self.desk
        days = season_days(page.now, desk.season)
        made = [
            (each, page.forecast_on(each.day))
            for each in days
            if desk.as_of is None or each.day <= desk.as_of
        ]
        if not made or (desk.as_of is not None and made[-1][0].day < desk.as_of):
            made.append((SeasonDay("now", "now", desk.as_of or today()), page.forecast()))
        by, name = page.total
        fan = forecast_fan(made, by, name, page.now)
        past = desk.once(
            ("past harvests", by, name),
            ("season",),
            lambda: past_harvests(desk.records, made[-1][1], by, name),
        )
        ahead = None if fan.harvest is not None or by == "block" else self._ahead()
        wide = charts.season_panel(fan, past, desk.units, ahead)
        # A phone has no room for past harvests beside several days.
        narrow = charts.season_panel(fan, {}, desk.units, ahead) if len(made) > 1 else wide
        self.picture.value = parts.fitting_picture(wide, narrow)

    def _ahead(self):
        """Return the next counts that will narrow the range so that one sees it."""
        found = self.page.due()
        later = found.groups[found.groups["state"] == "later"]
        worth = later["removed_t"] > _SEEN * found.range_now_t
        shown = later[worth].head(MOST_AHEAD)
        return shown.assign(words=shown["words"].map(_AFTER).fillna(shown["words"]))


def past_harvests(records, found, by, name):
    """Return {year: tonnes [t]} of the last seasons in which all that bore then was picked.

    Parameters
    ----------
    records : Records
        Everything on record.
    found : Forecast
        Of the season that they come before.
    by, name : str
        The total, as in ``forecast_fan``.
    """
    harvest = records.harvest
    first = harvest.groupby(harvest["block"].astype(str))["season"].min()
    past = {}
    for year in sorted({int(year) for year in harvest["season"] if year < found.season}):
        known = harvested(records, year, found, by, name)
        # A block that was picked for the first time later bore nothing then.
        if known and all(first.get(block, found.season) > year for block in known.missing):
            past[year] = known.tonnes
    return dict(list(past.items())[-MOST_PAST:])
