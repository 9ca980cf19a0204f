"""A replay and a harvest of one year that cannot both be are told, and not counted blindly."""

from dataclasses import replace

import pandas as pd
import pytest

from cropload.frost import tables, words
from cropload.frost.cover import frost_cover
from cropload.frost.harvest_doubts import doubts_of_records
from cropload.units import US
from tests.frost.test_frost_cover import records, weather
from tests.helpers import table

SEASONS = range(2015, 2021)


def estate(tonnes, frost=(("2019-04-28", -4.0),), events=(), **columns):
    """Return a block with a harvest of each season, and a hard night in the spring of 2019."""
    held = records(weather(frost=frost))
    harvest = pd.DataFrame({"season": list(SEASONS), "block": "North", "tonnes": tonnes} | columns)
    return replace(held, harvest=table("harvest", harvest), events=table("events", list(events)))


def cover(held):
    return frost_cover(held, "North", "3x8+3x2", draws=200)


def test_little_left_beside_a_full_harvest_is_told_and_counted_apart():
    held = estate([10, 10, 10, 10, 9.5, 10])
    found = cover(held)
    (doubt,) = found.doubts
    assert (doubt.season, doubt.full) == (2019, True)
    # All primary shoots are dead; what is left grows from secondary buds.
    assert doubt.left < 0.35
    assert "9.5 t were picked, and 10.0 t are usual" in doubt.words()
    assert "tons" in doubt.words(US)
    assert doubt.words() in found.notes
    assert found.years_doubted == [2019]
    assert "2019 bore a full crop" in words.year_sentences(found)[0]
    assert "2019 among them bore a full crop" in tables.years_table(found).caption
    (told,) = doubts_of_records(held, ["North"])
    assert (told.block, told.season, told.full) == ("North", 2019, True)


def test_nothing_lost_beside_a_poor_harvest_is_told_too():
    held = estate([10, 10, 3, 10, 2, 10])
    found = cover(held)
    (doubt,) = found.doubts
    assert (doubt.season, doubt.full) == (2017, False)
    assert "no loss is on record" in doubt.words()
    # It is no frost year of the replay, so nothing is said of those.
    assert found.years_doubted == []
    assert "full crop" not in tables.years_table(found).caption


@pytest.mark.parametrize(
    "held",
    [
        # The frost was seen in the harvest.
        estate([10, 10, 10, 10, 1, 10]),
        # What took the crop is on record, as a loss or as an event.
        estate([10, 10, 3, 10, 1, 10], lost_pct=[0, 0, 70, 0, 0, 0]),
        estate(
            [10, 10, 3, 10, 1, 10],
            events=[{"block": "North", "date": "2017-07-01", "kind": "hail", "share_pct": 70}],
        ),
        # Only a part of the block was picked.
        estate([10, 10, 3, 10, 1, 10], picked_pct=[100, 100, 30, 100, 100, 100]),
        # There was no frost, and no loss.
        estate([10, 10, 10, 10, 10, 10], frost=()),
    ],
)
def test_what_agrees_is_left_alone(held):
    assert cover(held).doubts == ()
    assert doubts_of_records(held, ["North"]) == []


def test_crops_of_young_vines_and_shared_tickets_tell_nothing():
    held = estate([10, 10, 10, 10, 10, 10])
    young = held.blocks.assign(year_planted=2018.0)
    assert cover(replace(held, blocks=young)).doubts == ()
    other = held.harvest.assign(block="South", ticket="7", tonnes=5.0)
    both = pd.concat([held.harvest.assign(ticket="7"), other], ignore_index=True)
    blocks = pd.concat([held.blocks, held.blocks.assign(block="South")], ignore_index=True)
    assert cover(replace(held, blocks=blocks, harvest=both)).doubts == ()
