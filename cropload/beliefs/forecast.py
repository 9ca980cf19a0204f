"""The forecast of a season: from history and the plans, narrowed by every count so far."""

from dataclasses import dataclass, fields, replace

import numpy as np
import pandas as pd

from cropload import arguments, handbook
from cropload.beliefs.accepted import accepted_before
from cropload.beliefs.events import Happened, event_notes, happened, left_by_events, with_left
from cropload.beliefs.groundwork import lay_ground
from cropload.beliefs.guard import guard_crops, named
from cropload.beliefs.history import estate_of, learned_before
from cropload.beliefs.lag_days import early_lag_notes
from cropload.beliefs.loss import loss_notes
from cropload.beliefs.meant import check_block, check_draws, check_season, load_unknown
from cropload.beliefs.measured import last_visits, lost_blocks, measurements
from cropload.beliefs.plan_draws import block_shapes
from cropload.beliefs.ranges import DEFAULT_DRAWS
from cropload.beliefs.result import Forecast
from cropload.beliefs.trend import crop_changes, named_changes
from cropload.clock import day
from cropload.records.as_of import records_until
from cropload.records.facts import block_facts
from cropload.vine.growth import STAGES, Growth, exponents, grow
from cropload.vine.mean_vine import mean_growth, put_growth
from cropload.vine.plan import DividedPlan, PruningPlan
from cropload.vine.plan_shape import PlanShape

#: What has been measured last on the estate -> the word for where the season stands.
STAGE_WORDS = {
    None: "before any count",
    "buds": "after the buds were counted",
    "shoots": "after the shoots were counted",
    "noncount_shoots": "after the shoots were counted",
    "clusters": "after the clusters were counted",
    "weight_lag": "after lag-phase weights",
    "weight_veraison": "after veraison weights",
    "weight_harvest": "after harvest weights",
    "harvest": "while picking",
}

#: Blocks that grow at once.
_BLOCKS_AT_ONCE = 16


def _season_plans(season, given, estate_plans, last_plans, names):
    """Return the plan of each block in the season, and where it is known from."""
    plans, sources = [], []
    for name, last in zip(names, last_plans, strict=True):
        if name in given:
            plans.append(given[name])
            sources.append("the plan asked about")
        elif (name, season) in estate_plans:
            plan = estate_plans[name, season]
            plans.append(plan)
            sources.append("table parts" if isinstance(plan, DividedPlan) else "table pruning")
        elif last is not None:
            plans.append(last)
            sources.append("last plan on record, taken as unchanged")
        else:
            plans.append(None)
            sources.append("no plan on record")
    return plans, sources


def picked_so_far(records, season, facts):
    """Return what the scale has said of each block in the season: tonnes [t] and share [1].

    A loss that was told before anything was picked is an event, and no pick.
    """
    harvest = records.harvest
    place = {name: at for at, name in enumerate(facts.names)}
    harvest = harvest[(harvest["season"] == season) & harvest["block"].isin(place)]
    harvest = harvest.sort_values("date", kind="stable")
    at = harvest["block"].map(place).to_numpy(int)
    tonnes = np.bincount(at, harvest["tonnes"].to_numpy(float), len(place))
    last, most = np.zeros(len(place)), np.zeros(len(place))
    last[at] = harvest["picked_pct"]
    np.fmax.at(most, at, harvest["picked_pct"].to_numpy(float) / 100)
    # A row without a share is the whole block, or what was left of it.
    share = np.where(np.isnan(last), 1.0, np.minimum(most, 1.0))
    return pd.DataFrame({"block": facts.names, "tonnes": tonnes, "share": share})


@arguments.check_arguments(
    records=arguments.records,
    plans=arguments.optional(arguments.by_block("plans")),
    reference_plans=arguments.optional(arguments.by_block("plans")),
    learned=arguments.optional(arguments.kind("Learned")),
)
def forecast(
    records,
    season=None,
    as_of=None,
    *,
    plans=None,
    draws=DEFAULT_DRAWS,
    seed=0,
    reference_plans=None,
    learned=None,
):
    """Forecast a season's crop from history, the plans, and every count up to a day.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    season : int, optional
        Year of harvest; the next one when left out.
    as_of : str or date, optional
        Only records dated up to this day are used, such as ``"2026-07-15"``; all when left out.
    plans : dict, optional
        {block: plan} to ask about instead of what is on record.
    draws, seed : int
        Draws [1] and their seed [1].
    reference_plans : dict, optional
        {block: plan} that blocks without any plan on record have carried.
    learned : Learned, optional
        Spreads as from ``learned_before``; learnt from the earlier seasons when left out.

    Returns
    -------
    Forecast

    Raises
    ------
    CroploadError
        For a date, plan or block that cannot be.

    Notes
    -----
    crop = bearing vines x clusters per vine x cluster weight x recovery. Each component starts
    from history and the plan; counts narrow it in their own block and, through what the blocks
    share, in blocks nobody has counted.
    A block whose parts carry plans of their own (table ``parts``) is the sum of its parts, each
    moved from the load of the block; what is counted is of vines sampled over the whole block.
    A block that has been picked in part is what the scale said plus the forecast of the rest.
    Valid for blocks of one estate, with spreads as in the handbook.

    Examples
    --------
    >>> from cropload import example_records
    >>> early = forecast(example_records(), 2026, "2026-03-01")
    >>> late = forecast(example_records(), 2026, "2026-08-20")
    >>> bool(late.frame_by("estate")["range_t"][0] < early.frame_by("estate")["range_t"][0])
    True
    """
    check_draws(draws, seed)
    ground, learned, so_far = prepare(
        records, season, as_of, plans=plans, reference_plans=reference_plans, learned=learned
    )
    return draw_forecast(estate_of(ground, learned), so_far, draws, seed)


@dataclass(frozen=True, eq=False)
class SoFar:
    """What the season has brought by a day, apart from what is believed.

    picked : DataFrame by block: tonnes [t] and share [1]; lost : {block: vines counted [1]};
    given : {block: plan asked about}; happened : what befell the blocks; rows : {stage: rows of
    the season that may show it}.
    """

    season: int
    as_of: pd.Timestamp | None
    stage: str
    picked: pd.DataFrame
    lost: dict
    given: dict
    happened: Happened
    rows: dict


def prepare(
    records, season, as_of, *, plans=None, reference_plans=None, learned=None, accepted=None
):
    """Read what a forecast rests on; see ``forecast`` for the parameters.

    ``accepted`` is what was learned on the estate; that of the records' folder when left out.

    Returns
    -------
    (Groundwork, Learned, SoFar)
    """
    limit = day(as_of)
    known = records_until(records, limit)
    season = check_season(known, season, limit)
    given = {
        check_block(records, block): PruningPlan.parse(plan)
        for block, plan in (plans or {}).items()
    }
    reference_plans = {
        check_block(records, block): PruningPlan.parse(plan)
        for block, plan in (reference_plans or {}).items()
    }
    facts = block_facts(known)
    accepted = accepted_before(records, season) if accepted is None else accepted
    measured = measurements(known, facts, accepted.counters)
    here = measured[measured["season"] == season]
    ground = lay_ground(
        known,
        season,
        reference_plans=reference_plans,
        season_plans=given,
        this_season=here,
        measured=measured,
        accepted=accepted,
    )
    if learned is None:
        # A day before the year of harvest sees less of the earlier seasons.
        early = limit is not None and limit < pd.Timestamp(f"{season}-01-01")
        learned = learned_before(known if early else records, season)
    stages = set(here["stage"])
    seen = [stage for stage in STAGES if stage in stages and stage in STAGE_WORDS]
    lost = lost_blocks(known, facts, season)
    picked = picked_so_far(known, season, facts)
    # Nothing is left hanging in a lost block.
    picked["share"] = picked["share"].mask(picked["block"].isin(lost), 1.0)
    stage = STAGE_WORDS[seen[-1] if seen else None]
    events = happened(known, facts).of_season(season)
    rows = _rows_that_show(known, season) if events.taken else {}
    picked = picked.set_index("block")
    so_far = SoFar(season, limit, stage, picked, lost, given, events, rows)
    return ground, learned, so_far


def _rows_that_show(records, season):
    """Return {stage: rows of a season}, of the stages that may show what befell a crop."""
    counts = records.counts[records.counts["season"] == season]
    weights = records.weights[records.weights["season"] == season]
    rows = {stage: last_visits(counts, stage) for stage in ("shoots", "clusters")}
    return rows | {f"weight_{stage}": lots for stage, lots in weights.groupby("stage")}


def _grown(estate, x, responses):
    """Run the chain on the draws, a few blocks at a time so that they stay in fast memory."""
    names = [field.name for field in fields(Growth)]
    grown = Growth(*(np.empty(x.shape[1:]) for _ in names))
    for start in range(0, x.shape[1], _BLOCKS_AT_ONCE):
        here = np.arange(start, min(start + _BLOCKS_AT_ONCE, x.shape[1]))
        shape = PlanShape(
            *(logs[here, -1:] for logs in (estate.buds, estate.burst, estate.fertility))
        )
        part, share = x[:, here], estate.young.share_of(here)
        # A load that nobody wrote down is the same this season as before.
        unknown = estate.open_load[here, -1:] * estate.drawn_load(here, part)
        shape = replace(shape, log_buds=shape.log_buds + unknown)
        answers = exponents(estate.answers(part, responses))
        lot = grow(part, shape, estate.state(here, part), answers, log_share=share)
        for name in names:
            getattr(grown, name)[here] = getattr(lot, name)
    for at, plan in estate.divided.items():
        part, share = x[:, [at]], estate.young.share_of([at])
        answers = exponents(estate.answers(part, responses))
        shape = block_shapes(estate, plan.plans, [at])
        apart = grow(part, shape, estate.state([at], part), answers, log_share=share)
        put_growth(grown, [at], mean_growth(apart, plan.shares))
    return grown


def draw_forecast(estate, so_far, draws, seed):
    """Turn what is believed of an estate's blocks into a Forecast.

    Parameters
    ----------
    estate : Estate
        Of all the blocks, or of some of them.
    so_far : SoFar
        Of all the blocks.
    draws, seed : int
        Draws [1] and their seed [1].

    Returns
    -------
    Forecast
    """
    facts, season = estate.facts, so_far.season
    everyone = np.arange(len(facts.names))
    x, responses = estate.draw(everyone, draws, seed)
    plans, sources = _season_plans(
        season, so_far.given, estate.plans, estate.last_plan, facts.names
    )
    growth = _grown(estate, x, responses)
    # Where no crop is expected there is no load to ask for.
    bears = ~estate.young.barren
    blind = [
        n
        for n, s, yes in zip(facts.names, sources, bears, strict=True)
        if yes and s.startswith("no plan")
    ]
    notes = load_unknown(blind)
    assumed = [n for n, s in zip(facts.names, sources, strict=True) if s.startswith("last plan")]
    if assumed:
        notes.append(
            f"No plan for {season} is on record for {named(assumed)}: the last one is taken "
            "as unchanged."
        )
    notes += [
        f"None of the {so_far.lost[block]} vines counted in {block} carries a cluster: its crop "
        "is taken as lost (0 t), and its counts are left out of what the other blocks learn from. "
        "If it bears fruit, count again, on vines that stand for the whole block."
        for block in facts.names
        if block in so_far.lost
    ]
    notes += event_notes(so_far.happened, so_far.rows, facts.names)
    notes += loss_notes(estate, everyone)
    notes += estate.young.notes(facts.names)
    notes += estate.accepted_notes
    made = Forecast(
        season=season,
        as_of=so_far.as_of,
        stage=so_far.stage,
        seed=int(seed),
        blocks=facts.names,
        varieties=facts.varieties,
        plans=tuple("" if plan is None else str(plan) for plan in plans),
        plan_from=tuple(sources),
        draws=np.empty((0, 0)),
        growth=growth,
        log_components=x,
        responses=responses,
        picked=so_far.picked.loc[list(facts.names)].reset_index(),
        log_left=np.zeros(len(facts.names)),
        events=so_far.happened,
        estate=estate,
        notes=tuple(notes),
    )
    kept = estate.loss.kept(facts.names, everyone, draws, seed)
    left = left_by_events(so_far.happened, so_far.rows, estate, growth, x, seed)
    if left:
        growth = with_left(growth, left)
        log_left = np.array(
            [np.median(sum(left[at].values())) if at in left else 0.0 for at in everyone]
        )
        made = replace(made, growth=growth, log_left=log_left)
    hanging = growth.kg_picked * kept * (facts.bearing / 1000.0)[:, None]
    crop = made.with_picked(hanging)
    middle = np.median(crop, axis=1)
    notes = [
        *guard_crops(facts.names, middle / facts.area_ha),
        *_trend_notes(estate),
        *early_lag_notes(estate),
        *_drawn_notes(made, middle),
    ]
    return replace(made, draws=crop, notes=(*made.notes, *notes))


def _trend_notes(estate):
    """Return in a sentence which blocks' crops rise or fall, and how much of it is gone on with.

    A block is named by its own seasons, or by what is gone on with, whichever is past holding.
    """
    changes = crop_changes(estate)
    (told, sd), used, least = changes.told, changes.used, handbook.value("trend.holding")
    parts = []
    for word, sign, surely in zip(
        ("falls", "rises"), (-1, 1), named_changes(told, sd), strict=True
    ):
        moving = (sign * used > least) | surely
        places = np.flatnonzero(moving & ~estate.young.barren & ~np.isnan(told))
        if len(places):
            names = named([estate.facts.names[at] for at in places])
            own, gone = (100 * abs(np.expm1(c[places].mean())) for c in (told, used))
            parts.append(f"{word} by about {own:.0f} % a year in {names} (forecast: {gone:.0f} %)")
    return [f"By its own seasons the crop {' and '.join(parts)}."] if parts else []


def _drawn_notes(made, middle):
    """Return in a sentence how far blocks' middles are drawn from the means of their own crops."""
    mean, seasons = made.estate.own_crops
    mean = mean * made.bearing / 1000.0
    counted = set(made.estate.measured.loc[made.estate.measured["season"] == made.season, "block"])
    with np.errstate(divide="ignore", invalid="ignore"):
        apart = np.abs(np.log(middle / mean))
    apart = [
        0.0 if n in counted or s < 3 or not np.isfinite(a) else float(a)
        for n, s, a in zip(made.blocks, seasons, apart, strict=True)
    ]
    far = [at for at in np.argsort(apart)[::-1] if apart[at] > handbook.value("forecast.drawn")]
    if not far:
        return []
    told = "; ".join(
        f"{made.blocks[at]} own mean {mean[at]:.1f} t, drawn to {middle[at]:.1f} t"
        for at in far[:3]
    )
    more = f" (and {len(far) - 3} more)" if len(far) > 3 else ""
    return [f"Trend, load, other blocks and the handbook move middles off own means: {told}{more}."]
