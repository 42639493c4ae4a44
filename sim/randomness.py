"""Named random streams: one per purpose, so that no change in one room moves another room's draws.

Reference: NumPy documentation, "Parallel random number generation" (SeedSequence and spawn keys).
"""

from __future__ import annotations

from types import MappingProxyType

import numpy as np

__all__ = ["STREAMS", "random_stream"]

STREAMS = MappingProxyType(
    {
        "arrivals": 0,
        "aisles": 1,
        "bays": 2,
        "handling": 3,
        "doors": 4,
        "fleet": 5,
        "sensing": 6,
        "volume": 7,
        "tiers": 8,
        "dwell": 9,
        "trailers": 10,
        "battery": 11,
        "live": 20,
        "dead sensors": 21,
        "area people": 30,
        "area sensing": 31,
        "area dead sensors": 32,
    }
)
"""Stream name to its fixed number.  Numbers are never reused or renumbered."""


def random_stream(seed: int, replication: int, stream: str, *substream: int) -> np.random.Generator:
    """Return the generator of one purpose in one replication.

    Parameters
    ----------
    seed : the scenario's seed, any integer >= 0 (0 is a seed like any other)
    replication : number of the replication, from 0
    stream : a name in `STREAMS`
    substream : further numbers where one purpose has several independent users (work items, types)

    Raises
    ------
    KeyError : the stream's name is unknown

    Examples
    --------
    >>> float(random_stream(11, 0, "bays").random()) == float(random_stream(11, 0, "bays").random())
    True
    """
    key = (replication, STREAMS[stream], *substream)
    return np.random.default_rng(np.random.SeedSequence(seed, spawn_key=key))
