"""What is due on an invented estate of twelve blocks, by day, after entries, and as reminders."""

import icalendar
import numpy as np
import pandas as pd
import pytest
from helpers import block_row, make_records
from season_records import count_rows, weight_row

from cropload.beliefs.forecast import forecast
from cropload.errors import CroploadError
from cropload.season.due import due
from cropload.season.due_calendar import reminders
from cropload.season.narrowing import Narrowing, vine_minutes
from cropload.season.next_counts import next_counts

BLOCKS = tuple(f"Block {letter}" for letter in "ABCDEFGHIJKL")
SEASON = 2026
ODD = 'A; "B", C\\D <i>'


def estate(names=BLOCKS, **more):
    """Return twelve blocks with two seasons of crops and dates, pruned on 10 January 2026."""
    tables = {"blocks": [], "pruning": [], "counts": [], "harvest": [], "dates": []}
    for at, block in enumerate(names):
        tables["blocks"].append(block_row(block, ("Riesling", "Pinot noir")[at % 2]))
        for season in (2024, 2025):
            clusters = 30 + at + (season == 2025)
            tables["pruning"].append({"season": season, "block": block, "plan": "2x10+2x2"})
            tables["counts"] += count_rows(block, clusters, 12, season)
            tables["harvest"].append(
                {"season": season, "block": block, "date": f"{season}-09-2{at % 9}"}
                | {"tonnes": clusters * 0.11}
            )
            tables["dates"] += [
                {"season": season, "block": block, "stage": stage, "date": f"{season}-{day}"}
                for stage, day in (
                    ("budburst", "04-20"), ("flowering", "06-15"), ("veraison", "08-16"),
                )
            ]  # fmt: skip
        tables["pruning"].append(
            {"season": SEASON, "block": block, "plan": "2x10+2x2", "date": f"{SEASON}-01-10"}
            | {"pruning_weight_kg": 0.8}
        )
    for name, rows in more.items():
        tables[name] = tables.get(name, []) + rows
    return make_records(**tables)


def open_now(found):
    """Return {task: blocks} of this week."""
    now = found.frame[found.frame["state"] == "now"]
    return {what: set(rows["block"]) for what, rows in now.groupby("what")}


@pytest.fixture(scope="module")
def records():
    return estate()


@pytest.mark.parametrize(
    ("day", "what"),
    [
        ("2026-01-09", {"plan", "prunings"}),
        ("2026-02-01", {"buds"}),
        ("2026-05-20", {"shoots"}),
        ("2026-07-06", {"clusters"}),
        ("2026-08-08", {"weight_lag"}),
        ("2026-08-20", {"weight_veraison"}),
        ("2026-11-20", {"harvest"}),
    ],
)
def test_what_is_due_follows_the_day_in_all_twelve_blocks(records, day, what):
    found = due(records, day, season=SEASON)
    assert {task: len(blocks) for task, blocks in open_now(found).items()} == dict.fromkeys(
        what, 12
    )
    later = found.frame[found.frame["state"] == "later"]
    assert (later["starts"] > pd.Timestamp(day)).all()


def test_windows_lie_about_the_estates_own_days(records):
    frame = due(records, "2026-02-01").frame.set_index(["what", "block"])
    # Oregon State University, lag phase: 50 to 55 days after bloom; bloom here on 15 June.
    lag = frame.loc["weight_lag"]
    assert lag["starts"].between("2026-08-02", "2026-08-06").all()
    assert ((lag["until"] - lag["starts"]).dt.days == 5).all()
    clusters = frame.loc["clusters", "starts"]
    assert clusters.between("2026-06-27", "2026-07-01").all()


def test_winter_says_that_clusters_will_be_worth_far_more_than_shoots(records):
    found = due(records, "2026-02-01")
    worth = found.groups.set_index("words")["removed_t"]
    assert worth["count clusters"] > 5 * worth["count shoots"] > 0
    told = found.heading()
    assert told.startswith("Due now: count buds in 12 blocks; next: count shoots from")
    first = found.groups.set_index("words").loc["count clusters", "starts"]
    assert f"worth most: count clusters from about {first.day} {first:%B}" in told
    assert f"worth {worth['count clusters']:.1f} t" in told
    assert f"of the range of {found.range_now_t:.1f} t" in told
    # One block alone is worth what the ranking of counts says of so many vines there.
    made = forecast(records, SEASON, "2026-02-01")
    hours = 40 * vine_minutes("clusters") / 60
    ranked = next_counts(made, hours=hours, what="clusters").frame.set_index("block")["removed_t"]
    mine = found.frame.query("what == 'clusters'").set_index("block")["removed_t"]
    np.testing.assert_allclose(mine, ranked[mine.index])


def test_after_one_blocks_entry_the_other_eleven_stay_due(records):
    first, others = BLOCKS[0], set(BLOCKS[1:])
    counted = estate(counts=count_rows(first, 24, column="shoots", date="05-18"))
    found = due(counted, "2026-05-20")
    assert open_now(found)["shoots"] == others
    row = found.frame.query("what == 'shoots'").set_index("block").loc[first]
    assert (row["state"], row["vines_done"], row["vines"]) == ("done", 20, 0)
    # A walk broken off after six vines leaves the rest of the block to do.
    broken = estate(counts=count_rows(first, 24, 6, column="shoots", date="05-18"))
    row = due(broken, "2026-05-20").frame.query("what == 'shoots'").set_index("block").loc[first]
    assert (row["state"], row["vines_done"], row["vines"]) == ("now", 6, 34)


def test_clusters_counted_early_in_one_block_open_them_in_all():
    early = estate(counts=count_rows(BLOCKS[0], 33, date="06-18"))
    found = due(early, "2026-06-20")
    assert open_now(found)["clusters"] == set(BLOCKS[1:])
    assert "clusters" not in open_now(due(estate(), "2026-06-20"))


def test_hours_go_to_what_takes_most_off_and_add_up(records):
    found = due(records, "2026-07-06", hours=5)
    plan = found.plan
    assert plan["hours"].sum() <= 5
    assert 5 - plan["hours"].sum() < vine_minutes("clusters") / 60
    assert plan["removed_t"].sum() == pytest.approx(found.range_now_t - found.range_after_t)
    by_the_hour = (plan["removed_t"] / plan["hours"]).to_numpy()
    assert by_the_hour[0] == by_the_hour.max()
    # All of it together, by one dense update of every chosen count at once.
    tasks = list(zip(plan["block"], plan["what"], strict=True))
    together = Narrowing(found.forecast, tasks).together(plan["vines"])
    assert together == pytest.approx(found.range_after_t, rel=1e-9)
    alone = found.frame.set_index(["block", "what"])["removed_t"][tasks]
    assert plan["removed_t"].sum() != pytest.approx(alone.sum(), rel=0.01)
    assert due(records, "2026-07-06", hours=10).range_after_t < found.range_after_t
    assert f"from {found.range_now_t:.1f} t to {found.range_after_t:.1f} t" in found.heading()


def test_what_is_left_after_all_counts_so_far_only_narrows(records):
    found = due(records, "2027-05-01")
    left = found.groups["range_after_t"].to_numpy()
    assert left[0] <= found.range_now_t + 1e-9
    assert (np.diff(left) <= 1e-9).all()
    # The first that takes something off leaves just that less.
    first = found.groups.dropna(subset=["removed_t"]).iloc[0]
    assert first["range_after_t"] == pytest.approx(found.range_now_t - first["removed_t"])


def test_a_frost_without_numbers_asks_for_dead_and_living_shoots():
    event = {"block": BLOCKS[2], "date": "2026-05-03", "kind": "frost"}
    found = due(estate(events=[event]), "2026-05-08")
    assert open_now(found)["frost"] == {BLOCKS[2]}
    row = found.frame.query("what == 'frost'").iloc[0]
    assert row["words"] == "count dead and living shoots (frost of 2026-05-03)"
    told = due(estate(events=[event | {"dead": 30, "alive": 90}]), "2026-05-08")
    assert told.frame.query("what == 'frost'")["state"].tolist() == ["done"]


def test_a_picked_block_has_nothing_left_to_do():
    crop = {"season": SEASON, "block": BLOCKS[0], "date": "2026-09-18", "tonnes": 3.4}
    found = due(estate(harvest=[crop]), "2026-09-20", season=SEASON)
    mine = found.frame[found.frame["block"] == BLOCKS[0]]
    assert not mine["state"].isin(["now", "later"]).any()
    assert BLOCKS[0] not in open_now(found)["weight_harvest"]
    crops = [crop | {"block": block} for block in BLOCKS]
    over = due(estate(harvest=crops), "2026-10-20", season=SEASON, hours=3)
    assert over.heading().startswith("Nothing is due now.")
    assert over.text()


def test_lots_weighed_are_done_by_the_vines_they_came_from():
    lots = [weight_row(BLOCKS[0], 80, date="08-04", clusters=45)]
    found = due(estate(weights=lots), "2026-08-05")
    assert open_now(found)["weight_lag"] == set(BLOCKS[1:])


def test_without_a_date_on_record_the_handbooks_days_stand_in_and_say_so():
    bare = make_records(blocks=[block_row("Only")])
    found = due(bare, "2026-05-20", season=SEASON)
    assert any("No date of any stage" in note for note in found.notes)
    assert "shoots" in open_now(found)


@pytest.mark.parametrize(
    ("asked", "text"),
    [
        ({"day": "20.5.2026"}, "must be a date"),
        ({"hours": 0}, "above 0"),
        ({"season": "x"}, "season"),
    ],
)
def test_what_cannot_be_asked_gets_one_clear_message(records, asked, text):
    with pytest.raises(CroploadError, match=text):
        due(records, **asked)


# ---- reminders


def test_reminders_read_back_with_all_day_dates_and_whole_names():
    odd = estate((ODD, *BLOCKS[1:]))
    found = due(odd, "2026-05-20")
    # Read by the icalendar library, by RFC 5545: the end of an all-day event is the day after.
    events = icalendar.Calendar.from_ical(reminders(found)).walk("VEVENT")
    open_ones = found.frame[found.frame["state"].isin(["now", "later"])].reset_index(drop=True)
    assert len(events) == len(open_ones) > 12
    for event, row in zip(events, open_ones.to_dict("records"), strict=True):
        assert event.decoded("dtstart") == row["starts"].date()
        assert event.decoded("dtend") == (row["until"] + pd.Timedelta(days=1)).date()
        assert str(event["summary"]).lower() == f"{row['words']}: {row['block']}".lower()
    assert sum(str(event["summary"]).endswith(ODD) for event in events) > 1


def test_a_later_file_moves_the_same_events(records):
    def names(found):
        events = icalendar.Calendar.from_ical(reminders(found)).walk("VEVENT")
        return {str(event["uid"]): str(event["summary"]) for event in events}

    early, late = (names(due(records, day)) for day in ("2026-02-01", "2026-05-20"))
    assert len(early) == len(set(early.values()))
    assert late.items() <= early.items()
