"""Bring workbooks and tables of any shape into a season folder, every value traced to its cell."""

import re
from dataclasses import dataclass, field, replace
from itertools import islice, pairwise
from pathlib import Path

import pandas as pd

from cropload import arguments
from cropload.answer import Answer
from cropload.errors import CroploadError, Unanswered, near
from cropload.records.contracts import PRICES, named_after
from cropload.records.importing.find import letters
from cropload.records.importing.keep import kept_answers, new_rows, write_folder
from cropload.records.importing.questions import read_answers
from cropload.records.importing.understand import csv_frame, understand
from cropload.records.importing.values import is_nothing
from cropload.records.reading.csv_table import read_csv
from cropload.records.reading.faults import Fault, RecordsError
from cropload.records.reading.files import csv_files, holds_records, read_bytes, stop
from cropload.records.reading.grids import read_grids, shown_value
from cropload.records.reading.trade_words import MADE_FROM
from cropload.records.records import check_tables, read_records
from cropload.records.tables import TABLES

#: Values shown of a column.
_EXAMPLES = 3
_COLUMNS = ["region", "place", "header", "table", "column", "unit", "before", "after", "rows"]


@dataclass(frozen=True, eq=False, repr=False)
class Import(Answer):
    """What files hold, as it was understood, before anything is written.

    Attributes
    ----------
    frame : DataFrame
        One row a column that is read: ``region`` (file, sheet and range of its table), ``place``
        (the cell of its header), ``header``,
        ``table``, ``column``, ``unit`` as read, ``before`` and ``after`` (some of its values as
        they stand, and as they will be written), ``rows`` [1].
    left_out : DataFrame
        ``place``, ``text`` and ``why`` of whatever is not read.
    tables : dict
        Name of a table -> its rows as texts, as they will be written.
    new : dict
        The same, of rows only that the folder does not hold.
    sources : dict
        Name of a table -> one text a row: the cells that it comes from.
    questions : tuple of Question
        What is open; the rows are those of the likely answers until they are answered.
    answered : tuple of (Question, str)
        What was asked and answered.
    differ : tuple of str
        Rows that say otherwise than the folder; they are not written.
    faults : tuple of Fault
        What must be mended in the files first.
    doubts : tuple of Fault
        What is possible but doubtful, as ``check`` would tell it.
    into : Path or None
        The folder.
    files : tuple of str
        Names of the files.
    """

    left_out: pd.DataFrame = field(default=None, kw_only=True)
    tables: dict = field(default_factory=dict, kw_only=True)
    new: dict = field(default_factory=dict, kw_only=True)
    sources: dict = field(default_factory=dict, kw_only=True)
    questions: tuple = field(default=(), kw_only=True)
    answered: tuple = field(default=(), kw_only=True)
    differ: tuple = field(default=(), kw_only=True)
    faults: tuple = field(default=(), kw_only=True)
    doubts: tuple = field(default=(), kw_only=True)
    into: Path | None = field(default=None, kw_only=True)
    files: tuple = field(default=(), kw_only=True)

    def write(self):
        """Write the folder, or add what is new to it; nothing is replaced.

        Returns
        -------
        pathlib.Path
            The folder.

        Raises
        ------
        Unanswered
            While questions are open.
        RecordsError
            When the files hold faults that must be mended there.
        CroploadError
            When no folder was named, or it cannot be written.
        """
        if self.faults:
            raise RecordsError(self.faults, opening="The files cannot be brought in as they are")
        if self.questions:
            names = ", ".join(f"'{question.id}'" for question in self.questions)
            raise Unanswered(f"Nothing is written while questions are open: {names}.")
        if self.into is None:
            raise CroploadError("Name the folder to write: into='my_season'.")
        return write_folder(self)


@arguments.check_arguments(
    files=arguments.each(arguments.path, "the names of workbooks or tables"),
    into=arguments.optional(arguments.path),
    answers=arguments.optional(arguments.any_of(arguments.path, arguments.row)),
    progress=arguments.optional(arguments.calling),
)
def import_workbook(files, into=None, answers=None, *, progress=None):
    """Understand workbooks and tables of any shape; nothing is written yet.

    Parameters
    ----------
    files : path, or sequence of path
        Workbooks (.xlsx, .xlsm, .xls, .ods) and text tables (.csv, .txt, .tsv).
    into : path, optional
        The season folder to make, or to add to; answers once given for it hold again.
    answers : path or dict, optional
        A file of answered questions, or name of a question -> answer.
    progress : callable, optional
        Called as progress(done, total) after each file, sheet and table.

    Returns
    -------
    Import
        What was understood, what is left out and what is open; its ``write`` writes the folder.

    Raises
    ------
    RecordsError
        When a file cannot be read, or none holds a table that is known.
    CroploadError
        When an answer is none of the choices, or the folder holds a workbook of records.

    Notes
    -----
    Valid for tables with a header row, whose words are known in English, Spanish, French, German
    or Italian.  A date order, a unit or a decimal sign that the data do not settle is asked for,
    never guessed.
    """
    folder = None if into is None else Path(into).expanduser()
    old = _records_there(folder)
    told = _answers(answers)
    given = kept_answers(folder) | told
    grids, shown, steps = [], _apart(files), _Steps(progress)
    for place, (file, name) in enumerate(zip(files, shown, strict=True), start=1):
        for grid in _grids(Path(file).expanduser()):
            grid.file = name
            grids.append(grid)
        # A sheet holds a table, about; each is looked for and read, and all are checked.
        steps.total = len(files) + 2 * len(grids) + 2 * (len(files) - place) + 1
        steps()
    names = () if old is None else old.blocks["block"]
    found = understand(grids, given, names, steps)
    if not found.tables:
        _stop_at_nothing(shown, found)
    if "prices" in found.tables and (old is None or old.prices.empty):
        _as_contracts(found)
    tables = {
        name: csv_frame(name, found.tables[name], name in found.us)
        for name in TABLES
        if name in found.tables
    }
    sources = {name: list(found.tables[name].frame["_source"]) for name in tables}
    faults, doubts, typed = _checked(tables, sources, folder if old is not None else None)
    new, differ = tables, ()
    if old is not None:
        new, differ = new_rows(folder, tables, typed, sources)
        if "blocks" in new:
            found.notes.append(f"New to the folder: {', '.join(new['blocks']['block'])}.")
    left_out = pd.DataFrame(found.left_out, columns=["place", "text", "why"])
    asked = found.questions
    return Import(
        _columns(found, tables),
        (*found.notes, *_needless(told, asked)),
        left_out=left_out.drop_duplicates(ignore_index=True),
        tables=tables,
        new=new,
        sources=sources,
        questions=tuple(asked.open),
        answered=tuple((asked.asked[name], answer) for name, answer in asked.answered.items()),
        differ=tuple(differ),
        faults=tuple(faults),
        doubts=doubts,
        into=folder,
        files=tuple(shown),
    )


def _grids(path):
    """Return the grids of a file; a fault says that it is the file that cannot be read."""
    try:
        return read_grids(path)
    except RecordsError as error:
        raise RecordsError(error.faults, opening="The file cannot be read") from None


def _apart(files):
    """Return the names of files as shown; those of one name with the folder they are in."""
    paths = [Path(file).expanduser() for file in files]
    names = [path.name for path in paths]
    if len(set(map(str, paths))) < len(paths):
        stop(", ".join(names), "the same file is given twice", "Give it once.")
    found = [
        path.name if names.count(path.name) == 1 else f"{path.parent.name}/{path.name}"
        for path in paths
    ]
    return found if len(set(found)) == len(found) else list(map(str, paths))


@dataclass
class _Steps:
    """Counts steps of an import, and tells how far it is."""

    progress: object
    total: int = 0
    done: int = 0

    def __call__(self):
        self.done += 1
        if self.progress is not None:
            self.progress(min(self.done, self.total), self.total)


def _answers(answers):
    if answers is None:
        return {}
    if isinstance(answers, dict):
        return {str(name): str(answer) for name, answer in answers.items()}
    file = Path(answers).expanduser()
    return read_answers(file.name, read_bytes(file))


def _needless(told, asked):
    """Return a sentence for each answer that answers nothing."""
    for name in told:
        if name not in asked.asked:
            hint = near(name, asked.asked)
            yield f"The answer to '{name}' answers no question of these files. {hint}".strip()


def _records_there(folder):
    """Return the records that a folder holds, or None where it holds none."""
    if folder is None or not folder.exists():
        return None
    if not folder.is_dir():
        stop(folder, "is a file, not a folder", "Name a folder: it is made if it is not there.")
    if not holds_records(folder):
        held = csv_files(folder)[0]
        if any(file.stat().st_size for file in held.values()):
            stop(folder, "holds tables, but none of blocks", "Choose an empty folder.")
        return None
    if "blocks" not in csv_files(folder)[0]:
        mend = "Rows are added to folders of CSV files: choose another folder."
        stop(folder, "holds its records as a workbook", mend)
    return None if _no_rows(folder) else read_records(folder)


def _no_rows(folder):
    """Whether the table of blocks is but a header."""
    file = csv_files(folder)[0]["blocks"]
    return read_csv(TABLES["blocks"], file.name, read_bytes(file)).frame.empty


def _stop_at_nothing(files, found):
    seen = [f"{place} ({text})" for place, text, _ in found.left_out[:3]]
    mend = "A table needs a header row with words such as Block, Variety, Vines, Tonnes."
    if seen:
        mend += f" Seen and not understood: {'; '.join(seen)}."
    stop(", ".join(files), "no table of blocks, pruning, counts, weights or crops is found", mend)


def _as_contracts(found):
    """Make prices that were found contracts of the block's or variety's name."""
    joined = found.tables.pop("prices")
    joined.frame = named_after(joined.frame)
    found.tables["contracts"] = joined
    if "prices" in found.us:
        found.us.add("contracts")
    found.units = {
        (part, "contracts" if table == "prices" else table, source): unit
        for (part, table, source), unit in found.units.items()
    }
    for part in found.parts:
        part.meaning.targets = [
            replace(each, table="contracts", column=PRICES.get(each.column, each.column))
            if each.table == "prices"
            else each
            for each in part.meaning.targets
        ]


def _columns(found, tables):
    """Return one row for each column of a file that is read."""
    rows, places = [], {name: _places(found.tables[name]) for name in tables}
    for part in found.parts:
        for target in part.meaning.targets:
            values = zip(part.rows, part.values(target.source), strict=True)
            some = list(islice(((row, v) for row, v in values if not is_nothing(v)), _EXAMPLES))
            if target.table not in tables or not some:
                continue
            header = part.region.headers[target.source]
            unit = found.units.get((id(part), target.table, target.source)) or target.unit
            after = [_after(tables, places, part, target, row) for row, _ in some]
            rows.append(
                {
                    "region": part.region.shown,
                    "place": part.place(part.region.bottom, target.source),
                    "header": " ".join(filter(None, (header.above, header.text))),
                    "table": target.table,
                    "column": target.column,
                    "unit": unit.name if unit else "",
                    "before": ", ".join(shown_value(value) for _, value in some),
                    "after": ", ".join(filter(None, after)),
                    "rows": len(part.rows),
                }
            )
    return pd.DataFrame(rows, columns=_COLUMNS)


def _places(joined):
    """Return file, sheet and row -> (row of the table, cells) that come from there."""
    found = {}
    for place, source in enumerate(joined.frame["_source"]):
        for each in source.split("; "):
            start, _, cells = each.partition(": ")
            found.setdefault(start, []).append((place, f" {cells} "))
    return found


def _after(tables, places, part, target, row):
    """Return what is written of a cell; a dash where nothing is."""
    table, spec = tables[target.table], TABLES[target.table]
    made = dict.fromkeys(("canes", "spurs", "cane_buds", "spur_buds"), "plan")
    made |= {"mean_weight_g": "weight_g", "spacing": "row_spacing_m"}
    stage = target.table == "dates" and target.column in MADE_FROM["dates"]
    name = "date" if stage else made.get(target.column, target.column)
    us = spec[name].us_name if name in spec.names else None
    column = name if name in table else us if us in table else None
    start = f"{part.region.grid.shown} row {row + 1}"
    for place, cells in places[target.table].get(start, ()):
        if column and f" {letters(target.source)} " in cells:
            return table[column].iloc[place] or "-"
    return "-"


def _checked(tables, sources, folder):
    """Return the faults of the tables as they would be read, each at its cell; and the tables."""
    raws = {
        name: read_csv(TABLES[name], f"{name}.csv", frame.to_csv(index=False).encode())
        for name, frame in tables.items()
    }
    faults = []
    if folder is not None and "blocks" not in raws:
        file = csv_files(folder)[0]["blocks"]
        raws["blocks"] = read_csv(TABLES["blocks"], file.name, read_bytes(file))
    checked = check_tables(raws)
    faults += [_at_its_cell(fault, sources) for fault in checked.faults]
    if "blocks" not in raws:
        mend = "Give also the file that tells each block's variety, spacings and number of vines."
        faults.append(Fault("table blocks", None, None, None, "is told by none of the files", mend))
    doubts = () if faults else tuple(_at_its_cell(d, sources) for d in checked.doubts())
    return faults, doubts, checked.parsed


_SOURCE = re.compile(r"(.*) row (\d+): (.*?)(?:;|$)")


def _at_its_cell(fault, sources):
    """Return a fault of a row that would be written as one of the cells that it comes from."""
    name = fault.file.removesuffix(".csv")
    rows = sources.get(name, ())
    if fault.row is None or not 2 <= fault.row < len(rows) + 2:
        return replace(fault, file=f"table {name}" if name in sources else fault.file, row=None)
    place, row, cells = _SOURCE.match(rows[fault.row - 2]).groups()
    letter = dict(pairwise(cells.split())).get(fault.column)
    column = f"{letter} ({fault.column})" if letter else fault.column
    if not letter and fault.rule == "must be filled in":
        mend = "Add it, or give the file that tells it too; what is not read is listed above."
        fault = replace(fault, rule="is told by no column that is read", mend=mend)
    return replace(fault, file=place, row=int(row), column=column)
