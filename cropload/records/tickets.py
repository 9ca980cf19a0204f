"""Weighbridge tickets that two or more blocks share: their tonnes were split on paper."""


def together(rows):
    """Return groups of blocks whose fruit shares a weighing, as {block: frozenset of blocks}."""
    group = {block: frozenset([block]) for block in rows["block"]}
    tickets = rows[rows["ticket"].fillna("").astype(str).str.strip() != ""]
    # Few tickets are shared, and a large estate has thousands.
    tickets = tickets[tickets.duplicated(["ticket", "date"], keep=False)]
    for _, lot in tickets.groupby(["ticket", "date"], dropna=False):
        joint = frozenset().union(*(group[block] for block in lot["block"]))
        for block in joint:
            group[block] = joint
    return group


def weighed_together(records):
    """Return the (block, season) pairs whose tonnes were weighed with those of another block."""
    found = set()
    for season, rows in records.harvest.groupby("season"):
        group = together(rows.assign(block=rows["block"].astype(str)))
        found |= {(block, int(season)) for block, lot in group.items() if len(lot) > 1}
    return found
