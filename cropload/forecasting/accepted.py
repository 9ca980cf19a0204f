"""What was learned on the estate and accepted, as a forecast of a later season takes it.

The same seasons must not speak twice. A figure that was learned from the seasons up to one stands
in place of the handbook's; in those seasons it is then taken as known but for its spread, so they
teach the other components, and not that figure again.
"""

from dataclasses import dataclass, replace

import numpy as np

from cropload.forecasting import beliefs as engine
from cropload.forecasting.measured import node_profile
from cropload.records.learned import PROFILES, Entry, read_learned
from cropload.vine.growth import COMPONENTS, STAGES, NodeProfile
from cropload.vine.load_response import RESPONSES

#: Component that one stage alone measures -> that stage.
INSTRUMENTS = {
    "counting_bias": "clusters",
    "increase_factor": "weight_lag",
    "ripening_factor": "weight_veraison",
    "recovery": "harvest",
}


@dataclass(frozen=True)
class Accepted:
    """What was accepted and holds in a season: all of it was learned in earlier ones."""

    entries: tuple[Entry, ...] = ()

    def __bool__(self):
        return bool(self.entries)

    def _of(self, topic):
        return [entry for entry in self.entries if entry.topic == topic]

    def component(self, name, variety):
        """Return the entry of a component of a variety, or None."""
        for entry in self.entries:
            if (entry.topic, entry.name, entry.variety) == ("component", name, variety):
                return entry
        return None

    def prior(self, variety, mean, spread):
        """Return prior means and spreads of the logs with what was learned in their place [1]."""
        mean, spread = np.array(mean), np.array(spread)
        for at, name in enumerate(COMPONENTS):
            entry = self.component(name, variety)
            if entry is not None:
                mean[at], spread[at] = np.log(entry.value), entry.spread
        return mean, spread

    @property
    def counters(self):
        """{counter: (log of the bias, its spread)} [1]."""
        return {e.name: (float(np.log(e.value)), e.spread) for e in self._of("counter")}

    def profile(self, records, variety, facts):
        """Return the node profile of a variety and the shoots examined, as ``node_profile``.

        Fertility counted since the profile was learned moves it further.
        """
        for entry in self._of("profile"):
            if entry.name == variety:
                lists = (np.array(values) for values in entry.profile)
                base = NodeProfile(**dict(zip(PROFILES, lists, strict=True)))
                table = records.fertility
                later = replace(records, fertility=table[table["season"] > entry.through])
                return node_profile(later, variety, facts, base)
        return node_profile(records, variety, facts)

    def responses(self):
        """Return means, spreads and last seasons of the load responses' normals, (3, responses).

        The handbook's are 0 and 1, learned in no season.
        """
        found = np.repeat([[0.0], [1.0], [0.0]], len(RESPONSES), axis=1)
        for entry in self._of("load"):
            found[:, RESPONSES.index(entry.name)] = entry.value, entry.spread, entry.through
        return found

    def fold(self, grid, season, varieties, spreads):
        """Return the engine's grid with what was learned in it.

        Parameters
        ----------
        grid : Grid
            As the handbook would have it, but for the prior means.
        season : int
            Year of its last season.
        varieties : sequence of str
            Names, in the order of ``grid.variety``.
        spreads : ndarray, shape (groups, components)
            Standard deviations of the effects about a variety's mean [1].
        """
        if not self:
            return grid
        rows, values, precision = grid.rows.copy(), grid.values.copy(), grid.precision.copy()
        years = season - np.arange(grid.rows.shape[1])[::-1]
        about = (spreads**2).sum(0)
        for at, name in enumerate(varieties):
            members = np.flatnonzero(grid.variety == at)
            for component, stage in INSTRUMENTS.items():
                entry = self.component(component, name)
                if entry is None:
                    continue
                k, s = COMPONENTS.index(component), STAGES.index(stage)
                cells = np.ix_(members, np.flatnonzero(years <= entry.through), [s])
                places = (*cells[:2], s, k)
                values[cells] -= rows[places] * np.log(entry.value)
                variance = (about[k] + entry.spread**2) * rows[places] ** 2
                precision[cells] /= 1 + precision[cells] * variance
                rows[places] = 0.0
        mean, spread, through = self.responses()
        shift = grid.responses()
        if self._of("load"):
            values -= np.einsum("btsk,btkr,r->bts", grid.rows, shift, mean)
            open_still = years[:, None] > through
            shift = shift * (open_still * spread)[None, :, None, :]
        return replace(grid, rows=rows, values=values, precision=precision, response=shift)

    def shift(self, grid):
        """Return the last season's response shift of a folded grid in the handbook's scale."""
        return grid.responses()[:, -1] / self.responses()[1]

    def posterior(self, found):
        """Return the posterior of what blocks share with the load responses in their own scale."""
        if not self._of("load"):
            return found
        mean, spread, _ = self.responses()
        start = found.shared.effects
        centre, root = found.mean.copy(), found.root.copy()
        centre[start:] = mean + spread * centre[start:]
        root[start:] *= spread[:, None]
        return engine.SharedPosterior(found.shared, centre, root, found.normals)

    def believed(self, found, posterior):
        """Return beliefs that belong to the posterior that ``posterior`` gave."""
        if not self._of("load"):
            return found
        load = found.load.copy()
        own = load.shape[-1] - len(RESPONSES)
        load[..., own:] /= self.responses()[1]
        return replace(found, load=load, posterior=posterior)

    def notes(self, varieties=(), counters=()):
        """Return sentences on what was learned here that no component's origin tells.

        Parameters
        ----------
        varieties : collection of str
            Varieties at hand.
        counters : collection of str
            Those whose counts are used.
        """
        notes = []
        for entry in self._of("counter"):
            if entry.name in counters:
                off = 100 * (entry.value - 1)
                word = "more" if off >= 0 else "fewer"
                notes.append(
                    f"Clusters counted by {entry.name} are corrected: {abs(off):.1f} % {word} than "
                    f"by all, {detail(entry)}."
                )
        names = [e for e in self._of("profile") if e.name in varieties]
        notes += [f"Node profile of {e.name}: {detail(e)}." for e in names]
        loads = self._of("load")
        if loads:
            words = ", ".join(e.name for e in loads)
            notes.append(f"Response to the load ({words}): {detail(loads[0])}.")
        return tuple(notes)


def span_words(entry):
    """Return which seasons taught an accepted figure, in words."""
    plural = "" if entry.seasons == 1 else "s"
    return f"{entry.seasons} season{plural} up to {entry.through}"


def detail(entry):
    """Return where an accepted figure comes from, in words."""
    return f"learned on this estate from {span_words(entry)}"


#: Nothing accepted: the handbook and the records alone.
NOTHING = Accepted()


def accepted_before(records, season):
    """Return what was accepted for these records and learned before a season.

    Parameters
    ----------
    records : Records
        Their folder may hold ``learned.toml``.
    season : int
        Year of the harvest that is forecast. What this or a later season taught does not speak.

    Raises
    ------
    RecordsError
        When ``learned.toml`` is not what it should be.
    """
    return Accepted(tuple(e for e in read_learned(records.path) if e.through < season))
