"""Words in other languages by gettext catalogues; numbers and dates as each language has them."""

import gettext
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
        ``"cards"`` or ``"pocket"``: whose words.

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
