"""The one error a user meets: a message that says what is wrong and how to mend it."""

import difflib


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
