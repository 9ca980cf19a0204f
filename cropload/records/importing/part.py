"""One found table with what its surroundings say of it: season, day, stage, block."""

import re
from dataclasses import dataclass, field
from functools import cached_property

from cropload.records.importing.find import letters
from cropload.records.importing.values import dates_in, is_nothing, order_shown, sign_shown
from cropload.records.reading.trade_words import (
    choice_of,
    columns_named,
    plain,
    seasons_in,
    table_words,
)
from cropload.records.tables import TABLES

#: Words after which a year is no season of the table, and words that make it one.
_BEFORE = re.compile(
    r"\b(?:since|until|from|before|after|seit|bis|ab|depuis|desde|hasta|dal|fino|apres)\s+$"
)
_HARVEST = {
    *("vintage", "season", "harvest", "crop", "millesime", "jahrgang", "campana", "anada"),
    *("vendimia", "cosecha", "recolte", "vendange", "vendanges", "lese", "ernte", "vendemmia"),
    *("raccolto", "annata", "saison", "lesejahr", "erntejahr", "temporada"),
}
_TITLE = 7


@dataclass
class Part:
    """A region of a sheet and its meaning.

    Attributes
    ----------
    region : Region
        Where it stands.
    meaning : Meaning
        What its columns are.
    cells : dict
        Column -> its cells, one for each row, once they were asked for.
    """

    region: object
    meaning: object
    cells: dict = field(default_factory=dict)

    @property
    def rows(self):
        """The rows that hold values, from 0."""
        return self.region.rows

    @cached_property
    def texts(self):
        """What stands above, the nearest first, then the sheet and the file."""
        grid = self.region.grid
        stem = re.sub(r"\.\w{2,4}$", "", grid.file)
        over = [header.above for header in self.region.headers.values() if header.above]
        return [*dict.fromkeys(over), *reversed(self.region.titles), grid.sheet, stem]

    def values(self, column):
        """Return the cells of a column, one for each row."""
        held = self.cells.get(column)
        if held is None or len(held) != len(self.rows):
            held = self.cells[column] = self.region.cells(self.rows, column)
        return held

    def place(self, row, column):
        """Return a cell as told to the user: file, sheet and name of the cell."""
        return f"{self.region.grid.shown} {letters(column)}{row + 1}"

    def targets(self, table, column=None):
        """Return the targets of a table, or those of one of its columns."""
        found = self.meaning.of(table)
        return [t for t in found if column is None or t.column == column]

    def keys_for(self, table):
        """Return the block and season columns of the main table for another table of the part."""
        mine = {target.column for target in self.targets(table)}
        return [
            target
            for target in self.targets(self.meaning.main)
            if target.column in ("block", "season") and target.column not in mine
            if target.column in TABLES[table].names
        ]

    @cached_property
    def season(self):
        """The year that titles, sheet or file tell, and whether it is surely that of a harvest."""
        plain_year = None
        for text in self.texts:
            text = dates_in(text)[1]
            sure = bool(_HARVEST & set(plain(text).split()))
            if len(text.split()) > _TITLE and not sure:
                continue
            found = [each for each in seasons_in(text) if not _since(text, each[0])]
            if len(found) != 1:
                continue
            year, two = found[0]
            winter = self.meaning.main == "pruning" and year - 1 == plain_year
            if plain_year not in (None, year) and not winter:
                continue
            if two or sure:
                return year, True
            plain_year = plain_year or year
        return plain_year, False

    @cached_property
    def day(self):
        """The one day that the titles name, or None."""
        for text in self.texts:
            found, _ = dates_in(text)
            if len(set(found)) == 1:
                return found[0]
        return None

    @cached_property
    def missing_mark(self):
        """The mark by which a legend in the titles says that no vine stands at a place, or None."""
        for text in self.texts:
            for mark, told in re.findall(
                r"(\S{1,2})\s*=\s*([^=]+?)(?=\s{2,}|\s+\S{1,2}\s*=|$)", text
            ):
                if "missing" in columns_named("counts", told):
                    return mark.lower()
        return None

    @cached_property
    def stage(self):
        """The stage of weighing that titles or sheet name, or None."""
        column = TABLES["weights"]["stage"]
        for text in self.texts:
            words = plain(text).split()
            for size in (2, 1):
                for start in range(len(words) - size + 1):
                    found = choice_of(column, " ".join(words[start : start + size]))
                    if found:
                        return found
        return None

    @cached_property
    def named_tables(self):
        """The tables that the surroundings speak of."""
        return [table for text in self.texts for table in table_words(text)]

    def date_cells(self):
        """Yield (row, column, text) of cells that should hold days and are texts."""
        for target in self.meaning.targets:
            stages = target.table == "dates" and target.column != "block"
            if stages or (target.column in _DATES):
                for row, value in zip(self.rows, self.values(target.source), strict=True):
                    if isinstance(value, str) and order_shown(value):
                        yield row, target.source, value

    def number_cells(self):
        """Yield (row, target, text) of cells that should hold numbers and show a sign."""
        for target in self.meaning.targets:
            spec = TABLES[target.table]
            if target.column in spec.names and not spec[target.column].numeric:
                continue
            if target.table == "dates":
                continue
            for row, value in zip(self.rows, self.values(target.source), strict=True):
                if isinstance(value, str) and not is_nothing(value) and sign_shown(value):
                    yield row, target, value


_DATES = {
    column.name for table in TABLES.values() for column in table.columns if column.kind == "date"
}


def _since(text, year):
    found = re.search(rf"(.*?)(?<!\d){year}(-(?!\d))?", text)
    if found and found[2]:
        return True
    return bool(found and _BEFORE.search(" ".join(re.findall(r"[^\W\d]+", plain(found[1]))) + " "))
