"""Tonnes of two blocks on one ticket say less of each block than a ticket of its own."""

import numpy as np
import pytest

from cropload import handbook
from cropload.beliefs.forecast import forecast
from cropload.beliefs.measured import measurements
from cropload.records.facts import block_facts, weighed_together
from cropload.records.records import read_records

BLOCKS = (
    "block,variety,row_spacing_m,vine_spacing_m,vines\nNorth,Riesling,2.0,1.2,1000\n"
    "South,Riesling,2.0,1.2,1000\nWest,Riesling,2.0,1.2,1000\n"
)


@pytest.fixture
def records(tmp_path):
    """Return a function that writes a harvest with the tickets of North, South and West."""

    def made(*tickets):
        rows = zip(("North", "South", "West"), (3.0, 2.0, 4.0), tickets, strict=True)
        lines = [f"2025,{block},2025-09-20,{tonnes},{ticket}\n" for block, tonnes, ticket in rows]
        (tmp_path / "blocks.csv").write_text(BLOCKS, encoding="utf-8")
        (tmp_path / "harvest.csv").write_text(
            "season,block,date,tonnes,ticket\n" + "".join(lines), encoding="utf-8"
        )
        return read_records(tmp_path)

    return made


def harvests(records):
    found = measurements(records, block_facts(records))
    return found[found["stage"] == "harvest"].set_index("block")


def test_blocks_of_one_ticket_and_day_are_found(records):
    assert set(weighed_together(records("T1", "T1", "T2"))) == {("North", 2025), ("South", 2025)}


@pytest.mark.parametrize("tickets", [("", "", ""), ("T1", "T2", "T3")])
def test_blank_and_own_tickets_are_nobodys_guess(records, tickets):
    assert not weighed_together(records(*tickets))


def test_a_shared_ticket_keeps_its_tonnes_and_gains_the_doubt_of_the_handbook(records):
    own, shared = harvests(records("T1", "T2", "T3")), harvests(records("T1", "T1", "T3"))
    assert (own["value"] == shared["value"]).all()
    more = shared["log_variance"] - own["log_variance"]
    split = handbook.value("forecast.joint_share_error") ** 2
    assert np.allclose(more[["North", "South", "West"]], [split, split, 0.0])


def test_the_forecast_of_the_next_season_is_wider_after_a_shared_ticket(records):
    def width(records):
        row = forecast(records, 2026).frame_by("block").set_index("block").loc["North"]
        return np.log(row["tonnes_p90"] / row["tonnes_p10"])

    assert width(records("T1", "T1", "T3")) > width(records("T1", "T2", "T3"))
