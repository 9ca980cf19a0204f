"""Join the rows of all found tables: one row for what is said once, whoever says it again."""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from cropload.records.importing.values import tidy_name
from cropload.records.tables import TABLES

#: Tables whose rows a file may repeat in the same words: two loads may weigh alike.
_SOURCE = ("_part", "_row", "_cells")


@dataclass
class Joined:
    """Rows of one table, each with where it comes from.

    Attributes
    ----------
    frame : pandas.DataFrame
        Columns of the table, and ``_source``: one text for each place that a row comes from.
    repeats : int
        Rows that said again what another part says.
    """

    frame: pd.DataFrame
    repeats: int = 0


@dataclass
class Joiner:
    """Joins frames of parts table by table.

    Attributes
    ----------
    parts : dict
        id of a part -> Part.
    questions : Questions
    left_out : list of (str, str, str)
        Place, text, and why.
    """

    parts: dict
    questions: object
    left_out: list
    notes: list = field(default_factory=list)

    def join(self, frames):
        """Return name of a table -> :class:`Joined`.

        Parameters
        ----------
        frames : dict
            Name of a table -> list of frames in the order of the parts.
        """
        found = {}
        blocks = frames.get("blocks")
        if blocks:
            found["blocks"] = self._blocks(blocks)
        for table, each in frames.items():
            if table != "blocks":
                found[table] = self._table(table, each, found.get("blocks"))
        return {name: joined for name, joined in found.items() if len(joined.frame)}

    def _blocks(self, frames):
        """Return one row a block: a table that defines blocks comes before others' remarks."""
        whole = pd.concat([_sourced(frame, self.parts) for frame in frames], ignore_index=True)
        names = [name for name in TABLES["blocks"].names if name in whole]
        rows = []
        for block, lot in whole.groupby("block", sort=False):
            row = {"block": block}
            lot = self._listed_once(block, lot)
            for name in names[1:]:
                told = lot[lot[name].notna()]
                if told.empty:
                    continue
                row[name] = told[name].iloc[0]
                for value, source in zip(
                    told[name].iloc[1:], told["_source"].iloc[1:], strict=True
                ):
                    if _apart(value, row[name]):
                        why = f"{block} has {_told(row[name])} elsewhere"
                        self.left_out.append((source, f"{name} {_told(value)}", why))
            row["_source"] = "; ".join(dict.fromkeys(lot["_source"]))
            rows.append(row)
        frame = pd.DataFrame(rows)
        if "missing_pct" in frame:
            frame["missing_pct"] = [
                100 * float(value[0]) / float(vines) if isinstance(value, tuple) else value
                for value, vines in zip(
                    frame["missing_pct"], frame.get("vines", [np.nan] * len(frame)), strict=True
                )
            ]
        return Joined(frame)

    def _listed_once(self, block, lot):
        """Return the rows of a block; which of two rows of one list is read is asked."""
        names = [name for name in TABLES["blocks"].names[1:] if name in lot]
        for part, mine in lot.groupby("_part", sort=False):
            clash = [n for n in names if len({_told(v) for v in mine[n] if not _none(v)}) > 1]
            if not clash:
                continue
            rows = {
                f"row {row['_row'] + 1}": ", ".join(f"{n} {_told(row[n])}" for n in clash)
                for row in mine.to_dict("records")
            }
            answer = self.questions.ask(
                f"block {block} listed twice",
                f"{block} stands several times in one list. Which row is read?",
                f"{self.parts[part].region.shown}; give the other a name of its own",
                rows,
            )
            others = (lot["_part"] == part) & (lot["_row"] != int(answer.split()[1]) - 1)
            for source in lot.loc[others, "_source"]:
                self.left_out.append((source, block, "another row of the list is read"))
            lot = lot[~others]
        return lot

    def _table(self, table, frames, blocks):
        spec = TABLES[table]
        if table == "harvest":
            frames = [self._tonnes(frame, blocks) for frame in frames]
        frames = [_sourced(frame, self.parts) for frame in frames]
        whole = pd.concat(frames, ignore_index=True)
        names = [name for name in spec.names if name in whole]
        key = [name for name in (spec.key or spec.named_by) if name in whole]
        if table == "harvest":
            whole = _numbered_loads(whole, key)
        form = whole[key].astype(object).where(whole[key].notna(), None)
        group = form.apply(tuple, axis=1) if len(whole) < 2000 else pd.MultiIndex.from_frame(form)
        codes = pd.factorize(group)[0]
        twice = pd.Series(codes).duplicated(keep=False).to_numpy()
        if not twice.any() or not spec.key:
            again = whole.duplicated(names, keep="first").to_numpy() & _of_others(whole, codes)
            return Joined(whole[~again][[*names, "_source"]], int(again.sum()))
        kept, repeats = [whole[~twice]], 0
        for _, lot in whole[twice].groupby(codes[twice], sort=False):
            rows, again = self._one(spec, names, key, lot)
            kept.append(rows)
            repeats += again
        frame = pd.concat(kept).sort_index()
        return Joined(frame[[*names, "_source"]], repeats)

    def _one(self, spec, names, key, lot):
        """Return the rows of one key as one row, unless one part says them several times."""
        if lot["_part"].duplicated().any() and len(set(lot["_part"])) == 1:
            return lot, 0
        first, again = lot.iloc[[0]].copy(), 0
        for place in range(1, len(lot)):
            other, clash = lot.iloc[place], None
            for name in names:
                old, new = first[name].iloc[0], other[name]
                if pd.isna(new) if not isinstance(new, tuple) else False:
                    continue
                if pd.isna(old):
                    first[name] = first[name].astype(object)
                    first.iloc[0, first.columns.get_loc(name)] = new
                elif _apart(old, new) and clash is None:
                    clash = (name, old, new)
            again += 1
            if clash:
                first = self._which(spec, first, other, clash)
        return first, again

    def _which(self, spec, first, other, clash):
        """Return the row that holds where two parts contradict each other."""
        name, old, new = clash
        one = self.parts[first["_part"].iloc[0]].region.shown
        two = self.parts[other["_part"]].region.shown
        of = ", ".join(_told(first[k].iloc[0]) for k in (spec.key or ()) if k in first)
        answer = self.questions.ask(
            f"which holds: {one} or {two}",
            f"Two tables differ, as on {name} of {of}: {_told(old)} or {_told(new)}. Which holds?",
            f"{first['_source'].iloc[0]}; {other['_source']}",
            {one: f"{_told(old)}", two: f"{_told(new)}"},
        )
        held, out = (first, other) if answer == one else (other.to_frame().T, first.iloc[0])
        self.left_out.append((str(out["_source"]), f"{name} {_told(out[name])}", "another holds"))
        return held

    def _tonnes(self, frame, blocks):
        """Return a frame of crops with those for a hectare or a vine made tonnes of the block."""
        per = [isinstance(value, tuple) for value in frame["tonnes"]]
        if not any(per):
            return frame
        area, vines, missing = _sizes(blocks)
        part = self.parts[frame["_part"].iloc[0]]
        bearing = self._bearing(part, frame, missing)
        tonnes = []
        for block, value in zip(frame["block"], frame["tonnes"], strict=True):
            if not isinstance(value, tuple):
                tonnes.append(value)
            elif value[1] == "mass/area":
                tonnes.append(_times(value[0], area.get(block)))
            else:
                share = 1 - (missing.get(block) or 0.0) / 100 if bearing else 1.0
                tonnes.append(_times(value[0] * share, vines.get(block)))
        lost = [pd.isna(t) and not _none(v) for t, v in zip(tonnes, frame["tonnes"], strict=True)]
        for row, value in zip(frame["_row"][lost], frame["tonnes"][lost], strict=True):
            why = "the size of its block is told nowhere"
            text = f"{value[0]:g} {'t/ha' if value[1] == 'mass/area' else 't a vine'}"
            self.left_out.append((f"{part.region.grid.shown}, row {row + 1}", text, why))
        return frame.assign(tonnes=tonnes)[[not each for each in lost]]

    def _bearing(self, part, frame, missing):
        kinds = {value[1] for value in frame["tonnes"] if isinstance(value, tuple)}
        if "mass/vine" not in kinds:
            return True
        if not any(missing.get(block) for block in frame["block"]):
            told = f"{part.region.shown}: a crop a vine is taken for every place planted."
            if told not in self.notes:
                self.notes.append(told)
            return True
        answer = self.questions.ask(
            "vines of a crop a vine",
            "A crop told for a vine: is it for each bearing vine, or each place planted?",
            part.region.shown,
            {"bearing": "missing vines left out", "planted": "missing vines counted"},
        )
        return answer == "bearing"


def _sizes(blocks):
    """Return block -> area [ha], places planted and missing share [%], where told."""
    if blocks is None:
        return {}, {}, {}
    frame = blocks.frame.reindex(
        columns=["block", "area_ha", "row_spacing_m", "vine_spacing_m", "vines", "missing_pct"]
    )
    made = frame["row_spacing_m"].astype(float) * frame["vine_spacing_m"].astype(float)
    made = made * frame["vines"].astype(float) / 10_000
    area = frame["area_ha"].astype(float).fillna(made)
    names = frame["block"]
    missing = frame["missing_pct"].astype(float).fillna(0.0)
    return (
        dict(zip(names, area, strict=True)),
        dict(zip(names, frame["vines"].astype(float), strict=True)),
        dict(zip(names, missing, strict=True)),
    )


def _none(value):
    return value is None or (not isinstance(value, tuple) and pd.isna(value))


def _times(value, size):
    return np.nan if size is None or pd.isna(size) else value * size


def _sourced(frame, parts):
    if "_source" in frame:
        return frame
    shown = {key: parts[key].region.grid.shown for key in frame["_part"].unique()}
    source = [
        f"{shown[part]} row {row + 1}: {cells}"
        for part, row, cells in zip(frame["_part"], frame["_row"], frame["_cells"], strict=True)
    ]
    return frame.astype(object).assign(_source=source)


def _numbered_loads(whole, key):
    """Return crops with loads told apart that nothing else tells apart: no date and no ticket."""
    if "tonnes" not in whole:
        return whole
    whole = whole[whole["tonnes"].notna()]
    names = [name for name in key if name != "ticket"]
    ticket = whole["ticket"] if "ticket" in whole else pd.Series(None, whole.index, dtype=object)
    lots = whole.assign(_ticket=ticket).groupby([*names, "_part"], dropna=False, sort=False)
    several = lots["_ticket"].transform(lambda lot: len(lot) > 1 and lot.isna().any())
    if not several.any():
        return whole
    number = lots.cumcount() + 1
    made = ticket.where(ticket.notna() | ~several.astype(bool), "load " + number.astype(str))
    return whole.assign(ticket=made)


def _of_others(whole, codes):
    """Whether another part has said a row's key before."""
    first = pd.Series(whole["_part"].to_numpy()).groupby(codes).transform("first").to_numpy()
    return first != whole["_part"].to_numpy()


def _apart(one, other):
    """Whether two values differ; numbers by more than the digits they are told to."""
    if isinstance(one, (int, float)) and isinstance(other, (int, float)):
        return not np.isclose(float(one), float(other), rtol=5e-3, atol=1e-9)
    if isinstance(one, tuple) or isinstance(other, tuple):
        return one != other
    return tidy_name(one).casefold() != tidy_name(other).casefold()


def _told(value):
    if isinstance(value, tuple):
        return f"{value[0]:g}"
    if isinstance(value, float):
        return f"{value:.6g}"
    if isinstance(value, pd.Timestamp):
        return f"{value:%Y-%m-%d}"
    return str(value)
