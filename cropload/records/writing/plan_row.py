"""Where a plan stands in the user's own file, so that it can be told and mended by its owner."""

from dataclasses import dataclass

from cropload.records.reading.csv_table import read_csv
from cropload.records.reading.files import checked_path, csv_files, read_bytes, read_raw
from cropload.records.records import ParsedTable
from cropload.records.tables import TABLES


@dataclass(frozen=True)
class PlanRow:
    """A plan on record: the plan as written, its file or sheet, and the row there [1]."""

    plan: str
    file: str
    row: int

    def words(self):
        """Return plan and place, like ``3x8+3x2 (pruning.csv, row 45)``."""
        return f"{self.plan} ({self.file}, row {self.row})"


def plan_row(path, season, block):
    """Return where the plan of a block and season stands on record.

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
        raw = read_raw(path)[0].get("pruning")
    else:
        file = csv_files(path)[0].get("pruning")
        raw = read_csv(TABLES["pruning"], file.name, read_bytes(file)) if file else None
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
    return PlanRow(str(mine["plan"].iloc[0]).strip(), raw.file, int(mine.index[0]))
