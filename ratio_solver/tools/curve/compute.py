"""How far a dish can go: the highest ratio against the net-carb ceiling, grams moved against the least ratio.

Both come from one parametric model (`ratio_solver.lp.parametric`): the least ratio is the parameter R,

    (fat - R (protein + net)) . w >= 0,

and what is minimised is either the grams moved, or the net carbs of a serving. The least net carbs c(R)
rise with R from the dish with the fewest of all, and the highest ratio under a ceiling is its inverse: no
dish with the ratio R has fewer than c(R). Within a piece both are (p + q x) / (r + s x).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import combinations, dropwhile

from ratio_solver.dish import notices
from ratio_solver.dish.constraints import EMPTY, ratio_vectors
from ratio_solver.dish.nutrition import facts_of
from ratio_solver.errors import BadInput, Fault
from ratio_solver.exact import ONE, ZERO, Vector, dot, exact
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.nutrients import NET_CARBS
from ratio_solver.foods.sizes import LARGEST, SMALLEST, sensible
from ratio_solver.lp.envelope import LowestRegion
from ratio_solver.recipe.model import RATIO, Recipe, Target
from ratio_solver.recipe.targets import HIGHEST_RATIO
from ratio_solver.tools.curve.drawing import Drawing, Formula, drawing
from ratio_solver.tools.curve.model import Curve, CurvePiece, Curves, Own, Point

OF = ("net-carbs", "ratio")
"""What a curve is drawn against: the ceiling on net carbs, or the least ratio."""
SHOWN_WITHOUT_END = Fraction(10)
"""Up to here a curve is shown whose ratio rises without end (a dish that may be pure fat)."""


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

    Raises
    ------
    BadInput
        Where nothing is adjustable, or the range is none.
    NotProven
        Where a piece cannot be proved best.
    """
    _check(recipe, of, start, end)
    starts = tuple(exact(weight) for weight in recipe.starts)
    drawn: list[Curve] = []
    best: Fraction | None = None
    for one in of:
        dish = drawing(recipe, one == "net-carbs", guaranteed)
        drawn.append(_curve(dish, None if start is None else exact(start), None if end is None else exact(end)))
        best = dish.best if one == "ratio" or best is None else best
    shown = [point.x if one.of == "ratio" else point.y for one in drawn for point in one.points]
    told = recipe.with_targets(Target(RATIO, float(max(shown)))) if shown else recipe
    servings = [facts_of(recipe, point.weights) for one in drawn for point in one.points]
    own = recipe.target(RATIO)
    kept = () if own is None or own.maximum is None else (
        f"the recipe's own most of the ratio, {own.maximum:g}:1, is kept: nothing is shown above it",)
    told_of = notices.warnings(recipe, starts, guaranteed=guaranteed, settled=False)
    return Curves(recipe, tuple(drawn), best, (*told_of, *kept, *_empty(recipe, drawn)),
                  notices.cautions(told, *servings), guaranteed)


def _check(recipe: Recipe, of: Sequence[str], start: float | None, end: float | None) -> None:
    faults = [Fault("--of", "", repr(one), f"expected one of {', '.join(OF)}") for one in of if one not in OF]
    if not any(ingredient.adjustable for ingredient in recipe.ingredients):
        faults.append(Fault(recipe.source, "ingredients", "", "expected an adjustable one (min and max): "
                                                              "nothing can move"))
    given = [end_ for end_ in (start, end) if end_ is not None]
    if any(not (0 <= value <= LARGEST and sensible(value)) for value in given) or given != sorted(given):
        faults.append(Fault("--from, --to", "", ", ".join(f"{value:g}" for value in given),
                            f"expected two numbers, 0 or more, the lower first; {SMALLEST:f} to {LARGEST:,.0f}"))
    if given and len(of) != 1:
        faults.append(Fault("--from, --to", "", "", "expected with one curve: say which with --of"))
    if faults:
        raise BadInput(faults)


def _curve(dish: Drawing, start: Fraction | None, end: Fraction | None) -> Curve:
    """The curve of a dish over a range of its axis, or over its own."""
    best = dish.best
    if not best:  # no weights, or none with any fat: nothing to draw
        return Curve(_name(dish), (), (), None, False)
    endless = best >= exact(HIGHEST_RATIO)
    shown = max(SHOWN_WITHOUT_END, 2 * (_own_ratio(dish.recipe) or ZERO)) if endless and end is None else None
    stretches = dish.stretches(shown)
    rising = tuple(dropwhile(lambda stretch: not dish.rises(stretch), stretches))
    pieces = tuple(_joined(_pieces(dish, rising)))
    clipped = tuple(_clipped(pieces, start, end))
    cut = bool(pieces and clipped) and clipped[-1].end < pieces[-1].end
    begun = bool(pieces and clipped) and clipped[0].start > pieces[0].start
    return Curve(_name(dish), clipped, _points(dish, clipped, stretches), _own(dish, pieces, stretches),
                 endless or cut, begun)


def _empty(recipe: Recipe, drawn: Sequence[Curve]) -> tuple[str, ...]:
    """That a curve has points that are no dish, where it has."""
    above, below = ratio_vectors(recipe)
    if all(dot(above, point.weights) + dot(below, point.weights) >= EMPTY for one in drawn for point in one.points):
        return ()
    return ("an empty dish, which has no ratio, is as good as any on a curve: a least weight of the batch is missing",)


def _name(dish: Drawing) -> str:
    return "net-carbs" if dish.ceiling else "ratio"


def _pieces(dish: Drawing, stretches: Sequence[LowestRegion]) -> Iterator[CurvePiece]:
    """The stretches in the curve's own axes; where net carbs jump from one choice to another the ratio waits."""
    last: CurvePiece | None = None
    for stretch in stretches:
        (x, y), (x2, _) = dish.coordinates(stretch, stretch.low), dish.coordinates(stretch, stretch.high)
        if last is not None and last.end < x:
            last = CurvePiece(last.end, x, (y, ZERO, ONE, ZERO), last.binding, last.at_start, last.stretch)
            yield last
        last = CurvePiece(x, x2, dish.formula(stretch), dish.binding(stretch), dish.at_start(stretch), stretch)
        yield last


def _joined(pieces: Iterable[CurvePiece]) -> Iterator[CurvePiece]:
    """Neighbours that are one curve within the same limits are one piece."""
    last: CurvePiece | None = None
    for piece in pieces:
        if last is not None and last.binding == piece.binding and last.at_start == piece.at_start \
                and _same(last.formula, piece.formula):
            last = replace(last, end=piece.end)
        else:
            if last is not None:
                yield last
            last = piece
    if last is not None:
        yield last


def _same(one: Formula, other: Formula) -> bool:
    return all(a * d == b * c for (a, b), (c, d) in combinations(zip(one, other, strict=True), 2))


def _clipped(pieces: Sequence[CurvePiece], start: Fraction | None, end: Fraction | None) -> Iterator[CurvePiece]:
    for piece in pieces:
        low = piece.start if start is None else max(start, piece.start)
        high = piece.end if end is None else min(end, piece.end)
        if low < high:
            yield replace(piece, start=low, end=high)


def _points(dish: Drawing, pieces: Sequence[CurvePiece], stretches: Sequence[LowestRegion]) -> tuple[Point, ...]:
    if not pieces:
        last = stretches[-1]
        x, y = dish.coordinates(last, last.high)
        return (Point(x, y, (), (), (), (), (), dish.weights(last, last.high)),)
    found = []
    for before, after in zip((None, *pieces), (*pieces, None), strict=True):
        here = before or after
        assert here is not None
        x = here.end if before is not None else here.start
        y = here.at(x)
        ratio = y if dish.ceiling else x
        old, new = before or here, after or here
        weights = dish.weights(here.stretch, ratio)
        found.append(Point(
            x, y, _less(new.binding, old.binding), _less(old.binding, new.binding),
            _less(old.at_start, (*new.at_start, *_bounded(new))), _less(new.at_start, (*old.at_start, *_bounded(old))),
            _passing(dish.recipe, weights, (before, after)), weights,
        ))
    return tuple(found)


def _passing(recipe: Recipe, weights: Vector, pieces: Sequence[CurvePiece | None]) -> tuple[str, ...]:
    """Ingredients that are at their start here and on neither side."""
    sides = [piece for piece in pieces if piece is not None]
    if len(sides) < 2:
        return ()
    return tuple(
        i.label for i, grams in zip(recipe.ingredients, weights, strict=True)
        if i.adjustable and grams == exact(i.start)
        and not any(i.label in (*side.at_start, *_bounded(side)) for side in sides)
    )


def _less(some: Sequence[str], others: Sequence[str]) -> tuple[str, ...]:
    return tuple(one for one in some if one not in others)


def _bounded(piece: CurvePiece) -> tuple[str, ...]:
    """Ingredients at a bound: that they are at their start as well is not worth saying."""
    return tuple(name.removesuffix(" min").removesuffix(" max") for name in piece.binding)


def _own_ratio(recipe: Recipe) -> Fraction | None:
    target = recipe.target(RATIO)
    return None if target is None or target.minimum is None else exact(target.minimum)


def _own_ceiling(recipe: Recipe) -> Fraction | None:
    target = recipe.target(NET_CARBS)
    return None if target is None or target.maximum is None else exact(target.maximum)


def _own(dish: Drawing, pieces: Sequence[CurvePiece], stretches: Sequence[LowestRegion]) -> Own | None:
    """The recipe's own targets as a point of the plane."""
    ratio, ceiling = _own_ratio(dish.recipe), _own_ceiling(dish.recipe)
    last = stretches[-1]
    end_x, end_y = dish.coordinates(last, last.high)
    if not dish.ceiling:
        if ratio is None:
            return None
        reachable = ratio <= end_x
        ratio_held = max(ratio, stretches[0].low)  # below the curve nothing changes
        holding = next((s for s in stretches if s.low <= ratio_held <= s.high), None)
        return Own(ratio, None if holding is None else holding.region.costs_at(ratio_held)[0], reachable)
    if ratio is None and ceiling is None:
        return None
    if ceiling is None:
        assert ratio is not None
        ratio_held = max(ratio, stretches[0].low)
        holding = next((s for s in stretches if s.low <= ratio_held <= s.high), None)
        return None if holding is None else Own(dish.coordinates(holding, ratio_held)[0], ratio, True)
    if ceiling >= end_x:
        top: Fraction | None = end_y
    else:
        top = next((piece.at(ceiling) for piece in pieces if piece.start <= ceiling <= piece.end), None)
    if ratio is None:
        return Own(ceiling, top, top is not None)
    return Own(ceiling, ratio, top is not None and ratio <= top)
