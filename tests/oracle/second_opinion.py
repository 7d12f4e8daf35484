"""A second opinion on a recipe: formulated again from the design, solved by solvers other than HiGHS.

Nothing here is shared with ``ratio_solver``: a recipe is the mapping that ``tomllib`` reads, a table is a
list of CSV rows (strings). Coefficients are exact fractions of the written decimals until they reach the
solver. Linear programs go to GLOP, whole steps to SCIP (both in OR-Tools); CBC through PuLP is a third voice.

In the batch, with weights w in g and a_k the amount of nutrient k in one gram as weighed::

    minimise    sum_i keep_i |w_i - start_i|                       (closest)
    subject to  fat - R (protein + net carbs) >= 0                 (ratio at least R; at most likewise)
                9 fat - share * energy >= 0                        (share of the energy; the others likewise)
                servings * least <= sum_i a_ik w_i <= servings * most
                least <= sum_{i in part} w_i <= most
                sum_{i in of} w_i - share * sum_{i in to} w_i >= 0 (<= 0)
                min_i <= w_i <= max_i;  at most k of a group above 0

"At most k of a group" is settled by trying every choice, one linear program each, so no big-M and no
integrality tolerance enters; only `solve_whole` has integer variables.
"""

from __future__ import annotations

import itertools
import math
import warnings
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from copy import copy
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import lru_cache
from typing import Any

from ortools.linear_solver import pywraplp

Recipe = Mapping[str, Any]
Rows = Sequence[Mapping[str, str]]
Number = float | Fraction

NO_POLICY: Mapping[str, Any] = {}
UNIT_SUFFIXES = ("_g", "_mg", "_ug", "_kcal")
# kcal per g in the EU (Regulation (EU) No 1169/2011, Annex XIV: polyols 2.4, erythritol 0, else carbohydrate 4) and in
# the US (label rules as read: xylitol to lactitol; erythritol, glycerol, tagatose from memory; allulose FDA guidance).
# A polyol whose kind is not told has no US factor; the EU's stands in.
POLYOL_KCAL = {
    "erythritol": ("0", "0"), "xylitol": ("2.4", "2.4"), "maltitol": ("2.4", "2.1"), "sorbitol": ("2.4", "2.6"),
    "mannitol": ("2.4", "1.6"), "isomalt": ("2.4", "2.0"), "lactitol": ("2.4", "2.0"), "glycerol": ("2.4", "4.32"),
}
OTHER_KCAL = {"allulose": ("4", "0.4"), "tagatose": ("4", "1.5"), "isomaltulose": ("4", "4"), "imo": ("4", "4")}
QUOTIENTS: dict[str, tuple[dict[str, str], dict[str, str]]] = {
    **{f"energy_from_{name}": ({name: kcal}, {"energy": "1"}) for name, kcal in {
        "fat": "9", "saturated": "9", "mct": "9", "protein": "4", "net_carbs": "4", "fibre": "2",
        "alcohol": "7"}.items()},
    "energy_from_carbs": ({"carbs_kcal": "1"}, {"energy": "1"}),
}
"""Targets that divide by something of the dish: what stands above and below, with what each gram counts (Annex XIV)."""
BLANK_IS_NONE = ("fibre_g", "polyols_g", "alcohol_g", *(f"{name}_g" for name in (*POLYOL_KCAL, *OTHER_KCAL)))
BARE_MINIMUM = ("protein", "fat", "fibre", "ratio")
BARE_MAXIMUM = ("net_carbs", "carbs")
GLOP_PARAMETERS = (
    "primal_feasibility_tolerance: 1e-10 dual_feasibility_tolerance: 1e-10 "
    "drop_tolerance: 0 solution_feasibility_tolerance: 1e-8"
)


class NoOpinion(RuntimeError):
    """The solver stopped without an answer: neither an optimum nor a proof that there is none."""


@dataclass(frozen=True)
class Result:
    """What the second opinion says.

    Attributes
    ----------
    status : str
        ``"optimal"`` or ``"infeasible"``.
    objective : float
        Value of the objective, in its own unit; nan when infeasible.
    weights : dict of str to float
        One optimal answer, g in the batch by label, fixed ingredients included; empty when infeasible.
        It need not be the only one.
    moved : float
        Grams moved, ``sum keep |w - start|``, of `weights`.
    exact : bool
        `solve_whole` only: the printed weights keep every limit in exact arithmetic.
    """

    status: str
    objective: float = math.nan
    weights: dict[str, float] = field(default_factory=dict)
    moved: float = math.nan
    exact: bool = False


INFEASIBLE = Result("infeasible")


# --- a linear program, and three solvers for it -------------------------------------------------------


@dataclass
class Program:
    """Minimise ``sum cost[j] x[j]`` under ``low <= sum coefficients[j] x[j] <= high`` and bounds."""

    lows: list[float] = field(default_factory=list)
    highs: list[float] = field(default_factory=list)
    integer: list[bool] = field(default_factory=list)
    rows: list[tuple[dict[int, float], float, float]] = field(default_factory=list)
    cost: dict[int, float] = field(default_factory=dict)

    def variable(self, low: Number, high: Number = math.inf, *, integer: bool = False) -> int:
        self.lows.append(float(low))
        self.highs.append(float(high))
        self.integer.append(integer)
        return len(self.lows) - 1

    def row(self, coefficients: Mapping[int, Any], low: Any = -math.inf, high: Any = math.inf) -> None:
        """Add a row, divided by its largest coefficient so that one tolerance suits all."""
        kept = {j: value for j, value in coefficients.items() if value}
        scale = max((abs(value) for value in kept.values()), default=1)
        scaled = {j: float(value / scale) for j, value in kept.items()}
        low, high = (b if math.isinf(b) else float(b / scale) for b in (low, high))
        self.rows.append((scaled, low, high))


Answer = tuple[float, list[float]] | None  # (value, x), or None: infeasible


def by_ortools(program: Program, name: str = "GLOP", seconds: float | None = None) -> Answer:
    """Solve with a solver of OR-Tools' linear wrapper: GLOP or CLP for an LP, SCIP or CBC for integers.

    What is not done in the time has no opinion.
    """
    solver, x, _ = _in_ortools(program, name)
    if seconds is not None:
        solver.SetTimeLimit(int(1000 * seconds))
    parameters = pywraplp.MPSolverParameters()
    parameters.SetDoubleParam(parameters.RELATIVE_MIP_GAP, 0.0)
    status = solver.Solve(parameters)
    if status == pywraplp.Solver.OPTIMAL:
        return solver.Objective().Value(), [variable.solution_value() for variable in x]
    if status == pywraplp.Solver.INFEASIBLE:
        return None
    if name == "GLOP":  # "abnormal": ask another simplex
        return by_ortools(program, "CLP")
    raise NoOpinion(f"{name} stopped with status {status}")


def multipliers(program: Program) -> list[float]:
    """What a unit more of each row's bound adds to the cost, by GLOP or CLP; what is whole may be anything between."""
    for name in ("GLOP", "CLP"):
        solver, _, rows = _in_ortools(replace(program, integer=[False] * len(program.integer)), name)
        if solver.Solve() == pywraplp.Solver.OPTIMAL:
            return [row.dual_value() for row in rows]
    raise NoOpinion("no multipliers: neither GLOP nor CLP found an optimum")


def _in_ortools(program: Program, name: str) -> tuple[Any, list[Any], list[Any]]:
    solver = pywraplp.Solver.CreateSolver(name)
    if name == "GLOP":
        solver.SetSolverSpecificParametersAsString(GLOP_PARAMETERS)
    if name == "SCIP":
        solver.SetSolverSpecificParametersAsString("numerics/feastol = 1e-9\nlimits/gap = 0\n")
    infinity = solver.infinity()

    def finite(bound: float) -> float:
        return math.copysign(infinity, bound) if math.isinf(bound) else bound

    x = [
        solver.Var(low, finite(high), integer, "")
        for low, high, integer in zip(program.lows, program.highs, program.integer, strict=True)
    ]
    rows = []
    for coefficients, low, high in program.rows:
        rows.append(solver.Constraint(finite(low), finite(high)))
        for j, value in coefficients.items():
            rows[-1].SetCoefficient(x[j], value)
    objective = solver.Objective()
    for j, value in program.cost.items():
        objective.SetCoefficient(x[j], float(value))
    objective.SetMinimization()
    return solver, x, rows


def by_cbc(program: Program) -> Answer:
    """Solve with CBC through PuLP, a process of its own: slow, and independent of OR-Tools."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # PuLP 3 announces the spelling of PuLP 4
        return _by_cbc(program)


def _by_cbc(program: Program) -> Answer:
    import pulp

    problem = pulp.LpProblem("second_opinion", pulp.LpMinimize)
    x = [
        pulp.LpVariable(
            f"x{j}", low, None if math.isinf(high) else high, pulp.LpInteger if whole else pulp.LpContinuous
        )
        for j, (low, high, whole) in enumerate(zip(program.lows, program.highs, program.integer, strict=True))
    ]
    problem += pulp.lpSum(value * x[j] for j, value in program.cost.items())
    for coefficients, low, high in program.rows:
        left = pulp.lpSum(value * x[j] for j, value in coefficients.items())
        if not coefficients:
            if low > 0 or high < 0:
                return None
        elif low == high:
            problem += left == low
        else:
            if not math.isinf(low):
                problem += left >= low
            if not math.isinf(high):
                problem += left <= high
    tolerances = ["primalTolerance 1e-9", "dualTolerance 1e-9", "ratioGap 0", "allowableGap 0"]
    status = problem.solve(pulp.PULP_CBC_CMD(msg=False, options=tolerances))
    if status == pulp.LpStatusOptimal:
        values = [0.0 if v.value() is None else float(v.value()) for v in x]
        return sum(float(c) * values[j] for j, c in program.cost.items()), values
    if status == pulp.LpStatusInfeasible:
        return None
    raise NoOpinion(f"CBC stopped with status {pulp.LpStatus[status]}")


# --- from a food to amounts per gram ------------------------------------------------------------------


def written(number: Any) -> Fraction:
    """The exact value of a number as written: 0.1 is one tenth."""
    return _fraction(str(number).strip())


@lru_cache(maxsize=65536)
def _fraction(text: str) -> Fraction:
    return Fraction(text)


def per_100g(row: Mapping[str, str], nutrient: str, policy: Mapping[str, Any] = NO_POLICY) -> Fraction:
    """Amount of `nutrient` (a target name: ``net_carbs``, ``energy``, ``sodium``, ...) in 100 g of a food.

    `policy` is the recipe's table of that name: what is left out of net carbs, and whence energy.
    """

    def cell(column: str) -> Fraction:
        text = (row.get(column) or "").strip()
        if text:
            return written(text)
        if column in BLANK_IS_NONE:
            return Fraction(0)
        raise ValueError(f"{row['food']}: {column} is blank")

    basis = row["carb_basis"].strip()
    if basis not in ("by_difference", "available"):
        raise ValueError(f"{row['food']}: carb_basis is {basis!r}")
    available = cell("carbs_g") - (cell("fibre_g") if basis == "by_difference" else 0)
    polyols = {name: cell(f"{name}_g") for name in POLYOL_KCAL}
    polyols["other"] = max(cell("polyols_g") - sum(polyols.values()), Fraction(0))
    others = {name: cell(f"{name}_g") for name in OTHER_KCAL}
    if nutrient == "net_carbs":
        return max(Fraction(0), available - left_out(polyols, others, policy.get("left_out", {})))
    if nutrient == "carbs":
        return available + cell("fibre_g")
    if nutrient == "mct":
        return written(row.get("mct_g") or 0)
    if nutrient == "carbs_kcal":
        digested = available - sum(polyols.values()) - sum(others.values())
        kcal = {name: written(eu) for name, (eu, _) in (POLYOL_KCAL | OTHER_KCAL).items()} | {"other": Fraction(12, 5)}
        return 4 * digested + 2 * cell("fibre_g") + sum(kcal[k] * g for k, g in (polyols | others).items())
    if nutrient == "energy":
        how = policy.get("energy", "table")
        if how == "table" and (row.get("energy_kcal") or "").strip():
            return cell("energy_kcal")
        fat_and_so_on = 9 * cell("fat_g") + 4 * cell("protein_g") + 7 * cell("alcohol_g")
        fat_and_so_on -= (9 - written(policy.get("mct_energy", 9))) * written(row.get("mct_g") or 0)
        if how == "9/4/4":
            return fat_and_so_on + 4 * per_100g(row, "net_carbs", policy)
        place = how == "us"
        digested = available - sum(polyols.values()) - sum(others.values())
        kcal = {name: written(both[place]) for name, both in (POLYOL_KCAL | OTHER_KCAL).items()}
        kcal["other"] = Fraction(12, 5)
        if how == "table":  # not in Annex XIV: the US figure
            kcal["allulose"] = Fraction(2, 5)
        fibre = cell("fibre_g")
        if how == "us" and (row.get("insoluble_fibre_g") or "").strip():  # 21 CFR 101.9(c)(1)(i), from memory: none
            fibre -= cell("insoluble_fibre_g")
        return fat_and_so_on + 4 * digested + 2 * fibre + sum(kcal[k] * g for k, g in (polyols | others).items())
    columns = [nutrient + suffix for suffix in UNIT_SUFFIXES if nutrient + suffix in row]
    if len(columns) != 1:
        raise ValueError(f"{nutrient}: {len(columns)} columns of that name")
    return cell(columns[0])


def left_out(polyols: Mapping[str, Fraction], others: Mapping[str, Fraction], asked: Mapping[str, Any]) -> Fraction:
    """Carbohydrate that does not count: erythritol and allulose in full unless said otherwise, the rest where said.

    A polyol that is not named goes with "polyols"; glycerol does not, as the body makes glucose of it.
    """
    said = {"erythritol": 1, "allulose": 1} | dict(asked)
    total = Fraction(0)
    for name, grams in polyols.items():
        unnamed = 0 if name == "glycerol" else said.get("polyols", 0)
        total += written(said.get(name, unnamed)) * grams
    return total + sum((written(said.get(name, 0)) * grams for name, grams in others.items()), Fraction(0))


# --- within intervals ---------------------------------------------------------------------------------

ENDS = {"mean": (("low",), ("high",)), "food": (("lowest", "low"), ("highest", "high"))}
"""Of each kind of interval the columns that have its ends, the first that is not blank."""
BESIDE = ("water_g", "protein_g", "fat_g", "ash_g", "alcohol_g")
"""What carbohydrate by difference is 100 g less: it moves against them where it has no interval of its own."""


def corners(row: Mapping[str, str], kind: str) -> list[Mapping[str, str]]:
    """The food as it is with every figure at either end of its interval: each way there is."""
    ends: dict[str, list[str]] = {}
    for column in row:
        found = [next((row[f"{column}_{end}"] for end in side if row.get(f"{column}_{end}")), row[column])
                 for side in ENDS[kind]]
        if found != [row[column]] * 2:
            ends[column] = found
    made = []
    for figures in itertools.product(*ends.values()):
        corner = dict(row) | dict(zip(ends, figures, strict=True))
        if row["carb_basis"] == "by_difference" and "carbs_g" not in ends:
            off = sum((written(corner[c]) - written(row[c]) for c in BESIDE if row.get(c)), Fraction(0))
            corner["carbs_g"] = str(max(written(row["carbs_g"]) - off, Fraction(0)))
        made.append(corner)
    return made


# --- from a recipe to limits --------------------------------------------------------------------------


@dataclass(frozen=True)
class Limit:
    """``low <= sum coefficients[i] w[i] <= high`` over ingredients; None is no bound."""

    name: str
    coefficients: dict[int, Fraction]
    low: Fraction | None
    high: Fraction | None

    def holds(self, weights: Sequence[Fraction]) -> bool:
        value = sum((c * weights[i] for i, c in self.coefficients.items()), Fraction(0))
        return (self.low is None or value >= self.low) and (self.high is None or value <= self.high)


@dataclass(frozen=True)
class Ingredient:
    """One line of the recipe: weights in g for the batch, the food's row, and its options."""

    label: str
    row: Mapping[str, str]
    start: Fraction
    low: Fraction
    high: Fraction
    adjustable: bool
    keep: Fraction
    recovery: Fraction  # "yield": prepared weight / weight before
    grid: Fraction | None  # piece or step, g
    policy: Mapping[str, Any] = field(default_factory=dict)

    def amount(self, nutrient: str) -> Fraction:
        """Amount of a nutrient in one gram as weighed; its weight is the gram itself."""
        if nutrient == "weight":
            return Fraction(1)
        return per_100g(self.row, nutrient, self.policy) / 100 / self.recovery

    @property
    def always_used(self) -> bool:
        return self.low > 0


def band(value: Any, name: str) -> tuple[Fraction | None, Fraction | None]:
    """(least, most) of a target as written."""
    if isinstance(value, Mapping):
        return tuple(written(value[k]) if k in value else None for k in ("min", "max"))  # type: ignore[return-value]
    if name in BARE_MINIMUM:
        return written(value), None
    if name in BARE_MAXIMUM:
        return None, written(value)
    raise ValueError(f"{name}: a bare number is neither a minimum nor a maximum here")


def _by_quantity(targets: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    """The targets by what they limit: an end such as "20 % of energy" is one of that share."""
    for name, value in targets.items():
        ends = value if isinstance(value, Mapping) else {}
        shares = {end: str(written(amount.partition("%")[0]) / 100) for end, amount in ends.items()
                  if isinstance(amount, str) and "%" in amount}
        if shares:
            yield f"energy_from_{name}".replace("energy_from_energy_from", "energy_from"), shares
        if not ends or len(shares) < len(ends):
            yield name, {end: amount for end, amount in ends.items() if end not in shares} if ends else value


class Dish:
    """A recipe read against a table: ingredients, limits and groups, nothing solved."""

    def __init__(self, recipe: Recipe, rows: Rows, guaranteed: str | None = None):
        self.guaranteed = guaranteed
        by_name = {row["id"]: row for row in rows if row.get("id")} | {row["food"]: row for row in rows}
        self.servings = written(recipe["servings"])
        self.policy = policy = recipe.get("policy", {})
        formula = policy.get("ratio_formula", "net")
        self.ratio_carbs = {"net": "net_carbs", "total": "carbs"}[formula]
        self.ingredients = [replace(self._ingredient(entry, by_name), policy=policy) for entry in recipe["ingredients"]]
        self.labels = [ingredient.label for ingredient in self.ingredients]
        if len(set(self.labels)) < len(self.labels):
            raise ValueError("two ingredients have the same label")
        self.parts: dict[str, list[int]] = {name: [] for name in recipe.get("parts", {})}
        for i, entry in enumerate(recipe["ingredients"]):
            if "part" in entry:
                self.parts.setdefault(entry["part"], []).append(i)
        self.groups = [
            ([self.labels.index(label) for label in entry["from"]], int(entry["at_most"]))
            for entry in recipe.get("choose", [])
        ]
        self.limits = [*self._targets(recipe), *self._weights(recipe)]

    @staticmethod
    def _ingredient(entry: Mapping[str, Any], by_name: Mapping[str, Mapping[str, str]]) -> Ingredient:
        row = by_name[entry["food"]]
        start = written(entry["grams"])
        adjustable = "min" in entry
        return Ingredient(
            label=entry.get("label", row["food"]),
            row=row,
            start=start,
            low=written(entry["min"]) if adjustable else start,
            high=written(entry["max"]) if adjustable else start,
            adjustable=adjustable,
            keep=written(entry.get("keep", 1)),
            recovery=written(entry.get("yield", 1)),
            grid=next((written(entry[key]) for key in ("piece", "step") if key in entry), None),
        )

    def _targets(self, recipe: Recipe) -> Iterator[Limit]:
        for name, value in _by_quantity(recipe.get("targets", {})):
            least, most = band(value, name)
            if name in QUOTIENTS:
                for bound, side in ((least, "min"), (most, "max")):
                    if bound is not None:
                        ends = (Fraction(0), None) if side == "min" else (None, Fraction(0))
                        yield Limit(f"{name} {side}", self.surplus(name, bound), *ends)
                continue
            if name == "ratio":
                for bound, side in ((least, "min"), (most, "max")):
                    if bound is not None:
                        surplus = self.worst(lambda dish, bound=bound: dish.ratio_surplus(bound), side == "min")
                        zero = Fraction(0)
                        yield Limit(
                            f"ratio {side}",
                            surplus,
                            zero if side == "min" else None,
                            zero if side == "max" else None,
                        )
                fat, protein, net = (self.amounts(k) for k in ("fat", "protein", self.ratio_carbs))
                whole = {i: fat[i] + protein[i] + net[i] for i in fat}
                yield Limit("a dish at all", whole, Fraction(1, 1000), None)  # nothing to nothing is no ratio
            else:
                for bound, side in ((least, "min"), (most, "max")):
                    if bound is not None:
                        held = self.worst(lambda dish, name=name: dish.amounts(name), side == "min")
                        total = bound * self.servings
                        yield Limit(name, held, total if side == "min" else None, None if side == "min" else total)

    def _weights(self, recipe: Recipe) -> Iterator[Limit]:
        for name, value in recipe.get("parts", {}).items():
            yield Limit(f"{name} weight", dict.fromkeys(self.parts[name], Fraction(1)), *band(value, name))
        if "keep_weight" in recipe:
            start = sum((ingredient.start for ingredient in self.ingredients), Fraction(0))
            share = written(recipe["keep_weight"])
            yield Limit("batch weight", dict.fromkeys(range(len(self.ingredients)), Fraction(1)),
                        start - share * start, start + share * start)
        for entry in recipe.get("proportions", []):
            of, to = self._members(entry["of"]), self._members(entry["to"])
            least, most = band(entry, "proportion")
            for share, low, high in ((least, Fraction(0), None), (most, None, Fraction(0))):
                if share is not None:
                    both = {i: Fraction(i in of) - share * (i in to) for i in sorted({*of, *to})}
                    yield Limit("proportion", both, low, high)

    def _members(self, group: str | list[str]) -> list[int]:
        """Ingredients of a list of labels, a part, or "batch"; a lone label is a list of one."""
        if isinstance(group, list):
            return [self.labels.index(label) for label in group]
        if group in self.parts:
            return self.parts[group]
        if group == "batch":
            return list(range(len(self.labels)))
        return [self.labels.index(group)]

    def worst(self, row: Callable[[Dish], dict[int, Fraction]], at_least: bool) -> dict[int, Fraction]:
        """What each ingredient adds to a row; with intervals at the corner that is hardest on the limit."""
        if self.guaranteed is None:
            return row(self)
        found: dict[int, Fraction] = {}
        for i, ingredient in enumerate(self.ingredients):
            ways = []
            for corner in corners(ingredient.row, self.guaranteed):
                dish = copy(self)
                dish.ingredients = [*self.ingredients[:i], replace(ingredient, row=corner), *self.ingredients[i + 1:]]
                ways.append(row(dish)[i])
            found[i] = min(ways) if at_least else max(ways)
        return found

    def amounts(self, nutrient: str) -> dict[int, Fraction]:
        return {i: ingredient.amount(nutrient) for i, ingredient in enumerate(self.ingredients)}

    def quotient(self, name: str) -> tuple[dict[int, Fraction], dict[int, Fraction]]:
        """What one gram of each ingredient puts above and below a quotient; medium-chain fat as the policy has it."""
        above, below = (dict(terms) for terms in QUOTIENTS[name])
        mct = written(self.policy.get("mct_energy", 9))
        if "mct" in above:
            above["mct"] = str(mct)
        elif below.keys() == {"energy"} and above.keys() & {"fat", "saturated"} and mct != 9:
            above["mct"] = str(mct - 9)
        return tuple({i: sum((written(share) * ingredient.amount(k) for k, share in terms.items()), Fraction(0))
                      for i, ingredient in enumerate(self.ingredients)}
                     for terms in (above, below))  # type: ignore[return-value]

    def surplus(self, name: str, bound: Fraction) -> dict[int, Fraction]:
        """above - bound * below of one gram of each ingredient."""
        above, below = self.quotient(name)
        return {i: above[i] - bound * below[i] for i in above}

    def ratio_surplus(self, ratio: Fraction) -> dict[int, Fraction]:
        """fat - ratio * (protein + carbs) of one gram of each ingredient; net or total carbs by the policy."""
        fat, protein, net = (self.amounts(k) for k in ("fat", "protein", self.ratio_carbs))
        return {i: fat[i] - ratio * (protein[i] + net[i]) for i in fat}

    def choices(self) -> Iterator[frozenset[int]]:
        """Every way to obey the groups, as the ingredients left out; none when a group is always overfull."""
        options = []
        for members, at_most in self.groups:
            used = [i for i in members if self.ingredients[i].always_used]
            free = [i for i in members if not self.ingredients[i].always_used]
            room = at_most - len(used)
            if room < 0:
                return
            options.append([set(free) - set(c) for c in itertools.combinations(free, min(room, len(free)))])
        for combination in itertools.product(*options):
            yield frozenset().union(*combination)

    def program(self, left_out: Iterable[int] = (), limits: Iterable[Limit] | None = None) -> Program:
        """The limits over w (variables 0 .. n-1), without an objective."""
        program = Program()
        for i, ingredient in enumerate(self.ingredients):
            high = Fraction(0) if i in left_out else ingredient.high
            program.variable(ingredient.low, high)
        for limit in self.limits if limits is None else limits:
            program.row(
                limit.coefficients,
                -math.inf if limit.low is None else limit.low,
                math.inf if limit.high is None else limit.high,
            )
        return program

    def closest(self, program: Program) -> dict[int, float]:
        """Add d >= |w - start| for every adjustable ingredient; the cost of grams moved."""
        return {self.distance(program, i): float(self.ingredients[i].keep) for i in self.adjustable}

    def distance(self, program: Program, i: int) -> int:
        start = self.ingredients[i].start
        d = program.variable(0.0)
        program.row({d: 1, i: -1}, low=-start)
        program.row({d: 1, i: 1}, low=start)
        return d

    @property
    def adjustable(self) -> list[int]:
        return [i for i, ingredient in enumerate(self.ingredients) if ingredient.adjustable]

    def moved(self, weights: Sequence[Any]) -> Any:
        """Grams moved, ``sum keep |w - start|``, of floats or of fractions."""
        moves = ((self.ingredients[i], weights[i]) for i in self.adjustable)
        return sum(k.keep * abs(w - k.start) for k, w in moves)

    def named(self, weights: Sequence[Any]) -> dict[str, float]:
        return {label: float(w) for label, w in zip(self.labels, weights, strict=False)}


# --- the questions ------------------------------------------------------------------------------------


def solve_closest(recipe: Recipe, rows: Rows, *, solver: str = "GLOP", guaranteed: str | None = None) -> Result:
    """Fewest grams moved, weights of any size. `solver`: ``GLOP``, ``CLP`` (OR-Tools), ``PuLP`` (CBC).

    With `guaranteed` ("mean" or "food") every target is kept by every composition within these intervals.
    """
    return solve_objective(recipe, rows, "closest", solver=solver, guaranteed=guaranteed)


def solve_objective(
    recipe: Recipe, rows: Rows, prefer: str, *, tie_break: bool = False, solver: str = "GLOP",
    guaranteed: str | None = None,
) -> Result:
    """Optimum of ``closest`` (g), ``even`` (a share), ``cheapest`` (price of the batch), ``lightest`` (kcal a
    serving) or ``lowest-carb`` (g a serving), fixed ingredients included.

    With `tie_break` the weights are, of all answers within 1e-9 (relative) of that optimum, those
    with the fewest grams moved.
    """
    dish = Dish(recipe, rows, guaranteed)
    answers = [(_optimise(dish, left_out, prefer, solver), left_out) for left_out in dish.choices()]
    found = [(answer, left_out) for answer, left_out in answers if answer is not None]
    if not found:
        return INFEASIBLE
    (value, weights), _ = min(found, key=lambda pair: pair[0][0])
    best = Result("optimal", value, dish.named(weights), dish.moved(weights))
    if tie_break and prefer != "closest":
        ceiling = value + 1e-9 * max(1.0, abs(value))
        for (reached, _), left_out in found:
            if reached <= ceiling:
                tied = _optimise(dish, left_out, prefer, solver, ceiling)
                if tied is not None and tied[0] < best.moved:
                    best = replace(best, weights=dish.named(tied[1]), moved=tied[0])
    return best


def _optimise(
    dish: Dish, left_out: frozenset[int], prefer: str, solver: str, ceiling: float | None = None
) -> Answer:
    """Best value of one objective, and its weights; with `ceiling`, fewest grams moved at no more."""
    program = dish.program(left_out)
    cost = _cost(dish, program, prefer)
    if ceiling is not None:
        program.row(cost, high=Fraction(ceiling))
        cost = dish.closest(program)
    program.cost = {j: float(value) for j, value in cost.items()}
    answer = by_cbc(program) if solver == "PuLP" else by_ortools(program, solver)
    return None if answer is None else (answer[0], answer[1][: len(dish.labels)])


def _cost(dish: Dish, program: Program, prefer: str) -> dict[int, Any]:
    """Cost of one objective over the program's variables, those it needs added."""
    if prefer == "closest":
        return dish.closest(program)
    if prefer == "even":
        largest = program.variable(0.0)
        for i in dish.adjustable:
            ingredient = dish.ingredients[i]
            scale = ingredient.start if ingredient.start > 0 else ingredient.high
            if scale > 0:
                program.row({largest: scale, dish.distance(program, i): -ingredient.keep}, low=0)
        return {largest: 1}
    if prefer == "cheapest":
        return {i: written(k.row["price_per_kg"]) / 1000 / k.recovery for i, k in enumerate(dish.ingredients)}
    if prefer in ("lightest", "lowest-carb"):
        nutrient = "energy" if prefer == "lightest" else "net_carbs"
        return {i: amount / dish.servings for i, amount in dish.amounts(nutrient).items()}
    raise ValueError(f"{prefer!r} is no objective")


def range_of(
    recipe: Recipe, rows: Rows, label: str, sense: str, optimal_value: float | None = None
) -> float | None:
    """The ``"lowest"`` or ``"highest"`` weight (g) of an ingredient over all feasible answers.

    With `optimal_value`, over the answers that move no more than that many grams (plus 1e-9 of it, so that
    the solver's own rounding does not empty the set). None when there is no feasible answer.
    """
    if sense not in ("lowest", "highest"):
        raise ValueError(f"{sense!r} is neither lowest nor highest")
    dish = Dish(recipe, rows)
    i, sign = dish.labels.index(label), (1.0 if sense == "lowest" else -1.0)
    values = []
    for left_out in dish.choices():
        program = dish.program(left_out)
        if optimal_value is not None:
            program.row(dish.closest(program), high=optimal_value + 1e-9 * max(1.0, abs(optimal_value)))
        program.cost = {i: sign}
        answer = by_ortools(program)
        if answer is not None:
            values.append(answer[0])
    return sign * min(values) if values else None


def best_ratio(recipe: Recipe, rows: Rows, *, keep_maximum: bool = True) -> float | None:
    """Highest ratio within every limit but the recipe's own ratio minimum; None when those cannot be met.

    Dinkelbach (1967): for a ratio R in hand maximise ``fat - R (protein + net carbs)`` and take the ratio of
    the answer, until the maximum is nil. ``math.inf`` when fat is possible with no protein and net carbs.
    `keep_maximum`: a ratio maximum in the recipe still counts.
    """
    dish = Dish(recipe, rows)
    dropped = {"ratio min"} if keep_maximum else {"ratio min", "ratio max"}
    limits = [limit for limit in dish.limits if limit.name not in dropped]
    fat = dish.amounts("fat")
    protein, net = dish.amounts("protein"), dish.amounts(dish.ratio_carbs)
    rest = {i: protein[i] + net[i] for i in fat}
    reached = (_highest_ratio(dish, left_out, limits, fat, rest) for left_out in dish.choices())
    return max((ratio for ratio in reached if ratio is not None), default=None)


def _highest_ratio(
    dish: Dish,
    left_out: frozenset[int],
    limits: list[Limit],
    fat: Mapping[int, Fraction],
    rest: Mapping[int, Fraction],
) -> float | None:
    def total(amounts: Mapping[int, Fraction], weights: Sequence[float]) -> float:
        return math.fsum(float(value) * weights[i] for i, value in amounts.items())

    program = dish.program(left_out, limits)
    program.cost = {i: float(value) for i, value in rest.items()}
    answer = by_ortools(program)  # least protein + net carbs: is a ratio without bound possible?
    if answer is None:
        return None
    if answer[0] <= 1e-9:
        program.row(rest, high=Fraction(1, 10**9))
        program.cost = {i: -float(value) for i, value in fat.items()}
        answer = by_ortools(program)
        if answer is None or -answer[0] > 1e-6:
            return math.inf
        program.rows.pop()
        program.row(rest, low=Fraction(1, 10**6))  # the empty dish has no ratio
        program.cost = {}
        answer = by_ortools(program)
        if answer is None:
            return None
    weights = answer[1]
    ratio = total(fat, weights) / total(rest, weights)
    for _ in range(60):
        program.cost = {i: -(float(fat[i]) - ratio * float(rest[i])) for i in fat}
        answer = by_ortools(program)
        if answer is None:
            raise NoOpinion("feasible and infeasible in turn")
        weights = answer[1]
        better = total(fat, weights) / total(rest, weights)
        if better <= ratio * (1 + 1e-12):
            break
        ratio = better
    return ratio


def solve_whole(
    recipe: Recipe, rows: Rows, default_step: float = 1.0, *, prefer: str = "closest", solver: str = "SCIP",
    seconds: float | None = None,
) -> Result:
    """Fewest grams moved, or least of another objective, with whole steps only.

    Every adjustable weight is a whole multiple of its piece, step or `default_step`.

    The weights are then checked exactly. A limit broken within the solver's tolerance is tightened by a
    little and the recipe solved again, so `objective` belongs to weights that really keep every limit
    (``exact``); it is the objective of those very weights.
    """
    dish = Dish(recipe, rows)
    margins: dict[int, Fraction] = {}
    for attempt in range(6):
        program, grids = _whole_program(dish, margins, written(default_step), prefer)
        if any(low > high for low, high in zip(program.lows, program.highs, strict=True)):
            return INFEASIBLE
        answer = by_cbc(program) if solver == "PuLP" else by_ortools(program, solver, seconds)
        if answer is None:
            return INFEASIBLE
        weights = [k.start for k in dish.ingredients]
        for i, (k, grid) in grids.items():
            weights[i] = round(answer[1][k]) * grid
        broken = [number for number, limit in enumerate(dish.limits) if not limit.holds(weights)]
        if not broken:
            break
        for number in broken:
            largest = max(map(abs, dish.limits[number].coefficients.values()), default=Fraction(1))
            margins[number] = largest * Fraction(1, 10**8) * 10**attempt
    moved = float(dish.moved(weights))
    value = moved if prefer == "closest" else answer[0]
    return Result("optimal", value, dish.named(weights), moved, exact=not broken and _chosen(dish, weights))


def _whole_program(
    dish: Dish, margins: Mapping[int, Fraction], default_step: Fraction, prefer: str
) -> tuple[Program, dict[int, tuple[int, Fraction]]]:
    limits = [
        replace(
            limit,
            low=None if limit.low is None else limit.low + margins.get(number, 0),
            high=None if limit.high is None else limit.high - margins.get(number, 0),
        )
        for number, limit in enumerate(dish.limits)
    ]
    program = dish.program(limits=limits)
    program.cost = {j: float(value) for j, value in _cost(dish, program, prefer).items()}
    grids = {}
    for i in dish.adjustable:
        ingredient = dish.ingredients[i]
        grid = ingredient.grid or default_step
        fewest, most = math.ceil(ingredient.low / grid), math.floor(ingredient.high / grid)
        k = program.variable(fewest, most, integer=True)
        program.row({i: Fraction(1), k: -grid}, 0, 0)
        grids[i] = (k, grid)
    used: dict[int, int] = {}
    for members, at_most in dish.groups:
        for i in members:
            if i not in used:
                ingredient = dish.ingredients[i]
                used[i] = program.variable(float(ingredient.always_used), 1.0, integer=True)
                program.row({i: Fraction(1), used[i]: -ingredient.high}, high=0)
        program.row({used[i]: Fraction(1) for i in members}, high=at_most)
    return program, grids


def _chosen(dish: Dish, weights: Sequence[Fraction]) -> bool:
    return all(sum(weights[i] > 0 for i in members) <= at_most for members, at_most in dish.groups)


def faults_of(recipe: Recipe, rows: Rows, weights: Mapping[str, Any], tolerance: float = 0.0) -> list[str]:
    """Names of the limits that these very weights break, in exact arithmetic.

    Weights are floats taken at their printed decimals, or fractions; `tolerance` in the unit of the
    batch (g, kcal, mg; g of fat for the ratio).
    """
    dish = Dish(recipe, rows)
    slack = written(tolerance)
    exact = [w if isinstance(w, Fraction) else written(w) for w in (weights[label] for label in dish.labels)]
    broken = [
        limit.name
        for limit in dish.limits
        if not replace(
            limit,
            low=None if limit.low is None else limit.low - slack,
            high=None if limit.high is None else limit.high + slack,
        ).holds(exact)
    ]
    for ingredient, w in zip(dish.ingredients, exact, strict=True):
        if w < ingredient.low - slack:
            broken.append(f"{ingredient.label} min")
        if w > ingredient.high + slack:
            broken.append(f"{ingredient.label} max")
    if not _chosen(dish, [Fraction(0) if w <= slack else w for w in exact]):
        broken.append("choose")
    return broken
