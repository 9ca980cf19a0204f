"""Turn text cells into numbers, dates and words, and say why a cell is none of them."""

import difflib
import math
import re

import numpy as np
import pandas as pd

from cropload.records.reading.dates import NO_ORDER, read_dates
from cropload.records.reading.files import tidy
from cropload.records.reading.spans import like_a_span, span_of

NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
COMMA = re.compile(r"[+-]?[0-9]*,[0-9]+(?:[eE][+-]?[0-9]+)?")
#: A number with signs or spaces between its thousands.
THOUSANDS = re.compile(r"[+-]?[0-9]{1,3}(?:[ ,.'\xa0\u202f][0-9]{3})+(?:[.,][0-9]+)?")
_PLAN_PIECE = re.compile(r"([0-9]{1,4})x([0-9]{1,4})")
#: A cell that begins with one of these can become a formula in a spreadsheet program.
_FORMULA_SIGNS = "=+-@＝＋－＠"
#: A piece of up to this many buds is a spur, and a vine carries no more buds than this.
_SPUR_MOST_BUDS, _MOST_BUDS = 3, 1000

#: A longer name is none [characters].
_LONGEST_NAME = 100

#: Nothing that is measured or paid in a vineyard is as large as this.
_MOST = 1e15

#: What spreadsheet programs write into a cell whose formula fails.
ERRORS = {"#N/A", "#REF!", "#VALUE!", "#DIV/0!", "#NAME?", "#NULL!", "#NUM!", "#SPILL!", "#CALC!"}


def decimal_sign(texts):
    """Return the decimal sign that most number cells use, or ``""`` when none shows one."""
    commas = sum(bool(COMMA.fullmatch(text)) for text in texts)
    points = sum("." in text and bool(NUMBER.fullmatch(text)) for text in texts)
    if commas == points == 0:
        return ""
    return "," if commas > points else "."


def parse(codes, texts, column, decimal=".", order=NO_ORDER):
    """Turn the different texts of one column into values.

    Parameters
    ----------
    codes : array of int
        Which text stands in each row.
    texts : list of str
        The different texts, tidied.
    column : Column
        What the column should hold.
    decimal : str
        The decimal sign of the file.
    order : DateOrder
        The order of day and month in all tables.

    Returns
    -------
    (array, dict)
        Values by row (float64, datetime64[ns] or pandas' text), and code -> (rule, mend) of bad
        texts.
    """
    bad = {}
    for code, text in enumerate(texts):
        if text in ERRORS:
            mend = "Correct its formula" + _or_blank(column)
            bad[code] = ("the cell holds an error of the spreadsheet program", mend)
    if column.numeric:
        values = np.full(len(texts), np.nan)
        for code, text in enumerate(texts):
            if text and code not in bad:
                values[code], fault = _number(text, column, decimal)
                if fault:
                    bad[code] = fault
    elif column.kind == "date":
        values = read_dates(texts, order, bad)
    else:
        values = np.full(len(texts), "", dtype=object)
        for code, text in enumerate(texts):
            if code in bad:
                continue
            values[code], fault = _word(text, column)
            if fault:
                bad[code] = fault
        return words(values, codes), bad
    return values[codes] if len(texts) else values, bad


def words(texts, codes):
    """Return texts by row, as pandas holds them, for the code of each row."""
    return pd.Series(texts, dtype=str).array.take(codes)


def widths(codes, texts, column, decimal="."):
    """Return how wide the ranges in a column are, the logs of high over low end by row [1].

    A single number is a range of no width; NaN where there is no number.
    """
    values = np.full(len(texts), np.nan)
    for code, text in enumerate(texts):
        ends = [_number(end, column, decimal)[0] for end in span_of(text) or (text,)]
        values[code] = math.log(ends[1] / ends[0]) if len(ends) > 1 and ends[0] > 0 else 0.0
        if not np.isfinite(ends).all():
            values[code] = np.nan
    return values[codes] if len(texts) else values


def _span(ends, column, decimal):
    """Return the middle of a range, by which it is as far in shares to either end, and a fault."""
    values = []
    for end in ends:
        value, fault = _number(end, column, decimal)
        if fault:
            return math.nan, fault
        values.append(value)
    low, high = values
    if not 0 < low <= high:
        mend = "Write the lower number first, above 0, like 900-1300."
        return math.nan, ("a range runs from a low to a high end", mend)
    return low if low == high else math.sqrt(low * high), None


def _number(text, column, decimal):
    ends = span_of(text) if column.ranged else None
    if ends:
        return _span(ends, column, decimal)
    plain = text
    if text.endswith("%"):
        if column.unit != "%":
            mend = "The column is no percentage: write the plain number; in a workbook, also give "
            return math.nan, (column.rule, mend + "the cell a plain number format.")
        plain = text = tidy(text[:-1])
    if decimal == "," and COMMA.fullmatch(text):
        plain = text.replace(",", ".")
    elif decimal == "," and "." in text and NUMBER.fullmatch(text):
        mend = f"Write every number of this file with a decimal comma: {text.replace('.', ',')}"
        return math.nan, ("decimal points and decimal commas are mixed in one file", mend)
    plain = plain.replace("\N{MINUS SIGN}", "-")
    if not NUMBER.fullmatch(plain):
        return math.nan, (column.rule, _number_mend(text, decimal, column))
    value = float(plain)
    if abs(value) > _MOST:
        return math.nan, ("is larger than anything in a vineyard", "Check the digits.")
    if column.kind in ("whole", "season") and value != math.floor(value):
        return math.nan, (column.rule, "Write a whole number, without decimals.")
    return value, None


def _number_mend(text, decimal, column):
    low = text.lower().strip("-+.()#/! ")
    if text.startswith("#") or low in ("nan", "na", "n/a", "null", "none", "", "missing", "?"):
        if column.required:
            return f"Write a number{_or_blank(column)}"
        return "Leave the cell blank where nothing was measured."
    if "inf" in low or "∞" in low:
        return f"Write a number that can be measured{_or_blank(column)}"
    if re.fullmatch(r"[+-]?[0-9]{1,3},[0-9]{3}", text) and decimal == ".":
        whole = f"Write {text.replace(',', '')}, without a sign between thousands."
        if column.kind in ("whole", "season"):
            return whole
        return f"{whole[:-1]}; or {text.replace(',', '.')} if the comma is a decimal sign."
    if COMMA.fullmatch(text) and decimal == ".":
        return f"Write a decimal point: {text.replace(',', '.')}"
    if THOUSANDS.fullmatch(text):
        return "Write the number without signs or spaces between thousands."
    made = dated_number(text)
    if made:
        return made
    if column.ranged and like_a_span(text):
        return f"Write a range with a hyphen and no spaces: {like_a_span(text)}"
    alone = number_alone(text)
    if alone:
        return f"Write the number alone: {alone}"
    return f"Write a number{_or_blank(column)}"


def number_alone(text):
    """Return the number that something stands behind, or an empty text."""
    found = re.match(r"[+-]?[0-9]+(?:[.,][0-9]+)?(?=[^0-9.,])", text)
    return found[0] if found else ""


def _or_blank(column):
    """Return the end of a mend: a blank is none in a column that must be filled in."""
    if column.required:
        return "; this column must be filled in."
    return ", or leave the cell blank where nothing was measured."


_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_DAY_MONTH = re.compile(r"([0-9]{1,2})[-. /]*([a-z]{3})[a-z]*\.?")
_MONTH_NUMBER = re.compile(r"([a-z]{3})[a-z]*[-. /]?([0-9]{1,2})")


def dated_number(text):
    """Return the mend for a number that a spreadsheet program took for a date, or an empty text."""
    stamp = re.fullmatch(r"([0-9]{4})-([0-9]{2})-([0-9]{2})(?:[ T].*)?", text)
    low = text.lower()
    named, turned = _DAY_MONTH.fullmatch(low), _MONTH_NUMBER.fullmatch(low)
    if stamp:
        year, month, day = int(stamp[1]), int(stamp[2]), int(stamp[3])
        likely = [f"{day}.{month}", f"{month}.{day}"]
        # A number that can be no day is taken for a year: 1.75 for January 1975.
        if day == 1:
            likely.append(f"{month}.{year % 100:02d}")
    elif named and named[2] in _MONTHS:
        month = _MONTHS.index(named[2]) + 1
        likely = [f"{int(named[1])}.{month}", f"{month}.{int(named[1])}"]
    elif turned and turned[1] in _MONTHS:
        month = _MONTHS.index(turned[1]) + 1
        likely = [f"{month}.{turned[2]}", f"{int(turned[2])}.{month}"]
    else:
        return ""
    return (
        f"The spreadsheet program made a date of a number, perhaps of "
        f"{' or '.join(dict.fromkeys(likely))}. Give the cell a plain number format, and type the "
        "number again."
    )


def _word(text, column):
    if not text:
        return "", None
    if column.kind == "choice":
        known = {plain_word(choice): choice for choice in column.choices}
        return known.get(plain_word(text), text.lower()), None
    if column.kind == "plan":
        word = plain_word(text)
        return (word, None) if word in column.choices else _plan(text, column)
    if "\n" in text or "\r" in text:
        return "", (
            "holds a line break",
            'Write it on one line; look for a quotation mark " that opens and never closes.',
        )
    # A leading apostrophe is how spreadsheets mark text that looks like a formula.
    if text[0] == "'" and len(text) > 1 and text[1] in _FORMULA_SIGNS:
        text = text[1:]
    if column.kind in ("name", "label") and len(text) > _LONGEST_NAME:
        return "", (f"is longer than {_LONGEST_NAME} characters", "Give it a shorter name.")
    return text, None


def plain_word(text):
    """Return a word without capitals, spaces, hyphens and underscores."""
    return re.sub(r"[\s_-]+", "", text.lower())


def meant_choice(column, text):
    """Return a hint at the choice that a wrong word may mean, or an empty text."""
    words = {word: word for word in column.choices} | column.meant
    other = {plain_word(word): choice for word, choice in column.meant.items()}
    if plain_word(text) in other:
        return f"Did you mean '{other[plain_word(text)]}'?"
    hits = difflib.get_close_matches(text.lower(), words, n=3, cutoff=0.6)
    found = dict.fromkeys(words[hit] for hit in hits)
    return "Did you mean " + " or ".join(f"'{word}'" for word in found) + "?" if found else ""


def escape_text(text):
    """Return text with a leading apostrophe when it begins like a formula."""
    start = text.lstrip(" \xa0")[:1]
    risky = bool(start) and start in _FORMULA_SIGNS + "\t\r\n"
    return "'" + text if risky else text


def _plan(text, column):
    """Return a plan in its canonical text: canes first, no blanks, small x."""
    how = "Write canes x buds, then spurs x buds, like 3x8+3x2 (or 24x2 for spurs alone)."
    plain = re.sub(r"\s+", "", text.lower()).replace("×", "x").replace("*", "x")
    found = [_PLAN_PIECE.fullmatch(piece) for piece in plain.split("+")]
    if len(found) > 2 or not all(found):
        return "", (column.rule, how)
    pieces = [(int(piece[1]), int(piece[2])) for piece in found]
    if len(pieces) == 1:
        pieces = [(0, 0), *pieces] if pieces[0][1] <= _SPUR_MOST_BUDS else [*pieces, (0, 0)]
    (canes, cane_buds), (spurs, spur_buds) = pieces
    total = canes * cane_buds + spurs * spur_buds
    if total == 0:
        return "", ("the plan leaves no bud on the vine", how)
    if total > _MOST_BUDS:
        return "", (f"the plan leaves more than {_MOST_BUDS} buds on a vine", "Check the numbers.")
    for wood, number, buds in (("cane", canes, cane_buds), ("spur", spurs, spur_buds)):
        if number and not buds:
            mend = f"Write how many buds each {wood} has, or leave the {wood}s out."
            return "", (f"its {wood}s have 0 buds", mend)
    if canes and cane_buds <= _SPUR_MOST_BUDS:
        mend = f"A piece of up to {_SPUR_MOST_BUDS} buds is a spur: write it second, or alone."
        return "", (f"a cane has more than {_SPUR_MOST_BUDS} buds", mend)
    if spurs and not 1 <= spur_buds <= _SPUR_MOST_BUDS:
        return "", (f"a spur has 1 to {_SPUR_MOST_BUDS} buds", "Write longer pieces as canes.")
    written = [f"{canes}x{cane_buds}"] if canes else []
    return "+".join([*written, *([f"{spurs}x{spur_buds}"] if spurs else [])]), None
