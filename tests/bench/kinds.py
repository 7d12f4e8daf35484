"""What kitchens write: recipes of every kind for the benchmark, seeded, each as a menu and as recipes.

A dish of `tests.bench.menus` is drawn first, and then written as a kitchen would write it: with eggs in pieces, on a
scale of 5 g, with parts, and so on. What share of a kitchen's recipes each kind is, is an estimate (common practice, no
source); the table has a row for each, so that any other share can be reckoned.
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from tests.bench.menus import Dish, dishes

ROOT = Path(__file__).resolve().parent.parent.parent
PIECES = (12.0, 17.0, 50.0, 110.0)
"""Weights of a piece, g: a nut or date, a yolk, an egg, an onion."""

MIXED_STEPS = (0.1, 0.5, 1.0, 5.0, 10.0)


@dataclass
class Written:
    """A recipe as a kitchen writes it: a row of cells for each ingredient, targets, and what only a file can say.

    Attributes
    ----------
    name : str
    servings : int
    targets : dict of column to number
    rows : list of dict of column to cell
    more : str
        Tables of the recipe file beyond targets and ingredients.
    file : str
        The recipe file that it is, in place of all that, with the targets put over its own.
    """

    name: str
    servings: int
    targets: dict[str, float]
    rows: list[dict[str, str]] = field(default_factory=list)
    more: str = ""
    file: str = ""

    def toml(self) -> str:
        """The recipe file."""
        ends: dict[str, list[str]] = {}
        for column, value in self.targets.items():
            stem, _, end = column.rpartition("_") if column.endswith(("_min", "_max")) else (column, "", "")
            ends.setdefault(stem, []).append(f"{end or ('min' if column == 'ratio' else 'max')} = {value}")
        lines = [f'title = "{self.name}"', f"servings = {self.servings}", "[targets]",
                 *(f"{stem} = {{{', '.join(each)}}}" for stem, each in ends.items())]
        for row in self.rows:
            lines.append("[[ingredients]]")
            lines += [f'{key} = "{cell}"' if key in ("food", "part") else f"{key} = {cell}"
                      for key, cell in row.items() if cell]
        return "\n".join([*lines, self.more, ""])


def plain(dish: Dish, rng: np.random.Generator) -> Written:
    """Whole grams, a least ratio and a net-carb ceiling: what the benchmark has always drawn."""
    rows = [{"food": food, "grams": f"{start:g}", "min": f"{low:g}", "max": f"{high:g}"}
            for food, start, low, high in zip(dish.foods, dish.start, dish.low, dish.high, strict=True)]
    return Written(dish.name, dish.servings, {"ratio": dish.ratio, "net_carbs": dish.net_carbs}, rows)


def _per_serving(dish: Dish) -> dict[str, float]:
    """Fat, protein and net carbs of a serving of the weights that keep the limits."""
    each = {"fat": dish.fat, "protein": dish.rest - dish.net, "net": dish.net}
    return {name: float(figures @ dish.inside) / dish.servings for name, figures in each.items()}


def three_targets(dish: Dish, rng: np.random.Generator) -> Written:
    """A least protein, a most fat and a least net carbs as well."""
    found, each = plain(dish, rng), _per_serving(dish)
    found.targets |= {"protein_min": np.floor(each["protein"] * 9.5) / 10, "fat_max": np.ceil(each["fat"] * 11),
                      "net_carbs_min": np.floor(each["net"] * 8) / 10}
    return found


def bands(dish: Dish, rng: np.random.Generator) -> Written:
    """A ratio and a protein within bands."""
    found, each = plain(dish, rng), _per_serving(dish)
    ratio = found.targets.pop("ratio")
    found.targets |= {"ratio_min": ratio, "ratio_max": round(ratio * 1.1 + 0.05, 2),
                      "protein_min": np.floor(each["protein"] * 9.5) / 10,
                      "protein_max": np.ceil(each["protein"] * 10.5) / 10}
    return found


def _on_steps(found: Written, place: int, key: str, step: float) -> None:
    """Give one ingredient a step or a piece, and weights on it."""
    row = found.rows[place]
    row[key] = f"{step:g}"
    low, start, high = (float(row[name]) / step for name in ("min", "grams", "max"))
    for name, steps in (("min", np.floor(low)), ("grams", round(start)), ("max", np.ceil(high))):
        row[name] = f"{round(steps * step, 6):g}"


def pieces(dish: Dish, rng: np.random.Generator) -> Written:
    """One ingredient in pieces."""
    found = plain(dish, rng)
    _on_steps(found, int(rng.integers(2, len(found.rows))), "piece", float(rng.choice(PIECES)))
    return found


def kept(dish: Dish, rng: np.random.Generator) -> Written:
    """One ingredient dearer to move than the others."""
    found = plain(dish, rng)
    found.rows[int(rng.integers(len(found.rows)))]["keep"] = str(rng.choice(["0.5", "2", "3", "5", "10"]))
    return found


def coarse(dish: Dish, rng: np.random.Generator) -> Written:
    """A scale of 5 g."""
    found = plain(dish, rng)
    for place in range(len(found.rows)):
        _on_steps(found, place, "step", 5.0)
    return found


def finer(dish: Dish, rng: np.random.Generator) -> Written:
    """One ingredient on a finer scale."""
    found = plain(dish, rng)
    _on_steps(found, int(rng.integers(len(found.rows))), "step", float(rng.choice([0.1, 0.5])))
    return found


def mixed_steps(dish: Dish, rng: np.random.Generator) -> Written:
    """Every ingredient with a step of its own, one in pieces."""
    found = pieces(dish, rng)
    for place, row in enumerate(found.rows):
        if "piece" not in row:
            _on_steps(found, place, "step", float(rng.choice(MIXED_STEPS)))
    return found


def off_grid(dish: Dish, rng: np.random.Generator) -> Written:
    """Weights with decimals, as they come from spoons and cups, on a scale of 1 g."""
    found = plain(dish, rng)
    for row in found.rows:
        if rng.random() < 0.5:
            row["grams"] = f"{float(row['grams']) + float(rng.choice([0.1, 0.25, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8])):g}"
        if rng.random() < 0.2:
            row["max"] = f"{float(row['max']) + 0.5:g}"
    return found


def some_impossible(dish: Dish, rng: np.random.Generator) -> Written:
    """Three in ten ask for more than the dish can give."""
    found = plain(dish, rng)
    if rng.random() < 0.3:
        highest = 0.0
        for _ in range(20):  # Dinkelbach's iterations for the highest ratio within the bounds
            best = np.where(dish.fat > highest * dish.rest, dish.high, dish.low)
            highest = float(dish.fat @ best / max(1e-9, dish.rest @ best))
        if rng.random() < 0.5:
            found.targets["ratio"] = round(min(900.0, highest * 1.15 + 0.05), 2)
        else:
            found.targets["net_carbs"] = float(np.floor(dish.net @ dish.low / dish.servings * 8) / 10)
    return found


def parts(dish: Dish, rng: np.random.Generator) -> Written:
    """Two parts with a least and a most weight."""
    found = plain(dish, rng)
    half = len(found.rows) // 2
    for name, members in (("filling", range(half)), ("base", range(half, len(found.rows)))):
        weight = float(dish.inside[list(members)].sum())
        for place in members:
            found.rows[place]["part"] = name
        found.more += f"[parts.{name}]\nmin = {np.floor(weight * 0.95):g}\nmax = {np.ceil(weight * 1.05):g}\n"
    return found


def proportions(dish: Dish, rng: np.random.Generator) -> Written:
    """Two ingredients each in a proportion to another group."""
    found = plain(dish, rng)
    for of, to in ((0, (2, 3)), (4, (5,))):
        share = float(dish.inside[of] / dish.inside[list(to)].sum())
        names = ", ".join(f'"{dish.foods[place]}"' for place in to)
        found.more += (f'[[proportions]]\nof = ["{dish.foods[of]}"]\nto = [{names}]\nmin = {share * 0.9:.3f}\n'
                       f"max = {share * 1.1 + 0.001:.3f}\n")
    return found


def choices(dish: Dish, rng: np.random.Generator) -> Written:
    """At most two of four, of which the weights that keep the limits use two."""
    found, inside = plain(dish, rng), dish.inside.copy()
    four = [0, 1, 2, 3]
    for place in four:
        found.rows[place]["min"] = "0"
    inside[[1, 3]] = 0.0
    ratio = dish.fat @ inside / max(1e-9, dish.rest @ inside)
    found.targets = {"ratio": max(0.01, np.floor(ratio * 95) / 100),
                     "net_carbs": np.ceil(dish.net @ inside / dish.servings * 10.5) / 10}
    names = ", ".join(f'"{dish.foods[place]}"' for place in four)
    found.more = f"[[choose]]\nfrom = [{names}]\nat_most = 2\n"
    return found


@dataclass(frozen=True)
class Kind:
    """A kind of recipe: how it is written, how it is solved, and of a hundred recipes of a kitchen how many are so."""

    share: float
    write: Callable[[Dish, np.random.Generator], Written] = plain
    prefer: str = "closest"
    by_file: bool = False


KINDS: Mapping[str, Kind] = {
    "plain, as the benchmark's": Kind(20),
    "three more targets": Kind(12, three_targets),
    "bands": Kind(6, bands),
    "one ingredient in pieces": Kind(16, pieces),
    "keep on one": Kind(4, kept),
    "steps of 5 g": Kind(6, coarse),
    "one finer step": Kind(4, finer),
    "mixed steps and a piece": Kind(4, mixed_steps),
    "weights off the grid": Kind(6, off_grid),
    "30 % impossible": Kind(8, some_impossible),
    "even": Kind(1, prefer="even"),
    "cheapest": Kind(2, prefer="cheapest"),
    "lightest": Kind(1, prefer="lightest"),
    "lowest-carb": Kind(1, prefer="lowest-carb"),
    "parts, by file": Kind(4, parts, by_file=True),
    "proportions, by file": Kind(2, proportions, by_file=True),
    "choices, by file": Kind(1, choices, by_file=True),
    "the examples by file": Kind(2, by_file=True),
}

EXAMPLES = "the examples by file"
OTHER_TABLES = ("stuffed-peppers",)
"""Examples that need tables of their own."""


def priced_table(source: Path, path: Path) -> None:
    """The bundled table with a price for every food, seeded."""
    rng = np.random.default_rng(5)
    with source.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    with path.open("w", encoding="utf-8", newline="") as file:
        columns = list(dict.fromkeys([*rows[0], "price_per_kg"]))
        writer = csv.DictWriter(file, columns, lineterminator="\n")
        writer.writeheader()
        writer.writerows({**row, "price_per_kg": f"{rng.uniform(0.5, 30):.2f}"} for row in rows)


def drawn(name: str, count: int, seed: int, table: Path) -> list[Written]:
    """So many recipes of a kind."""
    kind, rng = KINDS[name], np.random.default_rng(seed)
    if name == EXAMPLES:
        files = sorted(path for path in (ROOT / "examples").glob("*.toml") if path.stem not in OTHER_TABLES)
        return [Written(f"dish {number}", int(rng.integers(4, 13)), {"net_carbs": float(rng.integers(12, 40))},
                        file=str(files[number % len(files)])) for number in range(count)]
    return [kind.write(dish, rng) for dish in dishes(count, seed, table)]


def write_kind(name: str, recipes: list[Written], folder: Path) -> Path:
    """A menu of these recipes, and their files where the kind is one by file."""
    path = folder / "menu.csv"
    if KINDS[name].by_file:
        rows = []
        for recipe in recipes:
            if not recipe.file:
                (folder / f"{recipe.name}.toml").write_text(recipe.toml(), encoding="utf-8")
            own = {"servings": str(recipe.servings), **{key: str(value) for key, value in recipe.targets.items()}}
            rows.append({"recipe": recipe.name, "file": recipe.file or f"{recipe.name}.toml",
                         **(own if recipe.file else {})})
    else:
        rows = [{"recipe": recipe.name, **({"servings": str(recipe.servings), **{
            key: f"{value:g}" for key, value in recipe.targets.items()}} if place == 0 else {}), **row}
            for recipe in recipes for place, row in enumerate(recipe.rows)]
    columns = list(dict.fromkeys(key for row in rows for key in row))
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, columns, restval="", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    return path
