"""The command ``frost``: what past springs would have left of each plan."""

from cropload.beliefs import ranges
from cropload.show import options
from cropload.show.command import Command


def add_weather(parser):
    """Add what the frost model must know of a block: station, offset, budburst."""
    weather = parser.add_argument_group("weather of the block")
    weather.add_argument(
        "--station", metavar="NAME", help="weather station; the one table blocks names by default"
    )
    offset = weather.add_mutually_exclusive_group()
    offset.add_argument(
        "--offset",
        metavar="DEGREES",
        type=options.number,
        help="block less station at night, C (F with --units us), below 0 in a frost hollow; as in "
        "table blocks by default",
    )
    offset.add_argument(
        "--logger",
        metavar="NAME",
        help="estimate the offset from this logger of the block in table weather",
    )
    weather.add_argument(
        "--budburst-sum",
        metavar="X",
        type=options.number,
        help="heat sum until budburst, degree days above 5 C from 1 January (1 July in the "
        "south); fitted to the block's own dates by default",
    )
    weather.add_argument(
        "--hemisphere", choices=("north", "south"), help="read off the temperatures by default"
    )


def weather_of(given):
    """Return the keywords of ``frost_cover`` that the options stand for."""
    offset = given.offset
    if offset is not None:
        offset /= options.units_of(given).show("temperature_c")[1]
    return {
        "station": given.station,
        "offset": offset,
        "logger": given.logger,
        "budburst_sum": given.budburst_sum,
        "hemisphere": given.hemisphere,
    }


def _arguments(parser):
    options.add_records(parser)
    options.add_block(parser)
    parser.add_argument(
        "--plans",
        metavar="PLANS",
        required=True,
        help="plans, with commas between, like 2x10+2x2,2x14+2x2; the first is the one to beat",
    )
    parser.add_argument(
        "--case",
        choices=("laid_down", "upright_until_final_cut", "both"),
        default="laid_down",
        help="how the wood stands while the first buds push: laid_down (tied down in winter, the "
        "default), upright_until_final_cut (cut back late), or both, each by itself",
    )
    add_weather(parser)
    parser.add_argument(
        "--first-season",
        action="store_true",
        help="weigh the first season's crop, not the settled one (third season on)",
    )
    parser.add_argument(
        "--heavy-loss-pct",
        metavar="PCT",
        type=options.number,
        help="a frost year loses more than this, %%; 30 by default",
    )
    options.add_season(parser)
    options.add_units(parser)
    options.add_reference_plan(parser)
    options.add_draws(parser)
    options.add_csv(parser)


def _run(given):
    from cropload.frost.frost_cover import frost_cover
    from cropload.vine.weather.settings import CASES

    records = options.records_of(given)
    found = frost_cover(
        records,
        given.block,
        given.plans,
        given.season,
        case=CASES if given.case == "both" else given.case,
        settled=not given.first_season,
        heavy_loss=None if given.heavy_loss_pct is None else given.heavy_loss_pct / 100,
        reference_plan=given.reference_plan,
        draws=given.draws,
        seed=given.seed,
        **weather_of(given),
    )
    units = options.units_of(given)
    options.save(given, export(found, units))
    return "\n\n".join(_parts(found, units))


def export(found, units):
    """Return the replayed springs as they are written to a file: a row a season and plan."""
    from cropload.show.result_units import in_units

    rows = found.by_year()
    rows = rows.rename(columns={f"crop_{end}": f"t_ha_{end}" for end in ranges.ENDINGS})
    rows.insert(0, "block", found.years.block)
    return in_units(rows, units)


def _parts(found, units):
    from cropload.frost import words as frost_wording
    from cropload.frost.frost_cover import one_case
    from cropload.show.terminal import paragraph

    yield paragraph(
        f"{found.years.block}: {len(found.seasons)} springs, {found.seasons[0]} to "
        f"{found.seasons[-1]}, on the same draws. Each figure is the middle, with its "
        f"{ranges.label()}, in brackets."
    )
    for case in dict.fromkeys(found.cases):
        one = one_case(found, case)
        title = f"wood {frost_wording.CASE_WORDS[case]}"
        told = f"A frost year loses more than {frost_wording.percent(one.heavy_loss)} of the crop."
        yield f"OVER THE YEARS, {title}\n{told}\n{_years_table(one, units)}"
        yield f"SPRINGS THAT HURT, {title}\n{_springs_table(one, units)}"
    told = frost_wording.shelter_sentences(found) + frost_wording.break_even_sentences(found)
    if told:
        yield "WHAT IT IS WORTH\n" + "\n".join(paragraph(line, "- ") for line in told)
    yield "NOTES\n" + "\n".join(paragraph(note, "- ") for note in found.notes)
    known = "\n".join(
        paragraph(f"{heading} {words}", "- ") for heading, words, _ in frost_wording.evidence()
    )
    yield f"WHAT IS KNOWN, AND WHAT IS NOT\n{known}"
    care = "\n".join(paragraph(f"{head}: {text}", "- ") for head, text in frost_wording.CAUTIONS)
    yield f"TAKE CARE AT FROST PROTECTION\n{care}"
    yield paragraph(frost_wording.SUPPORT)


def _years_table(one, units):
    from cropload.show.terminal import Column, range_texts, text_table, words
    from cropload.show.wording import significant as figure

    table = one.table()
    factor, label = units.show("t_ha")[1], units.label("t_ha")

    def ranged(name):
        ends = [table[f"{name}_{end}"] * factor for end in ranges.ENDINGS]
        return range_texts(zip(*ends, strict=True))

    return text_table(
        [
            words("plan"),
            Column("without frost", label),
            Column("mean of years", label),
            Column(table.attrs["worst"], label),
            Column("frost years", f"of {table['years'].iloc[0]}"),
            Column("chance of one in a year", "%"),
        ],
        zip(
            table["plan"],
            ranged("frost_free"),
            ranged("mean_crop"),
            ranged("worst_crop"),
            [figure(value, 1) for value in table["frost_years"]],
            [
                f"{100 * low:.0f} to {100 * high:.0f}"
                for low, high in zip(table["chance_low"], table["chance_high"], strict=True)
            ],
            strict=True,
        ),
    )


def _springs_table(one, units):
    from cropload.frost.words import night_words, springs_that_hurt
    from cropload.show.terminal import Column, text_table, words

    lines = []
    for season, plans in springs_that_hurt(one):
        hit = plans.loc[plans["nights"].idxmax()]
        low = units.convert("temperature_c", hit["block_c"])
        lines.append(
            [
                str(season),
                f"{hit['budburst']:%m-%d}",
                str(hit["nights"]),
                f"{hit['worst_night']:%m-%d}",
                f"{low:.1f}",
                night_words(hit["stage_first"], hit["stage_last"]),
                *(f"{100 * share:.0f}" for share in plans["crop_left_p50"]),
            ]
        )
    if not lines:
        return "No spring of this record would have cost these plans any crop."
    # The letter of a table's degree sign is not in every terminal's alphabet.
    unit = units.label("temperature_c").replace("°", "")
    return text_table(
        [
            words("year"),
            Column("budburst"),
            Column("nights"),
            Column("worst"),
            Column("low", unit),
            Column("stage", "E-L"),
            *(Column(plan, "% left") for plan in one.plans),
        ],
        lines,
    )


COMMANDS = (
    Command(
        name="frost",
        group="Winter pruning",
        summary="see what past springs would have left of each plan, and what that is worth",
        details="Replays every spring of the weather record for each plan: the nights that hurt, "
        "the stage then, the crop left, the crop over the years in t/ha (ton/ac with --units us), "
        "and from which frost chance on longer wood or a late final cut pays.",
        example="""
            cropload frost my_season --block "Mill Meadow" --plans 2x10+2x2,2x14+2x2
            cropload frost --example --block "Mill Meadow" --plans 2x10+2x2 --case both
        """,
        arguments=_arguments,
        run=_run,
    ),
)
