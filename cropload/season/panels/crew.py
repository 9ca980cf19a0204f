"""The fold of the crew check: what was left against what was planned."""

from cropload.season.crew_check import NoPlan, crew_check
from cropload.season.panels.season_part import SeasonPart
from cropload.season.tables import crew_table
from cropload.show.panels import parts
from cropload.show.panels.fields import choice, field


class CrewPart(SeasonPart):
    """Are the pruners leaving what was planned, by block and row, and what it means in crop."""

    def build(self):
        """Make the choosers and the result."""
        self.check = None
        self.block = choice("Pruned block", self.desk.blocks, self.desk.block, "20em")
        self.plan = field("Planned", "as on record", "18em")
        self.follows(self.block, self.plan)
        self.result = parts.html()
        self.told = (self.result,)
        self.body.children = (parts.row(self.block, self.plan), self.result)

    def show(self):
        """Check the chosen block in the season."""
        self.result.value, self.check = "", None
        counts = self.page.now.counts
        mine = (counts["block"] == self.block.value) & (counts["season"] == self.desk.season)
        if not counts.loc[mine, "buds"].notna().any():
            self.result.value = parts.note(
                f"No buds are counted in {self.block.value} for season {self.desk.season} yet. "
                "Count the buds left on some pruned vines, and enter them above or in table counts."
            )
            return
        try:
            self.check = crew_check(
                self.page.now,
                self.block.value,
                self.desk.season,
                plan=self.plan.value.strip() or None,
                date=self.desk.as_of,
                history=self.desk.records,
                draws=self.desk.draws,
                seed=self.desk.seed,
            )
        except NoPlan as fault:
            raise fault.mended("write it into “Planned”, like 2x10+2x2") from None
        check = self.check
        text = (
            '<div class="cl-level" role="status">'
            f"<p><strong>{parts.escape(check.verdict.capitalize())}</strong></p>"
            f"<p>{parts.escape(check.heading(self.desk.units))}</p></div>{parts.points(check.notes)}"
        )
        if len(check):
            text += (
                f'<details class="cl-source"><summary>{len(check)} rows, one by one'
                f"</summary>{crew_table(check).html()}</details>"
            )
        text += parts.note(
            "A check of the work, not of a person: a wire, the wood there was, or a sheet misread "
            "can stand behind a difference. Talk to the crew first."
        )
        self.result.value = text
