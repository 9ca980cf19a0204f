"""A crop lost in part teaches what the vines bore, with a doubt that grows with the loss."""

import numpy as np
import pytest

from cropload import handbook
from cropload.beliefs.forecast import forecast
from cropload.beliefs.measured import measurements
from cropload.records.records import read_records
from cropload.review.picked import on_the_scale

BLOCKS = (
    "block,variety,row_spacing_m,vine_spacing_m,vines\nNorth,Riesling,2.0,1.2,1000\n"
    "South,Riesling,2.0,1.2,1000\n"
)
YEARS = range(2020, 2026)


@pytest.fixture
def records(tmp_path):
    """Return a function that writes harvests of two blocks, the last one of North as told."""

    def made(last="", picked=""):
        rows = [
            f"{year},{block},{year}-09-20,3.0,," for year in YEARS for block in ("North", "South")
        ]
        text = "season,block,date,tonnes,lost_pct,picked_pct\n" + "\n".join(rows) + "\n"
        if last:
            text += f"2026,North,2026-09-20,{last},{picked}\n"
        (tmp_path / "blocks.csv").write_text(BLOCKS, encoding="utf-8")
        (tmp_path / "harvest.csv").write_text(text, encoding="utf-8")
        return read_records(tmp_path)

    return made


def bore(records):
    from cropload.beliefs.forecast import block_facts

    found = measurements(records, block_facts(records))
    return found[(found["season"] == 2026) & (found["stage"] == "harvest")].iloc[0]


@pytest.mark.parametrize("lost", [20, 50, 80])
def test_what_the_vines_bore_is_the_scale_over_what_was_left(records, lost):
    tonnes = 3.0 * (1 - lost / 100)
    found = bore(records(f"{tonnes},{lost}"))
    assert found["value"] == pytest.approx(3.0)
    # The log of what is left is out by this times lost over the root of what is left.
    lost = lost / 100
    error = handbook.value("forecast.lost_share_error") * lost / (1 - lost) ** 0.5
    plain = bore(records("3.0,"))["log_variance"]
    assert found["log_variance"] - plain == pytest.approx(error**2)


def test_a_crop_lost_wholly_is_no_ordinary_season(records):
    found = records("0.6,100")
    from cropload.beliefs.forecast import block_facts

    seasons = measurements(found, block_facts(found)).query("block == 'North'")["season"]
    assert 2026 not in set(seasons)


def test_a_loss_told_spoils_no_later_forecast(records):
    def middle(found, block):
        table = forecast(found, 2027, draws=1000).frame.set_index("block")
        return table.loc[block, "tonnes_p50"]

    usual, told, silent = (middle(records(last), "North") for last in ("", "0.6,80", "0.6,"))
    assert told == pytest.approx(usual, rel=0.05)
    assert silent < 0.9 * usual
    assert middle(records("0.6,80"), "South") == pytest.approx(middle(records(), "South"), rel=0.05)


def test_the_part_still_to_be_picked_has_lost_as_much(records):
    whole = forecast(records("1.5,50"), 2026, draws=200)
    assert np.isfinite(whole.draws).all()
    half = forecast(records("0.75,50", 50), 2026, draws=2000)
    # What hangs is what the loss left of it.
    np.testing.assert_allclose(half.draws[0], 0.75 + 0.5 * half.growth.kg_picked[0], rtol=1e-9)
    usual = forecast(records("0.75,", 50), 2026, draws=2000).growth.kg_picked[0]
    assert np.median(half.growth.kg_picked[0]) == pytest.approx(np.median(usual), rel=0.1)


def test_review_names_the_loss(records):
    notes = on_the_scale(records("0.6,80"), 2026).notes
    assert any("North lost 80 % of its crop" in note for note in notes)
