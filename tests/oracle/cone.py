"""A recipe whose targets hold with a probability, from its definition and the cells of the table: no package code.

Every figure with an interval has an independent normal error with the standard deviation of half the interval / 1.96
(the wider half where it is cut at nought). Carbohydrate by difference has the errors of water, protein, fat, ash and
alcohol, the other way round. Solved by Clarabel, an interior-point method for cones.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Any

import numpy as np
from scipy import sparse

ENDS = {"mean": ("low", "high"), "food": ("lowest", "highest")}
BESIDE = ("water_g", "protein_g", "fat_g", "ash_g", "alcohol_g")
PRIMITIVES = (*BESIDE, "fibre_g", "sodium_mg")
Row = Mapping[str, str]


def figure(row: Row, column: str) -> float:
    return float(row[column] or 0)


def deviation(row: Row, column: str, kind: str) -> float:
    """Per 100 g."""
    low, high = (row[f"{column}_{end}"] for end in ENDS[kind])
    if not low or not high:
        return 0.0
    return max(float(high) - figure(row, column), figure(row, column) - float(low)) / 1.96


def share(nutrient: str, column: str) -> float:
    """What one more g of a figure adds to a nutrient."""
    carbs = -1.0 if column in BESIDE else 0.0
    return {"net_carbs_g": carbs - (column == "fibre_g"), "carbs_g": carbs}.get(nutrient, float(nutrient == column))


def amount(row: Row, nutrient: str) -> float:
    return figure(row, "carbs_g") - figure(row, "fibre_g") if nutrient == "net_carbs_g" else figure(row, nutrient)


@dataclass(frozen=True)
class Held:
    """A target: ``sign * (row . w) - z |errors w| >= right``, w in g for the batch."""

    name: str
    row: np.ndarray
    errors: np.ndarray
    right: float

    def margin(self, weights: np.ndarray, z: float) -> float:
        return float(self.row @ weights - z * np.linalg.norm(self.errors @ weights) - self.right)


def held(rows: Sequence[Row], targets: Mapping[str, tuple[float | None, float | None]], servings: int,
         kind: str) -> list[Held]:
    """The targets of a dish of these foods, least and most; "ratio" is fat : (protein + net carbs)."""
    found = []
    for nutrient, ends in targets.items():
        for sign, bound in zip((1.0, -1.0), ends, strict=True):
            if bound is None:
                continue
            terms = {nutrient: 1.0}
            if nutrient == "ratio":
                terms = {"fat_g": 1.0, "protein_g": -bound, "net_carbs_g": -bound}
            row = sign / 100 * np.array([sum(k * amount(one, term) for term, k in terms.items()) for one in rows])
            errors = np.zeros((len(rows) * len(PRIMITIVES), len(rows)))
            for place, one in enumerate(rows):
                for k, column in enumerate(PRIMITIVES):
                    first = next(p for p, other in enumerate(rows) if other["id"] == one["id"])
                    errors[first * len(PRIMITIVES) + k, place] = deviation(one, column, kind) / 100 * sum(
                        times * share(term, column) for term, times in terms.items())
            found.append(Held(nutrient, row, errors, 0.0 if nutrient == "ratio" else sign * bound * servings))
    return found


def least_moved(start: np.ndarray, low: np.ndarray, high: np.ndarray, targets: Sequence[Held],
                probability: float) -> tuple[float, np.ndarray] | None:
    """The fewest grams moved and the weights; None where none do. Fixed weights have low = high = start."""
    import clarabel

    count, z = len(start), NormalDist().inv_cdf(probability)
    identity, zero = np.eye(count), np.zeros((count, count))
    # variables: weights, up, down;  A x + s = b, s in the cones
    blocks: list[np.ndarray] = [np.hstack((identity, -identity, identity))]
    right, cones = [start], [clarabel.ZeroConeT(count)]
    blocks.append(np.vstack((np.hstack((-identity, zero, zero)), np.hstack((identity, zero, zero)),
                             np.hstack((zero, -identity, zero)), np.hstack((zero, zero, -identity)))))
    right.append(np.concatenate((-low, high, np.zeros(2 * count))))
    cones.append(clarabel.NonnegativeConeT(4 * count))
    for target in targets:
        body = np.vstack((-target.row, -z * target.errors))
        blocks.append(np.hstack((body, np.zeros((len(body), 2 * count)))))
        right.append(np.concatenate(([-target.right], np.zeros(len(target.errors)))))
        cones.append(clarabel.SecondOrderConeT(len(body)))
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    settings.tol_gap_rel = settings.tol_gap_abs = settings.tol_feas = 1e-10
    cost = np.concatenate((np.zeros(count), np.ones(2 * count)))
    solver: Any = clarabel.DefaultSolver(sparse.csc_matrix((3 * count, 3 * count)), cost,
                                         sparse.csc_matrix(np.vstack(blocks)), np.concatenate(right), cones, settings)
    solution = solver.solve()
    if "Solved" not in str(solution.status):
        assert "Infeasible" in str(solution.status), solution.status
        return None
    return float(solution.obj_val), np.array(solution.x[:count])
