"""What moved since the last logged forecast: it adds up, as the forecast itself would say."""

import numpy as np
import pandas as pd
import pytest

from cropload import example_records, forecast
from cropload.errors import CroploadError
from cropload.season.forecast_log import log_forecast, read_log
from cropload.season.what_moved import last_logged, what_moved
from cropload.vine.growth import COMPONENTS

EARLY, LATE = "2026-04-01", "2026-09-05"


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    """Two forecasts of the sample estate, the earlier one logged."""
    folder = tmp_path_factory.mktemp("season")
    records = example_records()
    early, late = forecast(records, 2026, EARLY), forecast(records, 2026, LATE)
    log_forecast(early, folder)
    return early, late, read_log(folder)[0]


def test_changes_add_up_by_block_and_in_all(kept):
    early, late, log = kept
    found = what_moved(late, log)
    by_block = found.frame_by("block").set_index("block")["change_t"].reindex(late.blocks)
    assert np.allclose(by_block, late.centre_tonnes() - early.centre_tonnes(), atol=1e-9)
    assert found.now_t - found.was_t == pytest.approx(found["change_t"].sum())
    # Of the estate's total one middle is told, that of the forecast itself.
    assert found.now_t == pytest.approx(late.frame_by("estate")["tonnes_p50"][0])
    assert (found.since, found.since_stage) == (EARLY, early.stage)


def test_components_agree_with_the_forecasts_own_account(kept):
    """The log keeps centres alone, so the share of the load response is not apart; the same plan
    and load on both days, and the two accounts differ by that alone."""
    early, late, log = kept
    told = what_moved(late, log).frame.set_index(["block", "component"])["change_t"]
    own = late.explain(early).frame.set_index(["block", "component"])["change_t"]
    for name in ("clusters_per_shoot", "shoots_per_bud"):
        ours, theirs = told.xs(name, level=1), own.xs(name, level=1)
        assert np.allclose(ours, theirs.reindex(ours.index), atol=0.25)
    assert np.abs(own.xs("clusters_per_shoot", level=1)).max() > 0.3


def test_it_still_adds_up_when_all_is_picked(kept):
    _, _, log = kept
    after = forecast(example_records(), 2026, "2026-10-31")
    found = what_moved(after, log)
    assert found["change_t"].sum() == pytest.approx(found.now_t - found.was_t)
    assert "picked" in set(found["component"])


def test_blocks_new_or_gone_stand_apart(kept):
    _, late, log = kept
    changed = log.copy()
    changed["block"] = changed["block"].replace("Fox Hollow", "Old Field")
    parts = what_moved(late, changed).frame.set_index("block")["change_t"]
    gone = log.set_index("block")["tonnes_centre"]["Fox Hollow"]
    assert parts["Old Field"] == pytest.approx(-gone)
    assert parts["Fox Hollow"] == pytest.approx(late.centre_tonnes()[-1])


def test_nothing_logged_is_said(kept):
    _, late, log = kept
    found = what_moved(late, log[log["season"] == 1999])
    assert len(found) == 0
    assert "No forecast of season 2026" in found.notes[0]
    assert "No forecast of season 2026" in str(found)


def test_the_last_forecast_before_the_day_is_taken(kept):
    _, late, log = kept
    same_day = log.assign(as_of=LATE, logged_at="2026-09-05T10:00:00+00:00")
    older = log.assign(as_of="2026-03-01", logged_at="2026-03-01T10:00:00+00:00")
    log = log.assign(logged_at="2026-06-15T10:00:00+00:00")
    chosen = last_logged(pd.concat([older, log, same_day], ignore_index=True), late)
    assert set(chosen["as_of"]) == {EARLY}


def test_a_log_without_a_component_is_a_fault(kept):
    _, late, log = kept
    with pytest.raises(CroploadError, match="has no column"):
        what_moved(late, log.drop(columns=f"{COMPONENTS[0]}_centre"))
