"""The command ``compare``: what each pruning plan would give in a block, side by side."""

from cropload.beliefs import ranges
from cropload.errors import CroploadError
from cropload.frost.commands.frost import add_weather, weather_of
from cropload.show import options
from cropload.show.command import Command


def _arguments(parser):
    options.add_records(parser)
    options.add_block(parser)
    parser.add_argument(
        "--plans",
        metavar="PLANS",
        required=True,
        help="plans, with commas between: canes x buds, then + spurs x buds, like "
        "3x6+3x2,3x8+3x2 (24x2 is spurs alone)",
    )
    options.add_season(parser)
    options.add_units(parser)
    options.add_bands(parser)
    options.add_reference_plan(parser)
    options.add_draws(parser)
    parser.add_argument(
        "--sources", action="store_true", help="list where each component came from"
    )
    parser.add_argument(
        "--frost",
        action="store_true",
        help="add what past springs would have left of each plan, from table weather",
    )
    parser.add_argument(
        "--case",
        choices=("laid_down", "upright_until_final_cut"),
        default="laid_down",
        help="with --frost: how the wood stands while the first buds push",
    )
    add_weather(parser)
    options.add_csv(parser)


def _run(given):
    from cropload.beliefs.meant import check_block
    from cropload.pruning.compare import compare_plans
    from cropload.pruning.words import density_text, export

    records = options.records_of(given)
    block = check_block(records, given.block)
    at = records.blocks["block"].tolist().index(block)
    canopies = int(records.blocks["canopies"].iloc[at])
    density = options.density_band_of(given.density_band, canopies, options.units_of(given))
    found = compare_plans(
        records,
        block,
        given.plans,
        given.season,
        draws=given.draws,
        seed=given.seed,
        density_band=density,
        ravaz_band=given.ravaz_band,
        reference_plan=given.reference_plan,
    )
    units = options.units_of(given)
    asked = weather_of(given)
    if given.frost:
        from cropload.frost.frost_cover import with_frost

        found = with_frost(
            found, records, block, case=given.case, reference_plan=given.reference_plan, **asked
        )
    elif any(value is not None for value in asked.values()):
        raise CroploadError("Station, offset, logger and budburst belong to --frost: add it.")
    found["density_band"] = density_text(density, units)
    options.save(given, export(found, units))
    season = options.season_text(records, given.season, found.attrs["season"])
    return "\n\n".join(_parts(found, units, given.sources, season))


def _parts(found, units, with_sources, season=""):
    from cropload.show.terminal import paragraph

    about = found.attrs
    number = len(found)
    yield paragraph(
        f"{about['block']}, harvest {about['season']}: {number} "
        f"plan{'s' * (number > 1)} on the same draws. Each figure is the middle, with its "
        f"{about['interval']}, in brackets."
    )
    if season:
        yield season
    yield from tables(found, units)
    if "frost_notes" in about:
        yield frost_table(found, units)
    notes = list(about["notes"])
    if not about["load_known"]:
        notes.append("The plan the block has carried can be named: --reference-plan 2x10+2x2.")
    if notes:
        yield "\n".join(paragraph(note, "- ") for note in notes)
    yield origins_text(about["components"], units, with_sources)
    yield paragraph(options.CAUTION)


def tables(found, units):
    """Yield the tables of a comparison: crop, shoots and clusters, balance, next winter's wood."""
    from cropload.pruning.words import WOOD_WORDS
    from cropload.show.terminal import Column, paragraph, range_texts, text_table, words
    from cropload.show.wording import percent
    from cropload.show.wording import significant as figure

    plans = found["plan"].tolist()

    def ranged(name, quantity=None):
        factor = 1.0 if quantity is None else units.show(quantity)[1]
        ends = [found[f"{name}_{end}"] * factor for end in ranges.ENDINGS]
        return range_texts(zip(*ends, strict=True))

    crop, total = units.label("t_ha"), units.label("tonnes")
    per_length = units.label("per_m")
    yield "CROP at the scale\n" + text_table(
        [
            words("plan"),
            Column("buds", "a vine"),
            Column("buds", per_length),
            Column("first season", crop),
            Column("once settled", crop),
        ],
        zip(
            plans,
            found["buds_per_vine"],
            [figure(value * units.show("per_m")[1]) for value in found["buds_per_m"]],
            ranged("t_ha", "t_ha"),
            ranged("t_ha_settled", "t_ha"),
            strict=True,
        ),
    )
    yield "CROP of a vine and of the block\n" + text_table(
        [
            words("plan"),
            Column("a vine, first season", units.label("kg_per_vine")),
            Column("block, first season", total),
            Column("block, once settled", total),
        ],
        zip(
            plans,
            ranged("kg_per_vine", "kg_per_vine"),
            ranged("tonnes", "tonnes"),
            ranged("tonnes_settled", "tonnes"),
            strict=True,
        ),
    )
    yield paragraph(FIRST_YEAR_GAIN)
    if len(found) > 1:
        yield difference_table(found, units)
    yield "SHOOTS AND CLUSTERS, first season\n" + text_table(
        [
            words("plan"),
            Column("shoots", per_length),
            words("density"),
            Column("clusters", "a vine"),
            Column("cluster", units.label("cluster_weight_g")),
        ],
        zip(
            plans,
            ranged("shoots_per_m", "per_m"),
            found["density_word"],
            ranged("clusters_per_vine"),
            ranged("cluster_weight_g", "cluster_weight_g"),
            strict=True,
        ),
    )
    weight = units.label("pruning_weight_kg")
    yield "BALANCE, yield to pruning weight (Ravaz index)\n" + text_table(
        [
            words("plan"),
            Column("first season", f"{weight}/{weight}"),
            Column("once settled", f"{weight}/{weight}"),
            words("balance"),
        ],
        zip(plans, ranged("ravaz"), ranged("ravaz_settled"), found["balance_word"], strict=True),
    )
    yield "\n".join(
        (
            paragraph(f"Density is held against {found['density_band'].iloc[0]}.", "- "),
            paragraph(f"Balance is held against {found['balance_band'].iloc[0]}.", "- "),
        )
    )
    yield "NEXT WINTER'S WOOD\n" + text_table(
        [
            words("plan"),
            Column("places", "a vine"),
            Column("both shoots"),
            Column("one shoot"),
            Column("none"),
            Column("lost: spur only", "per block"),
            Column("lost: base used", "per block"),
            Column("short: spur only", "per vine"),
            Column("short: base used", "per vine"),
        ],
        zip(
            plans,
            found["wood_places"],
            *([percent(share) for share in found[f"wood_{name}"]] for name in _WOOD),
            *([figure(value, 2) for value in found[name]] for name in _PLACES),
            strict=True,
        ),
    )
    yield paragraph(WOOD_WORDS, "- ")


def difference_table(found, units):
    """Return what each plan bears beyond the first one, as text."""
    from cropload.show.terminal import Column, paragraph, text_table, words

    first, others = found["plan"].iloc[0], found.iloc[1:]
    parts = [f"DIFFERENCE to {first}, on the same draws"]
    for ending, when in (("", "first season"), ("_settled", "once settled")):
        shown = []
        for quantity in ("t_ha", "tonnes"):
            factor = units.show(quantity)[1]
            ends = [others[f"{quantity}{ending}_change_{end}"] * factor for end in ranges.ENDINGS]
            shown.append(_signed_ranges(list(zip(*ends, strict=True))))
        parts.append(
            text_table(
                [
                    words(when),
                    Column(
                        "a hectare" if units.name == "metric" else "an acre", units.label("t_ha")
                    ),
                    Column("the block", units.label("tonnes")),
                    Column("bears more", "chance"),
                ],
                zip(
                    others["plan"],
                    *shown,
                    [_chance(share) for share in others[f"chance_more{ending}"]],
                    strict=True,
                ),
            )
        )
    parts.append(
        paragraph(
            f"Each difference is the middle, with its own {found.attrs['interval']}. Both plans "
            "stand on the same vines in the same seasons, so it is known far better than the two "
            "ranges above seem to say."
        )
    )
    return "\n".join([parts[0], "\n\n".join(parts[1:])])


def _signed_ranges(triples):
    """Return ranges of differences, all to the same step, like ``+1.2 (-0.3 to +2.9)``."""
    import math

    widest = max((high - low for low, _, high in triples), default=0.0)
    places = 1 if widest <= 0 else max(0, 1 - math.floor(math.log10(widest)))

    def signed(value):
        value = round(value, places)
        return "0" if value == 0 else f"{value:+,.{places}f}"

    return [f"{signed(mid)} ({signed(low)} to {signed(high)})" for low, mid, high in triples]


def _chance(share):
    """Return a chance as whole per cent; draws make nothing certain or impossible."""
    from cropload.show.wording import percent

    if share >= 0.995:
        return "over 99 %"
    return "under 1 %" if share < 0.005 else percent(share)


def frost_table(found, units):
    """Return what past springs would have left of each plan, as text."""
    from cropload.frost.words import CASE_WORDS, percent
    from cropload.show.terminal import Column, paragraph, range_texts, text_table, words

    about = found.attrs

    def ranged(name, factor):
        ends = [found[f"{name}_{end}"] * factor for end in ranges.ENDINGS]
        return range_texts(zip(*ends, strict=True))

    seasons = found["frost_seasons"].iloc[0]
    table = text_table(
        [
            words("plan"),
            Column("mean crop left", "%"),
            Column(f"{about['frost_worst']}, left", "%"),
            Column("mean settled crop", units.label("t_ha")),
            Column(f"over {percent(about['frost_loss'])} lost", "% of years"),
        ],
        zip(
            found["plan"],
            ranged("frost_mean_share", 100),
            ranged("frost_worst_in_ten", 100),
            ranged("t_ha_settled_with_frost", units.show("t_ha")[1]),
            [
                f"{100 * low:.0f} to {100 * high:.0f}"
                for low, high in zip(
                    found["frost_loss_chance_low"], found["frost_loss_chance_high"], strict=True
                )
            ],
            strict=True,
        ),
    )
    # What holds for the whole comparison is told once, beneath it.
    notes = [note for note in about["frost_notes"] if note not in about["notes"]]
    notes.append("`cropload frost` tells more, spring by spring")
    return "\n".join(
        [
            f"SPRING FROST over {seasons} springs, wood {CASE_WORDS[found['frost_case'].iloc[0]]}",
            table,
            *(paragraph(note, "- ") for note in notes),
        ]
    )


FIRST_YEAR_GAIN = (
    "The first season on a new load is not the lasting crop: vines adjust over two to three "
    "seasons. Read a first-season gain beside the settled crop (third season on)."
)
_WOOD = ("both", "one", "none")
_PLACES = (
    "places_lost_block",
    "places_lost_base_used_block",
    "places_short_spur_only_5_winters",
    "places_short_5_winters",
)


#: Component -> quantity of the unit system its centre is shown in.
_SHOWN_AS = {
    "cluster_weight_g": "cluster_weight_g",
    "pruning_weight_kg_per_m": "pruning_weight_kg_per_m",
}


def origins_text(components, units, in_full):
    """Return where the components came from: a sentence, or with ``in_full`` one entry each."""
    from cropload.show.terminal import paragraph

    if not in_full:
        counted = {}
        for part in components:
            counted[part["came_from"]] = counted.get(part["came_from"], 0) + 1
        told = ", ".join(f"{number} from {origin}" for origin, number in counted.items())
        return paragraph(f"Of {len(components)} components, {told}; --sources lists them.")
    lines = ["COMPONENTS, middle and spread (one standard deviation on the log scale)"]
    for part in components:
        lines.append(paragraph(f"{part['words']}: {_centre(part, units)}", "  "))
        lines.append(paragraph(f"{part['came_from']}: {part['detail']}", "    from "))
        if part["key"] not in part["detail"]:
            lines.append(paragraph(part["key"], "    drawn towards "))
    lines.append(paragraph("`cropload source KEY` tells more of a handbook entry."))
    return "\n".join(lines)


def _centre(part, units):
    from cropload.show.wording import significant as figure

    label, value = part["unit"], part["centre"]
    if part["component"] in _SHOWN_AS:
        quantity = _SHOWN_AS[part["component"]]
        label, value = units.label(quantity), units.convert(quantity, value)
    label = {"1": "", "1/vine": ""}.get(label, f" {label}")
    return f"{figure(value)}{label}, spread {100 * part['spread']:.0f} %"


COMMANDS = (
    Command(
        name="compare",
        group="Winter pruning",
        summary="compare pruning plans for a block, first season and settled",
        details="Says what each pruning plan would give in a block: shoots per metre of canopy, "
        "clusters, crop in t/ha and t (ton/ac and short tons with --units us), yield to pruning "
        "weight, and next winter's wood, with honest ranges.",
        example="""
            cropload compare my_season --block "Long Acre" --plans 3x6+3x2,3x8+3x2
            cropload compare --example --block "Long Acre" --plans 24x2 --units us
        """,
        arguments=_arguments,
        run=_run,
    ),
)
