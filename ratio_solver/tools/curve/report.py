"""The curves of a dish: as text for a terminal of 80 columns, as plain data, as rows of a CSV, and as a picture.

The picture (PNG or SVG) is drawn by matplotlib, which is loaded only here and only when one is asked for.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from fractions import Fraction
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING, Any

from ratio_solver.dish.cautions import in_a_cell, on_screen
from ratio_solver.errors import BadInput, Fault, lacks_extra
from ratio_solver.exact import cut_down
from ratio_solver.foods.nutrients import NET_CARBS
from ratio_solver.output.blocks import BAD, GOOD, QUIET, STRONG, Block, Cell, Text, caution_lines, headline, table_of
from ratio_solver.output.dish_text import policy_data
from ratio_solver.output.json_csv import Data, Rows
from ratio_solver.output.numbers import decimal, plain, short
from ratio_solver.recipe.model import RATIO
from ratio_solver.tools.curve.compute import Curve, CurvePoint, Curves

if TYPE_CHECKING:
    from matplotlib.axes import Axes

AXIS_LABELS = {
    "net-carbs": ("net-carb ceiling, g per serving", "highest ratio, fat : (protein + net carbs)"),
    "ratio": ("least ratio, fat : (protein + net carbs)", "moved from the start, g per batch"),
}

TITLES = {"net-carbs": "How high the ratio can go", "ratio": "What a higher ratio takes"}

FORMATS = (".png", ".svg")

FEW_WORDS = (("binds", "binds"), ("leaves", "moves"), ("passes", "passes its start"),
             ("returns", "is back at its start"), ("frees", "is free again"))
"""What starts to bind at a breakpoint, then what else changes, as in a report's `EVENTS`."""

LINE, OWN_COLOUR, FAINT = "#1f4e79", "#c1440e", "#666666"

DRAWN_AT = 60
"""Places per piece at which its formula is drawn."""

PANEL = (6.6, 4.3)
"""Width and height of a panel, inches; beside it a column that names its breakpoints."""

LIST_WIDTH = 3.2

WRAPPED = 44
"""Characters in a line of that column."""

MANY_LINES, MOST_LINES = 22, 30

CROWDED = Fraction(1, 20)
"""Share of the axis within which the numbers of neighbours go to either side of the curve."""

DPI = 200

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
        ceiling = _ceiling(found)
        under = f" at up to {short(ceiling, 4)} g net carbs" if ceiling is not None else \
            ", whatever the net carbs" if found.recipe.target(NET_CARBS) is not None else ""
        best = f"best reachable {ratio_cut(found.best_ratio)}{found.recipe.policy.formula}{under}"
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
    dish = found.alone if isinstance(found, Curve) else found
    assert dish is not None
    return dish


def _ceiling(found: Curves) -> float | None:
    """The ceiling on net carbs that the best ratio keeps, g per serving; None where it is the best under any."""
    own = found.recipe.target(NET_CARBS)
    return own.maximum if own is not None and any(one.of == RATIO for one in found.curves) else None


def _point_rows(one: Curve) -> Iterator[tuple[Cell, ...]]:
    for place, point in enumerate(one.points):
        yield coordinate(point.x), Text(coordinate(point.y), STRONG), Text(here_words(one, place))
        if place < len(one.pieces):
            names = "; ".join(one.pieces[place].binding) or "nothing else"
            yield "", "", Text(f"binding: {names}", QUIET)


def _own_line(one: Curve) -> Iterator[Block]:
    """The recipe's own targets, and whether they are within reach."""
    own = one.own
    if own is None:
        return
    if one.of == RATIO:
        reached = own.y is not None and own.reachable
        words = f"The recipe asks for {ratio_cut(own.x)}: out of reach." if own.y is None or not own.reachable else \
            f"The recipe's own point: {ratio_cut(own.x)} at {decimal(own.y, 2)} g moved."
    else:
        reached, y = own.reachable, "" if own.y is None else f"{ratio_cut(own.y)} "
        words = f"The recipe's own point: {y}at {decimal(own.x, 2)} g: {'within' if reached else 'out of'} reach."
    yield Text(words, "" if reached else BAD)


def here_words(one: Curve, place: int) -> str:
    """What a point of a curve is: an end, or what changes there."""
    if place == 0:
        return "comes from below" if one.begun else \
            "the dish nearest the start" if one.of == RATIO else "the fewest net carbs reachable"
    if place == len(one.points) - 1:
        return "goes on from here" if one.endless else \
            "the best reachable" + ("" if one.of == RATIO else ": more net carbs raise it no further")
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


def curves_plot(found: Curves, path: str | Path) -> bytes:
    """The picture, in the format of the file's ending.

    Parameters
    ----------
    found : Curves
    path : path
        Ends in .png or .svg; nothing is written here.

    Raises
    ------
    BadInput
        For another ending, where matplotlib is not installed, or where there is nothing to draw.
    """
    ending = Path(path).suffix.lower()
    if ending not in FORMATS:
        raise BadInput([Fault("--plot", "", repr(str(path)), f"expected a file ending in {' or '.join(FORMATS)}")])
    drawn = [one for one in found.curves if one.points]
    if not drawn:
        raise BadInput([Fault("--plot", "", "", "there is nothing to draw: no weights keep the other limits")])
    try:
        import matplotlib
        from matplotlib.figure import Figure
    except ImportError as missing:
        raise lacks_extra("--plot", "drawings", "plots") from missing
    style: Any = {"font.size": 9.5, "axes.spines.top": False, "axes.spines.right": False, "svg.fonttype": "none",
             "svg.hashsalt": "ratio", "font.family": "sans-serif", "text.parse_math": False}
    with matplotlib.rc_context(style):
        figure = Figure(figsize=(PANEL[0] + LIST_WIDTH, PANEL[1] * len(drawn) + 1), layout="constrained")
        cells = figure.add_gridspec(len(drawn) + 1, 2, width_ratios=(PANEL[0], LIST_WIDTH),
                                    height_ratios=(*[PANEL[1]] * len(drawn), 0.45), hspace=0.08)
        for k, one in enumerate(drawn):
            _panel(figure.add_subplot(cells[k, 0]), found, one)
            _list_points(figure.add_subplot(cells[k, 1]), one)
        _footnote(figure.add_subplot(cells[-1, :]), found)
        figure.suptitle(found.recipe.title, fontsize=13, fontweight="bold", x=0.01, ha="left")
        out = io.BytesIO()
        metadata = {"Date": None} if ending == ".svg" else {"Software": None}
        figure.savefig(out, format=ending[1:], dpi=DPI, metadata=metadata)
    return out.getvalue()


def _panel(axes: Axes, found: Curves, one: Curve) -> None:
    x_label, y_label = AXIS_LABELS[one.of]
    if found.recipe.policy.ratio_formula != "net":
        x_label, y_label = (text.replace(", fat : (protein + net carbs)", ", by the recipe's formula")
                            for text in (x_label, y_label))
    axes.set(xlabel=x_label, ylabel=y_label)
    axes.set_title(TITLES[one.of], loc="left", fontsize=11)
    axes.grid(color="#e4e4e4", linewidth=0.7)
    axes.set_axisbelow(True)
    for piece in one.pieces:
        low, high = float(piece.start), float(piece.end)
        p, q, r, s = (float(part) for part in piece.formula)
        xs = [low + (high - low) * k / DRAWN_AT for k in range(DRAWN_AT + 1)]
        axes.plot(xs, [(p + q * x) / (r + s * x) for x in xs], color=LINE, linewidth=2, solid_capstyle="round")
    _breakpoints(axes, one)
    _own_point(axes, one)
    (axes.xaxis if one.of == RATIO else axes.yaxis).set_major_formatter(lambda value, _: f"{value:g}:1")
    axes.margins(x=0.04, y=0.15)


def _breakpoints(axes: Axes, one: Curve) -> None:
    """Ends as dots, breakpoints as numbered rings."""
    inner = list(enumerate(one.points))[1:-1]
    ends = [one.points[0], one.points[-1]]
    axes.plot([float(p.x) for p in ends], [float(p.y) for p in ends], "o", color=LINE, markersize=4.5)
    axes.plot([float(p.x) for _, p in inner], [float(p.y) for _, p in inner], "o", color=LINE, markersize=6,
              markerfacecolor="white", markeredgewidth=1.5)
    above, last = True, one.points[0].x
    for number, point in inner:
        close = point.x - last < CROWDED * (ends[1].x - ends[0].x) and number > 1
        above, last = not above if close else True, point.x
        axes.annotate(str(number), (float(point.x), float(point.y)), xytext=(-5, 6) if above else (5, -13),
                      textcoords="offset points", ha="right" if above else "left", fontsize=8.5, color=LINE)


def _list_points(axes: Axes, one: Curve) -> None:
    """What changes at each numbered breakpoint, and where the curve begins and ends."""
    axes.axis("off")
    first, last = one.points[0], one.points[-1]
    lines = [f"from {_point_words(one, first)}{', and below' if one.begun else ''}"]
    for number, point in list(enumerate(one.points))[1:-1]:
        text = f"{number}  {_point_words(one, point)}: {happens(point, FEW_WORDS)}"
        lines += fill(text, WRAPPED, subsequent_indent="    ").splitlines()
    if last is not first:
        lines.append(f"to {_point_words(one, last)}{', and on' if one.endless else ', the best reachable'}")
    if len(lines) > MOST_LINES:
        lines = [*lines[:MOST_LINES - 2], "...", lines[-1]]
    axes.text(0, 1, "\n".join(lines), transform=axes.transAxes, ha="left", va="top", color="#333333",
              fontsize=8 if len(lines) <= MANY_LINES else 7, linespacing=1.4 if len(lines) <= MANY_LINES else 1.25)


def _point_words(one: Curve, point: CurvePoint) -> str:
    value = point.x if one.of == RATIO else point.y
    ratio = f"{decimal(cut_down(value, 3), 3)}:1"  # cut: it is never said to be higher than it is
    return f"{ratio}, {decimal(point.y, 0)} g" if one.of == RATIO else f"{decimal(point.x, 2)} g, {ratio}"


def _footnote(axes: Axes, found: Curves) -> None:
    """How the figures are reckoned, and the cautions that go with a stated ratio."""
    axes.axis("off")
    lines = [f"Reckoned: {found.recipe.reckoned}.", *on_screen(found.cautions)]
    text = "\n".join(line for paragraph in lines for line in fill(paragraph, 178).splitlines())
    axes.text(0, 1, text, transform=axes.transAxes, ha="left", va="top", fontsize=6.5, color=FAINT, linespacing=1.3)


def _own_point(axes: Axes, one: Curve) -> None:
    own = one.own
    if own is None:
        return
    x = float(own.x)
    if own.y is None:
        axes.axvline(x, color=OWN_COLOUR, linewidth=1.2, linestyle="--")
        axes.annotate(f" the recipe asks for {x:g}:1\n out of reach", (x, 0.04), color=OWN_COLOUR, fontsize=8.5,
                      xycoords=("data", "axes fraction"), ha="right")
        return
    axes.plot([x], [float(own.y)], marker="D", color=OWN_COLOUR, markersize=7, zorder=5, linestyle="none")
    words = "the recipe" if own.reachable else "the recipe: out of reach"
    figures = f"{x:g}:1, {decimal(own.y, 0)} g" if one.of == RATIO else f"{float(own.y):g}:1 at {x:g} g"
    low, high = (float(end) for end in (min(one.points[0].x, own.x), max(one.points[-1].x, own.x)))
    right = high > low and (x - low) / (high - low) > (0.9 if one.of == RATIO else 0.7)
    bottom, top = min(one.points[0].y, own.y), max(one.points[-1].y, own.y)
    low_down = one.of != RATIO and own.y - bottom < (top - bottom) / 8
    axes.annotate(f"{words}\n{figures}", (x, float(own.y)), xytext=(-9 if right else 9, 4 if low_down else -6),
                  textcoords="offset points", color=OWN_COLOUR, fontsize=8.5, va="bottom" if low_down else "top",
                  ha="right" if right else "left")
    if one.of != RATIO and not one.endless and own.x > one.points[-1].x:
        axes.plot([float(one.points[-1].x), x], [float(one.points[-1].y)] * 2, color=LINE, linewidth=1.2,
                  linestyle=":")
