"""The answer: a proposal with weights, or a diagnosis of why there is none."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from ratio_solver.linear.certificate import Certificate
from ratio_solver.recipes.facts import Facts
from ratio_solver.recipes.limits import Limit
from ratio_solver.recipes.recipe import Recipe
from ratio_solver.recipes.standing import LimitState, Weight


@dataclass(frozen=True)
class Objective:
    """What was minimised, and how surely.

    Attributes
    ----------
    value : Fraction
    unit : str
    bound : Fraction
        No answer has less.
    proven : bool
        Whether the bound shows the value to be the least.
    proof : {"exact", "search", ""}
        Shown by an exact bound, or by the solver's completed search.
    resolution : Fraction
        Values nearer to each other than this count as equal, in `unit`; 0 compares exactly.
    settled : bool
        Whether ties were searched to the end.
    """

    value: Fraction
    unit: str
    bound: Fraction
    proven: bool
    proof: str = "exact"
    resolution: Fraction = Fraction(0)
    settled: bool = True


@dataclass(frozen=True)
class Proposal:
    """Weights that keep every limit.

    Attributes
    ----------
    recipe : Recipe
    prefer : str
    objective : Objective
    weights : tuple of Weight, one per ingredient
    limits : tuple of LimitState
        In the order of `ratio_solver.recipes.limits.limits_of`.
    facts : Facts
        Per serving.
    certificate : Certificate
        The exact check behind it.
    allergens, warnings, cautions : tuple of str
    exact : bool
        Weights to any fraction of a gram; else they are on the steps, and prices and ranges are those of
        the linear programme.
    """

    recipe: Recipe
    prefer: str
    objective: Objective
    weights: tuple[Weight, ...]
    limits: tuple[LimitState, ...]
    facts: Facts
    certificate: Certificate
    allergens: tuple[str, ...]
    warnings: tuple[str, ...]
    cautions: tuple[str, ...]
    guaranteed: bool = False
    exact: bool = True

    outcome = "solved"

    def grams(self, ingredient: str) -> Fraction:
        """Weight of an ingredient by its label, g for the batch."""
        return next(weight.grams for weight in self.weights if weight.ingredient == ingredient)


@dataclass(frozen=True)
class Diagnosis:
    """Why no weights satisfy the limits.

    Attributes
    ----------
    conflict : tuple of Limit
        They cannot be kept together; without any one of them the rest can.
    steps : bool
        They can be kept, but not by weights that are multiples of the steps.
    """

    conflict: tuple[Limit, ...]
    steps: bool = False


@dataclass(frozen=True)
class Impossible:
    """No weights satisfy the limits; there are no numbers that look like an answer."""

    recipe: Recipe
    prefer: str
    diagnosis: Diagnosis
    warnings: tuple[str, ...]
    cautions: tuple[str, ...]
    guaranteed: bool = False

    outcome = "impossible"


Answer = Proposal | Impossible
