"""Random streams: one for each name and seed, whatever else is drawn."""

import numpy as np


def stream(seed, name):
    """Return the random stream that belongs to a name, whatever else is drawn.

    Parameters
    ----------
    seed : int
        The user's seed [1].
    name : str
        Name of the block or of the shared part.
    """
    from hashlib import sha256

    mark = int.from_bytes(sha256(name.encode()).digest()[:8], "big")
    return np.random.default_rng(np.random.SeedSequence([seed, mark]))
