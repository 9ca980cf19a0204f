"""What an import says: what was understood, what is open, what was left out."""

from cropload.show.table import Column, Table
from cropload.units import METRIC

#: Lines of what was left out that are shown unless all are asked for.
SHOWN = 12
#: What is said before anything is given.
WANTED = (
    "Workbooks (.xlsx, .xls, .ods) and tables (.csv, .txt) of any shape: blocks with variety, "
    "spacings and vines; prunings, counts, weights, crops. What is found is shown before anything "
    "is written, and your files are never changed."
)
#: Letters of a text that was left out that are shown.
_LETTERS = 80
#: Reasons for leaving something out that need no second look.
_USUAL = ("a total or a mean", "a title or a remark", "a remark", "the header again")


def heading(found, units=METRIC):
    """Return what was found, in a sentence."""
    told = f"{', '.join(found.files)}: {_rows(found.tables)}."
    if found.new is not found.tables:
        told += f" New: {_rows(found.new)}." if found.new else " Nothing of it is new."
    if found.differ:
        one = len(found.differ) == 1
        told += f" {len(found.differ)} row{' says' if one else 's say'} otherwise than the folder."
    return told


def _rows(tables):
    counts = [
        f"{len(frame):,} row{'' if len(frame) == 1 else 's'} of {name}"
        for name, frame in tables.items()
    ]
    return ", ".join(counts)


def tables(found, units=METRIC):
    """Return one table for each kind of table found, then what was left out."""
    return [*understood(found), left_out(found)]


def understood(found):
    """Return the columns that are read, tables of one shape together."""
    one = len(set(found.files)) == 1
    shapes = {}
    for region, lot in found.frame.groupby("region", sort=False):
        shape = tuple(zip(lot["header"], lot["table"], lot["column"], strict=True))
        shapes.setdefault(shape, []).append((region, lot))
    made = []
    for lots in shapes.values():
        names = [region.removeprefix(f"{found.files[0]} ") if one else region for region, _ in lots]
        more = f", and {len(names) - 2} more" if len(names) > 2 else ""
        rows = sum(int(lot["rows"].iloc[0]) for _, lot in lots)
        read = " and ".join(dict.fromkeys(lots[0][1]["table"]))
        caption = f"{', '.join(names[:2])}{more} ({rows:,} row{'' if rows == 1 else 's'}): {read}"
        lines = [
            (row.header, f"{row.table}: {row.column}", row.unit, row.before, row.after)
            for row in lots[0][1].itertuples()
        ]
        made.append(Table(f"found {len(made) + 1}", caption, _COLUMNS, tuple(lines), heads=2))
    return made


_COLUMNS = (
    Column("header"),
    Column("is read as"),
    Column("unit"),
    Column("as it stands"),
    Column("as it is written"),
)


def left_out(found, every=True):
    """Return what is not read and why, what needs a second look first."""
    frame = found.left_out
    usual = frame["why"].isin(_USUAL)
    frame = (
        frame[~usual]
        if not every
        else frame.assign(_usual=usual).sort_values("_usual", kind="stable")
    )
    alike = {}
    for row in frame.itertuples():
        what = row.text.partition(":")[0] if row.why.startswith("no column") else row.text
        alike.setdefault((what, row.why), []).append(row)
    lines = []
    for (_, why), rows in alike.items():
        more = f", and {len(rows) - 1} more" if len(rows) > 1 and not every else ""
        if every:
            lines += [(row.place, _short(row.text), why) for row in rows]
        else:
            lines.append((rows[0].place + more, _short(rows[0].text), why))
    if not every:
        lines = lines[:SHOWN]
    columns = (Column("where"), Column("what stands there"), Column("why it is not read"))
    return Table("left out", "Not read", columns, tuple(lines), heads=1)


def _short(text):
    return text if len(text) <= _LETTERS else f"{text[:_LETTERS]} ..."


def usual(found):
    """Return how many totals, titles and remarks were left out, in a sentence, or nothing."""
    number = int(found.left_out["why"].isin(_USUAL).sum())
    rest = len(found.left_out) - number - SHOWN
    what = "totals, titles and remarks" if number > 1 else "total, title or remark"
    told = [f"{number} {what} not read either"] if number else []
    if rest > 0:
        told.insert(0, f"And {rest} more")
    return f"{'; '.join(told)}: --all lists them." if told else ""


def choices(question):
    """Return the choices of a question as (words, answer), the likely one first and said so."""
    told = [f"{answer}: {means}" if means else answer for answer, means in question.choices.items()]
    told[0] += " (likely)"
    return tuple(zip(told, question.choices, strict=True))


def written(found, folder):
    """Return what was written, in a sentence."""
    if not found.new:
        return f"Nothing is new; {folder} stays as it is."
    return (
        f"Written to {folder}: {_rows(found.new)}. {folder / 'imported'} tells the cell that each "
        "comes from."
    )
