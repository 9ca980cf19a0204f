"""Random streams: one for each seed and name, whatever else is drawn."""

from hashlib import sha256

import numpy as np


def stream(seed, *names):
    """Return the random stream that belongs to a seed and names, whatever else is drawn.

    Parameters
    ----------
    seed : int
        The user's seed [1].
    *names : str
        Name of the block or of the shared part; several are told apart by their order.
    """
    text = "|".join(str(name) for name in names)
    mark = int.from_bytes(sha256(text.encode()).digest()[:8], "big")
    return np.random.default_rng(np.random.SeedSequence([int(seed), mark]))
