"""How far a dish can go: the highest ratio against the net-carb ceiling, grams moved against the least ratio.

Both come from one parametric model (`ratio_solver.lp.parametric`): the least ratio is the parameter R,

    (fat - R (protein + net)) . w >= 0,

and what is minimised is either the grams moved, or the net carbs of a serving. The least net carbs c(R)
rise with R from the dish with the fewest of all, and the highest ratio under a ceiling is its inverse: no
dish with the ratio R has fewer than c(R). Within a piece both are (p + q x) / (r + s x).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import combinations, dropwhile, pairwise
from typing import TypeVar

from ratio_solver.dish import notices
from ratio_solver.dish.cautions import cautions_for
from ratio_solver.dish.constraints import EMPTY, LESS, MORE, Limit
from ratio_solver.dish.nutrition import facts_of, ratio_vectors
from ratio_solver.errors import Fault, collected
from ratio_solver.exact import ONE, ZERO, Vector, dot, exact
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.nutrients import NET_CARBS
from ratio_solver.foods.sizes import LARGEST, SMALLEST, sensible
from ratio_solver.lp.envelope import LowestRegion
from ratio_solver.outcome import Outcome
from ratio_solver.recipe.model import RATIO, Recipe, Target
from ratio_solver.recipe.targets import HIGHEST_RATIO
from ratio_solver.tools.curve.drawing import Drawing, Formula, drawing

Some = TypeVar("Some", str, Limit)

OF = ("net-carbs", "ratio")
"""What a curve is drawn against: the ceiling on net carbs, or the least ratio."""
EMPTY_DISH = "an empty dish, which has no ratio, is as good as any on a curve: a least weight of the batch is missing"
SHOWN_WITHOUT_END = Fraction(10)
"""Up to here a curve is shown whose ratio rises without end (a dish that may be pure fat)."""
MOST_ADJUSTABLE = 300
"""Ingredients that may move on a curve: the time goes with more than their square, some 5 s for these."""


def names_of(limits: Iterable[Limit]) -> tuple[str, ...]:
    """What limits are called, each name once."""
    return tuple(dict.fromkeys(limit.name for limit in limits))


@dataclass(frozen=True)
class CurvePiece:
    """A curve between two breakpoints, ``y = (p + q x) / (r + s x)``.

    Attributes
    ----------
    start, end : Fraction
        x, in the unit of the curve's axis.
    formula : tuple of Fraction, four
        p, q, r, s.
    limits : tuple of Limit
        Those that bind all along it, the one drawn against left out.
    at_start : tuple of str
        Labels of ingredients that stay at their start, within their bounds.
    region : LowestRegion
        The proven critical region of the parametric model behind it.
    """

    start: Fraction
    end: Fraction
    formula: Formula
    limits: tuple[Limit, ...]
    at_start: tuple[str, ...]
    region: LowestRegion

    @property
    def binding(self) -> tuple[str, ...]:
        """Names of the limits that bind."""
        return names_of(self.limits)

    @property
    def resting(self) -> tuple[str, ...]:
        """Labels of ingredients at their start or at a bound: that one is at both is not worth saying."""
        return (*self.at_start, *(limit.subject.words for limit in self.limits if limit.kind == "ingredient"))

    def at(self, x: Fraction) -> Fraction:
        """y at x."""
        p, q, r, s = self.formula
        return (p + q * x) / (r + s * x)


@dataclass(frozen=True)
class CurvePoint:
    """An end of a curve or a breakpoint.

    Attributes
    ----------
    x, y : Fraction
    binds, frees : tuple of str
        Limits that start to bind here as x rises, and those that no longer do.
    leaves, returns : tuple of str
        Ingredients that start to move away from their start, and those that are back at it.
    passes : tuple of str
        Ingredients that pass their start: from here each gram counts the other way.
    weights : tuple of Fraction
        Of all ingredients at this point, g for the batch.
    """

    x: Fraction
    y: Fraction
    binds: tuple[str, ...]
    frees: tuple[str, ...]
    leaves: tuple[str, ...]
    returns: tuple[str, ...]
    passes: tuple[str, ...]
    weights: Vector


@dataclass(frozen=True)
class Own:
    """The recipe's own targets on a curve's axes; y is None where x cannot be reached."""

    x: Fraction
    y: Fraction | None
    reachable: bool


@dataclass(frozen=True, repr=False)
class Curve(Outcome):
    """One curve; its `outcome` is that of the dish.

    Attributes
    ----------
    of : {"net-carbs", "ratio"}
        Against the ceiling, g per serving: the highest ratio. Against the least ratio: the grams moved.
    pieces : tuple of CurvePiece
        Rising in x, without a gap; empty where nothing can be drawn.
    points : tuple of CurvePoint
        One more than there are pieces.
    own : Own or None
    endless : bool
        Whether the curve goes on above its last point.
    begun : bool
        Whether it comes from below its first point, which is where it was asked for from.
    alone : Curves or None
        The dish with this curve alone, for what goes with it.
    """

    of: str
    pieces: tuple[CurvePiece, ...]
    points: tuple[CurvePoint, ...]
    own: Own | None
    endless: bool
    begun: bool = False
    alone: Curves | None = field(default=None, compare=False)

    about = "alone.recipe"
    reported_in = "tools.curve.report"

    @property
    def outcome(self) -> str:
        """"solved" or "impossible"."""
        return self.alone.outcome if self.alone else "solved"

    @property
    def cautions(self) -> tuple[str, ...]:
        """What goes with the ratios that are stated."""
        return self.alone.cautions if self.alone else ()

    def at(self, x: Fraction) -> Fraction | None:
        """y at x; None outside the curve."""
        return next((piece.at(x) for piece in self.pieces if piece.start <= x <= piece.end), None)


@dataclass(frozen=True, repr=False)
class Curves(Outcome):
    """The curves of a dish; `best_ratio` is None where no weights keep the other limits at all: it is "impossible"."""

    recipe: Recipe
    curves: tuple[Curve, ...]
    best_ratio: Fraction | None
    warnings: tuple[str, ...]
    cautions: tuple[str, ...]
    guaranteed: Guaranteed = None

    reported_in = "tools.curve.report"

    @property
    def outcome(self) -> str:
        """"solved" or "impossible"."""
        return "impossible" if self.best_ratio is None else "solved"


def curve(recipe: Recipe, of: Sequence[str] = OF, *, start: float | None = None, end: float | None = None,
          guaranteed: Guaranteed = None) -> Curves:
    """The curves of a dish, exact, weights to any fraction of a gram.

    Parameters
    ----------
    recipe : Recipe
        With adjustable ingredients. A least ratio and a net-carb ceiling are its own point; all its other
        limits are kept, and with "ratio" its ceiling too.
    of : sequence of {"net-carbs", "ratio"}
    start, end : float, optional
        Range of the axis (g per serving, or the ratio), for one curve. Unless given: from the fewest net
        carbs to where the ratio no longer rises; from the ratio of the dish nearest the start to the best.
    guaranteed : {"mean", "food"}, optional
        Keep the targets for every composition within the table's intervals.

    Returns
    -------
    Curves

    Raises
    ------
    BadInput
        Where nothing is adjustable, or the range is none.
    NotProven
        Where a piece cannot be proved best.

    Examples
    --------
    >>> from ratio_solver import curve, load_foods, read_recipe
    >>> soup = read_recipe("examples/salmon-soup.toml", load_foods())
    >>> f"{float(curve(soup).best_ratio):.3f}:1"
    '1.878:1'
    """
    _check(recipe, of, start, end)
    dishes = [drawing(recipe, one == "net-carbs", guaranteed) for one in of]
    drawn = [_curve(dish, *(None if value is None else exact(value) for value in (start, end))) for dish in dishes]
    bests = dict(zip(of, (dish.best for dish in dishes), strict=True))
    points = [point for one in drawn for point in one.points]
    shown = [point.x if one.of == RATIO else point.y for one in drawn for point in one.points]
    reported = recipe.with_targets(Target(RATIO, float(max(shown)))) if shown else recipe
    warnings = list(notices.warnings(recipe, tuple(map(exact, recipe.starts)), guaranteed=guaranteed, settled=False))
    own = recipe.target(RATIO)
    if own is not None and own.maximum is not None:
        warnings.append(f"the recipe's own most of the ratio, {own.maximum:g}:1, is kept: nothing is shown above it")
    above, below = ratio_vectors(recipe)
    if any(dot(above, point.weights) + dot(below, point.weights) < EMPTY for point in points):
        warnings.append(EMPTY_DISH)
    found = Curves(
        recipe, tuple(drawn), bests.get(RATIO, next(iter(bests.values()), None)), tuple(warnings),
        cautions_for(reported, *(facts_of(recipe, point.weights) for point in points)), guaranteed)
    return replace(found, curves=tuple(
        replace(one, alone=replace(found, curves=(one,), best_ratio=bests[one.of])) for one in drawn))


def _check(recipe: Recipe, of: Sequence[str], start: float | None, end: float | None) -> None:
    faults = [Fault("--of", "", repr(one), f"expected one of {', '.join(OF)}") for one in of if one not in OF]
    if not any(ingredient.adjustable for ingredient in recipe.ingredients):
        faults.append(Fault(recipe.source, "ingredients", "", "expected an adjustable one (min and max): "
                                                              "nothing can move"))
    adjustable = sum(ingredient.adjustable for ingredient in recipe.ingredients)
    if adjustable > MOST_ADJUSTABLE:
        faults.append(Fault(recipe.source, "ingredients", str(adjustable), f"expected at most {MOST_ADJUSTABLE} "
                            "adjustable ones: a curve of more takes minutes"))
    given = [end_ for end_ in (start, end) if end_ is not None]
    if any(not (0 <= value <= LARGEST and sensible(value)) for value in given) or given != sorted(given):
        faults.append(Fault("--from, --to", "", ", ".join(f"{value:g}" for value in given),
                            f"expected two numbers, 0 or more, the lower first; {SMALLEST:f} to {LARGEST:,.0f}"))
    if given and len(of) != 1:
        faults.append(Fault("--from, --to", "", "", "expected with one curve: say which with --of"))
    collected(faults)


def _curve(dish: Drawing, start: Fraction | None, end: Fraction | None) -> Curve:
    """The curve of a dish over a range of its axis, or over its own."""
    best, of = dish.best, OF[not dish.ceiling]
    if not best:  # no weights, or none with any fat: nothing to draw
        return Curve(of, (), (), None, False)
    endless = best >= exact(HIGHEST_RATIO)
    own = _own_end(dish.recipe, RATIO, MORE) or ZERO
    regions = dish.regions(max(SHOWN_WITHOUT_END, 2 * own) if endless and end is None else None)
    pieces = _curve_pieces(dish, dropwhile(lambda region: not dish.rises(region), regions))
    clipped = [replace(piece, start=low, end=high) for piece in pieces
               for low in [piece.start if start is None else max(start, piece.start)]
               for high in [piece.end if end is None else min(end, piece.end)] if low < high]
    cut = bool(clipped) and clipped[-1].end < pieces[-1].end
    begun = bool(clipped) and clipped[0].start > pieces[0].start
    return Curve(of, tuple(clipped), _points(dish, clipped, regions[-1]), _own(dish, pieces, regions),
                 endless or cut, begun)


def _curve_pieces(dish: Drawing, regions: Iterable[LowestRegion]) -> list[CurvePiece]:
    """The critical regions in the curve's own axes, neighbours that are one curve within the same limits joined.

    Where net carbs jump from one choice to another the ratio waits.
    """
    found: list[CurvePiece] = []
    for region in regions:
        (x, y), (x2, _) = (dish.coordinates(region, ratio) for ratio in (region.low, region.high))
        piece = CurvePiece(x, x2, dish.formula(region), dish.binding(region), dish.at_start(region), region)
        waits = [replace(found[-1], start=found[-1].end, end=x, formula=(y, ZERO, ONE, ZERO))] \
            if found and found[-1].end < x else []
        for one in (*waits, piece):
            if found and _one_curve(found[-1], one):
                found[-1] = replace(found[-1], end=one.end)
            else:
                found.append(one)
    return found


def _one_curve(one: CurvePiece, other: CurvePiece) -> bool:
    """Whether two pieces are one curve within the same limits."""
    if (one.limits, one.at_start) != (other.limits, other.at_start):
        return False
    return all(a * d == b * c for (a, b), (c, d) in combinations(zip(one.formula, other.formula, strict=True), 2))


def _points(dish: Drawing, pieces: Sequence[CurvePiece], last: LowestRegion) -> tuple[CurvePoint, ...]:
    """Ends and breakpoints; where there are no pieces, the end of the last critical region."""
    if not pieces:
        return (CurvePoint(*dish.coordinates(last, last.high), (), (), (), (), (), dish.weights(last, last.high)),)
    found = []
    for before, after in pairwise((None, *pieces, None)):
        old, new = before or after, after or before
        assert old is not None and new is not None
        x = old.end if before else old.start
        y = old.at(x)
        weights = dish.weights(old.region, y if dish.ceiling else x)
        passes = () if before is None or after is None else tuple(
            i.label for i, grams in zip(dish.recipe.ingredients, weights, strict=True)
            if i.adjustable and grams == exact(i.start)
            and i.label not in (*old.resting, *new.resting))
        found.append(CurvePoint(
            x, y, names_of(_less(new.limits, old.limits)), names_of(_less(old.limits, new.limits)),
            _less(old.at_start, new.resting), _less(new.at_start, old.resting),
            passes, weights,
        ))
    return tuple(found)


def _less(some: Sequence[Some], others: Sequence[Some]) -> tuple[Some, ...]:
    known = set(map(id, others))  # the very same limits and labels: to compare limits by all that they are takes long
    return tuple(one for one in some if id(one) not in known)


def _own_end(recipe: Recipe, nutrient: str, sense: str) -> Fraction | None:
    """The recipe's own least or most of something."""
    target = recipe.target(nutrient) or Target(nutrient)
    end = target.minimum if sense == MORE else target.maximum
    return None if end is None else exact(end)


def _own(dish: Drawing, pieces: Sequence[CurvePiece], regions: Sequence[LowestRegion]) -> Own | None:
    """The recipe's own targets as a point of the plane."""
    ratio, ceiling = _own_end(dish.recipe, RATIO, MORE), _own_end(dish.recipe, NET_CARBS, LESS)
    end_x, end_y = dish.coordinates(regions[-1], regions[-1].high)
    if ratio is not None and (ceiling is None or not dish.ceiling):
        held = max(ratio, regions[0].low)  # below the curve nothing changes
        point = next((dish.coordinates(one, held) for one in regions if one.low <= held <= one.high), None)
        if not dish.ceiling:
            return Own(ratio, point[1] if point else None, ratio <= end_x)
        return Own(point[0], ratio, True) if point else None
    if ceiling is None or not dish.ceiling:
        return None
    top = end_y if ceiling >= end_x else \
        next((piece.at(ceiling) for piece in pieces if piece.start <= ceiling <= piece.end), None)
    return Own(ceiling, top if ratio is None else ratio, top is not None and (ratio is None or ratio <= top))
