"""The late final cut on the frost page: its price, its gain, and at how much frost it pays."""

from cropload.errors import CroploadError
from cropload.frost.words import late_cut_sentence
from cropload.frost.worth import late_cut_worth
from cropload.records.contracts import deliveries, of_the_book
from cropload.show.page_part import PagePart
from cropload.show.panels import parts
from cropload.show.panels.fields import choice, number_in
from cropload.units import ACRE_HA, SHORT_TON_T


class LateCut(PagePart):
    """Price the late cut, and see for each plan what it saves, costs and leaves.

    Parameters
    ----------
    page : FrostCover
        The page it stands on.
    """

    needs = ("comparison", "price")

    def __init__(self, page):
        self.found = None
        self._of, self._units, self._quiet = None, page.desk.units, False
        super().__init__(page)

    def build(self):
        """Make the boxes."""
        self.price = parts.number_box("A late final cut costs [per ha]", 0.0, 10)
        self.paid_in = choice("counted in", ["money", "hours"], width="11em")
        self.hour = parts.number_box("An hour costs", 0.0)
        self.grapes = parts.number_box("Grapes are worth [per t]", 0.0, 50)
        self.hour.layout.display = "none"
        self.answer = parts.html()
        for box in (self.price, self.hour, self.grapes):
            box.observe(self._changed, "value")
        self.paid_in.observe(self._other_pay, "value")
        self.body.children = (
            parts.row(self.price, self.paid_in, self.hour, self.grapes),
            self.answer,
        )

    def _changed(self, _):
        if not self._quiet:
            self.desk.follow("price")

    def _other_pay(self, change):
        self.hour.layout.display = None if change["new"] == "hours" else "none"
        self.desk.follow("price")

    def clear(self):
        """Take an answer away that no longer belongs."""
        self.found = None
        if self.built:
            self.answer.value = ""

    def _factors(self, units):
        """Return what a price per area and per weight shown is in one per ha and per t."""
        return (1 / ACRE_HA, 1 / SHORT_TON_T) if units.name == "us" else (1.0, 1.0)

    def _start(self):
        """Label the boxes; begin with the price on record, and keep the money in other units."""
        desk = self.desk
        area, weight = self._factors(desk.units)
        if self._of != desk.block:
            self._of = desk.block
            records, of = desk.records, ""
            book = of_the_book(records.contracts, records.prices)
            name = deliveries(book, records.blocks)[0].get(desk.block)
            if name:
                row = book[book["contract"] == name].sort_values("from_t").iloc[0]
                self.grapes.value, of = row["price_per_t"] / weight, str(row["currency"] or "")
            self.currency = of
        elif self._units is not desk.units:
            before_area, before_weight = self._factors(self._units)
            self.price.value = round(self.price.value * before_area / area, 2)
            self.grapes.value = round(self.grapes.value * before_weight / weight, 2)
        self._units = desk.units
        per = "ac" if desk.units.name == "us" else "ha"
        counted = "hours" if self.paid_in.value == "hours" else self.currency
        self._unit = f"{counted} per {per}".strip()
        self.price.description = f"A late final cut costs [{self._unit}]"
        unit = f"{self.currency} per {desk.units.label('tonnes')}".strip()
        self.grapes.description = f"Grapes are worth [{unit}]"
        self.hour.description = (
            f"An hour costs [{self.currency}]" if self.currency else "An hour costs"
        )
        for box in (self.price, self.grapes, self.hour):
            box.layout.max_width = "calc(100% - 14px)"
            box.layout.width = f"{6.5 + 0.56 * len(box.description):.1f}em"

    def price_t_ha(self):
        """Return the price of the late cut in crop of the same worth [t/ha].

        Raises
        ------
        CroploadError
            When it has a price, and what grapes or an hour are worth is not told.
        """
        price = number_in(self.price, 0)
        if self.paid_in.value == "hours":
            hour = number_in(self.hour, 0)
            if price and not hour:
                raise CroploadError("What an hour costs is not told yet.")
            price *= hour
        worth = number_in(self.grapes, 0)
        if price and not worth:
            raise CroploadError("What grapes are worth is not told yet, so nothing can be weighed.")
        area, weight = self._factors(self.desk.units)
        return price * area / (worth * weight) if price else 0.0

    def show(self):
        """Weigh the late cut of each plan."""
        page, units = self.page, self.desk.units
        self._quiet = True
        try:
            self._start()
        finally:
            self._quiet = False
        if page.comparison is None:
            self.clear()
            return
        self.found = late_cut_worth(page.comparison, self.price_t_ha())
        price = ""
        if self.price.value:
            price = f" and {self.price.value:g} {self._unit}"
        told = late_cut_sentence(self.found.iloc[0], units, price)
        self.answer.value = f'<p class="cl-matters" role="status">{parts.escape(told)}</p>'
        self.desk.follow("weighed")
