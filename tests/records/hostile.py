"""Hostile inputs from a seed and a count: whatever comes, it is read or refused in words.

``python tests/records/hostile.py --seed 7 --count 20000`` looks further than the test does, and
prints the number of what was not.
"""

import argparse
import sys
import tempfile
from pathlib import Path
from random import Random

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[2]))

from cropload import read_log
from cropload.beliefs.learned import parse_learned
from cropload.errors import CroploadError
from cropload.records.reading.csv_table import read_csv
from cropload.records.records import assemble
from cropload.records.tables import TABLES
from cropload.season.forecast_log import FILE, HEAD, models
from cropload.vine.plan import PruningPlan

BLOCKS = (
    "block,variety,row_spacing_m,vine_spacing_m,vines,missing_pct,year_planted,station\n"
    "North,Riesling,2,1.2,900,2,1998,Vale\nSouth,Merlot,2.2,1.1,700,,2024,\n"
)
#: Small sound tables, which a hostile input is made of.
SOUND = {
    "blocks": BLOCKS,
    "pruning": "season,block,plan,pruning_weight_kg,date\n2025,North,2x10+2x2,0.6,2025-01-20\n"
    "2026,North,2x10+2x2,0.7,2026-01-22\n2026,South,6x2,0.2,2026-02-02\n",
    "counts": "season,date,block,row,vine,buds,shoots,clusters\n"
    "2026,2026-06-12,North,1,4,24,21,33\n2026,2026-06-12,North,2,9,24,22,30\n"
    "2026,2026-06-13,South,1,3,12,11,\n",
    "weights": "season,date,block,stage,clusters,weight_g\n2026,2026-07-25,North,lag,40,2600\n"
    "2026,2026-09-20,North,harvest,40,5300\n",
    "harvest": "season,block,date,tonnes,picked_pct,lost_pct\n2025,North,2025-09-28,3.41,,\n"
    "2026,North,2026-09-27,1.2,40,\n2026,North,2026-10-02,2.15,100,20\n",
    "events": "block,date,kind,share_pct,of,dead,alive\nNorth,2026-05-02,frost,,shoots,40,80\n",
    "dates": "season,block,stage,date\n2026,North,budburst,2026-04-18\n"
    "2026,North,veraison,2026-08-14\n",
    "weather": "station,date,tmin_c,tmax_c\nVale,2026-05-01,3,14\nVale,2026-05-02,-1,11\n",
    "prices": "block,variety,price_per_t,cap_t\n,Riesling,1400,9\nSouth,,900,\n",
    "capacity": "period_start,period_end,limit_t,variety\n2026-09-20,2026-10-01,9,\n",
    "contracts": "contract,blocks,from_t,price_per_t\nK,North; South,0,900\nK,North; South,5,800\n",
    "parts": "block,part,vines,plan\nNorth,weak,300,2x8\nNorth,strong,600,2x12\n",
    "scenarios": "scenario,block,plan,season,date\nshort,North,2x8,2027,2026-12-01\n",
    "corrections": "table,key,column,old,new,date,why\n"
    "pruning,2026; North; 2026-01-22,plan,,2x9+2x2,,\n",
    "answered": "rule,block,season,who,why,date,rows\nharvest-low-crop,North,2026,AB,w,,abcd\n",
}
LEARNED = b"""# Learned on this estate
format = 2
[component.recovery."Riesling"]
value = 0.9
spread = 0.1
through = 2025
seasons = 3
"""
#: Cells that have broken readers of tables before.
CELLS = (
    *("", " ", "0", "-0", "-1", "1e999", "-1e999", "nan", "inf", "1e308", "1e-320", "1_000"),
    *("0x1F", "٢٠٢٦", "½", "2³", "1,5", "1.234,5", "1'234.5", "12 %", "%", "#REF!", "#DIV/0!"),
    *("=1+1", "=cmd|' /C calc'!A0", "@SUM(A1)", "+1", "'", '"', '""', '"unclosed', "a;b", "a\tb"),
    *("\ufeff", "\u202e", "\u200b", "\x07", "\0", "\r", "\ud7ff", "🍇" * 40, "A" * 3000),
    *("9" * 400, "2026-02-30", "0000-00-00", "9999-12-31", "1-1-1", "31/12/2026", "12/31/2026"),
    *("2026-06-12T00:00", "46000", "2026.0", "20266", "1899", "2x", "x2", "0x0", "99999999999x9"),
    *("2x10+", "-2x10", "2x10+2x2" * 30, "North", "north", "Nörth", "South", "North; South"),
    *("last", "dropped", "all", "kept", "None", "NULL", "minimal hedge", "hail", "1", "7", "40"),
)
LOG = {name: {str: "a", int: "2026", float: "4.5"}[kind] for name, kind in HEAD.items()}
LOG |= {"as_of": "2026-07-15", "tonnes_p10": "3", "tonnes_p90": "6", "version": "0.1.0, model 2"}


def _cut(draw, data):
    """Return bytes with a few of them changed, doubled, lost, or cut short."""
    data = bytearray(data)
    for _ in range(draw.choice((1, 1, 2, 5))):
        at, to = sorted((draw.randrange(len(data) + 1), draw.randrange(len(data) + 1)))
        to = min(to, at + draw.choice((1, 1, 2, 8, 60)))
        how = draw.randrange(5)
        if how == 0:
            data[at:to] = bytes(draw.randrange(256) for _ in range(to - at))
        elif how == 1:
            data[at:at] = data[at:to]
        elif how == 2:
            del data[at:to]
        elif how == 3:
            data[at:at] = draw.choice((b"\n", b"\r", b",", b";", b'"', b"\t", b"\xff", b"\0"))
        elif draw.random() < 0.2:
            del data[at:]
    return bytes(data)


def _celled(draw, text):
    """Return a table with a few hostile cells, rows and headers, in some dialect."""
    rows = [line.split(",") for line in text.splitlines()]
    for _ in range(draw.choice((1, 1, 1, 2, 4))):
        row = draw.randrange(len(rows)) if draw.random() < 0.25 else draw.randrange(1, len(rows))
        how = draw.random()
        if how < 0.7 and rows[row]:
            place = draw.randrange(len(rows[row]))
            slip = draw.choice((rows[row][place] + "0", draw.choice(rows)[place:][:1] or [""]))
            slip = slip if isinstance(slip, str) else slip[0]
            rows[row][place] = draw.choice((slip, draw.choice(CELLS)))
        elif how < 0.8:
            rows.insert(row, list(draw.choice(rows)))
        elif how < 0.9:
            rows[row] += [draw.choice(CELLS)] * draw.randint(1, 3)
        else:
            place = draw.randrange(len(rows[0])) if rows[0] else 0
            rows = [each[:place] + each[place + 1 :] for each in rows]
    sign, end = draw.choice(",,,;\t|"), draw.choice(("\n", "\n", "\r\n", "\r"))
    code = draw.choice(("utf-8", "utf-8", "utf-8-sig", "utf-16", "latin-1"))
    return end.join(sign.join(row) for row in rows).encode(code, "replace")


def _tables(draw):
    names = {"blocks", *draw.choices(list(SOUND), k=draw.choice((1, 1, 2)))}
    names |= {"pruning"} if "corrections" in names else set()
    spoil = draw.choice((_cut, _celled, _celled))
    hit = draw.choice(sorted(names))
    raws = {}
    for name in sorted(names):
        text = SOUND[name]
        if name == hit:
            data = spoil(draw, text.encode() if spoil is _cut else text)
        else:
            data = text.encode()
        raws[name] = read_csv(TABLES[name], f"{name}.csv", data)
    records = assemble(Path("hostile"), raws)
    for fault in (*records.warnings, *records.settled):
        assert str(fault)


def _log(draw):
    lines = [",".join(LOG), *[",".join(LOG.values())] * 2, ""]
    spoil = draw.choice((_cut, _celled))
    text = "\n".join(lines)
    data = spoil(draw, text.encode() if spoil is _cut else text)
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / FILE).write_bytes(data)
        log, faults = read_log(folder)
    # What was kept can be reckoned with, and what was skipped is told.
    models(log)
    assert (log[["tonnes_p10", "tonnes_p50", "tonnes_p90"]].astype(float) < 1e400).all(axis=None)
    assert all(str(fault) for fault in faults)


def _learned(draw):
    parse_learned(_cut(draw, LEARNED))


def _plan(draw):
    PruningPlan.parse(_cut(draw, b"3x8+3x2").decode("latin-1") + draw.choice(CELLS))


KINDS = (_tables, _tables, _log, _log, _learned, _learned, _plan, _plan)


def run(seed, count):
    """Return the numbers of the inputs that were neither read nor refused in words, with why."""
    broken = {}
    for number in range(count):
        draw = Random(f"{seed} {number}")
        kind = draw.choice(KINDS)
        try:
            kind(draw)
        except CroploadError as refused:
            if not str(refused).strip():
                broken[number] = f"{kind.__name__}: refused without a word"
        except Exception as error:
            broken[number] = f"{kind.__name__}: {type(error).__name__}: {error}"[:300]
    return broken


if __name__ == "__main__":
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--seed", type=int, default=18)
    asked.add_argument("--count", type=int, default=2000)
    given = asked.parse_args()
    for number, why in run(given.seed, given.count).items():
        print(number, why)
