"""Forecasts some blocks at a time are those of all blocks at once."""

import numpy as np
import pandas as pd
import pytest
from season_records import BLOCKS, SEASON, count_rows, small_estate, weight_row

from cropload.beliefs.chunks import chunked_table, forecast_chunks
from cropload.beliefs.forecast import forecast
from cropload.errors import CroploadError

HAIL = [row | {"clusters": 0} for row in count_rows("Elder", 30)]
TABLES = {
    "counts": count_rows("Alder", 42) + count_rows("Fir", 25) + HAIL,
    "weights": [weight_row("Birch", 66)],
    "harvest": [
        {"season": SEASON, "block": "Cedar", "date": f"{SEASON}-09-20", "tonnes": 2.0}
        | {"picked_pct": 40}
    ],
}


@pytest.mark.parametrize("size", [1, 4, 6, 100])
def test_each_block_has_the_draws_it_has_among_all(size):
    records = small_estate(**TABLES)
    whole = forecast(records, SEASON, draws=300)
    chunks = list(forecast_chunks(records, SEASON, draws=300, size=size))
    assert sum((chunk.blocks for chunk in chunks), ()) == BLOCKS
    assert max(len(chunk.blocks) for chunk in chunks) == min(size, 6)
    parts = np.concatenate([chunk.draws for chunk in chunks])
    np.testing.assert_allclose(parts, whole.draws, rtol=1e-8, atol=1e-12)
    assert {chunk.stage for chunk in chunks} == {whole.stage}
    assert sum((chunk.notes for chunk in chunks), ()) == whole.notes


@pytest.mark.parametrize("by", ["block", "variety", "estate"])
def test_the_tables_are_those_of_the_whole(by):
    records = small_estate(**TABLES)
    whole = forecast(records, SEASON, draws=300).frame_by(by)
    parts = chunked_table(forecast_chunks(records, SEASON, draws=300, size=4), by)
    pd.testing.assert_frame_equal(parts, whole, rtol=1e-8, check_exact=False)


def test_what_cannot_be_asked_gets_one_clear_message():
    records = small_estate()
    for size in (0, 2.5, True, "all"):
        with pytest.raises(CroploadError, match="size must be a whole number"):
            next(forecast_chunks(records, SEASON, size=size))
    with pytest.raises(CroploadError, match="by block, variety or estate"):
        chunked_table(forecast_chunks(records, SEASON, draws=100), "row")
    with pytest.raises(CroploadError, match="no block to forecast"):
        chunked_table([])
