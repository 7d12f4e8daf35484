"""The curves of a dish as a picture, PNG or SVG (matplotlib, loaded only here and only when asked)."""

from __future__ import annotations

import io
from fractions import Fraction
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING, Any

from ratio_solver.dish.cautions import on_screen
from ratio_solver.errors import BadInput, Fault, lacks_extra
from ratio_solver.exact import cut_down
from ratio_solver.output.numbers import decimal
from ratio_solver.recipe.model import RATIO
from ratio_solver.tools.curve.compute import Curve, CurvePoint, Curves
from ratio_solver.tools.curve.report import happens

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
    lines = [f"from {_place(one, first)}{', and below' if one.begun else ''}"]
    for number, point in list(enumerate(one.points))[1:-1]:
        text = f"{number}  {_place(one, point)}: {happens(point, FEW_WORDS)}"
        lines += fill(text, WRAPPED, subsequent_indent="    ").splitlines()
    if last is not first:
        lines.append(f"to {_place(one, last)}{', and on' if one.endless else ', the best reachable'}")
    if len(lines) > MOST_LINES:
        lines = [*lines[:MOST_LINES - 2], "...", lines[-1]]
    axes.text(0, 1, "\n".join(lines), transform=axes.transAxes, ha="left", va="top", color="#333333",
              fontsize=8 if len(lines) <= MANY_LINES else 7, linespacing=1.4 if len(lines) <= MANY_LINES else 1.25)


def _place(one: Curve, point: CurvePoint) -> str:
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
