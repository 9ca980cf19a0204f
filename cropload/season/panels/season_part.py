"""What most parts of the season page follow."""

from cropload.show.page_part import PagePart


class SeasonPart(PagePart):
    """A part that follows the season, the day, the units and the counts entered."""

    needs = ("season", "as_of", "units", "entered")
