"""The curves of a dish: as text for a terminal of 80 columns, as plain data, as rows of a CSV."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction

from ratio_solver.dish.cautions import in_a_cell
from ratio_solver.exact import cut_down
from ratio_solver.foods.nutrients import NET_CARBS
from ratio_solver.output.blocks import BAD, GOOD, QUIET, STRONG, Block, Cell, Text, caution_lines, headline, table_of
from ratio_solver.output.dish_data import policy_data
from ratio_solver.output.json_csv import Data, Rows
from ratio_solver.output.numbers import decimal, plain, short
from ratio_solver.recipe.model import RATIO
from ratio_solver.tools.curve.compute import Curve, CurvePoint, Curves

AXES = {
    "net-carbs": (("net-carb ceiling", "g per serving"), ("highest ratio", ":1")),
    "ratio": (("least ratio", ":1"), ("moved", "g")),
}
"""Name and unit of x and of y."""
HEADINGS = {
    "net-carbs": "Highest ratio within the other limits, against the ceiling on net carbs",
    "ratio": "Grams moved within the other limits, against the least ratio",
}


EVENTS = (("binds", "starts to bind"), ("frees", "no longer binds"), ("leaves", "starts to move"),
          ("returns", "is back at its start"), ("passes", "passes its start"))
"""What a breakpoint names, and what is said of each of these names."""


# --- text ---------------------------------------------------------------------------------------------


def text(found: Curves | Curve) -> Block:
    """A table for each curve: its points, and what binds between them."""
    found = _dish_of(found)
    parts: list[Block] = []
    if found.best_ratio is None:
        parts += [headline(found.recipe.title, "impossible", BAD),
                  Text("No weights keep the other limits, at any ratio: `solve` says which are in conflict.")]
        if any(one.points for one in found.curves):
            parts.append(Text("Under another ceiling on net carbs there are some:"))
    else:
        best = f"best reachable {ratio_cut(found.best_ratio)}{found.recipe.policy.formula}{_under(found)}"
        ended = all(not one.endless for one in found.curves)
        parts.append(headline(found.recipe.title, best if ended else "curves", GOOD))
    for one in found.curves:
        if one.points:
            headings = [(f"{name}\n{unit}", "right") for name, unit in AXES[one.of]]
            parts += [Text(""), Text(HEADINGS[one.of], STRONG), *_own_line(one),
                      table_of((*headings, ("", "left")), _point_rows(one))]
    # Allergens belong to weights, which a curve does not settle.
    return (
        *parts, Text(""),
        Text(f"Weights to any fraction of a gram. Reckoned: {found.recipe.reckoned}.", QUIET),
        *(Text(f"Note: {warning}.", "yellow") for warning in found.warnings), *caution_lines(found.cautions))


def _dish_of(found: Curves | Curve) -> Curves:
    """The dish with all its curves, or with the one that is asked for."""
    assert found.alone is not None
    return found.alone


def _ceiling(found: Curves) -> float | None:
    """The ceiling on net carbs that the best ratio keeps, g per serving; None where it is the best under any."""
    own = found.recipe.target(NET_CARBS)
    return own.maximum if own is not None and any(one.of == RATIO for one in found.curves) else None


def _under(found: Curves) -> str:
    """Under which ceiling on net carbs the best ratio is the best: the recipe's own, or any."""
    ceiling = _ceiling(found)
    if ceiling is not None:
        return f" at up to {short(ceiling, 4)} g net carbs"
    return ", whatever the net carbs" if found.recipe.target(NET_CARBS) is not None else ""


def _point_rows(one: Curve) -> Iterator[tuple[Cell, ...]]:
    for place, point in enumerate(one.points):
        yield coordinate(point.x), Text(coordinate(point.y), STRONG), Text(here_words(one, place))
        if place < len(one.pieces):
            names = "; ".join(one.pieces[place].binding) or "nothing else"
            yield "", "", Text(f"binding: {names}", QUIET)


def _own_line(one: Curve) -> Sequence[Block]:
    own = one.own
    if own is None:
        return ()
    if one.of == RATIO:
        if own.y is None or not own.reachable:
            return (Text(f"The recipe asks for {ratio_cut(own.x)}: out of reach.", BAD),)
        return (Text(f"The recipe's own point: {ratio_cut(own.x)} at {decimal(own.y, 2)} g moved."),)
    y = "" if own.y is None else f"{ratio_cut(own.y)} "
    text = f"The recipe's own point: {y}at {decimal(own.x, 2)} g"
    return (Text(f"{text}: {'within reach' if own.reachable else 'out of reach'}.", "" if own.reachable else BAD),)


def here_words(one: Curve, place: int) -> str:
    """What a point of a curve is: an end, or what changes there."""
    if place == 0:
        if one.begun:
            return "comes from below"
        return "the dish nearest the start" if one.of == RATIO else "the fewest net carbs reachable"
    if place == len(one.points) - 1:
        if one.endless:
            return "goes on from here"
        return "the best reachable" + ("" if one.of == RATIO else ": more net carbs raise it no further")
    return happens(one.points[place])


def happens(point: CurvePoint, events: Sequence[tuple[str, str]] = EVENTS) -> str:
    """What changes at a breakpoint, in words."""
    return "; ".join(f"{name} {words}" for what, words in events for name in getattr(point, what))


def coordinate(value: Fraction) -> str:
    """A coordinate, cut to four decimals: a breakpoint lies at or just above it."""
    return decimal(cut_down(value, 4), 4)


def ratio_cut(value: Fraction) -> str:
    """A ratio cut to three decimals: it is never said to be higher than it is."""
    return f"{short(cut_down(value, 3), 3)}:1"


# --- data ---------------------------------------------------------------------------------------------


def data(found: Curves | Curve) -> Data:
    """Each curve with its points and pieces, exactly as doubles can be."""
    found = _dish_of(found)
    return {
        "title": found.recipe.title,
        "servings": found.recipe.servings,
        "outcome": found.outcome,
        "best_ratio": plain(found.best_ratio),
        "best_ratio_net_carbs_max": None if found.best_ratio is None else _ceiling(found),
        "curves": [_curve_data(found, one) for one in found.curves],
        "policy": policy_data(found.recipe, found.guaranteed),
        "warnings": list(found.warnings),
        "cautions": list(found.cautions),
    }


def _curve_data(found: Curves, one: Curve) -> Data:
    x, y = ({"name": name, "unit": unit} for name, unit in AXES[one.of])
    return {
        "of": one.of,
        "x": x,
        "y": y,
        "own": None if one.own is None else
        {"x": plain(one.own.x), "y": plain(one.own.y), "reachable": one.own.reachable},
        "comes_from_below": one.begun,
        "goes_on": one.endless,
        "points": [{
            "x": plain(point.x), "y": plain(point.y), "here": happens(point),
            "binds": list(point.binds), "frees": list(point.frees), "leaves_start": list(point.leaves),
            "back_at_start": list(point.returns), "passes_start": list(point.passes),
            "weights": _weights_at(found, point),
        } for point in one.points],
        "pieces": [{
            "from": plain(piece.start), "to": plain(piece.end), "binding": list(piece.binding),
            "at_start": list(piece.at_start),
            "formula": dict(zip("pqrs", map(plain, piece.formula), strict=True)),
        } for piece in one.pieces],
    }


def _weights_at(found: Curves, point: CurvePoint) -> Data:
    return {i.label: plain(grams) for i, grams in zip(found.recipe.ingredients, point.weights, strict=True)}


def rows(found: Curves | Curve) -> Rows:
    """A row for each point of each curve."""
    found = _dish_of(found)
    columns = ("against", "x", "x_unit", "y", "y_unit", "here", "binding_from_here",
               *(i.label for i in found.recipe.ingredients), "caution")
    return columns, (_point_data(found, one, place) for one in found.curves for place in range(len(one.points)))


def _point_data(found: Curves, one: Curve, place: int) -> Data:
    (_, x_unit), (_, y_unit) = AXES[one.of]
    point, binding = one.points[place], one.pieces[place].binding if place < len(one.pieces) else ()
    return {
        "against": one.of, "x": plain(point.x), "x_unit": x_unit, "y": plain(point.y), "y_unit": y_unit,
        "here": here_words(one, place), "binding_from_here": "; ".join(binding),
        **_weights_at(found, point), "caution": in_a_cell(found.cautions),
    }
