"""The preview of lessons, against the forecast that is made once they are accepted."""

from dataclasses import replace

import pytest

from cropload import example_records, forecast
from cropload.errors import CroploadError
from cropload.review.accepting import accept, lesson_effect
from cropload.review.learning import learn

DRAWS = 400


@pytest.fixture(scope="module")
def lessons():
    return learn(example_records())


@pytest.fixture
def records(tmp_path):
    """The sample as if it lay in a folder of one's own, where what is accepted can be kept."""
    return replace(example_records(), path=tmp_path)


@pytest.mark.parametrize("only", [None, ["profile", "counter:crew A"]])
def test_preview_is_the_forecast_that_follows_acceptance(records, lessons, only):
    before = forecast(records, 2027, draws=DRAWS).frame
    seen = lesson_effect(records, lessons, only, draws=DRAWS).frame.set_index("name")
    assert seen.loc[list(before["block"]), "before_p50"].tolist() == pytest.approx(
        before["tonnes_p50"].tolist()
    )
    accept(records, lessons, only)
    after = forecast(replace(records), 2027, draws=DRAWS)
    for by in ("block", "estate"):
        table = after.frame_by(by).set_index(by)
        for end in ("p10", "p50", "p90"):
            # The file keeps six digits.
            want = table[f"tonnes_{end}"].tolist()
            assert seen.loc[list(table.index), f"after_{end}"].tolist() == pytest.approx(want, 1e-4)
    assert seen["change"].abs().max() > 1e-4


def test_nothing_ticked_changes_nothing_and_no_file_is_written(records, lessons):
    seen = lesson_effect(records, lessons, [], draws=DRAWS)
    assert (seen["change"] == 0).all()
    assert seen.lessons == 0
    assert not list(records.path.iterdir())


def test_season_is_the_next_one_the_lessons_hold_for(records, lessons):
    assert lesson_effect(records, learn(records, 2024), [], draws=DRAWS).season == 2027
    with pytest.raises(CroploadError, match="Nothing called 'weather'"):
        lesson_effect(records, lessons, ["weather"], draws=DRAWS)
