"""Words in other languages by gettext catalogues; numbers and dates as each language has them."""

import gettext
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from cropload.errors import CroploadError, near

#: Code of a language -> its own name.
LANGUAGES = {
    "en": "English",
    "es": "español",
    "fr": "français",
    "de": "Deutsch",
    "it": "italiano",
    "pt": "português",
    "ro": "română",
}
#: Where the catalogues are.
FOLDER = Path(__file__).with_name("catalogues")


@cache
def catalogue(language, domain="cards"):
    """Return the catalogue of a language; English is written in the code itself.

    Parameters
    ----------
    language : str
        One of ``LANGUAGES``.
    domain : str
        ``"cards"``, ``"pocket"`` or ``"report"``: whose words.

    Raises
    ------
    CroploadError
        For any other language.
    """
    if language not in LANGUAGES:
        codes = ", ".join(f"{code} ({name})" for code, name in LANGUAGES.items())
        hint = near(str(language), LANGUAGES) or f"They are {codes}."
        raise CroploadError(f"There are no words in the language '{language}'. {hint}")
    if language == "en":
        return gettext.NullTranslations()
    return gettext.translation(domain, str(FOLDER), [language])


@dataclass(frozen=True)
class Speech:
    """How an answer is told: its language, and how it writes numbers and sums of money.

    language : one of ``LANGUAGES``; thousands, decimal : signs in a number;
    money_after : whether the currency stands behind the sum.
    """

    language: str = "en"
    thousands: str = ","
    decimal: str = "."
    money_after: bool = False


_ENGLISH = Speech()
_SPEECH = ContextVar("speech", default=_ENGLISH)


@contextmanager
def speaking(speech):
    """Tell answers as a Speech says while inside; outside they are in English as ever."""
    token = _SPEECH.set(speech)
    try:
        yield
    finally:
        _SPEECH.reset(token)


def language_now():
    """Return the language spoken now."""
    return _SPEECH.get().language


def say(text, **values):
    """Return a sentence of the report in the language spoken now, with values put in.

    Examples
    --------
    >>> with speaking(Speech("de")):
    ...     say("%(number)s pruning hours", number=3)
    '3 Schnittstunden'
    """
    found = catalogue(_SPEECH.get().language, "report").gettext(text)
    return found % values if values else found


def say_number(one, many, number, **values):
    """Return a sentence about so many things, as the language spoken now has its plural."""
    found = catalogue(_SPEECH.get().language, "report").ngettext(one, many, number)
    return found % ({"number": number} | values)


def marked(text):
    """Return a number written like 1,234.5 with the signs that are used now.

    Examples
    --------
    >>> with speaking(Speech("fr", " ", ",")):
    ...     marked("1,234.5")
    '1 234,5'
    """
    speech = _SPEECH.get()
    return text.translate({ord(","): speech.thousands, ord("."): speech.decimal})


def with_currency(text, currency):
    """Return a sum with its currency at the side where it stands now; a sign of one letter close.

    Examples
    --------
    >>> with_currency("4,200", "EUR"), with_currency("4,200", "$")
    ('EUR 4,200', '$4,200')
    """
    if not currency:
        return text
    if _SPEECH.get().money_after:
        return f"{text} {currency}"
    return f"{currency}{text}" if len(currency) == 1 else f"{currency} {text}"


@cache
def template(folder, name, language, domain):
    """Return a template of HTML with its words in a language; what is put in is escaped.

    Parameters
    ----------
    folder, name : str
        Where it lies in the package.
    language, domain : str
        As for ``catalogue``.
    """
    # Loaded late: only a page that is handed out needs the template engine.
    from jinja2 import Environment, PackageLoader, StrictUndefined

    made = Environment(
        loader=PackageLoader("cropload", folder),
        extensions=["jinja2.ext.i18n"],
        autoescape=True,
        undefined=StrictUndefined,
    )
    made.install_gettext_translations(catalogue(language, domain), newstyle=True)
    return made.get_template(name)


def number_words(value, language, places=0):
    """Return a number as a language writes it.

    Examples
    --------
    >>> number_words(1234.5, "de", 2), number_words(1234.5, "en", 2)
    ('1.234,50', '1,234.50')
    """
    from babel.numbers import format_decimal

    pattern = "#,##0" + ("." + "0" * places if places else "")
    return format_decimal(value, format=pattern, locale=language)


def day_words(day, language):
    """Return a day as a language writes it.

    Examples
    --------
    >>> from datetime import date
    >>> day_words(date(2027, 1, 9), "fr")
    '9 janvier 2027'
    """
    from babel.dates import format_date

    return format_date(day, format="long", locale=language)
