"""Doubts about limits of intake and contracts beside the crops they are for: kg for tonnes."""

from cropload.handbook import entry
from cropload.records.doubts.rules import made


def limits_beside_crops(usable):
    """Doubt limits and caps many times the largest crop on record that they could be for.

    Parameters
    ----------
    usable : dict
        Name -> ParsedTable, of the tables whose columns are all there; ``blocks`` is among them.

    Returns
    -------
    list of Fault
        Empty where no harvest is on record.
    """
    if "harvest" not in usable:
        return []
    blocks = usable["blocks"].frame
    picks = usable["harvest"].frame
    kinds = dict(zip(blocks["block"], blocks["variety"], strict=True))
    picks = picks.assign(variety=picks["block"].map(kinds))
    largest = {
        "": picks.groupby("season")["tonnes"].sum().max(),
        **_largest(picks, "variety"),
    }
    by_block = _largest(picks, "block")
    high, found = entry("plausible.limit_of_crop").high, []
    for name, column in (("capacity", "limit_t"), ("prices", "cap_t")):
        if name not in usable:
            continue
        table, frame = usable[name], usable[name].frame
        crop = frame["variety"].map(largest)
        if name == "prices":
            crop = frame["block"].map(by_block).fillna(crop)
        ratio = (frame[column] / crop.where(crop > 0)).astype(float)
        found += made(
            table,
            frame.index[ratio > high],
            column,
            lambda row, ratio=ratio: (
                f"is {ratio[row]:,.0f} times the largest crop on record that it could be for"
            ),
            "Is it in kilograms? Write tonnes: divide by 1,000. If it is what is taken from all "
            "growers together, write what is taken from these blocks.",
        )
    return found


def _largest(picks, column):
    """Return the largest season's crop of each block or variety."""
    return picks.groupby([column, "season"])["tonnes"].sum().groupby(level=0).max().to_dict()
