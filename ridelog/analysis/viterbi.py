"""The most likely path of states through time, exactly, without a Python step per sample.

Staying in a state is free and every change of state costs the same (a Potts model). The path is cut into blocks of
equal length that are worked side by side: a first pass finds, for each block, the cheapest way from every state before
it to every state at its end; chaining these small tables gives the true costs at all block ends; a second pass, now
with the right start, keeps the decisions, from which the path is read backwards. About 4 sqrt(n) steps on small arrays.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Costs = npt.NDArray[np.float64]
Path = npt.NDArray[np.int8]


def cheapest_path(cost: Costs, change_cost: float) -> Path:
    """State at each time that makes the sum of `cost[time, state]` and `change_cost` a change smallest.

    `cost` is finite, (times, states). Ties go to the lower state, and to staying.
    """
    times, states = cost.shape
    if times == 0:
        return np.zeros(0, dtype=np.int8)
    length = max(1, int(np.sqrt(times)))
    blocks = -(-times // length)
    padded = np.zeros((blocks * length, states))
    padded[:times] = cost
    # step by step over time inside a block, all blocks at once; blocks last, so that they lie side by side in memory
    table = np.ascontiguousarray(padded.reshape(blocks, length, states).transpose(1, 2, 0))

    through = np.full((states, states, blocks), np.inf)  # from state, to state
    through[np.arange(states), np.arange(states)] = 0.0
    for step in range(length):
        leave = through.min(axis=1) + change_cost
        np.minimum(through, leave[:, None, :], out=through)
        through += table[step]

    starts = np.zeros((states, blocks))
    for block in range(blocks - 1):
        ahead = (starts[:, block, None] + through[:, :, block]).min(axis=0)
        starts[:, block + 1] = ahead - ahead.min()

    value = starts
    stay = np.empty((length, states, blocks), dtype=np.bool_)
    best = np.empty((length, blocks), dtype=np.int8)
    for step in range(length):
        best[step] = value.argmin(axis=0)
        leave = value.min(axis=0) + change_cost
        np.less_equal(value, leave, out=stay[step])
        value = np.minimum(value, leave) + table[step]
    return _read_back(stay, best, int(value[:, -1].argmin()))[:times]


def _read_back(stay: npt.NDArray[np.bool_], best: Path, last: int) -> Path:
    """The path, given at each step whether a state was stayed in and which state was cheapest before it."""
    length, states, blocks = stay.shape
    # backwards from every possible end of every block at once; which end was the true one is known only afterwards
    state = np.tile(np.arange(states, dtype=np.int8)[:, None], (1, blocks))
    columns = np.arange(blocks)
    paths = np.empty((length, states, blocks), dtype=np.int8)
    for step in range(length - 1, -1, -1):
        paths[step] = state
        kept = stay[step][state, columns]
        state = np.where(kept, state, best[step])
    ends = np.empty(blocks, dtype=np.int64)
    ends[-1] = last
    for block in range(blocks - 1, 0, -1):
        ends[block - 1] = state[ends[block], block]
    return np.ascontiguousarray(paths[:, ends, columns].T).reshape(-1)
