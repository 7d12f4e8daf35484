"""The curves of a dish as a picture, PNG or SVG (matplotlib, loaded only here and only when asked)."""

from __future__ import annotations

import io
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ratio_solver.faults import BadInput, Fault
from ratio_solver.proposals.curve_answer import Curve, Curves
from ratio_solver.recipes.recipe import RATIO
from ratio_solver.reports.figures import decimal

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LABELS = {
    "net-carbs": ("net-carb ceiling, g per serving", "highest ratio, fat : (protein + net carbs)"),
    "ratio": ("least ratio, fat : (protein + net carbs)", "moved from the start, g per batch"),
}
TITLES = {"net-carbs": "How high the ratio can go", "ratio": "What a higher ratio takes"}
FORMATS = (".png", ".svg")
LINE, DOT, OWN, FAINT = "#1f4e79", "#1f4e79", "#c1440e", "#777777"
SAMPLES = 60
"""Places per piece at which its formula is drawn."""
PANEL = (7.2, 4.6)
"""Width and height of a panel, inches."""
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
        raise BadInput([Fault("--plot", "", "", "needs matplotlib: install ratio-solver[plots]")]) from missing
    style: Any = {"font.size": 9.5, "axes.spines.top": False, "axes.spines.right": False, "svg.fonttype": "none",
             "svg.hashsalt": "ratio", "font.family": "sans-serif"}
    with matplotlib.rc_context(style):
        figure = Figure(figsize=(PANEL[0], PANEL[1] * len(drawn) + 0.5), layout="constrained")
        for k, one in enumerate(drawn):
            _panel(figure.add_subplot(len(drawn), 1, k + 1), found, one)
        figure.suptitle(found.recipe.title, fontsize=13, fontweight="bold", x=0.02, ha="left")
        out = io.BytesIO()
        metadata = {"Date": None} if ending == ".svg" else {"Software": None}
        figure.savefig(out, format=ending[1:], dpi=DPI, metadata=metadata)
    return out.getvalue()


def _panel(axes: Axes, found: Curves, one: Curve) -> None:
    x_label, y_label = LABELS[one.of]
    if found.recipe.policy.ratio_formula != "net":
        x_label, y_label = (text.replace(", fat : (protein + net carbs)", ", by the recipe's formula")
                            for text in (x_label, y_label))
    axes.set_xlabel(x_label)
    axes.set_ylabel(y_label)
    axes.set_title(TITLES[one.of], loc="left", fontsize=11)
    axes.grid(color="#e4e4e4", linewidth=0.7)
    axes.set_axisbelow(True)
    for piece in one.pieces:
        low, high = float(piece.start), float(piece.end)
        p, q, r, s = (float(part) for part in piece.formula)
        xs = [low + (high - low) * k / SAMPLES for k in range(SAMPLES + 1)]
        axes.plot(xs, [(p + q * x) / (r + s * x) for x in xs], color=LINE, linewidth=2, solid_capstyle="round")
    _breakpoints(axes, one)
    _own_point(axes, one)
    for axis, is_ratio in ((axes.xaxis, one.of == RATIO), (axes.yaxis, one.of != RATIO)):
        if is_ratio:
            axis.set_major_formatter(lambda value, _: f"{value:g}:1")
    axes.margins(x=0.04, y=0.1)


def _breakpoints(axes: Axes, one: Curve) -> None:
    """Breakpoints, numbered on the curve and named in a list where the curve leaves room."""
    inner = list(enumerate(one.points))[1:-1]
    ends = [one.points[0], one.points[-1]] if len(one.points) > 1 else [one.points[0]]
    axes.plot([float(p.x) for p in ends], [float(p.y) for p in ends], "o", color=DOT, markersize=4.5)
    axes.plot([float(p.x) for _, p in inner], [float(p.y) for _, p in inner], "o", color=DOT, markersize=6,
              markerfacecolor="white", markeredgewidth=1.5)
    lines = []
    for number, point in inner:
        axes.annotate(str(number), (float(point.x), float(point.y)), xytext=(-5, 6), textcoords="offset points",
                      ha="right", fontsize=8.5, color=DOT)
        lines.append(f"{number}  {_named(point)}")
    rising = one.of == "net-carbs"
    if lines:
        axes.text(0.985 if rising else 0.015, 0.03 if rising else 0.97, "\n".join(lines), transform=axes.transAxes,
                  ha="right" if rising else "left", va="bottom" if rising else "top", fontsize=8, color="#333333",
                  linespacing=1.35, bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.85, "pad": 2})


def _named(point: Any) -> str:
    """A breakpoint in few words: what starts to bind, else what else changes."""
    words = [f"{name} binds" for name in point.binds]
    words += [f"{name} moves" for name in point.leaves] + [f"{name} passes its start" for name in point.passes]
    words += [f"{name} is back at its start" for name in point.returns]
    words += [f"{name} is free again" for name in point.frees]
    return ", ".join(words[:2]) + (", ..." if len(words) > 2 else "")


def _own_point(axes: Axes, one: Curve) -> None:
    own = one.own
    if own is None:
        return
    x = float(own.x)
    if own.y is None:
        axes.axvline(x, color=OWN, linewidth=1.2, linestyle="--")
        axes.annotate(f" the recipe asks for {x:g}:1\n out of reach", (x, 0.04), color=OWN, fontsize=8.5,
                      xycoords=("data", "axes fraction"), ha="right")
        return
    axes.plot([x], [float(own.y)], marker="D", color=OWN, markersize=7, zorder=5, linestyle="none")
    words = "the recipe" if own.reachable else "the recipe: out of reach"
    figures = f"{x:g}:1, {decimal(own.y, 0)} g" if one.of == RATIO else f"{float(own.y):g}:1 at {x:g} g"
    axes.annotate(f"{words}\n{figures}", (x, float(own.y)), xytext=(9, -4), textcoords="offset points",
                  color=OWN, fontsize=8.5, va="top")
