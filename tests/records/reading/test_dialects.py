"""The same records in every dialect read back equal; random cells never break the reader."""

import csv
import io
import tempfile
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from length import repeats

from cropload.records.reading.cells import ERRORS
from cropload.records.reading.faults import RecordsError
from cropload.records.records import read_records
from cropload.records.tables import TABLES
from cropload.units import from_metric

#: The short form draws a fifth of the examples: the first ones of the whole form.
PART = 5

# Letters, digits, marks and blanks of any alphabet; a leading apostrophe is a spreadsheet's own.
NAMES = (
    st.text(
        st.characters(categories=("L", "N", "P", "S"), include_characters=" "),
        min_size=1,
        max_size=12,
    )
    .map(str.strip)
    .filter(lambda name: name and not name.startswith("'") and name not in ERRORS)
)
# No distance that the reader refuses as centimetres.
SPACING = st.floats(0.01, 19).map(lambda number: round(number, 3)).filter(bool)
POSITIVE = st.floats(0.01, 500).map(lambda number: round(number, 3)).filter(bool)
DAYS = st.dates(
    min_value=pd.Timestamp("1990-01-01").date(), max_value=pd.Timestamp("2090-01-01").date()
)
DIALECTS = st.fixed_dictionaries(
    {
        "separator": st.sampled_from([",", ";", "\t", "|"]),
        "told": st.booleans(),
        "comma": st.booleans(),
        "encoding": st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
        "newline": st.sampled_from(["\n", "\r\n", "\r"]),
        "us": st.booleans(),
        "xlsx": st.booleans(),
    }
)


@st.composite
def estates(draw):
    names = draw(st.lists(NAMES, min_size=1, max_size=4, unique=True))
    blocks = [
        {
            "block": name,
            "variety": draw(NAMES),
            "row_spacing_m": draw(SPACING),
            "vine_spacing_m": draw(SPACING),
            "vines": draw(st.integers(1, 9999)),
            "area_ha": draw(st.none() | POSITIVE),
            "missing_pct": draw(st.none() | st.floats(0, 99).map(lambda number: round(number, 1))),
            "frost_offset_c": draw(
                st.none() | st.floats(-5, 5).map(lambda number: round(number, 2))
            ),
        }
        for name in names
    ]
    area = {
        row["block"]: row["area_ha"]
        or row["vines"] * row["row_spacing_m"] * row["vine_spacing_m"] / 10_000
        for row in blocks
    }
    # At most four loads a block: no crop that the reader refuses for its weight.
    harvest = [
        {
            "season": draw(st.integers(1990, 2090)),
            "block": (block := draw(st.sampled_from(names))),
            "date": draw(DAYS),
            "tonnes": round(draw(st.floats(0, 40)) * area[block], 3),
            "ticket": str(number),
        }
        for number in range(draw(st.integers(0, 4)))
    ]
    return {"blocks": blocks, "harvest": harvest}


def as_written(name, rows, dialect):
    """Return header and rows of a table in the units of a dialect."""
    columns = [TABLES[name][key] for key in (rows[0] if rows else TABLES[name].names)]
    header = [
        column.us_name if dialect["us"] and column.us_name else column.name for column in columns
    ]

    def cell(column, value):
        if value is not None and dialect["us"] and column.us_name:
            return float(from_metric(value, column.suffix, column.difference))
        return value

    return header, [[cell(column, row[column.name]) for column in columns] for row in rows]


def save(folder, estate, dialect):
    """Write an estate and return the path to read."""
    if dialect["xlsx"]:
        book = openpyxl.Workbook()
        book.remove(book.active)
        for name, rows in estate.items():
            sheet = book.create_sheet(name)
            header, body = as_written(name, rows, dialect)
            for number, row in enumerate([header, *body], start=1):
                for position, value in enumerate(row, start=1):
                    cell = sheet.cell(number, position, value)
                    if isinstance(value, str):
                        cell.data_type = "s"
        book.save(folder / "estate.xlsx")
        return folder / "estate.xlsx"
    decimal = "," if dialect["comma"] and dialect["separator"] != "," else "."
    for name, rows in estate.items():
        header, body = as_written(name, rows, dialect)
        text = io.StringIO(newline="")
        if dialect["told"]:
            text.write(f"sep={dialect['separator']}{dialect['newline']}")
        writer = csv.writer(text, delimiter=dialect["separator"], lineterminator=dialect["newline"])
        writer.writerow(header)
        for row in body:
            writer.writerow(
                [
                    str(cell).replace(".", decimal) if isinstance(cell, float) else cell
                    for cell in row
                ]
            )
        (folder / f"{name}.csv").write_bytes(text.getvalue().encode(dialect["encoding"]))
    return folder


@pytest.mark.long
@settings(max_examples=repeats(150, PART))
@given(estates(), DIALECTS)
def test_every_dialect_reads_back_equal(estate, dialect):
    with tempfile.TemporaryDirectory() as place:
        records = read_records(save(Path(place), estate, dialect))
    for name, rows in estate.items():
        read = getattr(records, name)
        assert len(read) == len(rows)
        for key in rows[0] if rows else ():
            given_values = [row[key] for row in rows]
            if key == "date":
                assert read[key].dt.date.tolist() == given_values
            elif TABLES[name][key].numeric:
                told = [value is not None for value in given_values]
                wanted = pd.Series(
                    [value for value in given_values if value is not None], dtype=float
                )
                found = read.loc[told, key].astype(float).reset_index(drop=True)
                pd.testing.assert_series_equal(found, wanted, rtol=1e-9, check_names=False)
            else:
                assert read[key].tolist() == given_values


WORDS = (
    "|block|season|North|2026|2,5|2.5|-1|NaN|inf|3x8|=1+1|2026-02-30|14/03/2026|03/04/2026|1e999|١"
)
CELLS = st.sampled_from([*WORDS.split("|"), '"', "'", "\n", ";", "\t", "\x00"]) | st.text(
    max_size=8
)


@pytest.mark.long
@settings(max_examples=repeats(200, PART))
@given(st.sampled_from(sorted(TABLES)), st.data())
def test_random_cells_never_break_the_reader(name, data):
    header = list(TABLES[name].names)
    rows = data.draw(st.lists(st.lists(CELLS, max_size=len(header) + 2), max_size=5))
    separator = data.draw(st.sampled_from([",", ";", "\t", "|"]))
    text = io.StringIO()
    csv.writer(text, delimiter=separator).writerows([header, *rows])
    survives({f"{name}.csv": text.getvalue().encode("utf-8", "replace")})


@pytest.mark.long
@settings(max_examples=repeats(200, PART))
@given(st.binary(max_size=200))
@example(b'block,variety\n"')
@example(b"\xef\xbb\xbf")
@example(b"\xff\xfe")
@example(b"sep=;")
@example(b"sep=;\n")
@example(b",\n,")
@example(b"\r")
def test_random_bytes_never_break_the_reader(data):
    survives({"blocks.csv": data, "counts.csv": data})


@pytest.mark.long
@settings(max_examples=repeats(60, PART))
@given(st.binary(max_size=120), st.integers(0, 2**31))
def test_a_damaged_workbook_never_breaks_the_reader(noise, place):
    book = openpyxl.Workbook()
    book.active.title = "blocks"
    book.active.append(["block", "variety", "row_spacing_m", "vine_spacing_m", "vines"])
    book.active.append(["North", "Riesling", 2, 1, 100])
    stream = io.BytesIO()
    book.save(stream)
    whole = stream.getvalue()
    place %= len(whole)
    survives({"season.xlsx": whole[:place] + noise + whole[place + len(noise) :]}, "season.xlsx")


def survives(files, target="."):
    """Read files; nothing but a RecordsError with a message may come of it."""
    with tempfile.TemporaryDirectory() as place:
        for name, data in files.items():
            (Path(place) / name).write_bytes(data)
        try:
            read_records(Path(place) / target)
        except RecordsError as error:
            found = error
        else:
            return
    assert str(found)
    assert all(fault.rule for fault in found.faults)
