"""The recipe file of a draft: every written line a comment, every guess marked, nothing dropped."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction

from ratio_solver.errors import cut, one_line
from ratio_solver.exact import exact
from ratio_solver.foods.table import FoodTable
from ratio_solver.output.numbers import short
from ratio_solver.recipe.model import BATCH
from ratio_solver.recipe.write import Value, toml_key, toml_lines
from ratio_solver.tools.draft.bounds import LEFT_OUT, bounds_of, lower, piece_of, step_of, use_of
from ratio_solver.tools.draft.model import Drafted, DraftLine

CHECK = "# check: "

LEAST_LEFT = Fraction(3, 5)
"""Share of a part's weight that stays of it at least where ingredients may move; our choice."""


def draft_text(title: str, servings: int, servings_known: bool, method: Sequence[str], targets: Mapping[str, float],
               lines: Sequence[DraftLine], passed_over: Sequence[str], bounds: float | None, foods: FoodTable,
               tables: Sequence[str] = ()) -> str:
    """The recipe file (TOML).

    Parameters
    ----------
    title, servings, method : str, int, sequence of str
    servings_known : bool
        Whether someone said how many there are.
    targets : mapping of str to float
    lines : sequence of DraftLine
    passed_over : sequence of str
        Lines that are about something else; they stay as comments.
    bounds : float or None
        How far each ingredient may move, percent; None to fix them all.
    foods : FoodTable
        Where foods that carry less carbohydrate are looked up.
    tables : sequence of str
        Composition tables that the recipe names.
    """
    top = toml_lines([("title", title), ("foods", list(tables) or None), ("servings", servings),
                    ("method", list(method) or None)])
    if not servings_known:
        top = top.replace(
            f"\nservings = {servings}", f"\n{CHECK}the recipe does not say how many it serves\nservings = {servings}", 1
        )
    blocks = [top]
    if targets:
        blocks.append("[targets]\n" + toml_lines(list(targets.items())))
    weights = _weights(lines)
    blocks += ["\n".join(_block(line, bounds, weights.get(line.part, Fraction(0)), foods)) for line in lines]
    if bounds is not None and (held := _held(weights)):
        blocks.append(held)
    if passed_over:
        blocks.append("\n".join(["# Not taken for ingredients:", *map(comment, passed_over)]))
    return "\n\n".join(blocks) + "\n"


def _weights(lines: Sequence[DraftLine]) -> dict[str, Fraction]:
    """What each part weighs, g; that of no name is what stands under no heading."""
    found: dict[str, Fraction] = {}
    for line in lines:
        for item in line.foods:
            found[line.part] = found.get(line.part, Fraction(0)) + exact(item.grams)
    return found


def _held(weights: Mapping[str, Fraction]) -> str:
    """The least weight of each part, and of the batch where it has none: else a whole part could go."""
    told = [f"[parts.{toml_key(name or BATCH)}]\n" + toml_lines([("min", float(round(weight * LEAST_LEFT, 1)))])
            for name, weight in weights.items() if weight and (name or len(weights) == 1)]
    why = f"# At least {int(100 * LEAST_LEFT)} % stays of what each weighs: without its top a pie is another dish."
    return "\n\n".join([f"{why}\n{told[0]}", *told[1:]]) if told else ""


def comment(text: str) -> str:
    r"""A text as a comment of TOML: one line, with nothing in it that could end it.

    >>> comment("2 eggs\n[[ingredients]]"), comment("a\x07b")
    ('# 2 eggs [[ingredients]]', '# a\\x07b')
    """
    return f"# {cut(one_line(text))}"


def _block(line: DraftLine, bounds: float | None, part: Fraction, foods: FoodTable) -> Iterator[str]:
    yield comment(line.text)
    yield from (CHECK + cut(one_line(why)) for why in line.unread)
    for place, item in enumerate(line.foods):
        if place:
            yield ""
        if item.check:
            yield CHECK + cut(one_line(item.check))
        if bounds is not None and item.food.role in LEFT_OUT and (instead := lower(item, part, foods)):
            told = ", ".join(f"{food.name} ({short(net)} g)" for food, net in instead)
            yield f"# {use_of(item, part)} with fewer net carbs (in 100 g): {told}"
        yield "[[ingredients]]"
        yield toml_lines(_keys(item, line.part, bounds))


def _keys(item: Drafted, part: str, bounds: float | None) -> list[tuple[str, Value | None]]:
    moved = None if bounds is None else bounds_of(item, bounds)
    piece = piece_of(item)
    own = item.weighed.measure if piece else ""
    return [
        ("food", item.food.name), ("label", item.label if item.label != item.food.name else None),
        ("grams", item.grams), ("min", moved[0] if moved else None), ("max", moved[1] if moved else None),
        ("part", part or None), ("measure", own or None),
        ("piece", piece if piece and not own else None), ("step", step_of(item) if moved else None),
    ]
