"""Seeded random menus for the benchmarks: 6 to 14 ingredients, a least ratio and a net-carb ceiling.

A dish that keeps the limits is drawn first and the limits are put around it, so every recipe is possible; about half
of the drafts break a limit as they stand. Never imports ratio_solver: figures come from the table's file.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

HEADER = ("recipe", "servings", "ratio", "net_carbs", "food", "grams", "min", "max")


@dataclass(frozen=True)
class Dish:
    """A random recipe, as written and as arrays."""

    name: str
    servings: int
    ratio: float
    net_carbs: float
    foods: tuple[str, ...]
    fat: np.ndarray
    rest: np.ndarray
    net: np.ndarray
    start: np.ndarray
    low: np.ndarray
    high: np.ndarray
    inside: np.ndarray
    """Weights that keep the limits."""


def table_figures(path: Path) -> tuple[list[str], np.ndarray]:
    """Names of the plain foods of a table and (fat, protein, net) per g."""
    names, figures = [], []
    with path.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            left_out = [row.get(key) or "0" for key in ("polyols_g", "erythritol_g", "allulose_g")]
            if any(float(value) for value in left_out) or row["carb_basis"] != "by_difference":
                continue
            net = max(0.0, float(row["carbs_g"]) - float(row["fibre_g"] or 0))
            names.append(row["food"])
            figures.append((float(row["fat_g"]) / 100, float(row["protein_g"]) / 100, net / 100))
    return names, np.array(figures)


def dishes(count: int, seed: int, table: Path) -> Iterator[Dish]:
    """Random dishes, the same for the same seed."""
    names, figures = table_figures(table)
    fats = np.flatnonzero(figures[:, 0] > 0.6)
    lean = np.flatnonzero(figures[:, 0] <= 0.6)
    rng = np.random.default_rng(seed)
    for number in range(count):
        size = int(rng.integers(6, 15))
        chosen = np.concatenate((rng.choice(fats, 2, replace=False), rng.choice(lean, size - 2, replace=False)))
        fat, protein, net = figures[chosen].T
        start = rng.integers(5, 400, size).astype(float)
        low = np.floor(start * rng.uniform(0.0, 0.8, size))
        high = np.ceil(start * rng.uniform(1.1, 2.5, size))
        inside = low + (high - low) * rng.uniform(0.2, 0.8, size)
        servings = int(rng.integers(1, 13))
        ratio = float(np.floor(fat @ inside / ((protein + net) @ inside) * 100) / 100)
        ceiling = float(np.ceil(net @ inside / servings * 10) / 10)
        if not 0.01 <= ratio <= 900:
            ratio = 0.01 if ratio < 0.01 else 900.0
        yield Dish(f"dish {number}", servings, ratio, ceiling, tuple(names[k] for k in chosen), fat, protein + net,
                   net, start, low, high, inside)


def write_menu(path: Path, count: int, seed: int, table: Path) -> None:
    """A menu in long form of random dishes."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(HEADER)
        for dish in dishes(count, seed, table):
            head: tuple[object, ...] = (dish.servings, dish.ratio, dish.net_carbs)
            for food, start, low, high in zip(dish.foods, dish.start, dish.low, dish.high, strict=True):
                writer.writerow((dish.name, *head, food, f"{start:g}", f"{low:g}", f"{high:g}"))
                head = ("", "", "")


def rows_of(dish: Dish) -> tuple[np.ndarray, np.ndarray]:
    """The two limits as rows <= over the weights, largest coefficient 1."""
    matrix = np.array([-(dish.fat - dish.ratio * dish.rest), dish.net])
    bound = np.array([0.0, dish.net_carbs * dish.servings])
    scale = np.abs(matrix).max(axis=1)
    scale[scale == 0] = 1.0
    return matrix / scale[:, None], bound / scale
