"""Earlier names of blocks: rows written under them are read as rows of the blocks of today."""

import re
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from cropload.clock import FIRST_YEAR, LAST_YEAR, season_ranges
from cropload.errors import near
from cropload.records.corrections import split_key
from cropload.records.facts import area_ha
from cropload.records.later_rows import holding
from cropload.records.reading.check import key_clashes
from cropload.records.reading.faults import Fault
from cropload.records.tables import TABLES

#: Rows that a second successor reads too are numbered this far above those of the file [1].
COPY = 10**8

_BEFORE = re.compile(r"(.+?)\s*\(\s*([^()]*?)(?:\s*\bto\s+(\d{4}))?\s*\)")
#: What belongs to the variety: whole tables, and columns of counts.
_OF_THE_VARIETY = ("fertility", "weights", "harvest", "events", "dates", "estimates", "strips")
_COUNTED = ("shoots", "noncount_shoots", "clusters", "shoots_dead", "shoots_alive")
#: Columns of counts that tell of the vines whatever they bear.
_OF_THE_VINES = ("buds", "suitable_canes", "pruning_weight_kg", "leaf_area_m2", "missing")
#: Amounts of a block as a whole, which its successors share.
_SHARED = {"harvest": "tonnes", "prices": "cap_t"}
#: Tables that tell what one block is to be, not what it was.
_OF_ONE_BLOCK = ("parts", "prices", "scenarios")
#: Tables of a part of a block, or of its whole: nothing of them holds for its successors.
_OF_THAT_BLOCK = ("estimates", "strips")
#: Columns of which no two blocks that were one after the other share a value in a table.
_AT_ONCE = {
    "pruning": ["season"],
    "harvest": ["season"],
    "dates": ["season", "stage"],
    "counts": ["season", "date"],
    "weights": ["season", "date"],
}


@dataclass(frozen=True)
class Former:
    """An earlier name of a block, with the variety it bore, and through which season."""

    name: str
    block: str
    row: int
    variety: str = ""
    through: int = LAST_YEAR


@dataclass(frozen=True)
class PresentNames:
    """What came of reading tables under the names of today.

    faults, warnings : list of Fault; notes : what moves figures, in sentences;
    last_harvest : last season whose tonnes are not taken over, 0 for none.
    """

    faults: list
    warnings: list
    notes: tuple = ()
    last_harvest: int = 0


def under_present_names(parsed):
    """Have the rows of earlier names read as rows of the blocks that stand there now.

    Parameters
    ----------
    parsed : dict
        Table name -> ParsedTable; their frames are replaced.

    Returns
    -------
    PresentNames

    Notes
    -----
    Renamed: every row is the block's. Split: what is of a vine, a lot or a day serves each
    successor; tonnes and caps are shared by planted area, and count as weighed together. Joined,
    where two names are on record at once: counts and lots pool, weights of prunings and days are
    averaged, tonnes add up in seasons in which every part has tonnes, the same share picked and
    lost, and no event; plans are taken over where they agree. Of another variety, plans, buds and
    prunings are taken over, and what the variety bears is not.
    """
    blocks = parsed.get("blocks")
    if blocks is None or not blocks.complete or not (blocks.frame["formerly"] != "").any():
        return PresentNames([], [])
    reading = _Reading(parsed)
    reading.read()
    return PresentNames(
        reading.faults, reading.warnings, tuple(reading.notes), reading.last_harvest
    )


def listed(names):
    """Return names with commas and an ``and``."""
    names = list(names)
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


class _Reading:
    """One reading of all tables under the names of today."""

    def __init__(self, parsed):
        self.parsed, self.blocks = parsed, parsed["blocks"]
        self.tables = {
            name: table
            for name, table in parsed.items()
            if name != "blocks" and "block" in TABLES[name].names and table.complete
        }
        frame = self.blocks.frame
        self.area = dict(zip(frame["block"], area_ha(frame), strict=True))
        self.variety = dict(zip(frame["block"], frame["variety"], strict=True))
        events = self.tables.get("events")
        self.events = pd.DataFrame({"block": [], "date": pd.to_datetime([])})
        self.events = self.events if events is None else events.frame
        self.faults, self.warnings, self.notes, self.last_harvest = [], [], [], 0

    def _fault(self, row, entry, rule, how, doubt=False):
        found = Fault(self.blocks.file, row, self.blocks.written("formerly"), entry, rule, how)
        (self.warnings if doubt else self.faults).append(found)

    def read(self):
        """Read the cells of ``formerly``, and then every table."""
        self.borne = {name for table in self.tables.values() for name in table.frame["block"]}
        cells = self.blocks.frame[["block", "formerly"]].itertuples()
        found = [f for row, block, cell in cells if cell for f in self._formers(row, block, cell)]
        self.heirs, self.before = {}, {}
        for former in found:
            self.heirs.setdefault(former.name, []).append(former)
            if former.name != former.block:
                self.before.setdefault(former.block, []).append(former.name)
        self.joined = {b: names for b, names in self.before.items() if self._at_once(names)}
        for block, names in self.joined.items():
            for name in names:
                if len(self.heirs[name]) > 1:
                    others = listed(f.block for f in self.heirs[name] if f.block != block)
                    self._fault(
                        self.heirs[name][0].row,
                        name,
                        f"is a part of {block}, which was joined, and of {others}",
                        "How much of its crop was whose is not on record: name it for one block.",
                    )
        if self.faults:
            return
        self._tell(found)
        for name, table in self.tables.items():
            table.frame = self._of_today(name, table, found)

    def _formers(self, row, block, cell):
        """Yield the earlier names in a cell; what is wrong with them becomes faults."""
        seen = set()
        for entry in filter(None, split_key(cell)):
            told = None if entry in self.borne else _BEFORE.fullmatch(entry)
            name, variety, year = told.groups() if told else (entry, "", None)
            through = int(year) if year else LAST_YEAR
            if name in seen:
                self._fault(row, entry, "the name stands there twice", "Keep one of the two.")
            elif told and not (variety and FIRST_YEAR <= through <= LAST_YEAR):
                how = "Write the variety, and its last season if it went on: Merlot to 2021."
                self._fault(row, entry, "the brackets hold no variety", how)
            elif name == block and not year:
                self._fault(
                    row,
                    entry,
                    "is the block's own name",
                    "Leave it out. For vines regrafted under the same name, write the variety "
                    f"before and its last season: {block} (Merlot to 2021).",
                )
            elif name != block and name in self.variety:
                self._fault(
                    row,
                    entry,
                    "is a block of table blocks itself, and so no earlier name of another",
                    f"Take it out here; or, if it is {block} now, take its row out of table "
                    "blocks.",
                )
            else:
                if name not in self.borne:
                    strangers = self.borne - set(self.variety)
                    how = near(name, strangers) or "Check the spelling, also of capitals."
                    self._fault(row, entry, "no row of any table bears this name", how, True)
                same = variety.casefold() == self.variety[block].casefold()
                yield Former(name, block, row, "" if same else variety, through)
            seen.add(name)

    def _at_once(self, names):
        """Whether several earlier names are on record at once, so that their blocks were joined."""
        for name, columns in _AT_ONCE.items() if len(names) > 1 else ():
            if name in self.tables:
                frame = self.tables[name].frame
                frame = frame[frame["block"].isin(names)][["block", *columns]].drop_duplicates()
                if frame.dropna().duplicated(columns).any():
                    return True
        return False

    def _tell(self, found):
        for name, heirs in self.heirs.items():
            if len(heirs) > 1:
                shares = ", ".join(f"{f.block} {100 * self._share(f):.0f} %" for f in heirs)
                self.notes.append(
                    f"{name} was split: its counts, weights, dates and prunings serve each "
                    f"successor, its tonnes are shared by planted area ({shares})."
                )
        for former in found:
            if former.variety:
                until = f" to {former.through}" if former.through < LAST_YEAR else ""
                name = f" as {former.name}" if former.name != former.block else ""
                self.notes.append(
                    f"{former.block} bore {former.variety}{until}{name}: plans, buds and prunings "
                    "of then are taken over; shoots, clusters, weights, dates, losses and tonnes "
                    "are not."
                )
        for block, names in self.joined.items():
            self.notes.append(
                f"{block} was joined from {listed(names)}: counts pool, tonnes add up, and plans "
                "are taken over where they agree."
            )

    def _share(self, former):
        """Return the share of an earlier block that a successor has by planted area [1]."""
        total = sum(self.area[each.block] for each in self.heirs[former.name])
        return self.area[former.block] / total

    def _of_today(self, name, table, found):
        """Return the rows of a table under the names of today."""
        frame, spec = table.frame, TABLES[name]
        kept = frame[~frame["block"].isin(list(self.heirs))]
        parts, copies = [kept], {}
        for former in found:
            rows = frame[frame["block"] == former.name]
            if rows.empty:
                continue
            heirs = self.heirs[former.name]
            joined = former.block in self.joined
            if name in _OF_THAT_BLOCK and (joined or len(heirs) > 1):
                continue
            if name in _OF_ONE_BLOCK and (joined or (name == "parts" and len(heirs) > 1)):
                self._refuse(name, rows, former)
                continue
            rows = self._of_the_vines(name, rows, former)
            rows = rows.assign(block=former.block, was=former.name)
            if name in _SHARED and len(heirs) > 1:
                rows[_SHARED[name]] *= self._share(former)
                if name == "harvest":
                    rows["ticket"] = rows["ticket"].mask(rows["ticket"] == "", f"of {former.name}")
            rows.index = rows.index + COPY * copies.get(former.name, 0)
            copies[former.name] = copies.get(former.name, 0) + 1
            parts.append(rows)
        parts = [part for part in parts if len(part)]
        if not parts or (len(parts) == 1 and parts[0] is kept):
            return frame if len(kept) == len(frame) else kept
        # Rows keep their order in the file, which tells days apart where no date does.
        whole = pd.concat(parts)
        whole = whole.assign(was=whole["was"].fillna("")).sort_index(kind="stable")
        for block in self.joined:
            whole = self._pooled(name, whole, block)
        self._tell_clashes(table, whole)
        return whole[spec.names].astype(frame[spec.names].dtypes.to_dict())

    def _refuse(self, name, rows, former):
        """Tell rows that were written for one block and are for no other; old scenarios rest."""
        table = self.tables[name]
        rule = f"was written for {former.name} and cannot be read for {former.block}"
        how = f"Write it for {former.block}, and take this row out."
        for row in rows.index.tolist():
            found = Fault(table.file, row, table.written("block"), former.name, rule, how)
            (self.warnings if name == "scenarios" else self.faults).append(found)

    def _of_the_vines(self, name, rows, former):
        """Return rows without what belongs to a variety that is there no more."""
        if not former.variety:
            return rows
        year = rows["season"] if "season" in rows else rows["date"].dt.year if "date" in rows else 0
        then = pd.Series(year, rows.index) <= former.through
        if name in _OF_THE_VARIETY:
            if name == "harvest" and then.any():
                self.last_harvest = max(self.last_harvest, int(rows["season"][then].max()))
            return rows[~then]
        if name == "counts":
            rows = rows.assign(**{column: rows[column].mask(then) for column in _COUNTED})
            return rows[~then | rows[list(_OF_THE_VINES)].notna().any(axis=1)]
        return rows

    def _pooled(self, name, whole, block):
        """Return rows with those of the parts of a joined block made rows of the whole."""
        mine = (whole["block"] == block) & (whole["was"] != "")
        rows, rest = whole[mine], whole[~mine]
        if name == "counts":
            # Vines of two parts may have the same row and place.
            rows = rows.assign(row=rows["row"] + " of " + rows["was"])
        elif name == "pruning" and len(rows):
            rows = self._one_pruning(rows, block)
        elif name == "dates" and len(rows):
            days = rows.groupby(["season", "stage"])["date"]
            middle = days.transform("mean").dt.normalize()
            first = days.transform("min")
            rows = rows.assign(date=middle.mask(rows["stage"] == "harvest", first))
            rows = rows[~rows.duplicated(["season", "stage"])]
        elif name == "harvest" and len(rows):
            rows = self._whole_crops(rows, block)
        elif name == "events":
            rows = rows.iloc[:0]
        return pd.concat([rest, rows]).sort_index(kind="stable") if len(rows) else rest

    def _one_pruning(self, rows, block):
        """Return one row a season: the plan where all agree, the mean of prunings by vines."""
        spec, found, apart = TABLES["pruning"], [], []
        for season, lot in rows.groupby("season", sort=False):
            parts = pd.concat(
                [holding(spec, of.drop(columns="was")) for _, of in lot.groupby("was")]
            )
            one = lot.iloc[-1:].copy()
            agree = len(set(parts["plan"])) == 1 and len(parts) == len(self.before[block])
            one["plan"] = parts["plan"].iloc[0] if agree else ""
            if not agree and (parts["plan"] != "").any():
                apart.append(season)
            weighed = parts[parts["pruning_weight_kg"].notna()]
            vines = weighed["vines_weighed"]
            one["pruning_weight_kg"] = np.nan
            if len(weighed):
                by = vines if vines.notna().all() else None
                one["pruning_weight_kg"] = np.average(weighed["pruning_weight_kg"], weights=by)
            one["vines_weighed"] = vines.sum(min_count=max(len(vines), 1))
            found.append(one)
        if apart:
            self.notes.append(
                f"The plans of {season_ranges(apart)} do not agree in all parts of {block}: they "
                "are left out, and the load of then is taken as not known."
            )
        return pd.concat(found)

    def _whole_crops(self, rows, block):
        """Return the rows of seasons whose tonnes, added up, are the crop of the whole block."""
        names = self.before[block]
        days = self.events["date"][self.events["block"].isin(names)]
        # South of the equator a season begins in the spring of the year before.
        struck = set(days.dt.year + (days.dt.month >= 9)) | set(days.dt.year)
        left = []
        for season, lot in rows.groupby("season"):
            shares = lot.assign(
                picked_pct=lot["picked_pct"].fillna(100.0), lost_pct=lot["lost_pct"].fillna(0.0)
            )
            shares = shares.groupby("was")[["picked_pct", "lost_pct"]].max()
            alike = len(shares.drop_duplicates()) == 1 and len(shares) == len(names)
            if season in struck or not alike:
                left.append(season)
        if left:
            self.notes.append(
                f"The tonnes of {season_ranges(left)} do not speak of all of {block} alike (a part "
                "without tonnes, with an event, or picked or lost in another share): they are left "
                "out."
            )
        rows = rows[~rows["season"].isin(left)]
        # Two parts picked on one day are two weighings.
        return rows.assign(ticket=rows["ticket"].mask(rows["ticket"] == "", "of " + rows["was"]))

    def _tell_clashes(self, table, whole):
        """Report rows that say under two names what a block may say once."""
        spec = table.table
        if not spec.key:
            return
        told = key_clashes(spec, table.frame)
        told = set(told.index[told])
        clash = key_clashes(spec, whole)
        for row in clash.index[clash].tolist():
            if row % COPY not in told:
                rule = (
                    f"{whole['block'][row]} has another row of the same {' + '.join(spec.key)} "
                    "under another of its names"
                )
                how, cell = "Keep one of the rows.", table.text(row, "block")
                self.faults.append(
                    Fault(table.file, row % COPY, table.written("block"), cell, rule, how)
                )


def placed(faults):
    """Return faults with the rows of the file; what is told of two copies of one is told once."""
    if not any(fault.row is not None and fault.row >= COPY for fault in faults):
        return list(faults)
    rows = [f if f.row is None else replace(f, row=f.row % COPY) for f in faults]
    return list(dict.fromkeys(rows))
