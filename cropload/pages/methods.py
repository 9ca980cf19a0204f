"""What the methods page shows: figures read live, examples to change, kept results, words."""

from dataclasses import dataclass
from importlib.resources import files

import ipywidgets as widgets
import numpy as np
import pandas as pd

from cropload import arguments, handbook
from cropload.arguments import check_arguments
from cropload.errors import CroploadError, near
from cropload.show.panels import parts
from cropload.show.panels.fields import field
from cropload.show.table import FIGURE, NUMBER, SHARE, WHOLE, Column, Table

#: How well ranges held in invented worlds, as ``tests/benchmarks/scoreboard.py --keep`` wrote it.
KEPT = "methods_scoreboard.csv"
#: The posterior beside a Bayesian package, as ``tests/beliefs/second_eyes.py`` wrote it.
SECOND_EYES = "methods_second_eyes.csv"
#: Component of the chain -> its words.
_PARTS = {
    "shoots_per_bud": "shoots a bud",
    "clusters_per_shoot": "clusters a shoot",
    "cluster_weight_g": "cluster weight",
    "recovery": "share that reaches the scale",
    "noncount_shoots": "shoots from old wood",
}
#: World of the scoreboard -> what is in it.
WORLDS = {
    "steady": "nothing odd",
    "plan_change": "blocks change their plan",
    "heavy_tails": "odd seasons are frequent",
    "drift": "blocks rise or fall year by year",
    "drift_noisy": "the same, among noisy seasons",
    "volatile": "one block swings far more",
    "loss_unmarked": "crops are lost, nobody wrote it down",
    "loss_marked": "crops are lost, and marked",
    "load_response": "each block answers to the load in its own way",
    "alternate": "heavy and light years take turns",
    "low_counter": "one counter misses clusters",
    "lag_days": "lots are weighed too early",
    "two_seasons": "two seasons on record",
    "no_plan": "no plan on record",
}
#: Words of the trade, as the catalogues know them, in the order of the vine and of the year.
TERMS = (
    "bud",
    "basal bud",
    "node",
    "cane",
    "spur",
    "renewal spur",
    "head",
    "cordon",
    "trunk",
    "shoot",
    "shoot from old wood",
    "cluster",
    "berry",
    "vine",
    "missing vine",
    "row",
    "block",
    "budburst",
    "flowering",
    "lag phase",
    "veraison",
    "harvest",
    "crop",
    "prunings",
    "pruning weight",
    "leaf area",
    "cluster thinning",
    "spring frost",
    "winter bud damage",
)

_above = arguments.number(0, above=True)
_share = arguments.number(0, 1)


@dataclass(frozen=True, eq=False, repr=False)
class Told:
    """A table under a sentence, for a notebook and for a terminal.

    Attributes
    ----------
    words : str
        The sentence.
    table : Table
    frame : DataFrame
        The same figures, to work with.
    """

    words: str
    table: Table
    frame: pd.DataFrame

    @classmethod
    def of(cls, words, frame, columns):
        """Return what a frame says; ``columns`` are pairs as ``Table.of`` takes them."""
        return cls(words, Table.of("methods", "", frame.to_dict("records"), columns), frame)

    def __str__(self):
        from cropload.show.terminal import paragraph

        return f"{paragraph(self.words)}\n\n{self.table.text(width=80)}".lstrip()

    __repr__ = __str__

    def _repr_html_(self):
        said = parts.note(self.words) if self.words else ""
        return f"{said}{self.table.html()}"


def style():
    """Return the look of the tables, once for a notebook."""
    return parts.html(parts.STYLE)


class Try(widgets.VBox):
    """Boxes for what an example is given, and what it then says.

    Parameters
    ----------
    example : callable
        Returns a ``Told``.
    **start : text or number
        What the boxes hold at first, by argument.
    """

    def __init__(self, example, **start):
        self.example, self.said = example, parts.html()
        self.boxes = {
            name: field(_label(name), width="14em", value=value)
            if isinstance(value, str)
            else parts.number_box(_label(name), value)
            for name, value in start.items()
        }
        super().__init__([parts.row(*self.boxes.values()), self.said])
        for box in self.boxes.values():
            box.observe(lambda _: self.follow(), "value")
        self.follow()

    @parts.guarded
    def follow(self):
        """Say what the example makes of the boxes."""
        given = {name: box.value for name, box in self.boxes.items()}
        self.said.value = self.example(**given)._repr_html_()

    def fail(self, text):
        """Say what is wrong with the boxes."""
        self.said.value = parts.error(text)


def _label(name):
    words = _PARTS.get(name) or name.removesuffix("_m").removesuffix("_c").replace("_", " ")
    unit = " [m]" if name.endswith("_m") else " [°C]" if name.endswith("_c") else ""
    return f"{words}{unit}"


def figures(*names):
    """Return figures of the handbook as they stand, with unit, range, grade and source.

    Parameters
    ----------
    *names : str
        Keys, or the beginnings of keys, such as ``"prior"``.

    Raises
    ------
    HandbookError
        For a name that the handbook does not know.
    """
    keys = [key for name in names for key in handbook.keys(f"{name}.") or [name]]
    rows = []
    for key in keys:
        entry = handbook.entry(key)
        value = entry.value
        if isinstance(value, list):
            value = ", ".join(f"{each:g}" for each in value)
        elif value is not None:
            value = f"{value:.4g}"
        ends = "" if entry.low is None else f"{entry.low:.4g} to {entry.high:.4g}"
        rows.append(
            {
                "key": key,
                "value": value or ends or "a rule",
                "spread": entry.spread,
                "unit": "" if entry.unit == "1" else entry.unit,
                "grade": handbook.GRADES[entry.grade],
                "sources": ", ".join(entry.sources),
                "why": entry.note,
            }
        )
    return Told.of(
        "",
        pd.DataFrame(rows),
        (
            (Column("figure"), "key"),
            (Column("value"), "value"),
            (Column("unit"), "unit"),
            (Column("spread", FIGURE, places=2), "spread"),
            (Column("grade"), "grade"),
            (Column("source"), "sources"),
            (Column("why"), "why"),
        ),
    )


@check_arguments(spacing_m=_above, canopies=arguments.whole(1), variety=arguments.label)
def one_vine(plan="3x8+3x2", spacing_m=1.5, canopies=1, variety="", **known):
    """Return the chain from the buds of a plan to kilograms, step by step, for one vine.

    Parameters
    ----------
    plan : str or PruningPlan
        Such as ``"3x8+3x2"``.
    spacing_m : float
        Between vines in the row [m].
    canopies : int
        Walls of shoots a row carries [1].
    variety : str
        Its own figures of the handbook, where it has any.
    **known : float
        What is known better: ``shoots_per_bud``, ``clusters_per_shoot``, ``cluster_weight_g``,
        ``recovery``, ``noncount_shoots``, in units of the handbook.

    Raises
    ------
    CroploadError
        For a plan, a spacing or a component that cannot be.

    Notes
    -----
    Middles alone, of a vine that has long carried the plan: a product of middles is the middle of
    a product of log-normals.  Valid for grown vines, on average over a block.
    """
    from cropload.beliefs.spreads import prior_logs
    from cropload.vine.growth import COMPONENTS, settled_move
    from cropload.vine.plan import PruningPlan

    plan, metres = PruningPlan.parse(plan), spacing_m * canopies
    odd = sorted(set(known) - set(_PARTS))
    if odd:
        hint = near(odd[0], _PARTS) or f"They are {', '.join(_PARTS)}."
        raise CroploadError(f"There is no component '{odd[0]}'. {hint}")
    if not plan.buds:
        raise CroploadError("A plan without a bud bears nothing; leave one bud at least.")
    load = np.log(plan.buds / metres / handbook.value("load.reference_buds_per_m"))
    logs = prior_logs(variety)[0] + settled_move(load)
    x = dict(zip(COMPONENTS, np.exp(logs), strict=True))
    x |= {name: _above(name, value) for name, value in known.items()}
    less = handbook.value("noncount.fertility")
    grown, wild = plan.buds * x["shoots_per_bud"], x["noncount_shoots"]
    bearing = grown + less * wild
    clusters = x["clusters_per_shoot"] * bearing
    hanging = clusters * x["cluster_weight_g"] / 1000
    picked = hanging * x["recovery"]
    prunings = x["pruning_weight_kg_per_m"] * metres
    steps = [
        ("buds", "canes x buds + spurs x buds", plan.buds, "a vine"),
        ("shoots of the buds", f"buds x {x['shoots_per_bud']:.2f} shoots a bud", grown, "a vine"),
        ("shoots from old wood", "beside those of the buds counted", wild, "a vine"),
        ("shoot density", f"all shoots / {metres:g} m of canopy", (grown + wild) / metres, "a m"),
        ("shoots that bear", f"shoots + {less:g} x those from old wood", bearing, "a vine"),
        ("clusters", f"x {x['clusters_per_shoot']:.2f} clusters a shoot", clusters, "a vine"),
        ("cluster weight", "at harvest", x["cluster_weight_g"], "g"),
        ("crop on the vine", "clusters x weight / 1000", hanging, "kg"),
        ("crop on the scale", f"x {x['recovery']:.2f} that reaches it", picked, "kg"),
        ("crop to prunings", f"/ {prunings:.2f} kg of prunings", picked / prunings, "kg a kg"),
    ]
    frame = pd.DataFrame(steps, columns=["step", "how", "amount", "unit"])
    return Told.of(
        f"One vine that has long carried {plan}, on {metres:g} m of canopy: the middle of a step.",
        frame,
        (
            (Column("step"), "step"),
            (Column("how"), "how"),
            (Column("amount", FIGURE), "amount"),
            (Column("unit"), "unit"),
        ),
    )


def new_load(old="3x8+3x2", new="4x10+4x2"):
    """Return what a new plan makes of the crop in its first and second season and once settled.

    Parameters
    ----------
    old, new : str or PruningPlan
        The plan long carried, and the one pruned to now.

    Raises
    ------
    CroploadError
        For a plan that cannot be read, or one without a bud.

    Notes
    -----
    ``new / old`` of each step, at the centres of the exponents; the place of the buds on the wood
    is left aside.  Valid between a third and three times the load carried.
    """
    from cropload.vine.growth import exponents
    from cropload.vine.plan import PruningPlan

    buds = [PruningPlan.parse(plan).buds for plan in (old, new)]
    if min(buds) <= 0:
        raise CroploadError("A plan without a bud has no load to compare.")
    # The same sums as the chain's, in the logs.
    ratio, e = np.log(buds[1] / buds[0]), exponents()
    rows = []
    for season, carried in (("first", 0.0), ("second", ratio / 2), ("settled", ratio)):
        changed = ratio - carried
        shoots = ratio + e.burst_settled * carried + e.burst_first * changed
        clusters = shoots + e.fertility_settled * carried + e.fertility_first * changed
        usual = (1 + e.burst_settled + e.fertility_settled) * carried
        weight = e.weight_settled * usual + e.weight_first * (clusters - usual)
        logs = {"buds": ratio, "shoots": shoots, "clusters": clusters, "weight": weight}
        logs["crop"] = clusters + weight
        rows.append({"season": season} | {name: np.exp(log) for name, log in logs.items()})
    told = f"From {old} ({buds[0]:g} buds) to {new} ({buds[1]:g} buds): so many times as much."
    columns = ("buds", "shoots", "clusters", "weight", "crop")
    return Told.of(
        told,
        pd.DataFrame(rows),
        (
            (Column("season on the new plan"), "season"),
            *((Column(name, NUMBER, places=2), name) for name in columns),
        ),
    )


@check_arguments(
    expected=_above, spread=_above, counted=_above, vines=arguments.whole(1), cv=_above
)
def one_count(expected=30.0, spread=0.25, counted=36.0, vines=20, cv=0.35):
    """Return what a count makes of what was believed of one block's clusters a vine.

    Parameters
    ----------
    expected : float
        Middle of what was believed [any unit].
    spread : float
        Standard deviation of its natural logarithm [1].
    counted : float
        Mean of the vines counted [the same unit].
    vines : int
        How many were counted [1].
    cv : float
        Coefficient of variation between vines [1].

    Raises
    ------
    CroploadError
        For a number that is not above zero.

    Notes
    -----
    The conjugate normal update in logs: weights are one over the variances.  The tool does the
    same with all components and blocks at once, with the bias of counting and a finite block.
    """
    noise = np.sqrt(np.log1p((cv**2) / vines))
    weight = 1 / noise**2 / (1 / noise**2 + 1 / spread**2)
    middle = np.exp((1 - weight) * np.log(expected) + weight * np.log(counted))
    after = np.sqrt(1 / (1 / noise**2 + 1 / spread**2))
    from cropload.beliefs.ranges import reach

    z = reach()
    rows = [
        {"what": what, "middle": at, "low": at * np.exp(-z * sd), "high": at * np.exp(z * sd)}
        for what, at, sd in (
            ("believed before", expected, spread),
            ("the count alone", counted, noise),
            ("believed after", middle, after),
        )
    ]
    return Told.of(
        f"The count has {100 * weight:.0f} % of the say; what is left of the spread is "
        f"{after / spread:.2f} of it.",
        pd.DataFrame(rows),
        (
            (Column("clusters a vine"), "what"),
            (Column("middle", FIGURE), "middle"),
            (Column("low end, 8 in 10", FIGURE), "low"),
            (Column("high end", FIGURE), "high"),
        ),
    )


@check_arguments(low_c=arguments.number(-40, 40), secondary_share=arguments.optional(_share))
def one_night(low_c=-2.5, secondary_share=None):
    """Return what a night leaves of the shoots, and of the crop, at each stage of the spring.

    Parameters
    ----------
    low_c : float
        Lowest temperature at the shoot [C].
    secondary_share : float, optional
        Crop of a secondary shoot beside a primary one's [1]; the handbook's when left out.

    Raises
    ------
    CroploadError
        For a share outside 0 to 1.

    Notes
    -----
    Valid as ``KillCurve``: tissue temperature on one night, modified E-L 1 to 11.
    """
    from cropload.vine.weather.kill import KillCurve, crop_index_after_kill

    share = (
        handbook.value("frost.secondary_share.default")
        if secondary_share is None
        else secondary_share
    )
    curve = KillCurve.from_handbook()
    rows = [
        {"stage": stage, "half": curve.lt50(stage), "killed": float(curve.killed(low_c, stage))}
        for stage in curve.stages
    ]
    frame = pd.DataFrame(rows)
    frame["crop"] = crop_index_after_kill(frame["killed"], share)
    return Told.of(
        f"A night of {low_c:g} °C, secondary shoots bearing {share:.0%} of a primary's crop.",
        frame,
        (
            (Column("stage (modified E-L)", NUMBER, places=0), "stage"),
            (Column("half are killed at", NUMBER, "", "°C", 1), "half"),
            (Column("shoots killed", SHARE), "killed"),
            (Column("crop left", SHARE), "crop"),
        ),
    )


def scoreboard():
    """Return the kept results of forecasts on invented worlds, as a DataFrame.

    Returns
    -------
    DataFrame
        world, who (block, total), kept (crops), rmse and rmse_mean [ln], bias [ln], in50 and
        in80 [%]; made (date).
    """
    return pd.read_csv(files("cropload.pages").joinpath(KEPT))


def how_honest(who="block"):
    """Return how often crops of invented worlds fell inside the ranges told before any count.

    Parameters
    ----------
    who : {"block", "total"}
        Single blocks, or an estate's sum.
    """
    kept = scoreboard()
    arguments.one_of("block", "total")("who", who)
    frame = kept[kept["who"] == who].reset_index(drop=True)
    frame["what"] = frame["world"].map(WORLDS).fillna(frame["world"])
    return Told.of(
        f"{'Blocks' if who == 'block' else 'Whole estates'}, forecast before any count on "
        f"{frame['made'].iloc[0]}: share of crops inside the range; error of the middle, and of "
        "the plain mean of past crops, in logarithms.",
        frame,
        (
            (Column("invented world"), "what"),
            (Column("crops", WHOLE), "kept"),
            (Column("inside 8 in 10", NUMBER, "", "%", 0), "in80"),
            (Column("inside 1 in 2", NUMBER, "", "%", 0), "in50"),
            (Column("error", NUMBER, places=3), "rmse"),
            (Column("of the plain mean", NUMBER, places=3), "rmse_mean"),
            (Column("too high by", NUMBER, places=2), "bias"),
        ),
    )


def honest_picture():
    """Draw how many of 100 crops fell inside the range told as 8 in 10, a dot a world.

    Returns
    -------
    Axes
    """
    import matplotlib.pyplot as plt

    frame = how_honest().frame
    _, ax = plt.subplots(figsize=(6.8, 0.27 * len(frame) + 0.9), layout="constrained")
    at = np.arange(len(frame))
    ax.axvspan(75, 88, color="#E8EEF4")
    ax.axvline(80, color="#666666", linewidth=1)
    ax.plot(frame["in80"], at, "o", color="#004b7a")
    ax.set(xlim=(40, 100), xlabel="crops inside the range told as 8 in 10 [%]; wanted: the band")
    ax.set_yticks(at, frame["what"])
    ax.invert_yaxis()
    return ax


def second_eyes():
    """Return forecasts of a small invented estate beside those of a Bayesian package, as kept."""
    frame = pd.read_csv(files("cropload.pages").joinpath(SECOND_EYES))
    frame["what"] = frame["what"].str.removeprefix("crop ")
    first = frame.iloc[0]
    return Told.of(
        f"Crops of four invented blocks [ln kg a vine] and of their sum [ln t], with the spreads "
        f"held, by the engine and by {first['package']} on {first['made']}; then the ranges of 8 "
        "in 10 [t] that the engine tells and those with every spread unknown.",
        frame,
        (
            (Column("block"), "what"),
            (Column("middle", NUMBER, places=3), "mean"),
            (Column("of the package", NUMBER, places=3), "mean_package"),
            (Column("spread", NUMBER, places=3), "sd"),
            (Column("of the package", NUMBER, places=3), "sd_package"),
            *(
                (Column(words, NUMBER, "", "t", 2), name + of)
                for of, added in (("", ""), ("_full", ", spreads unknown"))
                for name, words in (("p10", f"low{added}"), ("p90", f"high{added}"))
            ),
        ),
    )


def how_graded():
    """Return how many figures of the handbook have which grade."""
    keys = handbook.keys()
    counts = pd.Series([handbook.entry(key).grade for key in keys]).value_counts()
    frame = pd.DataFrame(
        [{"grade": words, "figures": int(counts.get(g, 0))} for g, words in handbook.GRADES.items()]
    )
    return Told.of(
        f"{int(counts.sum())} figures. A grade says how a figure was found, never how good it is "
        "for a block: counts of one's own are better than any of them.",
        frame,
        ((Column("grade"), "grade"), (Column("figures", WHOLE), "figures")),
    )


def most_moving():
    """Return the twenty assumptions that move a usual answer most, and how far."""
    rows = []
    for key in handbook.most_moving():
        name, low, high = handbook.moves(key)
        entry = handbook.entry(key)
        rows.append({"key": key, "answer": name, "low": low, "high": high, "why": entry.note})
    return Told.of(
        "From the low end of the figure to its high end, one at a time; the strongest first.",
        pd.DataFrame(rows),
        (
            (Column("assumption"), "key"),
            (Column("moves most"), "answer"),
            (Column("at its low end", FIGURE, places=3), "low"),
            (Column("at its high end", FIGURE, places=3), "high"),
            (Column("why it is what it is"), "why"),
        ),
    )


def published():
    """Return published figures beside ours, what is missed included."""
    from cropload.outside.evidence import evidence

    found = evidence()
    return Told.of(
        found.heading(),
        found.frame,
        (
            (Column("figure"), "figure"),
            (Column("source"), "citation"),
            (Column("grade"), "grade"),
            (Column("theirs"), "printed"),
            (Column("ours"), "computed"),
            (Column("inside"), lambda row: "yes" if row["inside"] else "no"),
            (Column("a check"), lambda row: "yes" if row["independent"] else "no, set by it"),
            (Column("why it is missed"), "missed"),
        ),
    )


def glossary():
    """Return the trade's words in the languages of the cards."""
    from cropload.show.languages import LANGUAGES, catalogue

    rows = [
        {code: catalogue(code, "glossary").gettext(term) for code in LANGUAGES} for term in TERMS
    ]
    return Told.of(
        "From memory, not yet read by native speakers of the trade; corrections are welcome.",
        pd.DataFrame(rows),
        tuple((Column(name), code) for code, name in LANGUAGES.items()),
    )
