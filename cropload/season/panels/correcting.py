"""The fold of corrections: pick a row that was saved wrong, say what holds and why, and save."""

from pathlib import Path

from cropload.errors import CroploadError
from cropload.records.tables import WHOLE_ROW
from cropload.records.writing.correct import correct, rows_on_file
from cropload.season.panels.season_part import SeasonPart
from cropload.show.panels import parts, saving
from cropload.show.panels.fields import button, choice, field

#: Tables that a season fills, in the order in which it does.
_TABLES = ("counts", "weights", "harvest", "events", "pruning", "dates", "fertility")
_WHOLE = "the whole row: take it out"


class Correcting(SeasonPart):
    """A value of the season that was saved wrong, mended by a row of table corrections."""

    def build(self):
        """Make the choosers, the button and the list of what is corrected."""
        self.table = choice("Saved wrong in", _TABLES)
        self.block = choice("Block", self.desk.blocks, self.desk.block)
        self.row = choice("Row", [("no row", None)], width="44em")
        self.column = choice("Column", [("no column", None)], width="24em")
        self.new = field("What holds (blank: nothing)", width="24em")
        self.why = field("Why", width="34em")
        self.save_button = button("save the correction", self.save, "auto")
        self.said, self.listed = parts.html(), parts.html()
        self.follows(self.table, self.block)
        self.row.observe(lambda _: self._columns(), "value")
        self.column.observe(lambda _: self._value(), "value")
        how = "The row stays as it was written; what holds goes into a table of its own, dated."
        self.body.children = (
            parts.html(parts.note(how)),
            parts.row(self.table, self.block),
            self.row,
            parts.row(self.column, self.new),
            parts.row(self.why, self.save_button),
            self.said,
            self.listed,
        )

    def show(self):
        """Offer the rows of the block in the season, and tell what is corrected."""
        path, season = self.desk.records.path, self.desk.season
        there = Path(path).exists()
        rows = rows_on_file(path, self.table.value, season, self.block.value) if there else []
        self.row.options = [(_label(each), each) for each in rows] or [
            (f"none of {self.block.value} in season {season}", None)
        ]
        self._columns()
        told = [each for each in self.desk.records.corrected if each.season in (None, season)]
        self.listed.value = parts.points(each.words() for each in told)

    def _columns(self):
        row, before = self.row.value, self.column.value
        cells = {} if row is None else row.cells
        self.column.options = [(name, name) for name in cells] + (
            [(_WHOLE, WHOLE_ROW)] if cells else [("no column", None)]
        )
        if before in cells:
            self.column.value = before
        else:
            # What was measured stands last and is what is mostly mended.
            filled = [name for name, text in cells.items() if _number(text)]
            self.column.value = filled[-1] if filled else self.column.options[0][1]
        self._value()

    def _value(self):
        """Fill in the value that holds now, to be typed over."""
        row, column = self.row.value, self.column.value
        self.new.value = "" if row is None else row.cells.get(column, "")
        self.new.disabled = column == WHOLE_ROW

    def save(self):
        """Add the correction to the user's own table; what depends on it follows."""

        def action():
            row = self.row.value
            if row is None:
                raise CroploadError("Choose a row first.")
            if row.cells.get(self.column.value) == self.new.value.strip():
                raise CroploadError("That is what stands there. Type the value that holds.")
            path = saving.own_folder(self.desk.records, "correct a value")
            done = correct(
                path,
                self.table.value,
                row.key,
                self.column.value,
                self.new.value,
                why=self.why.value,
            )
            self.why.value = ""
            if not isinstance(self.desk.given, (str, Path)):
                self.desk.given = path
            self.desk.read()
            return done

        parts.tell(self.said, action, "Nothing was corrected")


def _number(text):
    return text.replace(",", "").replace(".", "").isdecimal()


def _label(row):
    """Return a row as it can be told from its neighbours: what is filled in it."""
    cells = {name: text for name, text in row.cells.items() if text}
    return ", ".join(
        f"{name} {text}" for name, text in cells.items() if name not in ("season", "block")
    )
