"""Sound estates of odd kinds are not asked about, and slips planted in a sound one are.

Both sets were written before any rule was held against them.
"""

import length
import pytest

from cropload.records.reading.faults import RecordsError
from tests.records.doubts.planted_slips import SLIPS, plain
from tests.records.doubts.sound_estates import SOUND

#: What is asked about in all sound estates together, and slips that are not [1].
MOST_FALSE, MOST_MISSED = 2, 10
#: What nothing in these records can tell from a sound estate: their numbers fit as well.
BEYOND = {"crops of two blocks changed over", "plans a season early"}
#: Those that stay in every run, beside some of the others.
ALWAYS = {
    *("a hedge of on and off years", "crops alone of on and off years", "turned to a hedge"),
    *("pergolas with vines 6 m apart", "shoots thinned for the first time", "gross acres"),
    *("names told apart by a point or a hyphen", "a cellar's limit far above a grower's crop"),
    *("all crops 0 beside weights at harvest", "half as many vines again"),
    *("prunings in pounds in one season", "every row of weights pasted twice"),
}


def some(cases, every):
    """Return the cases of this run: all in a long one, else those named above and one in so many.

    The tolerance of a long run holds for the whole; a part of it is held to the same.
    """
    names = list(cases)
    return (
        names if length.whole else [n for i, n in enumerate(names) if n in ALWAYS or not i % every]
    )


@pytest.mark.long
def test_sound_estates_of_odd_kinds_are_hardly_asked_about():
    told = {name: SOUND[name]().read().warnings for name in some(SOUND, 6)}
    found = [f"{name}: {doubt}" for name, doubts in told.items() for doubt in doubts]
    assert len(SOUND) >= 65
    assert len(found) <= MOST_FALSE, "\n".join(found)


def doubted(slip):
    """Whether anything is said of the plain estate with a slip in it."""
    made = plain()
    slip(made)
    try:
        return bool(made.read().warnings)
    except RecordsError:
        return True


@pytest.mark.long
def test_planted_slips_are_asked_about_or_refused():
    assert plain().read().warnings == ()
    missed = {name for name in some(SLIPS, 6) if not doubted(SLIPS[name])}
    assert len(SLIPS) - MOST_MISSED >= 50
    assert missed <= BEYOND
