"""The curves of a dish as plain data and as text for a terminal of 80 columns."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction

from rich.console import Group, RenderableType
from rich.text import Text

from ratio_solver.dish.cautions import in_a_cell
from ratio_solver.foods.nutrients import NET_CARBS
from ratio_solver.output.blocks import BAD, GOOD, QUIET, STRONG, caution_lines, grid, headline
from ratio_solver.output.dish_data import policy_data
from ratio_solver.output.json_csv import Data
from ratio_solver.output.numbers import decimal, plain, short
from ratio_solver.recipe.model import RATIO
from ratio_solver.tools.curve.model import Curve, Curves, Point

AXES = {
    "net-carbs": (("net-carb ceiling", "g per serving"), ("highest ratio", ":1")),
    "ratio": (("least ratio", ":1"), ("moved", "g")),
}
"""Name and unit of x and of y."""
HEADINGS = {
    "net-carbs": "Highest ratio within the other limits, against the ceiling on net carbs",
    "ratio": "Grams moved within the other limits, against the least ratio",
}


# --- data ---------------------------------------------------------------------------------------------


def curves_data(found: Curves) -> Data:
    """The outcome of `curve`."""
    return {
        "title": found.recipe.title,
        "servings": found.recipe.servings,
        "outcome": "impossible" if found.best_ratio is None else "solved",
        "best_ratio": plain(found.best_ratio),
        "best_ratio_net_carbs_max": None if found.best_ratio is None else _ceiling(found),
        "curves": [_curve_data(found, one) for one in found.curves],
        "policy": policy_data(found.recipe, found.guaranteed),
        "warnings": list(found.warnings),
        "cautions": list(found.cautions),
    }


def _curve_data(found: Curves, one: Curve) -> Data:
    (x, x_unit), (y, y_unit) = AXES[one.of]
    return {
        "of": one.of,
        "x": {"name": x, "unit": x_unit},
        "y": {"name": y, "unit": y_unit},
        "own": None if one.own is None else
        {"x": plain(one.own.x), "y": plain(one.own.y), "reachable": one.own.reachable},
        "comes_from_below": one.begun,
        "goes_on": one.endless,
        "points": [{
            "x": plain(point.x), "y": plain(point.y), "here": happens(point),
            "binds": list(point.binds), "frees": list(point.frees), "leaves_start": list(point.leaves),
            "back_at_start": list(point.returns), "passes_start": list(point.passes),
            "weights": _weights(found, point),
        } for point in one.points],
        "pieces": [{
            "from": plain(piece.start), "to": plain(piece.end), "binding": list(piece.binding),
            "at_start": list(piece.at_start),
            "formula": dict(zip("pqrs", map(plain, piece.formula), strict=True)),
        } for piece in one.pieces],
    }


def _weights(found: Curves, point: Point) -> Data:
    return {i.label: plain(grams) for i, grams in zip(found.recipe.ingredients, point.weights, strict=True)}


def curve_header(found: Curves) -> tuple[str, ...]:
    """Columns of the CSV: one row for each point of each curve."""
    return ("against", "x", "x_unit", "y", "y_unit", "here", "binding_from_here",
            *(i.label for i in found.recipe.ingredients), "caution")


def curve_rows(found: Curves) -> Iterator[Data]:
    """Rows of the CSV."""
    for one in found.curves:
        (_, x_unit), (_, y_unit) = AXES[one.of]
        for place, point in enumerate(one.points):
            binding = one.pieces[place].binding if place < len(one.pieces) else ()
            yield {
                "against": one.of, "x": plain(point.x), "x_unit": x_unit, "y": plain(point.y), "y_unit": y_unit,
                "here": here_words(one, place), "binding_from_here": "; ".join(binding),
                **_weights(found, point), "caution": in_a_cell(found.cautions),
            }


def happens(point: Point) -> str:
    """What changes at a breakpoint, in words."""
    said = [f"{name} starts to bind" for name in point.binds]
    said += [f"{name} no longer binds" for name in point.frees]
    said += [f"{name} starts to move" for name in point.leaves]
    said += [f"{name} is back at its start" for name in point.returns]
    said += [f"{name} passes its start" for name in point.passes]
    return "; ".join(said)


def here_words(one: Curve, place: int) -> str:
    """What a point of a curve is: an end, or what changes there."""
    if place == 0:
        if one.begun:
            return "comes from below"
        return {"net-carbs": "the fewest net carbs reachable", RATIO: "the dish nearest the start"}[one.of]
    if place == len(one.points) - 1:
        if one.endless:
            return "goes on from here"
        return "the best reachable" + (": more net carbs raise it no further" if one.of == "net-carbs" else "")
    return happens(one.points[place])


# --- text ---------------------------------------------------------------------------------------------


def curves_report(found: Curves) -> RenderableType:
    """A table for each curve: its points, and what binds between them."""
    parts: list[RenderableType] = []
    if found.best_ratio is None:
        parts += [headline(found.recipe.title, "impossible", BAD),
                  Text("No weights keep the other limits, at any ratio: `solve` says which are in conflict.")]
        if any(one.points for one in found.curves):
            parts.append(Text("Under another ceiling on net carbs there are some:"))
    else:
        best = f"best reachable {_ratio(found.best_ratio)}{found.recipe.policy.formula}{_under(found)}"
        ended = all(not one.endless for one in found.curves)
        parts.append(headline(found.recipe.title, best if ended else "curves", GOOD))
    for one in found.curves:
        if one.points:
            parts += [Text(""), Text(HEADINGS[one.of], STRONG), *_own_line(one), _table(one)]
    return Group(*parts, *_notes(found))


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


def _table(one: Curve) -> RenderableType:
    (x, x_unit), (y, y_unit) = AXES[one.of]
    table = grid((f"{x}\n{x_unit}", "right"), (f"{y}\n{y_unit}", "right"), ("", "left"))
    for place, point in enumerate(one.points):
        table.add_row(figure(point.x), Text(figure(point.y), STRONG), Text(here_words(one, place)))
        if place < len(one.pieces):
            names = "; ".join(one.pieces[place].binding) or "nothing else"
            table.add_row("", "", Text(f"binding: {names}", QUIET))
    return table


def _own_line(one: Curve) -> Sequence[RenderableType]:
    own = one.own
    if own is None:
        return ()
    if one.of == RATIO:
        if own.y is None or not own.reachable:
            return (Text(f"The recipe asks for {_ratio(own.x)}: out of reach.", BAD),)
        return (Text(f"The recipe's own point: {_ratio(own.x)} at {decimal(own.y, 2)} g moved."),)
    y = "" if own.y is None else f"{_ratio(own.y)} "
    text = f"The recipe's own point: {y}at {decimal(own.x, 2)} g"
    return (Text(f"{text}: {'within reach' if own.reachable else 'out of reach'}.", "" if own.reachable else BAD),)


def figure(value: Fraction) -> str:
    """A coordinate, cut to four decimals: a breakpoint lies at or just above it."""
    return decimal(Fraction(int(value * 10**4), 10**4), 4)


def _ratio(value: Fraction) -> str:
    """A ratio cut to three decimals."""
    return f"{short(Fraction(int(value * 1000), 1000), 3)}:1"


def _notes(found: Curves) -> Iterator[RenderableType]:
    """Policy, warnings and cautions; allergens belong to weights, which a curve does not settle."""
    yield Text("")
    yield Text(f"Weights to any fraction of a gram. Reckoned: {found.recipe.policy.described()}.", QUIET)
    for warning in found.warnings:
        yield Text(f"Note: {warning}.", "yellow")
    yield from caution_lines(found.cautions)
