"""The command ``check``: what a set of records holds, lacks, and what a forecast falls back on."""

from cropload.show import options
from cropload.show.command import Command
from cropload.show.options import option

#: Blocks whose fallbacks are listed unless all are asked for.
SHOWN = 30


_ARGUMENTS = (
    options.RECORDS,
    options.SEASON,
    option("--all", help=f"list the fallbacks of every block, not only {SHOWN}"),
)


def _run(given):
    from cropload.beliefs.history import estate_before_season
    from cropload.beliefs.not_learned_from import not_learned_from
    from cropload.frost.harvest_doubts import doubts_of_records
    from cropload.pruning.compare import load_notes
    from cropload.records.summary import alike_lines, answered_lines, summarise
    from cropload.show.terminal import paragraph, screen_width

    records = options.records_of(given, doubts=False)
    season = given.season
    estate = estate_before_season(records, season)
    blocks = list(estate.facts.names)
    shown = blocks if given.all else blocks[:SHOWN]
    # The buds of the season itself tell its forecast what is left.
    counted = records.counts["buds"].notna() & (records.counts["season"] == season)
    told = set(records.counts.loc[counted, "block"].astype(str))
    open_loads = [block for block in blocks if block not in told]
    told = [
        f"{line} `compare` takes it as --reference-plan." for line in load_notes(estate, open_loads)
    ]
    parts = [
        *(part for line in told for part in (paragraph(line), "")),
        summarise(records, screen_width()),
        "",
        f"WHAT A FORECAST OF HARVEST {season} STARTS FROM",
        *alike_lines(_fallbacks(estate, shown), screen_width()),
        "",
        paragraph(
            "own 3: this block's own records, from 3 seasons. variety: other blocks of its "
            "variety here. handbook: a published or assumed figure, see `cropload source prior`. "
            "A count this season narrows any of them. yield: tonnes of the whole block on the "
            "scale; what the components come to is held to them."
        ),
    ]
    if len(shown) < len(blocks):
        rest = len(blocks) - len(shown)
        parts.append(paragraph(f"And {rest:,} more blocks; --all lists them."))
    young = estate.young.notes(estate.facts.names)
    sentences = (*young, *_yield_alone(estate), *_unknown(records), *_old_periods(records, season))
    for sentence in sentences:
        parts += ["", paragraph(sentence)]
    renamed = records.blocks[records.blocks["formerly"] != ""]
    if len(renamed):
        told = [f"{row.block}, formerly {row.formerly}" for row in renamed.itertuples()]
        parts += ["", "READ UNDER THE NAMES OF TODAY", *map(paragraph, told)]
        parts += [paragraph(note, "- ") for note in records.name_notes]
    if records.corrected:
        mended = [paragraph(each.words()) for each in records.corrected]
        parts += ["", "WRITTEN WRONG, AND READ AS CORRECTED", *mended]
    if len(records.answered):
        parts += ["", "DOUBTS THAT WERE ANSWERED: IT IS RIGHT"]
        parts += [paragraph(line, "- ") for line in answered_lines(records)]
    doubts = doubts_of_records(records, shown)
    if doubts:
        parts += ["", "SPRINGS THAT THE HARVEST CONTRADICTS"]
        parts += [paragraph(doubt.words()) for doubt in doubts]
    lost = not_learned_from(records, estate.facts)
    if lost:
        parts += ["", "ON RECORD, AND NOT LEARNED FROM", *map(paragraph, lost)]
    return "\n".join(parts)


def _yield_alone(estate):
    """Say which blocks have tonnes on record, and nothing that tells how they came about."""
    stages = estate.measured.groupby("block")["stage"].agg(set)
    told = {"shoots", "clusters", "weight_lag", "weight_veraison", "weight_harvest"}
    alone = [block for block, seen in stages.items() if "harvest" in seen and not seen & told]
    if not alone:
        return []
    named = ", ".join(alone[:8]) + (", ..." if len(alone) > 8 else "")
    return [
        f"Of {named} only tonnes tell of the crop. Those do inform its yield: the variety's or "
        "the handbook's figures only say how the yield is made up of shoots, clusters and weight, "
        "and together they are held to those tonnes. Counts would tell the parts."
    ]


def _unknown(records):
    """Say which varieties have no entry in the handbook."""
    from cropload import handbook
    from cropload.records.known_varieties import MAIN, blank_cells, unknown_varieties

    sentences = []
    for name in dict.fromkeys(records.blocks["variety"]):
        if handbook.variety(name) and blank_cells(name) == list(MAIN):
            sentences.append(
                f"The handbook has neither clusters per shoot nor cluster weight of {name}: "
                "general values are used wherever these records tell nothing of it."
            )
    for name, near in unknown_varieties(records.blocks["variety"]).items():
        look = f"Did you mean '{near}'?" if near else "`cropload source variety` lists what it has."
        sentences.append(
            f"No entry for {name} in the handbook: general values are used wherever these records "
            f"tell nothing of it. {look}"
        )
    return sentences


def _old_periods(records, season):
    """Say that no period of intake is on record for the season, where there are earlier ones."""
    if records.capacity.empty:
        return []
    last = records.capacity["period_end"].max()
    if last.year >= season:
        return []
    return [
        f"The periods of intake on record end on {last:%Y-%m-%d}, before harvest {season}: "
        "`intake` finds no limit for it. Add the periods of that year to table capacity once they "
        "are known."
    ]


def _fallbacks(estate, blocks):
    """Return for each block where each component would come from, {block: {words: origin}}."""
    from cropload.beliefs.origins import (
        HANDBOOK,
        LEARNED,
        OWN,
        VARIETY,
        component_origins,
        seasons_seen,
    )

    told = {LEARNED: "learned", VARIETY: "variety", HANDBOOK: "handbook"}
    harvests = estate.measured[estate.measured["stage"] == "harvest"].groupby("block").size()
    found, seen = {}, seasons_seen(estate)
    for block in blocks:
        found[block] = {"yield": f"own {harvests[block]}"} if block in harvests else {}
        for part in component_origins(estate, block, seen):
            own = part["came_from"] == OWN
            told_of = f"own {part['detail'].split()[0]}" if own else told[part["came_from"]]
            found[block][_SHORT.get(part["component"], part["words"])] = told_of
    return found


_SHORT = {
    "buds_left": "buds left",
    "cluster_weight_g": "cluster weight",
    "recovery": "picking recovery",
    "noncount_shoots": "non-count shoots",
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
        arguments=_ARGUMENTS,
        run=_run,
    ),
)
