"""Words of the frost replay."""

import numpy as np
import pytest

from cropload.frost.words import night_words


@pytest.mark.parametrize(
    ("first", "last", "words"),
    [
        (4.83, 4.41, "4.4 to 4.8"),
        (4.0, 4.0, "4.0"),
        (12.4, 11.2, "11.2 to over 12"),
        (16.1, 16.0, "over 12"),
        (np.nan, np.nan, "not known"),
    ],
)
def test_stages_beyond_five_leaves_are_told_as_over_them(first, last, words):
    assert night_words(first, last) == words
