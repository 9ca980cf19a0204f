"""What a decision hangs on, on the owner's page: where each plan pays, and what moves one most."""

from cropload.owner.why_tables import break_even_table, input_rows, inputs_table
from cropload.show.page_part import SlowPart
from cropload.show.panels import parts
from cropload.show.panels.fields import choice


class WhyPart(SlowPart):
    """Where each plan turns from less to more, and a picture of what moves a chosen one most.

    Parameters
    ----------
    page : OwnerScenarios
        The page it stands on.
    """

    needs = ("found",)

    def build(self):
        """Make the choice of what the picture is of."""
        self.turns, self.picture, self._filling = parts.html(), parts.html(), False
        self.which = choice("What moves", [])
        self.which.observe(self._drawn, "value")
        self.body.children = (self.turns, self.which, self.picture)

    def show(self):
        """Tell where the plans turn, and draw what moves the one recommended."""
        found = self.page.found
        names = [] if found is None else list(found.why.choices())
        self.which.layout.display = None if names else "none"
        table = break_even_table(found, self.desk.units, few=True) if names else None
        self.turns.value = table.html(self.desk.units) if table else ""
        was = self.which.value
        self._filling = True
        self.which.options = names
        self.which.value = was if was in names else found.why.asked if names else None
        self._filling = False
        self._draw()

    @parts.guarded
    def _drawn(self, _):
        if not self._filling:
            self._draw()

    def _draw(self):
        found, name, units = self.page.found, self.which.value, self.desk.units
        if found is None or name not in found.why.choices():
            self.picture.value = ""
            return
        table = inputs_table(found, units, name)
        told = table.html(units) if table else ""
        self.picture.value = parts.fitting_picture(input_rows(found, units, name)) + told
