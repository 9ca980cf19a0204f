"""A range as it is written in a cell or in an option: two numbers with a hyphen between them."""

import re

_END = r"[+]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)"
_SPAN = re.compile(rf"({_END})-({_END})")
_NUMBER = r"[0-9]+(?:[.,][0-9]+)?"
#: The same with words, dots or other signs between the ends.
_LIKE_ONE = re.compile(rf"({_NUMBER})\s*(?:[a-zà]{{1,5}}|\.\.+|[–—−/~-])\s*({_NUMBER})")


def span_of(text):
    """Return the texts of the low and the high end of a range; None where it is none.

    Examples
    --------
    >>> span_of("0.9-1.3"), span_of("900"), span_of("900 - 1300")
    (('0.9', '1.3'), None, None)
    """
    found = _SPAN.fullmatch(text)
    return found.groups() if found else None


def like_a_span(text):
    """Return a range that is written in another way as it is to be written, or an empty text.

    Examples
    --------
    >>> like_a_span("900 to 1300"), like_a_span("900 t")
    ('900-1300', '')
    """
    found = _LIKE_ONE.fullmatch(text.strip().lower())
    return "-".join(found.groups()) if found else ""
