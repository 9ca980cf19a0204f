"""The one error a user meets: a message that says what is wrong and how to mend it."""

import difflib
import numbers


class CroploadError(ValueError):
    """A fault in what the user gave; ``str(error)`` is the whole message."""


def near(word, known, count=3):
    """Return a hint like ``Did you mean 'canes'?``, or an empty string when nothing is near.

    Parameters
    ----------
    word : str
        What the user wrote.
    known : iterable of str
        The names that would have been right.
    count : int
        The most names to suggest [1].
    """
    lower = {name.lower(): name for name in known}
    hits = difflib.get_close_matches(str(word).lower(), lower, n=count, cutoff=0.6)
    if not hits:
        return ""
    return "Did you mean " + " or ".join(f"'{lower[hit]}'" for hit in hits) + "?"


def choose(word, known):
    """Return the names near to a word, if any, and then every name there is to choose from."""
    return f"{near(word, known)} Choose from: {', '.join(known)}.".strip()


#: The longest value quoted in a message [signs].
_LONGEST = 60


def shown(given):
    """Return a wrong value as a message quotes it: short, and without a place in memory.

    Examples
    --------
    >>> shown("8"), shown(object()), shown(float("nan"))
    ("'8'", 'an object of type object', 'nan')
    """
    if hasattr(given, "__fspath__"):
        given = str(given)
    if given is None or isinstance(given, (str, bytes, numbers.Number, list, tuple, dict)):
        try:
            text = repr(given)
        except ValueError:  # a whole number of more digits than Python writes
            return "a number of very many digits"
        if " at 0x" not in text and "\n" not in text:
            return text if len(text) <= _LONGEST else f"{text[: _LONGEST - 3]}..."
    kind = type(given).__name__
    return f"an object of type {kind}"
