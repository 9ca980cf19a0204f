"""The command ``check``: what a set of records holds, lacks, and what a forecast falls back on."""

from cropload.views.commands import Command, options

#: Blocks whose fallbacks are listed unless all are asked for.
SHOWN = 30


def _arguments(parser):
    options.add_records(parser)
    parser.add_argument(
        "--season",
        metavar="YEAR",
        type=options.year,
        help="year of harvest to forecast; the next one by default",
    )
    parser.add_argument(
        "--all", action="store_true", help=f"list the fallbacks of every block, not only {SHOWN}"
    )


def _run(given):
    from cropload.forecasting.asked import next_season
    from cropload.forecasting.history import estate_before_season
    from cropload.records.summary import summarise
    from cropload.views.text_tables import paragraph, screen_width

    records = options.records_of(given)
    season = next_season(records) if given.season is None else given.season
    estate = estate_before_season(records, season)
    blocks = list(estate.facts.names)
    shown = blocks if given.all else blocks[:SHOWN]
    parts = [
        summarise(records, screen_width()),
        "",
        f"WHAT A FORECAST OF HARVEST {season} STARTS FROM",
        fallback_table(estate, shown),
        "",
        paragraph(
            "own 3: this block's own records, from 3 seasons. variety: other blocks of its "
            "variety here. handbook: a published or assumed figure, see `cropload source prior`. "
            "A count this season narrows any of them."
        ),
    ]
    if len(shown) < len(blocks):
        rest = len(blocks) - len(shown)
        parts.append(paragraph(f"And {rest:,} more blocks; --all lists them."))
    unknown = [
        name for name, known in zip(estate.facts.names, estate.load_known, strict=True) if not known
    ]
    if unknown:
        listed = ", ".join(unknown[:8]) + (", ..." if len(unknown) > 8 else "")
        parts += [
            "",
            paragraph(
                f"No plan and no bud count is on record for: {listed}. Give `compare` the plan "
                "they have carried as --reference-plan, or fill column plan of table pruning."
            ),
        ]
    return "\n".join(parts)


def fallback_table(estate, blocks):
    """Return a text table: for each block, where each component would come from."""
    from cropload.forecasting.origins import LEARNED, OWN, VARIETY, component_origins
    from cropload.views.text_tables import Column, text_table, words

    def code(part):
        if part["came_from"] == OWN:
            return f"own {part['detail'].split()[0]}"
        if part["came_from"] == LEARNED:
            return "learned"
        return "variety" if part["came_from"] == VARIETY else "handbook"

    rows, titles = [], []
    for block in blocks:
        origins = component_origins(estate, block)
        titles = [_SHORT.get(part["component"], part["words"]) for part in origins]
        rows.append([block, *(code(part) for part in origins)])
    return text_table([words("block"), *(Column(title) for title in titles)], rows)


_SHORT = {
    "buds_left": "buds left",
    "shoots_per_bud": "shoots per bud",
    "clusters_per_shoot": "clusters per shoot",
    "cluster_weight_g": "cluster weight",
    "recovery": "picking recovery",
    "noncount_shoots": "non- count shoots",
    "pruning_weight_kg_per_m": "pruning weight",
    "counting_bias": "counting bias",
    "increase_factor": "lag to harvest",
    "ripening_factor": "veraison to harvest",
}

COMMANDS = (
    Command(
        name="check",
        group="Start",
        summary="read records, say what they hold, lack, and fall back on",
        details="Reads a folder or workbook and lists every fault at once, with file, row, "
        "column, rule and mend. Without a fault it says what each table and block holds, what to "
        "look at again, and where a forecast would take each component from.",
        example="""
            cropload check my_season
            cropload check --example
        """,
        arguments=_arguments,
        run=_run,
    ),
)
