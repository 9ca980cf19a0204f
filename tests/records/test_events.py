"""What befell a crop: each thing told once, on the right side of the counts, in its own season."""

import numpy as np
import pandas as pd
import pytest

from cropload import RecordsError, example_records, read_records
from cropload.records.events import season_events

BLOCKS = (
    "block,variety,row_spacing_m,vine_spacing_m,vines\nNorth,Riesling,2.0,1.2,1000\n"
    "South,Riesling,2.0,1.2,1000\n"
)
COUNTED = "season,date,block,row,vine,shoots_dead,shoots_alive\n"


@pytest.fixture
def estate(tmp_path):
    """Return a function that reads two blocks with the tables given as text."""

    def made(**tables):
        for name, text in {"blocks": BLOCKS, **tables}.items():
            (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
        return read_records(tmp_path)

    return made


def events(*rows):
    head = "block,date,kind,share_pct,of,dead,alive,counts_that_day\n"
    return head + "".join(row + "\n" for row in rows)


@pytest.mark.parametrize(
    ("kind", "of", "takes"),
    [
        ("hail", "", "clusters"),
        ("frost", "shoots", "clusters"),
        ("shoot thinning", "shoots", "shoots"),
        ("birds", "", "weight"),
        ("drought", "crop", "weight"),
        ("fruit left", "", "crop"),
        ("other", "vines", "crop"),
    ],
)
def test_each_event_takes_from_what_it_can(estate, kind, of, takes):
    (found,) = season_events(estate(events=events(f"North,2026-06-20,{kind},30,{of},,,")))
    assert found.takes == takes
    assert found.share == pytest.approx(0.3)


def test_an_event_of_an_unknown_block_is_a_fault_with_the_near_name(estate):
    with pytest.raises(RecordsError, match="North"):
        estate(events=events("Nrth,2026-06-20,hail,30,,,,"))


def test_a_wrong_date_elsewhere_moves_no_event(estate):
    dates = "season,block,stage,date\n2026,North,budburst,2025-09-20\n"
    harvest = "season,block,date,tonnes\n" + "".join(
        f"{year},North,{year}-03-01,3\n" for year in (2023, 2024, 2025)
    )
    harvest += "2026,North,2026-09-01,3\n"
    told = events("North,2025-11-20,hail,20,,,,")
    (found,) = season_events(estate(dates=dates, harvest=harvest, events=told))
    assert found.season == 2026


def test_words_of_the_trade_are_suggested(estate):
    with pytest.raises(Exception, match="thinning"):
        estate(events=events("North,2026-07-20,green harvest,30,,,,"))


def test_counts_of_the_day_come_after_a_frost_and_before_all_else_unless_it_is_told(estate):
    day = pd.Series(pd.to_datetime(["2026-06-19", "2026-06-20", "2026-06-21"]))
    found = season_events(
        estate(
            events=events(
                "North,2026-06-20,frost,30,,,,",
                "South,2026-06-20,hail,30,,,,",
                "South,2026-06-20,birds,30,,,,after",
            )
        )
    )
    shown = {each.kind: each.before(day).tolist() for each in found}
    assert shown["frost"] == [False, True, True]
    assert shown["hail"] == [False, False, True]
    assert shown["birds"] == [False, True, True]


def test_dead_shoots_of_the_counts_belong_to_the_last_frost_before_them(estate):
    counts = COUNTED + "2026,2026-05-20,North,1,1,3,9\n2026,2026-05-20,North,1,2,0,10\n"
    alone = season_events(estate(counts=counts))
    assert [(e.kind, e.dead, e.seen) for e in alone] == [("frost", (3, 0), (12, 10))]
    told = season_events(estate(counts=counts, events=events("North,2026-05-09,frost,,,,,")))
    assert [(f"{e.date:%d}", e.dead) for e in told] == [("09", (3, 0))]


def test_a_later_look_at_the_same_vine_stands_for_the_earlier(estate):
    counts = COUNTED + "2026,2026-05-12,North,1,1,9,3\n2026,2026-05-20,North,1,1,4,8\n"
    assert season_events(estate(counts=counts))[0].dead == (4,)


def test_a_loss_of_the_scales_own_rows_counts_where_no_event_tells_it(estate):
    harvest = "season,block,date,tonnes,lost_pct\n2026,North,2026-09-20,3.0,40\n"
    (found,) = season_events(estate(harvest=harvest))
    assert (found.share, found.source, pd.isna(found.date)) == (0.4, "harvest", True)
    both = season_events(estate(harvest=harvest, events=events("North,2026-06-20,hail,35,,,,")))
    assert [e.kind for e in both] == ["hail"]


def test_thinning_is_no_loss_that_could_be_told_twice(estate):
    harvest = "season,block,date,tonnes,lost_pct\n2026,North,2026-09-20,3.0,40\n"
    found = season_events(
        estate(harvest=harvest, events=events("North,2026-07-20,thinning,35,,,,"))
    )
    assert {e.kind for e in found} == {"thinning", "other"}


def test_nothing_picked_and_a_part_lost_is_no_pick(estate):
    harvest = "season,block,date,tonnes,lost_pct,picked_pct\n2026,North,2026-06-20,0,35,\n"
    found = estate(harvest=harvest)
    assert found.harvest.empty
    assert [(e.share, f"{e.date:%m-%d}") for e in season_events(found)] == [(0.35, "06-20")]


@pytest.mark.parametrize("row", ["2026,North,2026-09-20,0,100,", "2026,North,2026-09-20,0,,"])
def test_a_crop_that_is_gone_is_a_pick_of_nothing(estate, row):
    harvest = f"season,block,date,tonnes,lost_pct,picked_pct\n{row}\n"
    assert len(estate(harvest=harvest).harvest) == 1


def test_in_the_south_the_last_months_belong_to_the_next_harvest(estate):
    dates = "season,block,stage,date\n2026,North,budburst,2025-09-20\n"
    told = events("North,2025-11-20,hail,20,,,,", "North,2026-02-20,birds,5,,,,")
    found = season_events(estate(dates=dates, events=told))
    assert [e.season for e in found] == [2026, 2026]


def test_the_sample_has_no_event():
    assert season_events(example_records()) == []


DOUBTED = {
    "one of the two counts": {"events": events("North,2026-05-09,frost,,,12,,")},
    "share and counts": {"events": events("North,2026-05-09,frost,30,,12,40,")},
    "a fraction": {"events": events("North,2026-05-09,frost,0.3,,,,")},
    "the day of a count": {
        "events": events("North,2026-06-20,hail,30,,,,"),
        "counts": "season,date,block,row,vine,clusters\n2026,2026-06-20,North,1,1,30\n",
    },
    "told twice": {
        "events": events("North,2026-06-20,hail,30,,,,"),
        "harvest": "season,block,date,tonnes,lost_pct\n2026,North,2026-09-20,3.0,30\n",
    },
    "a loss without a day beside counts": {
        "counts": "season,date,block,row,vine,clusters\n2026,2026-07-20,North,1,1,30\n",
        "harvest": "season,block,date,tonnes,lost_pct\n2026,North,2026-09-20,3.0,30\n",
    },
    "nothing picked beside harvest weights": {
        "weights": "season,date,block,stage,clusters,weight_g\n"
        "2026,2026-09-19,North,harvest,40,4800\n",
        "harvest": "season,block,date,tonnes\n2026,North,2026-09-20,0\n",
    },
    "hail after the block was picked": {
        "events": events("North,2026-09-25,hail,30,,,,"),
        "harvest": "season,block,date,tonnes\n2026,North,2026-09-20,3.0\n",
    },
}


@pytest.mark.parametrize("what", DOUBTED)
def test_what_is_doubtful_is_asked(estate, what):
    found = [w for w in estate(**DOUBTED[what]).warnings if w.file in ("events.csv", "harvest.csv")]
    assert len(found) == 1, [str(w) for w in found]


SOUND = {
    "a frost with its counts": {"events": events("North,2026-05-09,frost,,,12,40,")},
    "a frost nobody has counted yet": {"events": events("North,2026-05-09,frost,,,,,")},
    "hail before a count": {
        "events": events("North,2026-06-20,hail,30,,,,"),
        "counts": "season,date,block,row,vine,clusters\n2026,2026-07-20,North,1,1,30\n",
        "harvest": "season,block,date,tonnes\n2026,North,2026-09-20,3.0\n",
    },
    "the day of a count, told": {
        "events": events("North,2026-06-20,hail,30,,,,after"),
        "counts": "season,date,block,row,vine,clusters\n2026,2026-06-20,North,1,1,30\n",
    },
    "fruit left after picking": {
        "events": events("North,2026-09-25,fruit left,10,,,,"),
        "harvest": "season,block,date,tonnes\n2026,North,2026-09-20,3.0\n",
    },
    "hail between two picks": {
        "events": events("North,2026-09-15,hail,30,,,,"),
        "harvest": "season,block,date,tonnes,picked_pct\n2026,North,2026-09-10,1.0,40\n"
        "2026,North,2026-09-20,1.2,100\n",
    },
    "a crop lost wholly": {
        "weights": "season,date,block,stage,clusters,weight_g\n2026,2026-07-19,North,lag,40,2400\n",
        "harvest": "season,block,date,tonnes,lost_pct\n2026,North,2026-09-20,0,100\n",
    },
}


@pytest.mark.parametrize("what", SOUND)
def test_what_is_sound_is_left_alone(estate, what):
    found = estate(**SOUND[what]).warnings
    assert not [w for w in found if w.file in ("events.csv", "harvest.csv")], found


def test_shares_are_drawn_from_what_is_written(estate):
    (found,) = season_events(estate(events=events("North,2026-06-20,hail,35 %,,,,")))
    assert np.isclose(found.share, 0.35)
