"""The methods page: its examples beside the engine's own figures, its kept tables, its words."""

import json
import re
import statistics

import numpy as np
import pytest

from cropload import compare_plans, example_records, handbook
from cropload.beliefs.spreads import prior_logs
from cropload.errors import CroploadError
from cropload.pages import methods as m
from cropload.pages.notebooks import PAGES, notebooks
from cropload.records.example import shipped
from cropload.show.languages import FOLDER, LANGUAGES
from cropload.vine.growth import COMPONENTS, LoadState, exponents, grow, settled_move
from cropload.vine.plan_shape import PlanShape

BOOK = json.loads((shipped("notebooks") / "methods.ipynb").read_text("utf-8"))


def grown(buds, carried, log_clusters=0.0, wild=1e-9):
    """One vine by the engine, its components stated at the load carried."""
    logs = prior_logs("")[0][:, None].copy()
    logs[COMPONENTS.index("noncount_shoots")] = np.log(wild)
    shape = PlanShape(np.log([buds]), np.zeros(1), np.zeros(1))
    at = np.log([carried])
    return grow(logs, shape, LoadState(at, at, log_clusters), exponents())


def test_the_chain_of_one_vine_is_that_of_the_engine():
    told = m.one_vine("2x7", spacing_m=1.0).frame.set_index("step")["amount"]
    # 14 buds on a metre: the load at which the handbook's figures are told.
    assert handbook.value("load.reference_buds_per_m") == 14
    first = grown(14, 14, wild=2.0)
    vine = grown(14, 14, first.log_clusters, wild=2.0)
    assert told["clusters"] == pytest.approx(vine.clusters[0])
    assert told["crop on the scale"] == pytest.approx(vine.kg_picked[0])


def test_another_spacing_moves_the_figures_as_vines_settle_on_a_load():
    told = m.one_vine("2x14", spacing_m=1.0).frame.set_index("step")["amount"]
    logs = prior_logs("")[0] + settled_move(np.log(2))
    assert told["cluster weight"] == pytest.approx(
        np.exp(logs[COMPONENTS.index("cluster_weight_g")])
    )


def test_the_first_season_on_a_new_load_is_that_of_the_engine():
    old = grown(30, 30, grown(30, 30).log_clusters)
    new = grown(48, 30, old.log_clusters)
    told = m.new_load("3x8+3x2", "4x10+4x2").frame.set_index("season")
    assert told.loc["first", "crop"] == pytest.approx(new.kg_picked[0] / old.kg_picked[0])
    assert told.loc["first", "shoots"] == pytest.approx(new.shoots[0] / old.shoots[0])
    # Doubled buds: 1.76 times the crop in a first year, 1.0 to 1.45 settled (load trials,
    # Practical Winery 2017 and others in the handbook's references).
    doubled = m.new_load("2x8", "2x16").frame.set_index("season")["crop"]
    assert doubled["first"] == pytest.approx(1.76, rel=0.05)
    assert 1.0 <= doubled["settled"] <= 1.45


def test_a_count_is_weighed_by_its_precision():
    told = m.one_count(30, 0.2, 36, 25, 0.5).frame.set_index("what")
    # By hand: the count's error is about 0.5 / 5 = 0.1, so it has 4 / 5 of the say.
    assert np.log(told.loc["believed after", "middle"] / 30) == pytest.approx(
        0.8 * np.log(1.2), rel=0.01
    )
    z = statistics.NormalDist().inv_cdf(0.9)
    width = np.log(told.loc["believed before", "high"] / 30)
    assert width == pytest.approx(0.2 * z)


def test_a_night_leaves_what_secondary_shoots_bear():
    told = m.one_night(-2.2, 0.32).frame.set_index("stage")
    assert told.loc[4, "killed"] == pytest.approx(0.5)
    assert told.loc[4, "crop"] == pytest.approx(1 - 0.5 * 0.68)
    assert (m.one_night(3.0).frame["crop"] == 1).all()


def test_figures_are_the_handbooks_own():
    told = m.figures("prior", "interval.level")
    assert list(told.frame["key"]) == [*handbook.keys("prior."), "interval.level"]
    assert "at harvest" in str(m.one_vine())
    assert m.how_graded().frame["figures"].sum() == len(handbook.keys())


@pytest.mark.parametrize(
    "ask",
    [
        lambda: m.figures("no.such"),
        lambda: m.one_vine("3y8"),
        lambda: m.one_vine("0x0"),
        lambda: m.one_vine(spacing_m=0),
        lambda: m.one_vine(cluster_weight_kg=1),
        lambda: m.one_vine(recovery=-1),
        lambda: m.new_load("3x8", "0x8"),
        lambda: m.one_count(vines=0),
        lambda: m.one_night(secondary_share=2),
        lambda: m.how_honest("row"),
    ],
)
def test_what_cannot_be_is_one_message(ask):
    with pytest.raises(CroploadError) as fault:
        ask()
    assert "\n" not in str(fault.value)


def test_boxes_change_an_example_and_tell_a_fault():
    box = m.Try(m.one_vine, plan="3x8+3x2", spacing_m=1.5)
    box.boxes["plan"].value = "2x7"
    assert box.said.value == m.one_vine("2x7", spacing_m=1.5)._repr_html_()
    box.boxes["spacing_m"].value = 0
    assert 'role="alert"' in box.said.value
    box.boxes["spacing_m"].value = 1.2
    assert "alert" not in box.said.value


def test_every_kept_world_has_words_and_is_drawn():
    kept = m.scoreboard()
    assert set(kept["world"]) == set(m.WORLDS)
    assert kept["in80"].between(0, 100).all()
    axes = m.honest_picture()
    assert len(axes.get_yticks()) == len(m.WORLDS)


def test_every_word_of_the_glossary_is_translated_and_compiled():
    told = m.glossary().frame
    assert list(told.columns) == list(LANGUAGES)
    for code in set(LANGUAGES) - {"en"}:
        text = (FOLDER / code / "LC_MESSAGES" / "glossary.po").read_text("utf-8")
        written = dict(re.findall(r'msgid "(.+)"\nmsgstr "(.+)"', text))
        assert written == dict(zip(m.TERMS, told[code], strict=True)), "compile glossary.po"


def test_the_notebook_is_kept_with_what_it_shows_today():
    shown = {cell["id"]: cell.get("outputs", []) for cell in BOOK["cells"]}
    for name, now in (("figs_chain", m.figures("prior")), ("blocks", m.how_honest())):
        kept = "".join(shown[name][0]["data"]["text/html"])
        assert kept == now._repr_html_(), "run notebooks/methods.ipynb again and keep its outputs"
    assert "methods.ipynb" not in PAGES
    assert any(book.name == "methods.ipynb" for book in notebooks())


def test_the_plan_of_the_example_is_compared_alike_on_a_block():
    # The example's ratio is the centre of what a block's comparison says of its first season.
    found = compare_plans(example_records(), "Long Acre", ["3x8+3x2", "4x10+4x2"], draws=400)
    ratio = found.frame["t_ha_p50"].iloc[1] / found.frame["t_ha_p50"].iloc[0]
    told = m.new_load("3x8+3x2", "4x10+4x2").frame["crop"].iloc[0]
    assert ratio == pytest.approx(told, rel=0.12)
