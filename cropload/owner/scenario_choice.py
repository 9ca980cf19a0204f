"""Which of several pruning scenarios holds up best: what it leaves, and what speaks against it."""

from dataclasses import dataclass

from cropload.vine.bands import OUTSIDE

DENSITY, BALANCE, WOOD, FROST = "density", "balance", "wood", "frost"

#: Figures are held against each other as they are shown: one decimal, and whole per cents of frost.
_STEP = {DENSITY: 0.1, BALANCE: 0.1, WOOD: 0.1, FROST: 0.01}


@dataclass(frozen=True)
class Objection:
    """What speaks against a scenario in one block, beside the first scenario.

    Attributes
    ----------
    block : str
        The block.
    about : str
        ``density``, ``balance``, ``wood`` or ``frost``.
    word : str
        Side of the band, ``below`` or ``above``; empty for wood and frost.
    value, before : float
        The figure with this scenario and with the first one: shoots [1/m], yield to pruning
        weight once settled [kg/kg], places without wood after five winters [1/vine], or mean
        share of the crop that past springs left [1].
    """

    block: str
    about: str
    word: str
    value: float
    before: float


@dataclass(frozen=True)
class Choice:
    """The scenario that holds up best, and why.

    Attributes
    ----------
    by : str
        ``margin`` when there are prices, else ``crop``.
    first, leader, chosen : str
        The first scenario; the one that leaves the most in the mean once settled; and the one
        that leaves the most among those that put no block further out of its bands than the first
        one does.
    rival : str
        The best of the others that have plans of their own; empty when there is none.
    means : dict
        {scenario: settled mean margin [currency] or crop [t]}.
    objections : dict
        {scenario: tuple of Objection}.
    standing : tuple of Objection
        Where the chosen scenario is out of a band as the first one is.
    same_as : dict
        {scenario: an earlier one with the same plan for every block}; they cannot be told apart,
        so only the earliest one of them is ever chosen, leads or comes next.
    """

    by: str
    first: str
    leader: str
    chosen: str
    rival: str
    means: dict
    objections: dict
    standing: tuple
    same_as: dict

    def against(self, name, *about):
        """Return the objections to a scenario, those about some matters only when named."""
        found = self.objections[name]
        return tuple(o for o in found if o.about in about) if about else found


def _worse(about, word, value, word_before, before):
    """Whether a figure is out of its band where the first scenario's was not, or further out."""
    if word not in OUTSIDE:
        return False
    if word != word_before:
        return True
    step = _STEP[about]
    moved = round(value / step) - round(before / step)
    return moved > 0 if word == "above" else moved < 0


def objections(rows, first_rows):
    """Return what speaks against a scenario beside the first one, and what stands with both.

    Parameters
    ----------
    rows, first_rows : list of dict
        A row a block of ``compare_scenarios(...).blocks``, the scenario's and the first one's.

    Returns
    -------
    new, standing : tuple of Objection
    """
    new, standing = [], []
    for row, before in zip(rows, first_rows, strict=True):
        for about, word, value in (
            (DENSITY, "density_word", "shoots_per_m_p50"),
            (BALANCE, "balance_settled_word", "ravaz_settled_p50"),
        ):
            found = Objection(row["block"], about, row[word], row[value], before[value])
            if _worse(about, row[word], row[value], before[word], before[value]):
                new.append(found)
            elif row[word] in OUTSIDE:
                standing.append(found)
        for about, value, sign in (
            (WOOD, "places_short_5_winters", 1),
            (FROST, "frost_mean_share_p50", -1),
        ):
            # A block without weather has no frost figures: NaN, which is never worse.
            if sign * (row[value] - before[value]) >= _STEP[about]:
                new.append(Objection(row["block"], about, "", row[value], before[value]))
    return tuple(new), tuple(standing)


def same_plans(names, plans):
    """Return {scenario: the earliest one with the same plan for every block}.

    Parameters
    ----------
    names : sequence of str
        The scenarios.
    plans : dict
        {scenario: {block: plan}}.
    """
    found = {}
    for at, name in enumerate(names):
        earlier = next((other for other in names[:at] if plans[other] == plans[name]), None)
        if earlier is not None:
            found[name] = earlier
    return found


def choose_scenario(names, blocks, means, by, plans=None):
    """Choose among scenarios.

    Parameters
    ----------
    names : sequence of str
        The scenarios; the first one is what the others are held against.
    blocks : dict
        {scenario: list of dict}, a row a block as in `objections`.
    means : dict
        {scenario: what it leaves once settled, in the mean} [currency or t].
    by : str
        ``margin`` or ``crop``.
    plans : dict, optional
        As in `same_plans`; when left out, all scenarios count as different.

    Returns
    -------
    Choice

    Notes
    -----
    Balance goes before money and crop: the bands are rules of thumb, but a vine that is pushed out
    of them pays later than the draws can tell. Wood and frost are arguments, and decide nothing.
    Valid for two scenarios and more on common draws.
    """
    names = tuple(names)
    found = {name: objections(blocks[name], blocks[names[0]]) for name in names}
    against = {name: new for name, (new, _) in found.items()}
    same_as = same_plans(names, plans) if plans else {}
    own = [name for name in names if name not in same_as]
    held = [n for n in own if not any(o.about in (DENSITY, BALANCE) for o in against[n])]
    chosen = max(held, key=lambda name: means[name])
    return Choice(
        by=by,
        first=names[0],
        leader=max(own, key=lambda name: means[name]),
        chosen=chosen,
        rival=max(
            (name for name in own if name != chosen), key=lambda name: means[name], default=""
        ),
        means=dict(means),
        objections=against,
        standing=found[chosen][1],
        same_as=same_as,
    )
