"""Where a plan stands in the user's own file, so that it can be told and mended by its owner."""

from dataclasses import dataclass
from datetime import date

import pandas as pd

from cropload.records.corrections import mend
from cropload.records.later_rows import in_order
from cropload.records.reading.csv_table import read_csv
from cropload.records.reading.files import checked_path, csv_files, read_bytes, read_raw
from cropload.records.records import ParsedTable, parser
from cropload.records.tables import TABLES


@dataclass(frozen=True)
class PlanRow:
    """A plan on record: as written, its file or sheet, the row there [1], and its day if told."""

    plan: str
    file: str
    row: int
    day: date | None = None

    def words(self):
        """Return plan and place, like ``3x8+3x2 (pruning.csv, row 45)``."""
        return f"{self.plan} ({self.file}, row {self.row})"


def plan_row(path, season, block):
    """Return where the plan that holds for a block and season stands on record.

    Parameters
    ----------
    path : str or path
        The folder or workbook of the records, as for ``read_records``.
    season : int
        Year of the harvest.
    block : str
        Name of the block.

    Returns
    -------
    PlanRow or None
        None when no plan is on record for that block and season.

    Raises
    ------
    CroploadError
        When the file cannot be read.

    Notes
    -----
    Reads the file as it is now, so that what was added since the records were read counts.
    """
    path = checked_path(path)
    if path.is_file():
        raws = read_raw(path)[0]
    else:
        files = csv_files(path)[0]
        raws = {
            name: read_csv(TABLES[name], files[name].name, read_bytes(files[name]))
            for name in ("pruning", "corrections")
            if name in files
        }
    raw = mend(raws, parser(raws)).raws.get("pruning")
    if raw is None:
        return None
    parsed = ParsedTable(raw)
    if not parsed.complete:
        return None
    frame = parsed.frame
    mine = frame[(frame["season"] == season) & (frame["block"] == block)]
    mine = mine[mine["plan"].fillna("").str.strip() != ""]
    if mine.empty:
        return None
    rows = in_order(mine, ["season", "block"])
    row, day = rows.iloc[-1], rows["date"].iloc[-1]
    return PlanRow(
        str(row["plan"]).strip(), raw.file, int(row.name), None if pd.isna(day) else day.date()
    )
