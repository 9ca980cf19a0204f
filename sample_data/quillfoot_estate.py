"""The invented estate Quillfoot: its blocks, its plans, and the truth behind its records.

Nothing here imports the package, so that estimates can be held against an independent truth.
All logs are natural logs.  ``draw_truth`` returns what happened in every block and season.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass

import numpy as np

SEED = 20274
EFFECTS_DRAW = 1150  # which of the possible pasts of this estate was written down
SEASONS = tuple(range(2020, 2027))
WOOD_SEASONS = tuple(range(2019, 2027))  # wood grown in 2019 is cut in the winter of season 2020
NONCOUNT_FERTILITY = 0.40  # clusters on a non-count shoot / clusters on a count shoot
BUD_CV_BETWEEN_VINES = 0.06
COUNTING_BIAS = 0.95  # clusters counted / clusters there
COUNTING_BIAS_SD = 0.03
CREW_LOG_BIAS = {"crew A": 0.015, "crew B": -0.015}
RECOVERY_CAP = 0.995

EXPONENTS = {  # response of each component to the load: first season, settled (third season on)
    "burst": {"first": -0.05, "settled": -0.10},
    "fertility": {"first": 0.0, "settled": -0.30},
    "weight": {"first": -0.15, "settled": -0.40},
    "pruning": {"first": -0.15, "settled": -0.28},
}

SD = {  # spreads on the log scale
    "shoots_per_bud": {"block": 0.06, "season": 0.04, "variety_season": 0.03, "residual": 0.05},
    "clusters_per_shoot": {"block": 0.12, "season": 0.14, "variety_season": 0.11, "residual": 0.13},
    "cluster_weight_g": {"block": 0.15, "season": 0.12, "variety_season": 0.10, "residual": 0.11},
    "noncount_shoots": {"block": 0.40, "season": 0.20, "variety_season": 0.10, "residual": 0.30},
    "pruning_weight_kg_per_m": {
        "block": 0.25, "season": 0.12, "variety_season": 0.06, "residual": 0.12,
    },
    "recovery": {"block": 0.0, "season": 0.02, "variety_season": 0.01, "residual": 0.025},
    "increase_factor": {"block": 0.06, "season": 0.08, "variety_season": 0.05, "residual": 0.06},
    "veraison_share": {"block": 0.01, "season": 0.03, "variety_season": 0.01, "residual": 0.02},
}  # fmt: skip

VARIETY = {  # typical values of a variety on this estate; a block differs by its own block effect
    "Riesling": {
        "shoots_per_bud": 0.92, "clusters_per_shoot": 1.95, "cluster_weight_g": 100.0,
        "increase_factor": 2.0,
    },
    "Pinot noir": {
        "shoots_per_bud": 0.93, "clusters_per_shoot": 1.60, "cluster_weight_g": 88.0,
        "increase_factor": 1.6,
    },
    "Chardonnay": {
        "shoots_per_bud": 0.91, "clusters_per_shoot": 1.50, "cluster_weight_g": 115.0,
        "increase_factor": 2.0,
    },
    "Sauvignon blanc": {
        "shoots_per_bud": 0.89, "clusters_per_shoot": 1.60, "cluster_weight_g": 105.0,
        "increase_factor": 2.0,
    },
}  # fmt: skip

COMMON = {  # typical values shared by all varieties
    "noncount_shoots": 2.0,
    "pruning_weight_kg_per_m": 0.45,
    "recovery": 0.95,
    "veraison_share": 0.775,  # cluster weight at veraison sampling / at harvest
}


@dataclass(frozen=True)
class Block:
    """One block as planted; ``plans`` maps the first season of a plan to its text."""

    name: str
    variety: str
    row_spacing_m: float
    vine_spacing_m: float
    rows: int
    vines_per_row: int
    missing_pct: float
    canopies: int
    year_planted: int
    frost_offset_c: float
    plans: dict[int, str]
    recovery: float = 0.95
    bud_bias: float = 1.0
    counted: bool = True
    gap_seasons: tuple[int, ...] = ()

    @property
    def vines(self) -> int:
        """Places planted, missing ones included [1]."""
        return self.rows * self.vines_per_row

    @property
    def missing_vines(self) -> int:
        """Empty or dead places [1]."""
        return round(self.vines * self.missing_pct / 100)

    @property
    def bearing_vines(self) -> int:
        """Vines that carry a crop [1]."""
        return self.vines - self.missing_vines

    @property
    def canopy_length_m(self) -> float:
        """Canopy of one vine [m]."""
        return self.vine_spacing_m * self.canopies

    @property
    def training(self) -> str:
        """Canes where any plan leaves them, else spurs on a cordon."""
        return "cordon" if self.plans and "0x0" in min(self.plans.values()) else "cane"

    def plan(self, season: int) -> str:
        """Return the plan left for the crop of ``season`` (the oldest one before the records)."""
        started = [first for first in self.plans if first <= season]
        return self.plans[max(started) if started else min(self.plans)]

    def plan_buds(self, season: int) -> float:
        """Return the count buds per vine of that plan [1]."""
        canes, per_cane, spurs, per_spur = plan_parts(self.plan(season))
        return float(canes * per_cane + spurs * per_spur)


BLOCKS = (
    Block("Home Terrace", "Riesling", 1.9, 1.3, 40, 60, 3.5, 1, 2004, 0.0, {2020: "1x12+1x2"}),
    Block("Chapel Slope", "Riesling", 2.0, 1.2, 22, 60, 5.0, 1, 1998, 0.0,
          {2020: "0x0+8x2", 2024: "0x0+10x2"}, gap_seasons=(2022,)),
    Block("Quarry Bank", "Pinot noir", 2.0, 1.4, 48, 75, 2.0, 1, 2009, 0.0,
          {2020: "2x8+2x2", 2023: "2x12+2x2"}),
    Block("Mill Meadow", "Chardonnay", 2.2, 1.5, 30, 60, 6.0, 1, 2006, -1.5,
          {2020: "2x10+2x2", 2023: "2x12+2x2"}),
    Block("Long Acre", "Sauvignon blanc", 2.5, 1.8, 60, 100, 1.5, 1, 2011, 0.0,
          {2020: "2x10+2x2", 2022: "3x10+3x2", 2025: "3x8+3x2"}, recovery=0.89, bud_bias=1.02),
    Block("Lyre Field", "Sauvignon blanc", 3.2, 1.8, 12, 60, 7.5, 2, 2001, -0.3,
          {2020: "4x9+4x2", 2024: "4x11+4x2"}),
    Block("Upper Knoll", "Chardonnay", 2.2, 1.3, 16, 60, 8.75, 1, 1995, 0.5,
          {2020: "2x8+2x2", 2024: "2x10+2x2"}, counted=False),
    Block("Fox Hollow", "Pinot noir", 2.0, 1.2, 12, 50, 0.0, 1, 2025, 0.0, {}, counted=False),
)  # fmt: skip

BEARING_BLOCKS = tuple(block for block in BLOCKS if block.plans)
YOUNG_WOOD_KG_PER_M = 0.22  # Fox Hollow, second leaf, wood grown in 2026

# Two seasons differ by more than the spreads above.  Each event adds to the log of a component.
FROST_KILLED = 0.50  # share of the primary shoots of Mill Meadow killed in spring 2021
NO_REPLACEMENT = 0.20  # share of the killed shoots that leave no secondary shoot
SECONDARY_SHARE = 0.32  # clusters of a killed place / of a primary shoot (after Friend et al. 2011)
_shoots_left = 1 - NO_REPLACEMENT * FROST_KILLED
_clusters_left = 1 - FROST_KILLED * (1 - SECONDARY_SHARE)
EVENTS = (
    {
        "name": "spring frost of 2021",
        "season": 2021,
        "blocks": ["Mill Meadow"],
        "shoots_per_bud": float(np.log(_shoots_left)),
        "clusters_per_shoot": float(np.log(_clusters_left / _shoots_left)),
        "cluster_weight_g": 0.0,
    },
    {
        "name": "poor fruit set of 2024",
        "season": 2024,
        "blocks": [block.name for block in BEARING_BLOCKS],
        "shoots_per_bud": 0.0,
        "clusters_per_shoot": 0.0,
        "cluster_weight_g": -0.20,
    },
)


def stream(*name: object) -> np.random.Generator:
    """Return a random stream of its own for each purpose, so that one never shifts another."""
    digest = hashlib.sha256("|".join(map(str, name)).encode()).digest()
    return np.random.default_rng([SEED, int.from_bytes(digest[:8], "big")])


def plan_parts(text: str) -> tuple[int, int, int, int]:
    """Split ``3x8+3x2`` into canes, buds per cane, spurs, buds per spur."""
    canes, per_cane, spurs, per_spur = map(int, re.findall(r"\d+", text))
    return canes, per_cane, spurs, per_spur


def event_effect(block: str, season: int, component: str) -> float:
    """Return what the named events add to the log of a component."""
    return sum(
        event.get(component, 0.0)
        for event in EVENTS
        if event["season"] == season and block in event["blocks"]
    )


def counting_bias(block: str, season: int) -> dict[str, float]:
    """Return the share of the clusters each crew saw in a block and season."""
    shared = stream("bias", block, season).normal(0, COUNTING_BIAS_SD)
    return {
        crew: float(COUNTING_BIAS * np.exp(shared + log_bias))
        for crew, log_bias in CREW_LOG_BIAS.items()
    }


def draw_effects() -> dict[str, dict[str, dict[str, object]]]:
    """Draw block, season, variety x season and residual effects of every component (logs)."""
    effects = {}
    seasons = [str(season) for season in WOOD_SEASONS]

    def by_season(rng, sd):
        return dict(zip(seasons, rng.normal(0, sd, len(seasons)).tolist(), strict=True))

    for component, sd in SD.items():
        rng = stream("effects", EFFECTS_DRAW, component)
        effects[component] = {
            "block": {b.name: float(rng.normal(0, sd["block"])) for b in BEARING_BLOCKS},
            "season": by_season(rng, sd["season"]),
            "variety_season": {v: by_season(rng, sd["variety_season"]) for v in VARIETY},
            "residual": {b.name: by_season(rng, sd["residual"]) for b in BEARING_BLOCKS},
        }
    return effects


def log_centre(block: Block, component: str, effects: dict) -> float:
    """Return the log of a component of a block in a season without any effect."""
    if component == "recovery":
        base = block.recovery
    else:
        base = VARIETY[block.variety].get(component, COMMON.get(component))
    return float(np.log(base)) + effects[component]["block"][block.name]


def loads(block: Block, season: int) -> tuple[float, float, float]:
    """Return the logs of planned, carried and reference buds per vine.

    The carried load is the geometric mean of the two seasons before; the reference is that of
    all seasons of the records.
    """
    planned = np.log(block.plan_buds(season))
    carried = np.mean([np.log(block.plan_buds(season - back)) for back in (1, 2)])
    reference = np.mean([np.log(block.plan_buds(other)) for other in SEASONS])
    return float(planned), float(carried), float(reference)


def draw_truth() -> tuple[dict, dict[tuple[str, int], dict[str, float]]]:
    """Return the effects and, for every (block, season), what truly happened on the vines."""
    effects = draw_effects()
    truth = {}
    for block in BEARING_BLOCKS:
        for season in WOOD_SEASONS:
            truth[block.name, season] = _one_season(block, season, effects)
    return effects, truth


def _one_season(block: Block, season: int, effects: dict) -> dict[str, float]:
    planned, carried, reference = loads(block, season)

    def centre(component):
        return log_centre(block, component, effects)

    def moved(component):
        part = effects[component]
        return (
            part["season"][str(season)]
            + part["variety_season"][block.variety][str(season)]
            + part["residual"][block.name][str(season)]
            + event_effect(block.name, season, component)
        )

    def settled(kind):
        return EXPONENTS[kind]["settled"] * (carried - reference)

    def first(kind):
        return EXPONENTS[kind]["first"] * (planned - carried)

    def clusters(buds, shoots_per_bud, clusters_per_shoot, noncount):
        shoots = buds * block.bud_bias * np.exp(shoots_per_bud)
        return np.exp(clusters_per_shoot) * (shoots + NONCOUNT_FERTILITY * np.exp(noncount))

    m_s, m_f, m_u = map(centre, ("shoots_per_bud", "clusters_per_shoot", "noncount_shoots"))
    noncount = m_u + moved("noncount_shoots")
    shoots = m_s + moved("shoots_per_bud") + settled("burst") + first("burst")
    fertility = m_f + moved("clusters_per_shoot") + settled("fertility") + first("fertility")
    now = clusters(np.exp(planned), shoots, fertility, noncount)
    at_carried = clusters(np.exp(carried), m_s + settled("burst"), m_f + settled("fertility"), m_u)
    at_reference = clusters(np.exp(reference), m_s, m_f, m_u)
    weight = np.exp(
        centre("cluster_weight_g")
        + moved("cluster_weight_g")
        + EXPONENTS["weight"]["settled"] * np.log(at_carried / at_reference)
        + EXPONENTS["weight"]["first"] * np.log(now / at_carried)
    )
    wood = np.exp(
        centre("pruning_weight_kg_per_m")
        + moved("pruning_weight_kg_per_m")
        + settled("pruning")
        + first("pruning")
    )
    factor = np.exp(centre("increase_factor") + moved("increase_factor"))
    share = np.exp(centre("veraison_share") + moved("veraison_share"))
    recovery = min(np.exp(centre("recovery") + moved("recovery")), RECOVERY_CAP)
    kg = now * weight / 1000
    return {
        "plan_buds": float(np.exp(planned)),
        "buds_per_vine": float(np.exp(planned) * block.bud_bias),
        "shoots_per_bud": float(np.exp(shoots)),
        "shoots_per_vine": float(np.exp(planned + shoots) * block.bud_bias),
        "clusters_per_shoot": float(np.exp(fertility)),
        "noncount_shoots": float(np.exp(noncount)),
        "clusters_per_vine": float(now),
        "cluster_weight_g": float(weight),
        "increase_factor": float(factor),
        "lag_weight_g": float(weight / factor),
        "veraison_weight_g": float(weight * share),
        "kg_per_vine": float(kg),
        "recovery": float(recovery),
        "tonnes": float(block.bearing_vines * kg * recovery / 1000),
        "pruning_weight_kg_per_m": float(wood),
    }
