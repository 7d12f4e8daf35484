"""Whether a model has a point at all, decided in exact arithmetic.

Every row may give way at a price of 1 for each unit of its largest coefficient (`ratio_solver.lp.elastic`). This
programme always has an answer, so no solver can call it infeasible, and its multipliers are those of Farkas (1902):
the bound that they give on the cost "nothing" is above zero only where no point exists. Where the solver's doubles
leave it open, the simplex method in rationals settles it from where they end.

A model with steps is split in two at a stepped variable until every part is shown to have no point, or one has.
"""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction

from ratio_solver.exact import ONE, ZERO, dot
from ratio_solver.lp.basis import basis_at
from ratio_solver.lp.branching import chosen, closed, overfull, tied, to_split
from ratio_solver.lp.certificate import dual_bound
from ratio_solver.lp.elastic import elastic
from ratio_solver.lp.model import Floats, LinearModel, Row, Variable
from ratio_solver.lp.pivots import best_basis
from ratio_solver.lp.solve import Infeasible, solve_lp

MET = 1e-9
"""A total shortfall of this or less, rows scaled to 1, is rounding."""

MOST_PARTS = 256
"""Parts of a model with steps that are looked at before the question is left open."""


def has_point(model: LinearModel, most: int = MOST_PARTS) -> bool | None:
    """Whether any point keeps every row and bound, steps included.

    Parameters
    ----------
    model : LinearModel
        With rows >= and <= alone.
    most : int
        Parts looked at; a model without steps is one.

    Returns
    -------
    bool or None
        False is proven in rationals. True is a point within the solver's tolerance of the rows (1e-7 of their largest
        coefficients). None where it takes more parts to tell.
    """
    parts = [model]
    for _ in range(most):
        part = closed(parts.pop())
        values = _nearest(part)
        if values is not None:
            halves = _halves(part, values)
            if not halves:
                return True
            parts += halves
        if not parts:
            return False
    return None


def proven_infeasible(model: LinearModel, most: int = MOST_PARTS) -> bool:
    """Whether exact arithmetic shows that the model has no point."""
    return has_point(model, most) is False


def _nearest(model: LinearModel) -> Floats | None:
    """None where no point exists, steps or not; else the point with the least total shortfall."""
    if any(map(_empty, model.variables)):
        return None
    if all(variable.lower == variable.upper for variable in model.variables):
        point = tuple(variable.lower for variable in model.variables)
        return model.arrays.lower if all(row.over(point) >= 0 for row in model.rows) else None
    scaled = LinearModel(model.variables, tuple(map(_scaled, model.rows)), ())
    firm = {place for place, row in enumerate(scaled.rows) if row.definition}
    loose = elastic(scaled, {place: ONE for place in range(len(scaled.rows)) if place not in firm})
    found = solve_lp(loose)
    if isinstance(found, Infeasible):  # only a definition can be in the way, or the solver errs
        return None if _missing_exactly(elastic(scaled, dict.fromkeys(range(len(scaled.rows)), ONE))) else \
            model.arrays.lower
    nothing = (ZERO,) * len(model.variables)
    if dual_bound(scaled, nothing, [float(price) for price in found.row_prices]) > 0:
        return None
    if found.objective > MET and _missing_exactly(loose):
        return None
    return found.values[: len(nothing)]


def _empty(variable: Variable) -> bool:
    """Whether no value, on its steps where it has any, lies within the bounds of a variable."""
    if variable.step is None:
        return variable.lower > variable.upper
    low, high = _counts(variable)
    return low > high


def _counts(variable: Variable) -> tuple[int, int]:
    """The fewest and the most steps within the bounds."""
    step = variable.step or ONE
    return math.ceil((variable.lower - variable.base) / step), math.floor((variable.upper - variable.base) / step)


def _missing_exactly(loose: LinearModel) -> bool:
    """Whether the least cost of an elastic programme is above zero: by the simplex method in rationals."""
    for basis in basis_at(loose):
        best = best_basis(basis, loose)
        point = None if best is None else best.point(loose)
        if point is not None:
            return dot(loose.costs[0], point) > 0
    return False


def _halves(model: LinearModel, values: Floats) -> tuple[LinearModel, ...]:
    """The model split in two at a stepped variable; nothing where the point is one of it, steps included."""
    ties = tied(model)
    used = chosen(model, values, ties)
    place = to_split(model, values, used, ties)
    if place is not None:
        return model.with_bounds({place: (ZERO, ZERO)}), model.with_bounds({place: (ONE, ONE)})
    if any(overfull(model, used)):
        return ()  # all that could be left out is: the programme's point is within its tolerance
    open_ones = [
        (abs(steps - round(steps)), place)
        for place, variable in enumerate(model.variables)
        if variable.step is not None and place not in ties and variable.lower < variable.upper
        for steps in [(float(values[place]) - float(variable.base)) / float(variable.step)]
    ]
    if not open_ones or _kept_on_steps(model, values, used):
        return ()
    _, place = max(open_ones)
    variable = model.variables[place]
    step, base = variable.step or ONE, variable.base
    low, high = _counts(variable)
    here = math.floor((Fraction(float(values[place])) - base) / step)
    middle = min(max(here, low), high - 1)
    return (model.with_bounds({place: (base + step * low, base + step * middle)}),
            model.with_bounds({place: (base + step * (middle + 1), base + step * high)}))


def _kept_on_steps(model: LinearModel, values: Floats, used: dict[int, Fraction]) -> bool:
    """Whether the steps nearest to a point keep every row exactly."""
    point = tuple(
        used[place] if place in used else Fraction(float(value)) if variable.step is None
        else variable.base + round((Fraction(float(value)) - variable.base) / variable.step) * variable.step
        for place, (value, variable) in enumerate(zip(values, model.variables, strict=True))
    )
    inside = all(v.lower <= x <= v.upper for v, x in zip(model.variables, point, strict=True))
    return inside and all(row.over(point) >= 0 for row in model.rows)


def _scaled(row: Row) -> Row:
    size = max((abs(a) for a in row.coefficients), default=ZERO) or ONE
    return replace(row, coefficients=tuple(a / size for a in row.coefficients), bound=row.bound / size)
