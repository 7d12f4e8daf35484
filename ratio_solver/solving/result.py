"""The answer: a proposal with weights, or a diagnosis of why there is none."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from ratio_solver.dish.check import DishAtWeights
from ratio_solver.dish.confidence import Confidence
from ratio_solver.dish.constraints import Identity, Limit
from ratio_solver.dish.status import LimitState, Weight
from ratio_solver.exact import Vector
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.food import Food
from ratio_solver.lp.certificate import Certificate
from ratio_solver.outcome import Outcome
from ratio_solver.recipe.model import Recipe


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


@dataclass(frozen=True, repr=False)
class Proposal(DishAtWeights):
    """Weights that keep every limit.

    Attributes
    ----------
    recipe : Recipe
    prefer : str
    objective : Objective
    weights : tuple of Weight, one per ingredient
    limits : tuple of LimitState
        In the order of `ratio_solver.dish.constraints.limits_of`.
    certificate : Certificate
        The exact check behind it.
    facts : Facts
        Per serving.
    allergens, warnings, cautions : tuple of str
    exact : bool
        Weights to any fraction of a gram; else they are on the steps, and prices and ranges are those of
        the linear programme.
    confidence : Confidence or None
        How probable it is that each target is kept: its state then is that of the formula, errors included, prices
        are without their ranges, and so are weights.
    price_parts : mapping of Identity to mapping of int to float
        Where the weights are of several dishes: what of the price of a limit falls on each weight, by its place.
    unpriced : bool
        Whether the time was up before every limit had its price: it is not known that those without have none.
    """

    recipe: Recipe
    prefer: str
    objective: Objective
    weights: tuple[Weight, ...]
    limits: tuple[LimitState, ...]
    certificate: Certificate
    guaranteed: Guaranteed = None
    exact: bool = True
    confidence: Confidence | None = None
    price_parts: Mapping[Identity, Mapping[int, float]] = field(default_factory=dict)
    unpriced: bool = False

    outcome = "solved"
    reported_in = "tools.solve.report"

    def grams(self, ingredient: str) -> Fraction:
        """Weight of an ingredient by its label, g for the batch."""
        return next(weight.grams for weight in self.weights if weight.ingredient == ingredient)


@dataclass(frozen=True)
class Repair:
    """A limit moved so far that the recipe has an answer.

    Attributes
    ----------
    limit : Limit
        As the cook wrote it.
    to : Fraction
        The new bound, a decimal, in the limit's unit.
    """

    limit: Limit
    to: Fraction

    @property
    def change(self) -> Fraction:
        """How far the bound moves, in the limit's unit."""
        return abs(self.to - self.limit.bound)

    @property
    def relative(self) -> Fraction:
        """The change as a share of the limit; of 0, more than any other."""
        return self.change / abs(self.limit.bound) if self.limit.bound else 10**6 + self.change


@dataclass(frozen=True)
class CuringFat:
    """A food that cures when it is added as one more ingredient.

    Attributes
    ----------
    food : Food
    grams : Fraction
        The least that does, g for the batch, rounded up.
    """

    food: Food
    grams: Fraction


@dataclass(frozen=True)
class Stepped:
    """An ingredient that is weighed in steps.

    Attributes
    ----------
    ingredient : str
        Its label.
    grams : Fraction
        g of a step or a piece.
    piece : bool
        Whether it comes in whole pieces.
    """

    ingredient: str
    grams: Fraction
    piece: bool


@dataclass(frozen=True)
class Reached:
    """A value that weights on the steps come to with every other limit kept.

    Attributes
    ----------
    value : Fraction
        In the limit's unit.
    weights : tuple of Fraction, one per ingredient
        g for the batch.
    """

    value: Fraction
    weights: Vector


@dataclass(frozen=True)
class Nearest:
    """A band that no weights on the steps meet, and what is nearest to it.

    Attributes
    ----------
    least, most : Limit
        Its ends; the same for "exactly".
    below, above : Reached or None
        Nearest on either side; None where none was found there.
    band : (Fraction, Fraction) or None
        The narrowest in decimals as they are written that one of these meets.
    proven : bool
        Whether all weights were gone through, so that none is nearer; else none near the best weights between the
        steps is.
    """

    least: Limit
    most: Limit
    below: Reached | None
    above: Reached | None
    band: tuple[Fraction, Fraction] | None
    proven: bool


@dataclass(frozen=True)
class Diagnosis:
    """Why no weights satisfy the limits.

    Attributes
    ----------
    conflict : tuple of Limit
        They cannot be kept together; without any one of them the rest can, where the conflict is `minimal`.
    steps : bool
        They can be kept, but not by weights that are multiples of the steps.
    repairs : tuple of Repair
        Each cures the whole recipe by itself, on the steps where the answer was wanted there: the smallest change
        of that limit that does, the most modest first.
    joint_repair : tuple of Repair
        Where none does by itself: changes that cure together.
    best_ratio, least_net_carbs : Fraction or None
        The highest ratio (rounded down) and the least net carbs per serving (g, rounded up) within all the other
        limits; None where those cannot be kept either, the recipe sets no such target, or it is not known: what is
        nearest to a narrow band is the best only where all the weights were looked through, or it is next to the band.
    fats : tuple of CuringFat or None
        Foods with the role "fat" that cure as one more ingredient, the fewest grams first; None where none was looked
        for: no table was given, or a band is narrower than the steps.
    proven : bool
        Whether exact arithmetic shows that there is no answer (else the solver's search says so).
    minimal : bool
        False where a search on the steps ended at its limit, so that fewer limits may be in conflict than are named.
    stepped : tuple of Stepped
        Where only the steps are in the way: ingredients of the conflict in pieces, or in other steps than 1 g.
    empty : bool
        The best weights are those of an empty dish, which keeps every limit but has no ratio: a least weight of the
        batch is missing. Without a conflict other dishes keep the limits, the better the less there is of them; the
        best ratio is that of a dish that is not empty.
    undecided : bool
        Weights on the steps were not found in the time, and it is not known that there are none.
    between : tuple of Fraction, one per ingredient, or none
        Where the steps are in the way or undecided: the best weights between them, g for the batch.
    nearest : Nearest or None
        Where a band is narrower than the steps can meet.
    left_out : tuple of Limit
        Limits of which no change was looked for to the end, as the time was up.
    left_out_also : tuple of str
        What else was left out so, in words.
    """

    conflict: tuple[Limit, ...]
    steps: bool = False
    repairs: tuple[Repair, ...] = ()
    joint_repair: tuple[Repair, ...] = ()
    best_ratio: Fraction | None = None
    least_net_carbs: Fraction | None = None
    fats: tuple[CuringFat, ...] | None = None
    proven: bool = False
    stepped: tuple[Stepped, ...] = ()
    empty: bool = False
    minimal: bool = True
    undecided: bool = False
    between: Vector = ()
    nearest: Nearest | None = None
    left_out: tuple[Limit, ...] = ()
    left_out_also: tuple[str, ...] = ()

    @property
    def stuck(self) -> tuple[Limit, ...]:
        """Members of the conflict that no change of their own cures (where changes were looked for)."""
        if self.empty or (self.steps and not (self.repairs or self.joint_repair)):
            return ()  # none was looked for, or a search that ended at its limit says nothing of them
        known = [*(repair.limit for repair in self.repairs), *self.left_out]
        return tuple(limit for limit in self.conflict if all(limit is not other for other in known))


@dataclass(frozen=True, repr=False)
class Impossible(Outcome):
    """No weights satisfy the limits, or none were found in the time; no numbers look like an answer.

    Its `outcome` is "impossible", or "undecided" where that there are none is not known.
    """

    recipe: Recipe
    prefer: str
    diagnosis: Diagnosis
    warnings: tuple[str, ...]
    cautions: tuple[str, ...]
    guaranteed: Guaranteed = None
    confidence: Confidence | None = None

    reported_in = "tools.solve.impossible"

    @property
    def outcome(self) -> str:
        """"impossible" or "undecided"."""
        return "undecided" if self.diagnosis.undecided else "impossible"


Answer = Proposal | Impossible
