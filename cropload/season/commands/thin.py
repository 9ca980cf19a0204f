"""The command ``thin``: how many clusters to leave on a vine for a target crop or balance."""

from cropload.season.commands.forecast import add_as_of, heading, made
from cropload.show import options
from cropload.show.command import Command


def _arguments(parser):
    options.add_records(parser)
    options.add_block(parser)
    options.add_season(parser)
    add_as_of(parser)
    aim = parser.add_mutually_exclusive_group(required=True)
    aim.add_argument(
        "--target-t-ha", metavar="X", type=options.number, help="wanted crop at the scale, in t/ha"
    )
    aim.add_argument(
        "--target-ton-ac",
        metavar="X",
        type=options.number,
        help="wanted crop at the scale, in ton/ac",
    )
    aim.add_argument(
        "--ravaz",
        metavar="LOW,HIGH|KEY",
        type=options.band,
        help="wanted yield to pruning weight (kg/kg), like 5,10, or a handbook key",
    )
    options.add_units(parser)
    options.add_draws(parser)
    options.add_csv(parser)


def _run(given):
    from cropload.season.thinning import thin_to
    from cropload.season.thinning_words import thinning_sentence
    from cropload.show.result_units import in_units
    from cropload.show.terminal import paragraph
    from cropload.units import US

    records = options.records_of(given)
    units = options.units_of(given)
    forecast = made(given, records)
    target = given.target_t_ha
    if given.target_ton_ac is not None:
        target = US.to_metric("t_ha", given.target_ton_ac)
    found = thin_to(forecast, given.block, target_t_ha=target, ravaz=given.ravaz)
    options.save(given, in_units(found.options, units))
    parts = [
        paragraph(heading(forecast).split(" Each figure")[0]),
        paragraph(thinning_sentence(found, target, units)),
        *([_table(found, units)] if found.drop > 0 else []),
        *(paragraph(text, "- ") for text in found.cautions),
        *(paragraph(text, "- ") for text in forecast.estate.accepted_notes),
    ]
    return "\n\n".join([*parts, paragraph(options.CAUTION)])


def _table(found, units):
    from cropload.beliefs import ranges
    from cropload.season.thinning_words import around
    from cropload.show.terminal import Column, range_texts, text_table
    from cropload.show.wording import percent
    from cropload.show.wording import significant as figure

    rows = around(found)
    ends = [units.convert("t_ha", rows[f"t_ha_{end}"]) for end in ranges.ENDINGS]
    ravaz = [rows[f"ravaz_{end}"] for end in ranges.ENDINGS]
    weight = units.label("pruning_weight_kg")
    return f"THE CHOICES AROUND IT (middle, with its {ranges.label()})\n" + text_table(
        [
            Column("leave at most", "a vine"),
            Column("drop", "a vine"),
            Column("chance on target"),
            Column("crop", units.label("t_ha")),
            Column("yield to prunings", f"{weight}/{weight}"),
            Column("labour", "hours"),
        ],
        zip(
            rows["keep"],
            [figure(drop, 2) for drop in rows["drop"]],
            [percent(chance) for chance in rows["chance"]],
            range_texts(zip(*ends, strict=True)),
            range_texts(zip(*ravaz, strict=True)),
            [figure(hours, 2) for hours in rows["labour_h"]],
            strict=True,
        ),
    )


COMMANDS = (
    Command(
        name="thin",
        group="The growing season",
        summary="how many clusters to leave on a vine for a target crop or balance",
        details="Says how many whole clusters to leave on a vine at most for a target crop or a "
        "band of yield to pruning weight, with the chance of ending there before and after, and "
        "the labour.",
        example="""
            cropload thin my_season --block "Long Acre" --target-t-ha 7 --as-of 2026-07-15
            cropload thin --example --block "Lyre Field" --as-of 2026-07-15 --ravaz 5,10
        """,
        arguments=_arguments,
        run=_run,
    ),
)
