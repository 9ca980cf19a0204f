"""What was accepted in a forecast: named, used for later seasons only, and never counted twice."""

from dataclasses import replace

import numpy as np
import pytest
from helpers import block_row, make_records, steady_counts
from season_records import BLOCKS, RIESLING, count_rows, small_estate, weight_row

from cropload import compare_plans, forecast, learn
from cropload.beliefs.accepted import NOTHING, Accepted, accepted_before, accepted_notes
from cropload.beliefs.groundwork import lay_ground
from cropload.beliefs.history import estate_of
from cropload.beliefs.learned import PROFILES, Entry, write_learned
from cropload.beliefs.origins import LEARNED, component_origins
from cropload.beliefs.spreads import prior_logs
from cropload.records.facts import block_facts
from cropload.records.reading.faults import RecordsError
from cropload.vine.growth import COMPONENTS, RESPONSES
from cropload.vine.plan_shape import NodeProfile

SEASON = 2026
BIAS = Entry("component", "counting_bias", 2025, 4, "Riesling", 0.80, 0.02)
FACTOR = Entry("component", "increase_factor", 2025, 4, "Riesling", 1.70, 0.03)
LOAD = Entry("load", "weight", 2025, 2, value=-1.2, spread=0.3)
CREW = Entry("counter", "AB", 2025, 3, value=1.25, spread=0.02)


def taught(**more):
    """Two seasons of the small estate in which all that can be learned was measured."""
    lag = [weight_row(b, 60, season=s) for b in BLOCKS for s in (2024, 2025)]
    return small_estate(weights=lag + more.pop("weights", []), **more)


def bare(**more):
    """The same blocks without any record of the past."""
    return make_records(blocks=[block_row(b, "Riesling") for b in RIESLING], **more)


def believed(records, *entries, season=SEASON):
    ground = lay_ground(records, season, accepted=Accepted(tuple(entries)))
    return estate_of(ground, ground.learn())


def level(estate, name, variety=0):
    """Mean and spread of a variety's mean log component."""
    posterior, k = estate.beliefs.posterior, COMPONENTS.index(name)
    effects = posterior.shared.of_variety(variety, k)
    prior = prior_logs(list(dict.fromkeys(estate.facts.varieties))[variety])[0][k]
    mean, root = posterior.mean[effects].sum(), posterior.root[effects].sum(0)
    return mean + prior, np.linalg.norm(root)


def response(estate, name):
    posterior = estate.beliefs.posterior
    at = posterior.shared.effects + RESPONSES.index(name)
    return posterior.mean[at], np.linalg.norm(posterior.root[at])


# ------------------------------------------------------------------ the same seasons speak once


@pytest.fixture(scope="module")
def records():
    return taught()


@pytest.fixture(scope="module")
def plain(records):
    return believed(records)


@pytest.fixture(scope="module")
def lessons(records):
    return learn(records, 2025)


@pytest.mark.parametrize("topics", [("component",), ("load",), ("component", "load")])
def test_accepting_what_the_same_records_teach_changes_nothing(records, plain, lessons, topics):
    """All of the joint posterior stays: centres, spreads and correlations."""
    chosen = [e for e in lessons.entries.values() if e.topic in topics]
    assert chosen
    found = believed(records, *chosen).beliefs
    assert found.centre == pytest.approx(plain.beliefs.centre, abs=1e-5)
    for block in range(len(BLOCKS)):
        assert found.covariance(block) == pytest.approx(plain.beliefs.covariance(block), abs=1e-7)


def test_accepted_seasons_do_not_narrow_a_later_one(lessons):
    """With one season more: as if nothing were accepted, but for the spreads learnt anew."""
    more = [r for b in BLOCKS for r in count_rows(b, 33, season=2026)]
    scale = [{"season": 2026, "block": b, "date": "2026-09-20", "tonnes": 3.4} for b in BLOCKS]
    lag = [weight_row(b, 62) for b in BLOCKS]
    ripe = [weight_row(b, 125, "harvest", 50, 2026, "09-10") for b in BLOCKS]
    records = taught(counts=more, harvest=scale, weights=lag + ripe)
    found = believed(records, *lessons.entries.values(), season=2027).beliefs
    without = believed(records, season=2027).beliefs
    assert (found.spread() / without.spread()).min() > 0.99
    assert (found.spread() / without.spread()).max() < 1.02
    components = slice(0, len(COMPONENTS))
    assert found.centre[:, components] == pytest.approx(without.centre[:, components], abs=0.01)
    # What a block has of its own is in measures of its own, so it is told in spreads.
    apart = np.abs(found.centre - without.centre) / without.spread()
    assert apart[:, len(COMPONENTS) :].max() < 0.05


def test_without_the_records_the_accepted_figure_is_what_is_known():
    estate = believed(bare(), BIAS, FACTOR, LOAD)
    assert level(estate, "counting_bias") == pytest.approx((np.log(0.80), 0.02))
    assert level(estate, "increase_factor") == pytest.approx((np.log(1.70), 0.03))
    assert response(estate, "weight") == pytest.approx((-1.2, 0.3))
    assert response(estate, "burst") == pytest.approx((0.0, 1.0))


def test_with_the_records_an_edited_figure_is_what_is_known_of_their_seasons(records):
    estate = believed(records, BIAS, LOAD)
    assert level(estate, "counting_bias") == pytest.approx((np.log(0.80), 0.02))
    assert response(estate, "weight") == pytest.approx((-1.2, 0.3))


def test_what_else_the_records_know_follows_an_edited_figure(records, plain):
    """Fewer counted of those there: so the records saw more clusters than was thought."""
    found = believed(records, BIAS)
    k = COMPONENTS.index("clusters_per_shoot")
    riesling = slice(0, len(RIESLING))
    more = (found.beliefs.centre - plain.beliefs.centre)[riesling, k]
    assert (more > 0.02).all()


def test_lessons_of_two_years_are_held_one_after_the_other(records):
    later = replace(FACTOR, through=2024, value=1.9, spread=0.05)
    estate = believed(records, BIAS, later)
    assert level(estate, "counting_bias") == pytest.approx((np.log(0.80), 0.02))
    _, spread = level(estate, "increase_factor")
    assert spread < 0.05  # season 2025 goes on from what was known after 2024


def test_a_later_season_goes_on_from_the_accepted_figure():
    """One more season, by hand: precision adds, as for any normal mean."""
    rows = {
        "weights": [
            weight_row(b, grams, stage, 100, SEASON)
            for b in RIESLING
            for grams, stage in ((60, "lag"), (120, "harvest"))
        ]
    }
    estate = believed(bare(**rows), FACTOR, season=SEASON + 1)
    centre, spread = level(estate, "increase_factor")
    assert np.log(1.70) < centre < np.log(2.0)
    assert spread < FACTOR.spread


# ------------------------------------------------------------------ which seasons, which names


def kept(records, tmp_path, *entries):
    tmp_path.mkdir(exist_ok=True)
    write_learned(tmp_path, entries, "2026-11-25")
    return replace(records, path=tmp_path)


def test_a_lesson_is_used_only_for_seasons_after_it(records, tmp_path):
    mine = kept(records, tmp_path, BIAS, replace(FACTOR, through=2026))
    assert accepted_before(mine, 2025).entries == ()
    assert accepted_before(mine, 2026).entries == (BIAS,)
    assert len(accepted_before(mine, 2027).entries) == 2


def test_a_variety_not_on_record_is_one_clear_message(records, tmp_path):
    mine = kept(records, tmp_path, replace(BIAS, variety="Rieslign"))
    with pytest.raises(RecordsError, match="Did you mean 'Riesling'"):
        forecast(mine, SEASON, draws=100)


def test_the_lesson_is_named_as_the_source(records, tmp_path):
    mine = kept(records, tmp_path, BIAS, CREW, LOAD)
    made = forecast(mine, SEASON, draws=100)
    rows = {row["component"]: row for row in component_origins(made.estate, "Alder")}
    assert rows["counting_bias"]["came_from"] == LEARNED
    assert rows["counting_bias"]["detail"] == "4 seasons up to 2025"
    assert rows["increase_factor"]["came_from"] != LEARNED
    other = {row["component"]: row for row in component_origins(made.estate, "Fir")}
    assert other["counting_bias"]["came_from"] != LEARNED  # Pinot noir
    note = "Response to the load (weight): learned on this estate from 2 seasons up to 2025."
    assert note in made.notes
    note = "Clusters counted / clusters there, Riesling: learned on this estate from 4 seasons up "
    assert f"{note}to 2025." in made.notes


def test_a_comparison_of_plans_names_it_too(records, tmp_path):
    mine = kept(records, tmp_path, BIAS, LOAD)
    found = compare_plans(mine, "Alder", ["2x10+2x2", "2x12+2x2"], SEASON, draws=100)
    rows = {row["component"]: row for row in found.components}
    assert rows["counting_bias"]["came_from"] == LEARNED
    assert any("learned on this estate" in note for note in found.notes)


def test_a_forecast_of_an_earlier_season_does_not_know_it(records, tmp_path):
    mine = kept(records, tmp_path, BIAS, LOAD)
    some = {"draws": 200, "as_of": "2025-06-30"}
    assert np.array_equal(forecast(mine, 2025, **some).draws, forecast(records, 2025, **some).draws)


def test_loads_taught_by_different_seasons_are_told_apart():
    other = Entry("load", "burst", 2025, 5, value=0.1, spread=0.5)
    assert len(accepted_notes(Accepted((LOAD, other)))) == 2


def test_a_figure_far_from_the_handbooks_and_a_counter_nobody_knows_are_said():
    far = Entry("component", "increase_factor", 2025, 2, "Riesling", 4.0, 0.05)
    told = accepted_notes(Accepted((far, CREW)), {"Riesling"}, {"somebody else"})
    assert any("4.00 in learned.toml lies far from the handbook's" in note for note in told)
    assert any("no count on record is by that name" in note for note in told)
    near = replace(far, value=2.1)
    told = accepted_notes(Accepted((near, CREW)), {"Riesling"}, {CREW.name})
    assert not [note for note in told if "far from" in note or "no count" in note]


# ------------------------------------------------------------------ counters and node profiles


def counted_by(who, clusters=30):
    rows = [
        r | {"counter": who} for b in RIESLING for r in steady_counts(SEASON, b, clusters=clusters)
    ]
    return bare(counts=rows)


def test_a_counter_who_counts_a_quarter_more_is_read_as_a_fifth_fewer():
    """30 counted at a bias of 1.25 are 24: as if 24 had been counted by a person without one."""
    by_her = replace(CREW, spread=1e-4)
    found = forecast_of(counted_by("AB"), by_her)
    equal = forecast_of(counted_by("", 24))
    assert found == pytest.approx(equal, abs=1e-4)


def forecast_of(records, *entries):
    """Centre of the log clusters of the block, in the season itself."""
    from cropload.beliefs.measured import measurements

    accepted = Accepted(tuple(entries))
    facts = block_facts(records)
    measured = measurements(records, facts, accepted.counters)
    ground = lay_ground(records, SEASON, this_season=measured, measured=measured, accepted=accepted)
    return estate_of(ground, ground.learn()).beliefs.centre


def test_the_forecast_moves_by_the_counters_bias(tmp_path):
    """ln(1.25) of the count; the forecast moves by the share of it that the count is given."""
    records = counted_by("AB")
    moved = np.log(middle(kept(records, tmp_path, replace(CREW, spread=0.001))) / middle(records))
    fewer = np.log(middle(counted_by("AB", 24)) / middle(records))
    assert moved == pytest.approx(fewer, abs=0.01)
    assert moved < -0.1


def middle(records):
    return float(np.median(forecast(records, SEASON, draws=2000).draws.sum(0)))


def test_an_uncertain_counter_makes_the_range_no_narrower(tmp_path):
    records = counted_by("AB")
    sure = kept(records, tmp_path / "sure", replace(CREW, spread=0.001))
    unsure = kept(records, tmp_path / "unsure", replace(CREW, spread=0.3))
    grown = [forecast(r, SEASON, draws=2000).growth for r in (sure, unsure)]
    width = [each.log_kg_picked.std() for each in grown]
    assert width[1] > width[0]


def test_somebody_elses_counts_are_left_alone(tmp_path):
    records = counted_by("CD")
    assert middle(kept(records, tmp_path, CREW)) == middle(records)


PROFILE = Entry(
    "profile", "Riesling", 2025, 2, profile=((0.5, 1.0, 1.1), (0.2, 1.0), (1.0,), (0.9, 1.0))
)


def test_an_accepted_profile_stands_in_for_the_handbooks():
    records = bare()
    found, shoots = Accepted((PROFILE,)).profile(records, "Riesling", block_facts(records))
    assert shoots == 0
    for name, values in zip(PROFILES, PROFILE.profile, strict=True):
        assert tuple(getattr(found, name)) == values
    base, _ = NOTHING.profile(records, "Riesling", block_facts(records))
    assert np.array_equal(base.cane_burst, NodeProfile.from_handbook().cane_burst)


def node_rows(season):
    return [
        {"season": season, "block": "Alder", "wood": "cane", "node": node}
        | {"buds": 40, "shoots": 36, "clusters": 20}
        for node in (1, 2)
    ]


def test_fertility_speaks_once_before_the_lesson_and_moves_it_after():
    used, facts = Accepted((PROFILE,)), block_facts(bare())
    old, _ = used.profile(bare(fertility=node_rows(2025)), "Riesling", facts)
    new, shoots = used.profile(bare(fertility=node_rows(2026)), "Riesling", facts)
    assert tuple(old.cane_burst) == PROFILE.profile[0]
    assert shoots == 72
    assert new.cane_burst[0] > 0.5


def test_an_accepted_profile_changes_what_a_plan_bears(tmp_path):
    """Basal buds that bear little: short spurs lose more than long canes."""
    records = taught()
    mine = kept(records, tmp_path, replace(PROFILE, profile=((1.0, 1.0),) * 3 + ((0.5, 0.5),)))
    plans = ["2x10+2x2", "0x0+12x2"]
    ratio = []
    for some in (records, mine):
        t = compare_plans(some, "Alder", plans, SEASON, draws=1000)["t_ha_p50"]
        ratio.append(t.iloc[1] / t.iloc[0])
    assert ratio[1] < 0.8 * ratio[0]


def test_a_lesson_through_the_last_harvest_holds_on_an_earlier_day_too(tmp_path, monkeypatch):
    """The harvest of 2027 taught it; a look back to July 2027 must not call it one to come."""
    import datetime

    from cropload import clock
    from cropload.records.as_of import records_until

    monkeypatch.setattr(clock, "today", lambda: datetime.date(2026, 11, 25))
    harvest = [
        {"season": s, "block": "North", "date": f"{s}-09-20", "tonnes": 3.0} for s in (2026, 2027)
    ]
    made = replace(make_records(blocks=[block_row()], harvest=harvest), path=tmp_path)
    write_learned(tmp_path, [Entry("counter", "AB", 2027, 2, value=1.1, spread=0.05)], "2027-11-01")
    early = records_until(records_until(made, "2027-07-01"), "2026-07-01")
    assert accepted_before(early, 2028)
    assert not accepted_before(early, 2027)
