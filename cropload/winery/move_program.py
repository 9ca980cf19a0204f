"""Moves of picking days as a mixed-integer program over a sample of seasons (scipy's HiGHS)."""

import numpy as np

#: Most seasons of the program, with tanks and presses too, and fewest of either [1].
_SAMPLED, _WITH_CELLAR, _FEWEST, _FEWEST_CELLAR = 100, 24, 20, 8
#: Most block-days times seasons [1]; with tanks and presses, days and kinds times seasons.
_LARGEST, _LARGEST_CELLAR = 120_000, 24_000
#: Longest that it may take [s].
_SECONDS = 10.0


class _Program:
    """A linear program that grows by variables, rows and what stands in them."""

    def __init__(self):
        self.cost, self.low, self.high = [], [], []
        self.at, self.to, self.values = [], [], []
        self.size, self.count = 0, 0

    def variables(self, shape, cost=0.0):
        """Return the numbers of new variables, each 0 or more."""
        found = self.size + np.arange(int(np.prod(shape))).reshape(shape)
        self.size += found.size
        self.cost.append(np.broadcast_to(cost, shape).ravel())
        return found

    def rows(self, shape, low=-np.inf, high=np.inf):
        """Return the numbers of new rows, between two bounds."""
        found = self.count + np.arange(int(np.prod(shape))).reshape(shape)
        self.count += found.size
        for bounds, given in ((self.low, low), (self.high, high)):
            bounds.append(np.broadcast_to(given, shape).ravel())
        return found

    def put(self, rows, variables, values=1.0):
        """Let variables stand in rows, with factors."""
        rows, variables, values = np.broadcast_arrays(rows, variables, values)
        self.at.append(rows.ravel())
        self.to.append(variables.ravel())
        self.values.append(values.ravel())

    def put_some(self, rows, variable, values):
        """Let one variable stand in the rows where its factor is not 0."""
        some = values != 0
        self.put(rows[some], variable, values[some])

    def best(self, whole):
        """Return the answer of HiGHS; the first ``whole`` variables are 0 or 1."""
        from scipy.optimize import Bounds, LinearConstraint, milp
        from scipy.sparse import coo_array

        entries = (np.concatenate(self.at), np.concatenate(self.to))
        matrix = coo_array((np.concatenate(self.values), entries), shape=(self.count, self.size))
        binary = np.arange(self.size) < whole
        return milp(
            np.concatenate(self.cost),
            constraints=LinearConstraint(
                matrix.tocsr(), np.concatenate(self.low), np.concatenate(self.high)
            ),
            integrality=binary,
            bounds=Bounds(0, np.where(binary, 1, np.inf)),
            options={"time_limit": _SECONDS},
        )


def solve(search):
    """Return a choice of moves, the least that any can cost, and the seasons; None if too big.

    Parameters
    ----------
    search : MoveSearch
        What may move, against what.

    Returns
    -------
    (dict or None, float, ndarray) or None

    Notes
    -----
    Fruit may be turned away, put into tanks and pressed in any order, and every price is that of
    the search, so that no choice of moves costs less in these seasons than its bound.
    """
    windows, rows, costs = search.windows, search.rows, search.costs
    ways, known = sum(map(len, windows.values())), search.fixed.counted.shape[1]
    seasons = min(_SAMPLED, known, _LARGEST // max(ways, 1))
    if search.has_cellar:
        kinds = len(search.fixed.arrives) * (1 + len(search.tanks[0]) + len(search.presses[0]))
        seasons = min(seasons, _WITH_CELLAR, _LARGEST_CELLAR // max(search.days * kinds, 1))
    if seasons < min(_FEWEST_CELLAR if search.has_cellar else _FEWEST, known):
        return None
    places = np.linspace(0, known - 1, seasons).astype(int)
    program = _Program()
    moves = [program.variables(len(steps), search.cost[b]) for b, steps in windows.items()]
    one = program.rows(len(windows), 1, 1)
    program.put(np.repeat(one, [*map(len, moves)]), np.concatenate(moves))
    booked = costs["outside"] < costs["short"]

    def short(shape):
        """Return variables of fruit over limits (limits, seasons), priced by the season."""
        over = program.variables(shape, 0.0 if booked else costs["short"] / seasons)
        if booked:
            without = program.variables(shape, costs["short"] / seasons)
            room = program.variables((shape[0], 1), costs["outside"])
            apart = program.rows(shape, low=0.0)
            program.put(apart, without)
            program.put(apart, room)
            program.put(apart, over, -1.0)
        return over

    over = short((len(rows.limit), seasons))
    high = rows.limit[:, None] - search.fixed.counted[:, places]
    held = program.rows(over.shape, high=high)
    # What a row turns away, and what the rows within it do, is taken off what it counts.
    for row in range(len(rows.limit)):
        for other in (row, *rows.inside[row]):
            program.put(held[row], over[other], -1.0)
    arrivals = {}
    if search.has_cellar:
        arrivals = _cellar(program, search, places, short)
    for block, numbers in zip(windows, moves, strict=True):
        of_block = search.moved(block, windows[block]).of(places)
        for step, number in enumerate(numbers):
            program.put_some(held[of_block.places], number, of_block.counted[step])
            for came in arrivals.get(search.varieties[block], ()):
                program.put_some(came, number, -of_block.arrives[search.varieties[block]][step])
    answer = program.best(ways)
    bound = answer.get("mip_dual_bound")
    if bound is None or not np.isfinite(bound):
        return None
    chosen = None
    if answer.x is not None:
        chosen = {b: int(answer.x[n].argmax()) for b, n in zip(windows, moves, strict=True)}
    return chosen, float(bound), places


def _cellar(program, search, places, short):
    """Add tanks and presses; return {variety: rows (days, seasons) that its fruit arrives in}."""
    shape, found = (search.days, len(places)), {}
    (tanks, fits), (presses, pressed) = search.tanks, search.presses
    come = {variety: each[:, places] for variety, each in search.fixed.arrives.items()}
    if tanks:
        room = [program.rows(shape, high=each[1]) for each in tanks]
        total = program.rows((1, len(places)), low=0.0)
        program.put(total, short((1, len(places))))
        for variety, places_of in fits.items():
            if not places_of:
                continue
            came = program.rows(shape, low=come[variety])
            left = program.variables(shape)
            program.put(came, left)
            program.put(np.broadcast_to(total, shape), left, -1.0)
            for at in places_of:
                _, _, days, kg = tanks[at]
                into = program.variables(shape)
                program.put(came, into)
                for held in range(min(days, search.days)):
                    program.put(room[at][held:], into[: search.days - held], 1000 / kg)
            found.setdefault(variety, []).append(came)
    if presses:
        room = [program.rows(shape, high=each[1]) for each in presses]
        for variety, places_of in pressed.items():
            if not places_of:
                continue
            came = program.rows(shape, low=come[variety])
            waits = program.variables(shape, search.costs["wait"] / len(places))
            program.put(came, waits)
            program.put(came[1:], waits[:-1], -1.0)
            for at in places_of:
                done = program.variables(shape)
                program.put(came, done)
                program.put(room[at], done)
            found.setdefault(variety, []).append(came)
    return found
