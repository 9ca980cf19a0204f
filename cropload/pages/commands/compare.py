"""The command ``compare``: what each pruning plan would give in a block, or in every block."""

from cropload.errors import CroploadError
from cropload.frost.commands.frost import WEATHER, weather_of
from cropload.show import options
from cropload.show.command import Command
from cropload.show.options import either, option

_ARGUMENTS = (
    options.RECORDS,
    either(
        options.block(required=False),
        option(
            "--all-blocks",
            help="one row a block: what its usual plan, or each of --plans, would give",
        ),
        required=True,
    ),
    option(
        "--plans",
        "PLANS",
        "plans, with commas between: canes x buds, then + spurs x buds, like "
        "3x6+3x2,3x8+3x2 (24x2 is spurs alone); with --block, last is the plan carried last",
    ),
    options.SEASON,
    options.UNITS,
    options.BANDS,
    options.REFERENCE_PLAN,
    options.DRAWS,
    option("--sources", help="list where each component came from"),
    option(
        "--frost", help="add what past springs would have left of each plan, from table weather"
    ),
    option(
        "--case",
        help="with --frost: how the wood stands while the first buds push",
        default="laid_down",
        choices=("laid_down", "upright_until_final_cut"),
    ),
    WEATHER,
    options.CSV,
)


def _run(given):
    asked = weather_of(given)
    if not given.frost and any(value is not None for value in asked.values()):
        raise CroploadError("Station, offset, logger and budburst belong to --frost: add it.")
    if given.all_blocks:
        return _all_blocks(given)
    from cropload.beliefs.meant import check_block, load_first
    from cropload.pruning import words
    from cropload.pruning.compare import compare_plans
    from cropload.records.facts import block_facts
    from cropload.show.terminal import paragraph, points

    units, records = options.units_of(given), options.records_of(given)
    block = check_block(records, given.block)
    facts = block_facts(records)
    kind = facts.kind(facts.place(block))
    if given.plans is None:
        like = _suggested(records, block, given) if kind["training"] else "3x6+3x2,3x8+3x2"
        raise CroploadError(f"Which plans? Name them, like --plans {like}.")
    found = compare_plans(
        records,
        given.block,
        given.plans,
        given.season,
        draws=given.draws,
        seed=given.seed,
        density_band=options.density_band_of(given.density_band, kind, units),
        ravaz_band=given.ravaz_band,
        reference_plan=given.reference_plan,
    )
    if given.frost:
        from cropload.frost.cover import with_frost

        found = with_frost(
            found,
            records,
            found.block,
            case=given.case,
            reference_plan=given.reference_plan,
            **asked,
        )
    options.save(given, words.export(found, units))
    load, notes = load_first(found.notes)
    like = "2x10+2x2"
    if load and kind["training"]:
        like = _suggested(records, block, given).split(",")[0]
    parts = [
        *(paragraph(f"{note} --reference-plan {like} tells it.") for note in load),
        paragraph(found.heading(units)),
        *(
            part
            for table in found.tables(units)
            for part in (table.text(units), paragraph(words.table_note(found, table)))
        ),
        points(notes),
        points(["`cropload frost` tells more of past springs."] if given.frost else []),
        origins_text(found.components, units, given.sources),
        paragraph(options.CAUTION),
    ]
    return parts


def _suggested(records, block, given):
    """Return the plans that a block would open with, as the option is written."""
    from cropload.pruning.compare import estate_for, levels_of

    estate = estate_for(records, block, given.season, given.reference_plan)
    return ",".join(map(str, levels_of(estate, block)[0]))


def _all_blocks(given):
    """Return the comparison of every block as text."""
    if given.frost or given.sources or given.reference_plan:
        raise CroploadError(
            "--frost, --sources and --reference-plan belong to one block: name it with --block."
        )
    from cropload.beliefs.meant import load_first
    from cropload.pruning import words
    from cropload.pruning.compare_blocks import compare_blocks
    from cropload.show.terminal import paragraph, points

    units, records = options.units_of(given), options.records_of(given)
    found = compare_blocks(
        records,
        given.plans,
        given.season,
        draws=given.draws,
        seed=given.seed,
        density_band=options.density_band_of(given.density_band, {}, units),
        ravaz_band=given.ravaz_band,
    )
    options.save(given, words.export(found, units))
    load, notes = load_first(found.notes)
    parts = [
        *map(paragraph, load),
        paragraph(found.heading(units)),
        found.table(units).text(units),
        points(notes),
        paragraph(options.CAUTION),
    ]
    return parts


def origins_text(components, units, in_full):
    """Return where the components came from: a sentence, or with ``in_full`` one entry each."""
    from cropload.pruning.words import component_text
    from cropload.show.terminal import paragraph

    if not in_full:
        counted = {}
        for part in components:
            counted[part["came_from"]] = counted.get(part["came_from"], 0) + 1
        told = ", ".join(f"{number} from {origin}" for origin, number in counted.items())
        return paragraph(f"Of {len(components)} components, {told}; --sources lists them.")
    lines = ["COMPONENTS, middle and spread (one standard deviation on the log scale)"]
    for part in components:
        lines.append(paragraph(component_text(part, units), "  "))
        lines.append(paragraph(f"{part['came_from']}: {part['detail']}", "    from "))
        if part["key"] not in part["detail"]:
            lines.append(paragraph(part["key"], "    drawn towards "))
    lines.append(paragraph("`cropload source KEY` tells more of a handbook entry."))
    return "\n".join(lines)


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
            cropload compare my_season --all-blocks
        """,
        arguments=_ARGUMENTS,
        run=_run,
    ),
)
