"""Turn cells as people wrote them into numbers, days and words, whatever their notation."""

import re
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import lru_cache

from cropload.clock import FIRST_YEAR, LAST_YEAR
from cropload.records.reading.cells import ERRORS, parse
from cropload.records.reading.dates import DAY, MONTH
from cropload.records.reading.trade_words import (
    is_blank,
    month_of,
    plain,
    unit_named,
    without_about,
)
from cropload.records.tables import TABLES

#: Day 0 of the serial numbers of spreadsheet programs, and the years they are taken for dates in.
_DAY_0 = date(1899, 12, 30)
_SERIALS = (29_000, 73_000)
#: Texts that are remembered with what they say, as the same ones come again and again.
_SEEN = 50_000
_NUMBER = re.compile(r"([+-]?\d[\d.,'\u2019 \u00a0\u202f]*)\s*(.*)", re.DOTALL)
_WIDE_SPACES = re.compile(r"(?<=\d)[ \u00a0\u202f'\u2019](?=\d{3}(?!\d))")


@dataclass(frozen=True)
class Number:
    """A number as written.

    Attributes
    ----------
    value : float
        The number.
    unit : Unit or None
        The unit beside it.
    about : bool
        Whether it was written as about so much.
    """

    value: float
    unit: object = None
    about: bool = False


@lru_cache(_SEEN)
def sign_shown(text):
    """Return what one number tells of the decimal sign: ``"."``, ``","``, ``"?"`` or ``""``.

    Examples
    --------
    >>> [sign_shown(text) for text in ("1.234,5", "12,5 t", "1,234", "1 250", "0,125")]
    [',', ',', '?', '', ',']
    """
    match = _NUMBER.fullmatch(without_about(text.strip())[0])
    if not match:
        return ""
    digits = _WIDE_SPACES.sub("", match[1].strip())
    signs = [sign for sign in digits if sign in ".,"]
    if not signs:
        return ""
    if len(set(signs)) == 2:
        return signs[-1]
    if len(signs) > 1:
        return "," if signs[0] == "." else "."
    before, after = re.split("[.,]", digits)
    if len(after) == 3 and 1 <= len(before.lstrip("+-")) <= 3 and before.lstrip("+-") != "0":
        return "?"
    return signs[0]


def number_of(value, decimal):
    """Return a cell as a Number; None where it is none.

    Parameters
    ----------
    value : object
        The cell.
    decimal : str
        The decimal sign of texts.
    """
    if isinstance(value, bool) or value is None:
        return None
    if isinstance(value, (int, float)):
        return Number(float(value))
    return _number_in(value, decimal) if isinstance(value, str) else None


@lru_cache(_SEEN)
def _number_in(value, decimal):
    text, about = without_about(value.strip().replace("\N{MINUS SIGN}", "-"))
    match = _NUMBER.fullmatch(text)
    if not match:
        return None
    digits, rest = _WIDE_SPACES.sub("", match[1].strip()), match[2].strip()
    digits = digits.rstrip(".,")
    unit = unit_named(rest) if rest else None
    if rest and unit is None:
        return None
    digits = digits.replace("." if decimal == "," else ",", "").replace(",", ".")
    try:
        return Number(float(digits), unit, about)
    except ValueError:
        return None


_DAY_LAST = re.compile(r"(\d{1,2})\s*[./-]\s*(\d{1,2})\s*[./-]\s*(\d{4}|\d{2})(?:\s+\d\d?:\d\d.*)?")
_YEAR_FIRST = re.compile(r"(\d{4})[./-](\d{1,2})[./-](\d{1,2})(?:[T ].*)?")
_NAMED = (
    re.compile(
        r"(\d{1,2})(?:st|nd|rd|th|er|o|º)?[\s.\-/]*(?:de\s+)?([^\W\d]+)\.?[\s.,\-/]*(?:de\s+)?(\d{4}|\d{2})?"
    ),
    re.compile(r"([^\W\d]+)\.?\s*(\d{1,2})(?:st|nd|rd|th)?\s*,?\s*(\d{4}|\d{2})?"),
)
_WEEKDAY = re.compile(r"^[^\W\d]{2,10}\.?,?\s+(?=\d)")


@lru_cache(_SEEN)
def order_shown(text):
    """Return the order that a date shows, ``"?"`` where it may be read as two days, or ``""``."""
    match = _DAY_LAST.fullmatch(_WEEKDAY.sub("", text.strip()))
    if not match:
        return ""
    first, second = int(match[1]), int(match[2])
    if first > 12 >= second:
        return DAY
    if second > 12 >= first:
        return MONTH
    if first == second or max(first, second) > 12 or "." in text:
        return ""
    return "?"


def day_of(value, order, year=None):
    """Return a cell as a date; None where it is none.

    Parameters
    ----------
    value : object
        The cell.
    order : str
        The order of day and month, ``"day/month"`` or ``"month/day"``; dots always mean the day
        first (common practice, no source).
    year : int, optional
        The year of a day that names none.
    """
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, date):
        return value
    if isinstance(value, bool) or value is None:
        return None
    if isinstance(value, (int, float)):
        return _serial(float(value))
    text = value.strip()
    if re.fullmatch(r"\d{5}(?:\.0)?", text):
        return _serial(float(text))
    match = _YEAR_FIRST.fullmatch(text)
    if match:
        return _date(*map(int, match.groups()))
    text = _WEEKDAY.sub("", text) if not month_of(text.split()[0] if text.split() else "") else text
    match = _DAY_LAST.fullmatch(text)
    if match:
        first, second = int(match[1]), int(match[2])
        if order == MONTH and "." not in text:
            first, second = second, first
        if second > 12 >= first:
            first, second = second, first
        return _date(_year(match[3]), second, first)
    for place, pattern in enumerate(_NAMED):
        match = pattern.fullmatch(text)
        if match:
            day, month = (match[1], match[2]) if place == 0 else (match[2], match[1])
            number = month_of(month)
            found = _year(match[3]) if match[3] else year
            if number and found:
                return _date(found, number, int(day))
    match = re.fullmatch(r"(\d{1,2})\s*[./]\s*(\d{1,2})\s*[./]?", text)
    if match and year:
        first, second = int(match[1]), int(match[2])
        if order == MONTH and "." not in text:
            first, second = second, first
        return _date(year, second, first)
    return None


def dates_in(text):
    """Return the days that a title names, and the text without them."""
    found = []
    patterns = (
        r"\d{4}-\d{1,2}-\d{1,2}",
        r"\d{1,2}\s*[./]\s*\d{1,2}\s*[./]\s*\d{4}",
        r"\d{1,2}(?:st|nd|rd|th|er)?\.?\s+(?:de\s+)?[^\W\d]{3,10}\.?\s+(?:de\s+)?\d{4}",
        r"[^\W\d]{3,10}\.?\s+\d{1,2}(?:st|nd|rd|th)?,?\s+\d{4}",
    )
    for pattern in patterns:
        for match in re.finditer(pattern, text):
            if order_shown(match[0]) == "?":
                continue
            day = day_of(match[0], DAY if order_shown(match[0]) != MONTH else MONTH)
            if day:
                found.append(day)
                text = text.replace(match[0], " ")
    return found, text


def _serial(number):
    if not (number.is_integer() or True) or not _SERIALS[0] < number < _SERIALS[1]:
        return None
    return _DAY_0 + timedelta(days=int(number))


def _year(text):
    year = int(text)
    return year + (2000 if year < 70 else 1900) if year < 100 else year


def _date(year, month, day):
    try:
        return date(year, month, day) if FIRST_YEAR <= year <= LAST_YEAR else None
    except ValueError:
        return None


def season_of_text(value):
    """Return the year of a cell of a column of seasons, and whether it names two, or None."""
    from cropload.records.reading.trade_words import seasons_in

    if isinstance(value, (int, float)) and not isinstance(value, bool):
        year = int(value) if float(value).is_integer() else 0
        return (year, False) if FIRST_YEAR <= year <= LAST_YEAR else None
    if isinstance(value, (date, datetime)):
        # A cell that shows its year alone.
        return (value.year, False) if (value.month, value.day) == (1, 1) else None
    found = seasons_in(str(value)) if value is not None else []
    return found[0] if len(found) == 1 else None


_PLAN_WORDS = (
    (
        r"\bcanes?\b|\bcap[oi]\b|\bbaguettes?\b|\bvaras?\b|\bbog(?:en|reben)\b|\bruten?\b|\btralci\w*\b",
        "",
    ),
    (r"\bspurs?\b|\bcoursons?\b|\bpulgar(?:es)?\b|\bzapfen\b|\bsperon[ei]\b|\bcornett[oi]\b", ""),
    (r"\bbuds?\b|\bnodes?\b|\byeux\b|\byemas\b|\baugen\b|\bgemme\b|\beyes\b|\bbourgeons\b", ""),
    (r"\b(?:of|with|a|à|de|da|je|zu|con|avec|mit|each|per|at)\b|@", "x"),
    (r"\b(?:and|et|und|y|e)\b|,|;|&|/", "+"),
)


def plan_of(value):
    """Return a plan as the records write it, from words or signs; None where it is none.

    Examples
    --------
    >>> plan_of("2 canes x 10 + 2 spurs x 2"), plan_of("24 spurs of 2"), plan_of("2 x 8, 2 x 2")
    ('2x10+2x2', '24x2', '2x8+2x2')
    """
    column = TABLES["pruning"]["plan"]
    told = _in_words(str(value).lower())
    if told:
        return told
    text = str(value).lower().replace("×", "x").replace("*", "x")
    for pattern, sign in _PLAN_WORDS:
        text = re.sub(pattern, sign, text)
    text = re.sub(r"\s+", "", text)
    text = re.sub(r"x+", "x", text).strip("+x")
    found, bad = parse([0], [text], column)
    return str(found[0]) if not bad and found[0] else None


_CANES, _SPURS = (pattern for pattern, _ in _PLAN_WORDS[:2])


def _in_words(text):
    """Return a plan from words such as "2 canes of 10 buds and 2 spurs of 2", or None."""
    pieces = []
    for wood in (_CANES, _SPURS):
        found = re.findall(rf"(\d+)\s*(?:{wood})\D{{1,12}}(\d+)", text)
        named = re.findall(wood, text)
        if len(found) != len(named) or len(found) > 1:
            return None
        pieces += [f"{number}x{buds}" for number, buds in found]
    return "+".join(pieces) or None


def both_spacings(value, decimal):
    """Return row and vine spacing of a cell like ``2.0 x 1.2`` as Numbers, or None."""
    text = re.sub(r"(?<=\d)\s*['\u2032\u2019](?!\d)", " ft", str(value).strip().lower())
    parts = re.split(r"\s*[x×*/]\s*", text)
    numbers = [number_of(part, decimal) for part in parts]
    if len(numbers) != 2 or None in numbers:
        return None
    return numbers


def is_nothing(value):
    """Whether a cell says that there is nothing."""
    return value is None or (isinstance(value, str) and (not plain_sign(value) or is_blank(value)))


def plain_sign(text):
    """Return text without white space of any kind around it."""
    return text.strip(" \t\r\n\v\f\xa0\ufeff\u200b")


def is_error(value):
    """Whether a cell holds an error of a spreadsheet program."""
    return isinstance(value, str) and value.strip() in ERRORS


def tidy_name(value):
    """Return a name with single spaces; a whole number loses its ``.0``."""
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    if isinstance(value, (date, datetime)):
        return value.isoformat()[:10]
    return " ".join(str(value).replace("\xa0", " ").replace("\u200b", "").split())


def same_name(text):
    """Return the form in which two spellings of one name agree."""
    return plain(text) or text.casefold()
