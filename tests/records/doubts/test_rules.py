"""Values that are possible but rare are read, and their row is named."""

import pytest

from cropload.records.records import read_records

HEAD = "block,variety,row_spacing_m,vine_spacing_m,vines,area_ha\n"
COUNTS = "season,date,block,row,vine,shoots,clusters\n2026,2026-06-01,North,1,1,"


@pytest.mark.parametrize(
    ("tables", "file", "row", "column"),
    [
        ({"blocks": HEAD + "North,Riesling,2,0.23,1000,\n"}, "blocks.csv", 2, "vine_spacing_m"),
        (
            {"blocks": HEAD + "N,Riesling,2,1,1000,0.25\nS,Riesling,2,1,1000,0.3\n"},
            "blocks.csv",
            3,
            "area_ha",
        ),
        ({"counts": COUNTS + "192,200\n"}, "counts.csv", 2, "shoots"),
        ({"counts": COUNTS + "10,61\n"}, "counts.csv", 2, "clusters"),
        (
            {
                "weights": "season,date,block,stage,clusters,weight_g\n"
                "2026,2026-09-01,North,harvest,2,10000\n"
            },
            "weights.csv",
            2,
            "weight_g",
        ),
        # 0.24 ha: 10 + 8 t are 75 t/ha, named at the last pick.
        (
            {
                "harvest": "season,block,date,tonnes\n"
                "2026,North,2026-09-01,10\n2026,North,2026-09-02,8\n"
            },
            "harvest.csv",
            3,
            "tonnes",
        ),
        ({"pruning": "season,block,plan\n2026,North,10x20\n"}, "pruning.csv", 2, "plan"),
        (
            {"pruning": "season,block,pruning_weight_kg\n2026,North,15\n"},
            "pruning.csv",
            2,
            "pruning_weight_kg",
        ),
        (
            {"weather": "station,date,tmin_c,tmax_c\nV,2026-05-01,28,56\n"},
            "weather.csv",
            2,
            "tmax_c",
        ),
        ({"pruning": "season,block,date\n2026,North,2024-01-05\n"}, "pruning.csv", 2, "date"),
    ],
)
def test_rare_values_warn(write, tables, file, row, column):
    (doubt,) = read_records(write(**tables)).warnings
    assert (doubt.file, doubt.row, doubt.column) == (file, row, column)


def test_shoots_per_metre_are_named_with_their_number(write):
    # 192 shoots on 1.2 m of canopy are 160 to the metre.
    (doubt,) = read_records(write(counts=COUNTS + "192,200\n")).warnings
    assert "160" in doubt.value
    assert "shoots per metre" in doubt.rule


def test_usual_values_do_not_warn(write):
    folder = write(
        counts=COUNTS + "18,30\n",
        pruning="season,block,plan,pruning_weight_kg,date\n2026,North,2x8+2x2,0.7,2025-12-20\n",
        harvest="season,block,tonnes\n2026,North,2.4\n",
    )
    assert read_records(folder).warnings == ()


@pytest.mark.parametrize(
    ("plan", "spacing", "metres"), [("1x60", 1.3, "5.3 m"), ("6x20", 1.2, "1.8 m")]
)
def test_canes_longer_than_the_vine_has_room_for_are_asked_about_once(write, plan, spacing, metres):
    """Internodes of 76 to 102 mm (Hellman, eXtension)."""
    blocks = f"block,variety,row_spacing_m,vine_spacing_m,vines\nNorth,Riesling,2,{spacing},500\n"
    rows = "season,block,plan\n" + "".join(f"{s},North,{plan}\n" for s in (2024, 2025, 2026))
    (doubt,) = read_records(write(blocks=blocks, pruning=rows)).warnings
    assert (doubt.row, doubt.column, doubt.more) == (2, "plan", 2)
    assert f"is about {metres} long, and the vine has {spacing} m" in doubt.rule


@pytest.mark.parametrize("plan", ["1x15+1x2", "2x12", "30x2"])
def test_canes_that_fit_and_spurs_are_not_asked_about(write, plan):
    blocks = "block,variety,row_spacing_m,vine_spacing_m,vines\nNorth,Riesling,2,1.2,500\n"
    rows = f"season,block,plan\n2026,North,{plan}\n"
    doubts = read_records(write(blocks=blocks, pruning=rows)).warnings
    assert not any("a cane of" in doubt.rule for doubt in doubts)


def test_a_divided_canopy_is_longer(write):
    blocks = (
        "block,variety,row_spacing_m,vine_spacing_m,vines,canopies\nNorth,Riesling,3,1.2,500,{}\n"
    )
    counts = COUNTS + "120,150\n"
    assert len(read_records(write(blocks=blocks.format(1), counts=counts)).warnings) == 1
    assert read_records(write(blocks=blocks.format(2), counts=counts)).warnings == ()


def test_names_that_differ_only_in_capitals_or_blanks(write):
    blocks = (
        "block,variety,row_spacing_m,vine_spacing_m,vines\n"
        "North,Pinot noir,2,1,100\nnorth,Pinot  Noir,2,1,100\n"
    )
    doubts = read_records(write(blocks=blocks)).warnings
    assert [(doubt.row, doubt.column) for doubt in doubts] == [(3, "block"), (3, "variety")]


def test_shares_that_look_like_fractions(write):
    blocks = "block,variety,row_spacing_m,vine_spacing_m,vines,missing_pct\n"
    blocks += "N,Riesling,2,1,100,0.05\nS,Riesling,2,1,100,0.02\n"
    (doubt,) = read_records(write(blocks=blocks)).warnings
    assert (doubt.row, doubt.column) == (2, "missing_pct")
    assert read_records(write(blocks=blocks.replace("100,0.02\n", "100,3\n"))).warnings == ()


def test_a_variety_that_no_block_grows(write):
    folder = write(prices="variety,price_per_t\nRisling,900\nRiesling,900\n")
    (doubt,) = read_records(folder).warnings
    assert (doubt.value, doubt.row) == ("Risling", 2)
    assert "Riesling" in doubt.mend
