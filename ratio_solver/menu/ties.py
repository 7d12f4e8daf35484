"""Answers that are equally good: which of them is given, and which of them a price belongs to.

The cost of a dish is a function of the bound b of a limit on a quotient. Its slope at b is the multiplier of the
limit's row times the denominator of the quotient, and where several answers are best, the slope to the right is
that of the best answer with the least denominator (of a maximum: the greatest; `ratio_solver.lp.parametric`). Among
best answers the denominator differs only where foods that are equally good at b are not so at another bound: an
oil and a sugar at exactly 1:1, say. Then one more stack looks for the best answer with that denominator.
"""

from __future__ import annotations

import numpy as np

from ratio_solver.lp.bounded_vertices import vertices
from ratio_solver.lp.model import Floats
from ratio_solver.lp.stack import Bools, Ints, StackSolution, free_less_tight, solve_on_faces
from ratio_solver.menu.arrays import MenuArrays
from ratio_solver.menu.moves import NANO, Moves, free_weights, still_weights
from ratio_solver.menu.rows import MenuRows
from ratio_solver.solving.formulation import roots

LOOSE = 1e-6
"""How far a weight can be off that is the solver's alone, g."""


def ties_broken(menu: MenuArrays, moves: Moves, found: StackSolution, tied: Bools) -> StackSolution:
    """Among equally good answers those in which the first listed moves: a second stack, on the best faces."""
    adjustable = ~np.isnan(menu.high)
    before = np.cumsum(adjustable) - adjustable
    nth = before - before[menu.first[:-1]][menu.owner]
    weights = np.array([float(root) for root in roots(int(nth.max(initial=0)) + 1)])[nth]
    return solve_on_faces(moves.stack, found, _both_ways(moves, weights, weights), tied)


def _both_ways(moves: Moves, up: Floats, down: Floats) -> Floats:
    """A cost of the variables from what a gram of each weight costs up and down."""
    cost = np.zeros(len(moves.stack.cost))
    for places, each in ((moves.up, up), (moves.down, down)):
        cost[places[places >= 0]] = each[places >= 0]
    return cost


def divisors(menu: MenuArrays, rows: MenuRows, moves: Moves, found: StackSolution, tied: Bools,
             nano: Ints) -> tuple[Floats, Floats]:
    """Denominator of the quotient of each row at the answer that its price belongs to, and how far it can be off.

    Parameters
    ----------
    found : StackSolution
        Before ties are broken.
    tied : ndarray of bool, shape (recipes,)
        Recipes with more than one best answer.
    nano : ndarray of int, shape (ingredient rows,)
        The answer given.

    Returns
    -------
    divisor, error : ndarray, shape (rows,)
        An infinite error where this way of reckoning cannot tell.
    """
    divisor, error = rows.total(rows.below * (nano / NANO)[rows.ingredient]) + rows.constant, np.zeros(len(rows.owner))
    apart = _apart(rows, moves, found) & tied[rows.owner]
    if not apart.any():
        return divisor, error
    toward = rows.sign[rows.row] * np.where(apart[rows.row], rows.below, 0.0)
    grams = np.bincount(rows.ingredient, toward, minlength=len(menu.owner)).astype(float)
    several = np.bincount(rows.owner[apart], minlength=menu.count)
    ended = solve_on_faces(moves.stack, found, _both_ways(moves, grams, -grams), several > 0)
    weights, off = _weights(menu, rows, moves, ended)
    lost = ended.missed | (several > 1)
    there = rows.total(rows.below * weights[rows.ingredient]) + rows.constant
    doubt = np.where(lost[rows.owner], np.inf, rows.total(rows.below * off[rows.ingredient]))
    other = apart & ~(np.abs(there - divisor) <= np.where(lost[rows.owner], 0.0, doubt))
    return np.where(other, there, divisor), np.where(other, doubt, error)


def _apart(rows: MenuRows, moves: Moves, found: StackSolution) -> Bools:
    """Tight rows whose denominator may not be the same in all best answers.

    It is the same where a unit of what each free food does for the row takes the same share of the denominator;
    else it may still be, where another tight row holds those foods together that differ.
    """
    rise, fall = free_weights(moves, found)
    inside = found.tight[rows.row] & (rise | fall)[rows.ingredient]
    entries = inside & (rows.value != 0)
    row, share = rows.row[entries], rows.below[entries] / rows.value[entries]
    least, most = np.full(len(rows.owner), np.inf), np.full(len(rows.owner), -np.inf)
    np.minimum.at(least, row, share)
    np.maximum.at(most, row, share)
    apart = (most > least) & (most - least > 1e-9 * (1 + np.abs(most)))
    apart[rows.row[inside & (rows.value == 0) & (rows.below != 0)]] = True  # a food whose own quotient is the bound
    return np.asarray(apart)


def _weights(menu: MenuArrays, rows: MenuRows, moves: Moves, found: StackSolution) -> tuple[Floats, Floats]:
    """Weights of an answer, g, and how far each can be off: those of a vertex, else what the solver says."""
    rise, fall = free_weights(moves, found)
    corner = vertices(menu.count, menu.owner, rows.owner, rows.row, rows.ingredient, rows.value, rows.right,
                      np.zeros(len(menu.owner)), rise | fall, found.tight, still_weights(menu, moves, found))
    values = np.append(found.values, 0.0)
    said = moves.base + values[moves.up] - values[moves.down]
    known = corner.known & (free_less_tight(moves.stack, found) == 0)
    return np.where(known[menu.owner], corner.values, said), np.where(known[menu.owner], corner.error, LOOSE)
