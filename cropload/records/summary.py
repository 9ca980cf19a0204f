"""What a set of records holds, and what is missing."""

import textwrap

import pandas as pd

from cropload.clock import season_ranges
from cropload.records.doubts.answers import Answers, rule_name
from cropload.records.reading.faults import WIDTH, fault_list, how_many
from cropload.records.tables import TABLES
from cropload.units import vines_per_hectare

#: Component -> the measurements that tell it: (table, column) each.
COMPONENTS = {
    "plan": (("pruning", "plan"),),
    "buds": (("counts", "buds"), ("pruning", "plan")),
    "shoots": (("counts", "shoots"),),
    "clusters": (("counts", "clusters"),),
    "lag weight": (("weights", "lag"),),
    "cluster weight": (("weights", "harvest"),),
    "harvest": (("harvest", "tonnes"),),
    "pruning weight": (("pruning", "pruning_weight_kg"), ("counts", "pruning_weight_kg")),
}


def coverage(records):
    """Return which component was measured in which block and season.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.

    Returns
    -------
    pandas.DataFrame
        One row for each block, season and component that was measured, with columns ``block``,
        ``variety``, ``season``, ``component``, ``rows`` (how many rows tell it [1]) and ``tables``
        (which tables they are in).  Components: ``plan``, ``buds``, ``shoots``, ``clusters``,
        ``lag weight``, ``cluster weight``, ``harvest``, ``pruning weight``.
    """
    parts = []
    for component, places in COMPONENTS.items():
        for table, column in places:
            frame = getattr(records, table)
            if table == "weights":
                told = frame["stage"] == column
            elif column == "plan":
                told = frame[column] != ""
            else:
                told = frame[column].notna()
            counted = frame[told].groupby(["block", "season"]).size().rename("rows").reset_index()
            parts.append(counted.assign(component=component, tables=table))
    found = pd.concat(parts, ignore_index=True)
    found = found.groupby(["block", "season", "component"], sort=False, as_index=False).agg(
        rows=("rows", "sum"), tables=("tables", lambda names: ", ".join(dict.fromkeys(names)))
    )
    blocks = records.blocks
    order = dict(zip(blocks["block"], range(len(blocks)), strict=True))
    rank = {component: place for place, component in enumerate(COMPONENTS)}
    found = found.assign(
        variety=found["block"].map(dict(zip(blocks["block"], blocks["variety"], strict=True))),
        place=found["block"].map(order),
        rank=found["component"].map(rank),
        rows=found["rows"].astype("int64"),
        season=found["season"].astype("int64"),
    ).sort_values(["place", "season", "rank"], ignore_index=True)
    return found[["block", "variety", "season", "component", "rows", "tables"]]


def table_summary(records):
    """Return what each table holds.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.

    Returns
    -------
    pandas.DataFrame
        One row a table: ``table``, ``given``, ``rows`` [1], ``blocks`` [1], ``seasons`` (text).
    """
    rows = []
    for name in TABLES:
        frame = getattr(records, name)
        blocks = frame["block"].nunique() if "block" in frame and name != "prices" else 0
        # A scenario may be for any season.
        seasons = season_ranges(frame["season"][frame["season"] > 0]) if "season" in frame else ""
        rows.append((name, name in records.given, len(frame), blocks, seasons))
    return pd.DataFrame(rows, columns=["table", "given", "rows", "blocks", "seasons"])


def summarise(records, width=WIDTH):
    """Return in words what records hold, what is missing, and what was measured in each block.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    width : int
        The longest line [1].

    Returns
    -------
    str
        Several lines: the tables, one entry a block, and the doubts met while reading.
    """
    tables = table_summary(records)
    lines = [f"Records in {records.path}", ""]
    for row in tables[tables["given"]].itertuples():
        text = f"{row.table:<10}{row.rows:>9,} row{'' if row.rows == 1 else 's'}"
        if row.blocks and row.table != "blocks":
            text += f", {row.blocks} block{'' if row.blocks == 1 else 's'}"
        if row.seasons:
            text += f", season{'s' if len(row.seasons) > 4 else ''} {row.seasons}"
        lines.append(text)
    missing = ", ".join(tables.loc[~tables["given"], "table"])
    if missing:
        lines += _wrapped(f"Not given: {missing}", width)
    lines.append("")
    found = coverage(records)
    seasons = found.groupby(["block", "component"])["season"].agg(season_ranges)
    heads, alike = {}, {}
    for block in records.blocks.itertuples():
        vines = f"{block.vines:,.0f} vine{'s' * (block.vines != 1)}"
        places = vines_per_hectare(block.row_spacing_m, block.vine_spacing_m)
        size = f"{vines}, {block.area_ha:.2f} ha, planted at {places:,.0f} vines/ha"
        heads[block.block] = f"{block.block} ({block.variety}; {size})"
        alike[block.block] = {part: seasons.get((block.block, part), _NEVER) for part in COMPONENTS}
    lines += alike_lines(alike, width, lambda names: [heads[name] for name in names])
    if records.warnings:
        number = how_many(records.warnings)
        lines += ["", f"{number:,} value{'' if number == 1 else 's'} to look at again:", ""]
        lines.append(fault_list(records.warnings, width, named=True))
        if any(fault.matter for fault in records.warnings):
            lines += ["", *_wrapped(_ANSWER, width)]
    return "\n".join(lines)


_ANSWER = (
    "Where the records are right, say so once: `cropload answered DOUBT BLOCK SEASON --why TEXT "
    "--into FOLDER`, where DOUBT is the name in brackets. It is not raised again while its rows "
    "stay as they are."
)


_NEVER = "never"


def alike_lines(parts, width, heads=lambda names: [", ".join(names)]):
    """Return what holds of each block, once for all the blocks of which the same holds.

    Parameters
    ----------
    parts : dict
        {block: {part: what holds of it}}.
    width : int
        The longest line [1].
    heads : callable, optional
        Names of blocks -> the lines above what holds of them; their names by default.

    Returns
    -------
    list of str
    """
    groups = {}
    for name, held in parts.items():
        groups.setdefault(tuple(held.items()), []).append(name)
    lines = []
    for held, names in groups.items():
        lines += [line for head in heads(names) for line in _wrapped(head, width)]
        for told in sorted(dict.fromkeys(what for _, what in held), key=lambda w: w == _NEVER):
            lines += _wrapped(f"  {told}: {', '.join(p for p, w in held if w == told)}", width)
    return lines


def answered_lines(records):
    """Return in words what was answered, and which answers hold for nothing any more.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.

    Returns
    -------
    list of str
        A line for each row of table ``answered``.
    """
    answers, held = Answers(records.answered), {}
    for fault in records.settled:
        for at in answers.holding(fault.matter):
            held.setdefault(at, []).append(fault)
    raised = {(f.matter.rule, f.matter.block) for f in records.warnings if f.matter}
    lines = []
    for at, row in enumerate(records.answered.itertuples()):
        rule = rule_name(row.rule)
        place = ", ".join(filter(None, (rule, row.block, str(row.season or ""))))
        day = "" if pd.isna(row.date) else f"{row.date:%Y-%m-%d}"
        by = ", ".join(filter(None, (row.who, day)))
        said = f"{place}: {row.why}" + (f" ({by})" if by else "")
        if at in held:
            first, rest = held[at][0], how_many(held[at]) - 1
            of = f"{first.file}, row {first.row}" + (f" and {rest:,} more" if rest else "")
            tied = "" if row.rows else "; whatever becomes of its rows"
            lines.append(f"{said}. {of}: {first.rule}{tied}.")
        elif any(rule == name and row.block in ("", block) for name, block in raised):
            lines.append(f"{said}. Its rows are others now, so the doubt is raised again.")
        else:
            lines.append(f"{said}. Nothing there is doubtful any more.")
    return lines


def _wrapped(text, width):
    indent = " " * (len(text) - len(text.lstrip()))
    return textwrap.wrap(
        text, width, initial_indent="", subsequent_indent=indent + "  ", break_on_hyphens=False
    )
