"""Tables of pruning plans: side by side in a block, block by block, and found for a target."""

from cropload.show.table import (
    CHANCE,
    CHANGE,
    FIGURE,
    NUMBER,
    PLAN,
    RANGE,
    SHARE,
    WHOLE,
    Column,
    Table,
)
from cropload.show.wording import band_text, levels, season_words
from cropload.units import METRIC

#: Ending of a column -> what its season is called in a head.
_WHEN = {"": "first season", "_settled": "once settled"}


def _ranges(name, quantity="", endings=_WHEN, title="{}", **more):
    """Return the (column, name) pairs of a range, one a season."""
    return [
        (Column(title.format(_WHEN[ending]), RANGE, quantity, **more), f"{name}{ending}")
        for ending in endings
    ]


def _shoots(season, kind, name):
    return (
        (Column("shoots", kind, "per_m"), name),
        (Column(f"density {season_words(season)}"), "density_word"),
    )


def comparison_tables(comparison, units=METRIC, names=()):
    """Return the tables of a comparison: crop, difference, shoots, balance, next winter's wood.

    Parameters
    ----------
    comparison : Comparison
        As from ``compare_plans``.
    units : UnitSystem
        Units of the bands in the captions.
    names : sequence of str
        What each plan is called; the plans themselves when left out.
    """
    rows, season = levels(comparison.frame), comparison.season
    plans = [row["plan"] for row in rows]
    rows = [row | {"plan": name} for row, name in zip(rows, names or plans, strict=True)]
    plan = (Column("level" if names else "plan", PLAN), "plan")
    tables = [
        Table.of(
            "crop",
            "CROP at the scale",
            rows,
            [
                plan,
                (Column("buds", WHOLE, unit="a vine"), "buds_per_vine"),
                (Column("buds", NUMBER, "per_m"), "buds_per_m"),
                *_ranges("t_ha", "t_ha"),
            ],
        ),
        Table.of(
            "vine",
            "CROP of a vine and of the block",
            rows,
            [
                plan,
                *_ranges("kg_per_vine", "kg_per_vine", [""], "a vine, {}"),
                *_ranges("tonnes", "tonnes", title="block, {}"),
            ],
        ),
    ]
    held = " is held against" if comparison.density.known else ":"
    if len(rows) > 1:
        tables += [_difference(rows, plan, plans[0], ending) for ending in _WHEN]
    tables += [
        Table.of(
            "shoots",
            f"SHOOTS AND CLUSTERS, first season; density{held} "
            f"{band_text(comparison.density, units, 'per_m')}",
            rows,
            [
                plan,
                *_shoots(season, RANGE, "shoots_per_m"),
                (Column("clusters", RANGE, unit="a vine", places=0), "clusters_per_vine"),
                (Column("cluster", RANGE, "cluster_weight_g"), "cluster_weight_g"),
            ],
        ),
        Table.of(
            "balance",
            "BALANCE, yield to pruning weight (Ravaz index), held against "
            f"{band_text(comparison.balance)}",
            rows,
            [
                plan,
                *_ranges("ravaz", endings=[""], unit=_per(units)),
                (Column(f"balance {season_words(season)}"), "balance_word"),
                *_ranges("ravaz", endings=["_settled"], unit=_per(units)),
                (Column(f"balance {season_words('settled')}"), "balance_settled_word"),
            ],
        ),
        _wood(rows, plan),
    ]
    return tables


def _per(units):
    label = units.label("pruning_weight_kg")
    return f"{label}/{label}"


def _difference(rows, plan, first, ending):
    """Return what each plan bears beyond the first one, in one of the seasons."""
    return Table.of(
        f"difference{ending}",
        f"DIFFERENCE to {first}, {_WHEN[ending]}, on the same draws",
        rows[1:],
        [
            plan,
            (Column("crop", CHANGE, "t_ha"), f"t_ha{ending}_change"),
            (Column("the block", CHANGE, "tonnes"), f"tonnes{ending}_change"),
            (Column("bears more", CHANCE, unit="chance"), f"chance_more{ending}"),
        ],
    )


def _wood(rows, plan):
    return Table.of(
        "wood",
        "NEXT WINTER'S WOOD",
        rows,
        [
            plan,
            (Column("places", WHOLE, unit="a vine"), "wood_places"),
            (Column("both shoots", SHARE), "wood_both"),
            (Column("one shoot", SHARE), "wood_one"),
            (Column("none", SHARE), "wood_none"),
            (Column("lost: spur only", FIGURE, unit="per block", places=2), "places_lost_block"),
            (
                Column("lost: base used", FIGURE, unit="per block", places=2),
                "places_lost_base_used_block",
            ),
            (
                Column("short: spur only", FIGURE, unit="per vine", places=2),
                "places_short_spur_only_5_winters",
            ),
            (
                Column("short: base used", FIGURE, unit="per vine", places=2),
                "places_short_5_winters",
            ),
        ],
    )


def blocks_table(comparison):
    """Return a comparison of blocks as one table, a row a block and plan.

    Parameters
    ----------
    comparison : BlockComparison
        As from ``compare_blocks``.
    """
    season = season_words(comparison.season)
    return Table.of(
        "blocks",
        "",
        levels(comparison.frame),
        [
            (Column("block"), "block"),
            (Column("plan", PLAN), "plan"),
            *_shoots(comparison.season, NUMBER, "shoots_per_m_p50"),
            # One range is enough: that of the block's tonnes is the same share of its middle.
            (Column(f"crop {season}", RANGE, "t_ha"), "t_ha"),
            (Column(f"block {season}", NUMBER, "tonnes"), "tonnes_p50"),
            (Column(f"balance {season}"), "balance_word"),
        ],
    )


def search_table(search, units=METRIC):
    """Return the plans found for a target, or the nearest ones with what they break.

    Parameters
    ----------
    search : PlanSearch
        As from ``find_plans``, its words in the units to show.
    units : UnitSystem
        Units of the caption.
    """
    rows = levels(search.frame) if len(search) else search.nearest
    ending, season = ("_settled", "settled") if search.settled else ("", search.season)
    target = Column("", RANGE, "t_ha").text(
        (rows[0]["t_ha_target_low"], None, rows[0]["t_ha_target_high"]), units
    )
    of = f"{target} {units.label('t_ha')}"
    caption = f"PLANS for {of}: its own layout, then by chance and settled crop"
    if not len(search):
        caption = f"NEAREST, but outside the limits; the target was {of}"
    return Table.of(
        "plans",
        caption,
        rows,
        [
            (Column("plan", PLAN), "plan"),
            () if len(search) else (Column(OUTSIDE), "outside"),
            (Column("buds", WHOLE), "buds_per_vine"),
            (Column("on target", CHANCE), "chance_in_target"),
            *_ranges("t_ha", "t_ha"),
            *_shoots(search.season, NUMBER, "shoots_per_m_p50"),
            (Column(f"yield / prunings {season_words(season)}", NUMBER), f"ravaz{ending}_p50"),
            (Column(f"balance {season_words(season)}"), f"balance{ending}_word"),
            (
                Column("places lost", NUMBER, unit="a vine", places=2),
                "places_lost_base_used_per_vine",
            ),
        ],
    )


#: Head of the column that says which limits a layout breaks.
OUTSIDE = "outside the limits"
