"""Many small linear programmes in one call of the solver.

    minimise  c1 . x1 + c2 . x2 + ...      each block with rows and bounds of its own

The blocks share nothing, so each part of the joint optimum is optimal for its block. One call costs little
more than its pivots, where fifty calls would mostly cost their set-up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csc_array

from ratio_solver.lp.model import Floats


@dataclass(frozen=True)
class Block:
    """minimise cost . x,  low <= matrix x <= high,  lower <= x <= upper; it must be bounded.

    Attributes
    ----------
    cost, lower, upper : ndarray, shape (variables,)
    matrix : ndarray, shape (rows, variables)
    low, high : ndarray, shape (rows,)
    whole : ndarray of bool, shape (variables,), or None
        Which variables are integers.
    """

    cost: Floats
    matrix: Floats
    low: Floats
    high: Floats
    lower: Floats
    upper: Floats
    whole: NDArray[np.bool_] | None = None


def minimise(blocks: Sequence[Block]) -> list[Floats | None]:
    """A best point of each block; None for one without a feasible point."""
    if not all(len(block.cost) for block in blocks):  # the solver takes no programme without variables
        rest = iter(minimise([block for block in blocks if len(block.cost)]))
        return [next(rest) if len(block.cost) else _nothing(block) for block in blocks]
    if not blocks:
        return []
    joint = _solved(blocks)
    if joint is not None:
        return list(np.split(joint, np.cumsum([len(block.cost) for block in blocks])[:-1]))
    if len(blocks) == 1:
        return [None]
    half = len(blocks) // 2
    return [*minimise(blocks[:half]), *minimise(blocks[half:])]


def _nothing(block: Block) -> Floats | None:
    """The point of a block without variables, where each of its rows says 0 against its ends."""
    return np.zeros(0) if ((block.low <= 0) & (block.high >= 0)).all() else None


def _solved(blocks: Sequence[Block]) -> Floats | None:
    """The blocks side by side, each cost scaled to 1 so that one tolerance suits all."""
    constraints = [] if not any(len(block.low) for block in blocks) else [LinearConstraint(
        _diagonal(blocks),
        np.concatenate([block.low for block in blocks]),
        np.concatenate([block.high for block in blocks]),
    )]
    for presolve in (False, True):
        result = milp(
            np.concatenate([block.cost / (np.abs(block.cost).max(initial=0.0) or 1.0) for block in blocks]),
            bounds=Bounds(np.concatenate([block.lower for block in blocks]),
                          np.concatenate([block.upper for block in blocks])),
            constraints=constraints,
            integrality=np.concatenate([_integrality(block) for block in blocks]),
            options={"presolve": presolve, "mip_rel_gap": 0.0},
        )
        if result.x is not None:
            found: Floats = result.x
            return found
    return None


def _integrality(block: Block) -> NDArray[np.bool_]:
    return np.zeros(len(block.cost), dtype=bool) if block.whole is None else block.whole


def _diagonal(blocks: Sequence[Block]) -> csc_array:
    """The block-diagonal matrix, column by column; blocks often share one matrix, which is read once."""
    read: dict[int, tuple[Floats, Floats, Floats]] = {}
    values, places, counts = [], [], [np.zeros(1)]
    rows = 0
    for block in blocks:
        known = read.get(id(block.matrix))
        if known is None:
            columns, down = np.nonzero(block.matrix.T)
            known = (block.matrix[down, columns], down.astype(np.float64),
                     np.bincount(columns, minlength=block.matrix.shape[1]).astype(np.float64))
            read[id(block.matrix)] = known
        values.append(known[0])
        places.append(known[1] + rows)
        counts.append(known[2])
        rows += len(block.low)
    starts = np.cumsum(np.concatenate(counts)).astype(np.int32)
    return csc_array((np.concatenate(values), np.concatenate(places).astype(np.int32), starts),
                     shape=(rows, len(starts) - 1))
