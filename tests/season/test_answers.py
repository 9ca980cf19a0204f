"""Every answer of a season reads in eighty columns, and as a page whose names are escaped."""

import pytest
from helpers import block_row, make_records

from cropload import crew_check, forecast, next_counts, sample_vines, thin_to, two_step_plan
from cropload.season.season_days import forecast_fan, season_days

NAME = "Upper <i>Knoll</i> of the very long name that no table column has room for"


@pytest.fixture(scope="module")
def answers():
    rows = [(row, vine) for row in range(1, 5) for vine in range(6)]
    counts = [
        {"season": 2026, "date": date, "block": NAME, "row": str(row), "vine": str(vine), what: n}
        for what, date, n in (("buds", "2026-01-20", 24), ("clusters", "2026-07-01", 60))
        for row, vine in rows
    ]
    for at, row in enumerate(counts):
        row["buds" if "buds" in row else "clusters"] += at % 3
    plans = [{"season": 2026, "block": NAME, "plan": "2x10+2x2", "date": "2026-01-10"}]
    records = make_records(blocks=[block_row(NAME, rows=20)], counts=counts, pruning=plans)
    early, late = (forecast(records, 2026, day, draws=300) for day in ("2026-02-01", "2026-07-10"))
    made = [
        (day, forecast(records, 2026, day.day, draws=300)) for day in season_days(records, 2026)
    ]
    return {
        "forecast": late,
        "change": late.explain(early),
        "counts": next_counts(late),
        "thinning": thin_to(late, NAME, target_t_ha=4.0),
        "crew": crew_check(records, NAME, draws=300),
        "sample": sample_vines(records, NAME),
        "two steps": two_step_plan(0.15),
        "fan": forecast_fan(made, records=records),
    }


NAMES = ["forecast", "change", "counts", "thinning", "crew", "sample", "two steps", "fan"]


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("units", ["metric", "us"])
def test_an_answer_reads_in_eighty_columns(answers, name, units):
    text = answers[name].text(units)
    assert max(map(len, text.splitlines())) <= 80
    assert "not known" not in text.replace("not known yet", "")
    assert "nan" not in text.split()
    if name not in ("crew", "sample", "two steps"):
        assert ("short ton" in text or "ton/ac" in text) == (units == "us")


@pytest.mark.parametrize("name", NAMES)
def test_a_page_of_an_answer_escapes_its_names(answers, name):
    page = answers[name]._repr_html_()
    assert "<table" in page
    assert "<i>" not in page
    assert answers[name].frame is answers[name].frame
    assert not answers[name].frame.attrs


@pytest.mark.parametrize("name", NAMES)
def test_an_answer_is_drawn_on_axes(answers, name):
    assert answers[name].plot().get_xlabel() or answers[name].plot().get_ylabel()


def test_crew_hours_rows_and_the_walk_are_drawn_as_the_answer_holds_them(answers):
    from matplotlib import pyplot

    crew, sample, two = answers["crew"], answers["sample"], answers["two steps"]
    mine = pyplot.figure().subplots()
    assert crew.plot(mine) is mine
    assert [text.get_text() for text in mine.get_yticklabels()] == [f"row {r}" for r in crew["row"]]
    walk = next(line for line in sample.plot().lines if len(line.get_xdata()) == len(sample))
    assert list(walk.get_xdata()) == list(sample["row"])
    assert list(walk.get_ydata()) == list(sample["vine"])
    widths = sorted(patch.get_width() for patch in two.plot().patches)
    assert widths[-2:] == pytest.approx(sorted(two["hours"]))
