"""The one error a user meets: a message that says what is wrong and how to mend it."""

import difflib
import numbers


class CroploadError(ValueError):
    """A fault in what the user gave; ``str(error)`` is the whole message."""


class Unanswered(CroploadError):
    """Something was asked that only the user can answer, and nothing was done without."""

    #: What the command line ends with.
    code = 3


#: How alike two names must be [1]: to be put forward, to be suspected, to be taken for one name.
ALIKE, SUSPECT, ONE_NAME = 0.6, 0.7, 0.8
#: A guess that is less alike than the best one by more than this is no help [1].
_BEHIND = 0.2


def nearest(word, known, count=1, alike=ALIKE):
    """Return the names near to a word, the nearest first, whatever their capitals.

    Parameters
    ----------
    word : str
        What the user wrote.
    known : iterable of str
        The names that would have been right.
    count : int
        The most names to return [1].
    alike : float
        How alike a name must be [1], 1 for the same.

    Examples
    --------
    >>> nearest("--plan", ["--plans", "--replace"], 3), nearest("cnaes", ["spurs"])
    (['--plans'], [])
    """
    word, lower = str(word).casefold(), {}
    for name in known:
        lower.setdefault(name.casefold(), name)
    hits = difflib.get_close_matches(word, lower, n=count, cutoff=alike)
    shares = [difflib.SequenceMatcher(None, hit, word).ratio() for hit in hits]
    return [
        lower[hit] for hit, share in zip(hits, shares, strict=True) if share >= shares[0] - _BEHIND
    ]


def near(word, known, count=3):
    """Return a hint like ``Did you mean 'canes'?``, or an empty string when nothing is near."""
    hits = nearest(word, known, count)
    return "Did you mean " + " or ".join(f"'{hit}'" for hit in hits) + "?" if hits else ""


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
