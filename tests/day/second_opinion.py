"""A second opinion on a day: formulated again from the files as written, solved by GLOP and SCIP.

Nothing here is shared with ``ratio_solver``. For everyone (people alike have the same) and each meal and dish or food::

    minimise    sum |x - start|
    subject to  E (1 - t) <= energy of the day <= E (1 + t), and of a meal times its share
                least protein of the day; times share (1 - t) at a meal; likewise every figure of `SPLIT`
                fat - R (protein + net carbs) >= 0 at every meal
                portions of a dish <= batches x pot;   what is used of a food <= stock
"""

from __future__ import annotations

import copy
import math
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from tests.oracle.second_opinion import Dish, Program, band, by_ortools, multipliers, per_100g, written

HEAVY = Fraction(10**6)
"""g; no portion is more, whatever its bounds are."""

SPLIT = ("energy", "fat", "protein", "carbs", "net_carbs")
OTHER = ("name", "energy", "ratio", "within", "meals")
Rows = Sequence[Mapping[str, str]]
Terms = dict[int, Fraction]
Key = tuple[Any, ...]
"""Kind of a limit, what it is about, and which end it is."""
Make = Callable[[Fraction], tuple[Terms, Fraction | None, Fraction | None]]
"""From a bound to a row."""


@dataclass
class Opinion:
    """What another solver says of a day: its least grams moved, or that there is no answer."""

    status: str
    moved: float = math.nan


class Kitchen:
    """A day read against recipes and a table."""

    def __init__(self, day: Mapping[str, Any], recipes: Mapping[str, Mapping[str, Any]], rows: Rows,
                 together: bool = False, whole: bool = False, batches: bool = True) -> None:
        self.day, self.together, self.whole, self.whole_batches = day, together, whole, batches
        self.rows = {row["food"]: row for row in rows}
        self.dishes = {name: Dish(recipe, rows) for name, recipe in recipes.items()}
        self.recipes = recipes
        self.program = Program()
        self.held: dict[Key, tuple[Make, Fraction]] = {}
        self.there: dict[Key, Terms] = {}
        self.portion: dict[tuple[int, int, str], int] = {}
        self.off: dict[int, int] = {}
        self.people: list[Mapping[str, Any]] = day["people"]
        self.first: dict[str, int] = {}
        self.count: dict[str, Fraction] = {}
        if together:
            self._dishes()
        self._portions()
        self._alike()
        for place, _ in enumerate(self.people):
            self._limits(place)
        self._pots_and_stock()

    def solved(self, only: Collection[Key] | None = None, changed: Mapping[Key, Fraction] = {},
               seconds: float | None = None) -> Opinion:
        """The least grams moved; with some of the limits alone, or with others' bounds changed."""
        program = self._with(self.held.keys() if only is None else only, changed)
        answer = by_ortools(program, "SCIP" if any(program.integer) else "GLOP", seconds)
        return Opinion("infeasible") if answer is None else Opinion("optimal", answer[0])

    def agrees(self, portions: Mapping[tuple[int, int, str], Fraction], moved: Fraction) -> bool:
        """Whether these portions keep every limit and have so many grams moved, and none have fewer on the steps."""
        program, steps = self._with(self.held), []
        for (place, meal, thing), at in self.portion.items():
            steps.append(written(dict(self.things(meal))[thing].get("step", 1)))
            program.row({at: steps[-1]}, portions[place, meal, thing], portions[place, meal, thing])
        grid = Fraction(math.gcd(*(int(step * 1000) for step in steps)), 1000)
        kept = by_ortools(program, "SCIP")
        return kept is not None and abs(kept[0] - moved) < 1e-6 and self._none_has(moved - grid)

    def _none_has(self, moved: Fraction) -> bool:
        """Whether SCIP finds no portions with so few grams moved, where it is told the least of each person alone.

        With a price for the grams of the pots each person's grams moved and price together have a least, by SCIP, which
        holds in all portions (Lagrangian relaxation, Geoffrion 1974). The prices, any >= 0, are GLOP's multipliers.
        """
        pots = [key for key in self.held if key[0] == "pot"]
        free = [key for key in self.held if key not in pots]
        prices = [max(0.0, -dual) for dual in multipliers(self._with([*free, *pots]))[-len(pots):]] if pots else []
        program = self._with(self.held)
        program.row({at: Fraction(cost) for at, cost in program.cost.items()}, high=moved)
        for person, _ in enumerate(self.people):
            mine = {at for (place, _, _), at in self.portion.items() if place == person}
            priced: Terms = {self.off[at]: Fraction(program.cost[self.off[at]]) for at in mine}
            for key, price in zip(pots, prices, strict=True):
                terms = self.held[key][0](self.held[key][1])[0]
                for at in mine & terms.keys():
                    priced[at] = priced.get(at, Fraction(0)) + \
                        Fraction(price) * terms[at] / max(map(abs, terms.values()))
            alone = self._with(free)
            alone.cost = {at: float(cost) for at, cost in priced.items()}
            answer = by_ortools(alone, "SCIP")
            assert answer is not None
            program.row(priced, low=answer[0] - 1e-6)
        return by_ortools(program, "SCIP") is None

    def _with(self, keys: Collection[Key], changed: Mapping[Key, Fraction] = {}) -> Program:
        program = copy.deepcopy(self.program)
        for key in keys:
            make, bound = self.held[key]
            terms, low, high = make(changed.get(key, bound))
            if key in self.there:  # of nothing to nothing there is no ratio
                program.row(self.there[key], Fraction(1, 1000))
            program.row(terms, -math.inf if low is None else low, math.inf if high is None else high)
        return program

    def hold(self, key: Key, terms: Terms, low: Fraction | None, high: Fraction | None) -> None:
        """A limit on a sum, each end for itself."""
        if low is not None:
            self.held[*key, ">="] = (lambda bound: (terms, bound, None)), low
        if high is not None:
            self.held[*key, "<="] = (lambda bound: (terms, None, bound)), high

    def eats(self, place: int) -> list[int]:
        name = self.people[place]["name"]
        return [at for at, meal in enumerate(self.day["meals"]) if name in meal.get("people", [name])]

    def things(self, meal: int) -> list[tuple[str, Mapping[str, Any]]]:
        entry = self.day["meals"][meal]
        return [(one["file"], one) for one in entry["dishes"]] + [(one["food"], one) for one in entry["beside"]]

    def share(self, place: int, meal: int) -> Fraction:
        shares = self.people[place].get("meals")
        if shares is None:
            return Fraction(1, len(self.eats(place)))
        return written(shares[self.day["meals"][meal]["name"]]) / sum(map(written, shares.values()))

    def weights(self, name: str) -> list[Fraction]:
        return [written(entry["grams"]) for entry in self.recipes[name]["ingredients"]]

    def pot(self, name: str) -> Fraction:
        recipe = self.recipes[name]
        return written(recipe["finished_grams"]) if "finished_grams" in recipe else sum(self.weights(name), Fraction(0))

    def density(self, thing: str, nutrient: str) -> Fraction:
        """Of a g of a dish as served, or of a food."""
        if thing in self.rows:
            return per_100g(self.rows[thing], nutrient) / 100
        whole = sum((weight * item.amount(nutrient) for weight, item in
                     zip(self.weights(thing), self.dishes[thing].ingredients, strict=True)), Fraction(0))
        return whole / self.pot(thing)

    def usual(self, place: int, meal: int, thing: str, entry: Mapping[str, Any]) -> Fraction:
        if thing in self.rows:
            return written(entry.get("grams", 0))
        if "portion" in entry:
            return written(entry["portion"])
        density = self.density(thing, "energy")
        energy = written(self.people[place]["energy"]) * self.share(place, meal)
        return energy / len(self.day["meals"][meal]["dishes"]) / density

    def _variable(self, low: Fraction, high: Fraction, start: Fraction, step: Fraction, keep: Fraction,
                  key: Key | None = None) -> int:
        """A weight and how far it is from its start; on the steps a whole number of these."""
        at = self.program.variable(0, math.floor(HEAVY / step) if self.whole else HEAVY / step, integer=self.whole)
        if key is None:
            self.program.row({at: step}, low, high)
        else:
            self.hold(key, {at: step}, low, high)
        off = self.program.variable(0)
        self.program.row({off: Fraction(1), at: -step}, low=-start)
        self.program.row({off: Fraction(1), at: step}, low=start)
        self.program.cost[off] = float(keep)
        self.off[at] = off
        return at

    def _dishes(self) -> None:
        """The dishes' own weights and limits; there are no choices among those drawn here."""
        self.scale: dict[int, Fraction] = {}
        for name in self.used():
            dish = self.dishes[name]
            assert not dish.groups
            at = []
            for item in dish.ingredients:
                if item.adjustable:
                    step = (item.grid or Fraction(1)) if self.whole else Fraction(1)
                    place = self._variable(item.low, item.high, item.start, step, item.keep)
                else:
                    step, place = Fraction(1), self.program.variable(item.start, item.start)
                self.scale[place] = step
                at.append(place)
            self.first[name] = len(at)
            self.at = {**getattr(self, "at", {}), name: at}
            for limit in dish.limits:
                self.program.row({at[i]: c * self.scale[at[i]] for i, c in limit.coefficients.items()},
                                 -math.inf if limit.low is None else limit.low,
                                 math.inf if limit.high is None else limit.high)

    def used(self) -> list[str]:
        return list(dict.fromkeys(one["file"] for meal in self.day["meals"] for one in meal["dishes"]))

    def _portions(self) -> None:
        self.fixed: dict[tuple[int, int, str], Fraction] = {}
        for place in range(len(self.people)):
            for meal in self.eats(place):
                for thing, entry in self.things(meal):
                    usual = self.usual(place, meal, thing, entry)
                    if self.together and thing not in self.rows:
                        self.fixed[place, meal, thing] = usual / self.pot(thing)
                        continue
                    step = written(entry.get("step", 1))
                    start = round(usual / step) * step
                    at = self._variable(written(entry.get("min", 0)), written(entry.get("max", 3000)), start, step,
                                        Fraction(1), ("portion", place, meal, thing))
                    self.portion[place, meal, thing] = at
        if self.together:
            for name in self.used():
                wanted = sum((share for (_, _, thing), share in self.fixed.items() if thing == name), Fraction(0))
                given = self.batches(name)
                self.count[name] = Fraction(max(1, math.ceil(wanted)) if given is None else given)
                if wanted > self.count[name]:
                    for key in self.fixed:
                        if key[2] == name:
                            self.fixed[key] *= self.count[name] / wanted

    def batches(self, name: str) -> int | None:
        return next((one["batches"] for meal in self.day["meals"] for one in meal["dishes"]
                     if one["file"] == name and "batches" in one), None)

    def _alike(self) -> None:
        """People to whom the same is prescribed, and who are at the same meals, have the same."""
        seen: dict[str, int] = {}
        self.twin: list[int] = []
        for place, person in enumerate(self.people):
            key = repr(sorted((k, v if k != "within" else float(v)) for k, v in person.items() if k != "name")) \
                + repr(self.eats(place))
            first = seen.setdefault(key, place)
            self.twin.append(first)
            if first != place:
                for (who, meal, thing), at in self.portion.items():
                    if who == place:
                        self.program.row({at: Fraction(1), self.portion[first, meal, thing]: Fraction(-1)}, 0, 0)

    def terms(self, place: int, meals: Sequence[int], amount: Any) -> Terms:
        """What everything that somebody has at some meals comes to; `amount` is of a thing, or of an ingredient."""
        found: Terms = {}
        for meal in meals:
            for thing, entry in self.things(meal):
                key = place, meal, thing
                if key in self.fixed:
                    for at, item in zip(self.at[thing], self.dishes[thing].ingredients, strict=True):
                        found[at] = found.get(at, Fraction(0)) + self.fixed[key] * self.scale[at] * amount(item.amount)
                else:
                    step = written(entry.get("step", 1))
                    at = self.portion[key]
                    found[at] = found.get(at, Fraction(0)) + step * amount(
                        lambda nutrient, thing=thing: self.density(thing, nutrient))
        return found

    def _limits(self, place: int) -> None:
        person, meals = self.people[place], self.eats(place)
        if not meals or self.twin[place] != place:
            return
        off = written(person.get("within", 0.05))
        part = sum((self.share(place, meal) for meal in meals), Fraction(0))
        energy = written(person["energy"])
        figures = {"energy": (energy * (1 - off), energy * (1 + off))}
        figures |= {key: band(value, key) for key, value in person.items() if key not in OTHER}
        for nutrient, (low, high) in figures.items():
            def amount(of: Any, nutrient: str = nutrient) -> Fraction:
                return of(nutrient)

            self.hold(("target", place, None, nutrient), self.terms(place, meals, amount),
                      None if low is None else low * part, None if high is None else high * part)
            for meal in meals if nutrient in SPLIT else ():
                ends = (energy, energy) if nutrient == "energy" else (low, high)
                low_here = None if ends[0] is None else ends[0] * (1 - off)
                high_here = None if ends[1] is None else ends[1] * (1 + off)
                share = self.share(place, meal)
                self.hold(("target", place, meal, nutrient), self.terms(place, [meal], amount),
                          None if low_here is None else low_here * share,
                          None if high_here is None else high_here * share)
        ratio = written(person["ratio"])
        for meal in meals:
            def surplus(bound: Fraction, meal: int = meal) -> tuple[Terms, Fraction, None]:
                terms = self.terms(place, [meal], lambda of: of("fat") - bound * (of("protein") + of("net_carbs")))
                return terms, Fraction(0), None

            self.held["target", place, meal, "ratio", ">="] = surplus, ratio
            self.there["target", place, meal, "ratio", ">="] = self.terms(
                place, [meal], lambda of: of("fat") + of("protein") + of("net_carbs"))

    def _pots_and_stock(self) -> None:
        stock = {food: written(grams) for food, grams in self.day.get("stock", {}).items()}
        uses: dict[str, Terms] = {food: {} for food in stock}
        steps = {(meal, thing): written(entry.get("step", 1)) for meal in range(len(self.day["meals"]))
                 for thing, entry in self.things(meal)}
        for (_, meal, thing), at in self.portion.items():
            if thing in uses:
                uses[thing][at] = steps[meal, thing]
        for name in self.used():
            given, items = self.batches(name), self.dishes[name].ingredients
            if self.together:
                for at, item in zip(self.at[name], items, strict=True):
                    if item.row["food"] in uses:
                        uses[item.row["food"]][at] = self.count[name] * self.scale[at] / item.recovery
                continue
            per_batch = {food: grams for food in stock if (grams := sum(
                (weight / item.recovery for weight, item in zip(self.weights(name), items, strict=True)
                 if item.row["food"] == food), Fraction(0)))}
            portions = {at: steps[meal, thing] for (_, meal, thing), at in self.portion.items() if thing == name}
            if per_batch or given is not None:
                count = self.program.variable(given or 0, given or HEAVY, integer=given is None and self.whole_batches)
                if given is None:
                    self.hold(("batches", name), {count: Fraction(1)}, Fraction(0), Fraction(1000))
                    self.hold(("pot", name), {**portions, count: -self.pot(name)}, None, Fraction(0))
                else:
                    self.hold(("pot", name), portions, None, given * self.pot(name))
                for food, grams in per_batch.items():
                    uses[food][count] = grams
        for food, terms in uses.items():
            self.hold(("stock", food), terms, None, stock[food])
