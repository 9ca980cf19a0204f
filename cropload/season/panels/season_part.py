"""What every part of the season page has: the page, what it follows, and what it takes away."""

from cropload.show.desk import Part


class SeasonPart(Part):
    """A part that follows the season, the day, the units and the counts entered.

    Parameters
    ----------
    page : CountingAndForecast
        The page it stands on.
    """

    needs = ("season", "as_of", "units", "entered")

    def __init__(self, page):
        self.page, self.told = page, ()
        super().__init__(page.desk)

    def follows(self, *fields):
        """Have the answer follow fields of its own."""
        for each in fields:
            each.observe(lambda _: self.follow(), "value")

    def clear(self):
        """Take away what stands in ``told``: HTML of an answer that no longer belongs."""
        for each in self.told:
            each.value = ""
