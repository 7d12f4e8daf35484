"""An exact basis of a linear model: its point, its prices and the pivots to other bases, in whole numbers.

A basis is as many rows and bounds as there are variables, tight and independent of each other. Everything follows
from one thing: each variable written in what the tight ones would leave over,

    x_j = constant_j + sum_i a_ji s_i,         s_i >= 0 the slack of the tight row or bound i.

With every slack nil this is the point. Any linear form is a combination of these, and its coefficients say how it
changes with each slack: of a cost they are the multipliers of the tight rows and bounds, and of a row that is not
tight the rates at which it comes nearer. A pivot puts the slack of another row or bound in the place of one of them,
and elimination is nothing else: a basis is found by putting row after row in the place of a bound.

Numbers are whole over a common denominator for each variable (fraction-free; Edmonds J, Systems of distinct
representatives and linear algebra, Journal of Research of the National Bureau of Standards 71B (1967) 241-245; from
memory), which is many times faster than rationals one by one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

from ratio_solver.exact import Vector
from ratio_solver.lp.model import Entries, LinearModel, Mark, Slack, in_whole_numbers

CONSTANT = Mark("", -1)
"""Key of the constant of a form."""

Form = tuple[dict[Mark, int], int]
"""A linear form in the slacks of what is tight: numerators, and their common denominator."""


@dataclass(frozen=True)
class Basis:
    """Tight rows and bounds that determine a point.

    Attributes
    ----------
    model : LinearModel
    forms : tuple of Form, one per variable
        Each variable in the slacks of what is tight.
    tight : frozenset of Mark
    """

    model: LinearModel
    forms: tuple[Form, ...]
    tight: frozenset[Mark]

    def form(self, entries: Entries, constant: int = 0) -> Form:
        """``entries . x + constant`` in the slacks of what is tight."""
        return _form(self.forms, entries, constant)

    @cached_property
    def whole_point(self) -> tuple[list[int], int]:
        """The point in whole numbers over a common denominator."""
        return _over_common([(terms.get(CONSTANT, 0), unit) for terms, unit in self.forms])

    @cached_property
    def point(self) -> Vector:
        """The values of the variables."""
        return tuple(Fraction(terms.get(CONSTANT, 0), unit) for terms, unit in self.forms)

    def value(self, cost: Slack) -> Fraction:
        """A cost at the point."""
        terms, unit = self.cost_form(cost)
        return Fraction(terms[CONSTANT], unit * cost.unit)

    def margins(self, move: Mark) -> tuple[Fraction, list[tuple[Mark, int, int]]]:
        """What changes with the slack of a tight row or bound.

        Returns
        -------
        factor : Fraction
        list of (Mark, int, int)
            Of each row and bound that is not tight and changes, what it leaves over, and by how much more for a unit
            of the slack; their quotient times the factor is how far the slack can go.
        """
        model, moved = self.model, self.holders.get(move, ())
        per = math.lcm(*[under for _, _, under in moved])
        rates: dict[Mark, int] = {}
        for j, n, under in moved:
            change = n * (per // under)
            for end in (Mark("lower", j), Mark("upper", j)):
                slack = model.slacks.get(end)
                if slack is not None:
                    rates[end] = slack.entries[0][1] * change
            for row, a in model.rows_of.get(j, ()):
                rates[row] = rates.get(row, 0) + a * change
        found = []
        for mark, rate in rates.items():
            if rate and mark not in self.tight:
                found.append((mark, self._left_over(mark), rate))
                if mark.kind == "row" and mark in model.firm:
                    found.append((mark, 0, -rate))  # an equation that follows from others is in the way to both sides
        return Fraction(per, self.whole_point[1]), found

    @cached_property
    def holders(self) -> Mapping[Mark, list[tuple[int, int, int]]]:
        """Of each tight row and bound the variables that change with its slack: place, by how much, denominator."""
        found: dict[Mark, list[tuple[int, int, int]]] = {}
        for j, (terms, unit) in enumerate(self.forms):
            for mark, n in terms.items():
                if n:
                    found.setdefault(mark, []).append((j, n, unit))
        return found

    def _left_over(self, mark: Mark) -> int:
        """What a row or bound leaves over in units of the common denominator of the point."""
        point, unit = self.whole_point
        entries, constant, _ = self.model.slacks[mark]
        return constant * unit + sum([a * point[j] for j, a in entries])

    @cached_property
    def best_ends(self) -> dict[tuple[int, int], Fraction]:
        """What `simplex.best_end` has found."""
        return {}

    def missed(self) -> Mark | None:
        """The first row or bound that the point does not keep."""
        (point, unit), tight, firm = self.whole_point, self.tight, self.model.firm
        for mark, (entries, constant, _) in self.model.slacks.items():
            if mark not in tight:
                over = constant * unit
                for j, a in entries:
                    over += a * point[j]
                if over < 0 or (over and mark in firm):
                    return mark
        return None

    def over(self, mark: Mark) -> Fraction:
        """What a row or bound leaves over, in the scale of its slack."""
        terms, unit = self.form(*self.model.slacks[mark][:2])
        return Fraction(terms[CONSTANT], unit)

    @cached_property
    def idle(self) -> frozenset[Mark]:
        """Rows and bounds that may give way at no price by the first cost; without any no other point is as good."""
        price, _ = self.cost_form(self.model.whole_costs[0])
        return frozenset([mark for mark in self.tight - self.model.firm if not price.get(mark)])

    def prices(self, costs: Sequence[Slack]) -> list[dict[Mark, int]]:
        """Of each cost what a unit of the slack of each tight row and bound adds to it, up to a positive factor."""
        return [self.cost_form(cost)[0] for cost in costs]

    def cost_form(self, cost: Slack) -> Form:
        """A cost in the slacks of what is tight; reckoned once."""
        if cost.entries not in self._cost_forms:
            self._cost_forms[cost.entries] = self.form(cost.entries)
        return self._cost_forms[cost.entries]

    @cached_property
    def _cost_forms(self) -> dict[Entries, Form]:
        return {}

    def falls(self, mark: Mark, prices: Sequence[Mapping[Mark, int]]) -> bool:
        """Whether the costs fall where a tight row or bound gives way: the first, the second where that stays."""
        for price in prices:
            if rise := price.get(mark):
                return rise < 0
        return False

    def swapped(self, gone: Mark, come: Mark) -> Basis:
        """The basis with one row or bound in the place of another, of which its slack must depend."""
        forms = list(self.forms)
        _exchange(forms, self.form(*self.model.slacks[come][:2]), gone, come)
        return Basis(self.model, tuple(forms), self.tight - {gone} | {come})

    def under(self, model: LinearModel) -> Basis:
        """The same rows and bounds tight in a model in which some of them are others.

        One that then depends on the rest leaves its place to the lower bound of a variable.
        """
        forms, tight = list(self.forms), set(self.tight)
        for mark in sorted(mark for mark in tight if model.slacks[mark] != self.model.slacks[mark]):
            form, come = _form(forms, *model.slacks[mark][:2]), mark
            if not form[0].get(mark):
                come = Mark("lower", next(j for j, (terms, _) in enumerate(forms) if terms.get(mark)))
                form = _form(forms, *model.slacks[come][:2])
            _exchange(forms, form, mark, come)
            tight = tight - {mark} | {come}
        return Basis(model, tuple(forms), frozenset(tight))


class Growing:
    """A basis while rows are put in the place of bounds, one after the other; it begins with every variable at a bound.

    Which variables depend on what is kept in view, so that a row over a few of them costs no more than they are.
    """

    def __init__(self, model: LinearModel, high: Sequence[bool]) -> None:
        box = box_basis(model, high)
        self.model, self.forms, self.tight = model, list(box.forms), set(box.tight)
        self.holders: dict[Mark, set[int]] = {mark: {j for j, *_ in held} for mark, held in box.holders.items()}

    def form(self, entries: Entries, constant: int = 0) -> Form:
        """``entries . x + constant`` in the slacks of what is tight."""
        return _form(self.forms, entries, constant)

    def put(self, come: Mark, form: Form, gone: Mark) -> None:
        """A row, which is `form`, in the place of what is tight and it depends on."""
        held = sorted(self.holders.pop(gone, ()))
        _exchange(self.forms, form, gone, come, held)
        for mark in (*form[0], come):
            if mark != gone:
                self.holders.setdefault(mark, set()).update(held)
        self.tight.discard(gone)
        self.tight.add(come)

    def basis(self) -> Basis:
        """As it is now."""
        return Basis(self.model, tuple(self.forms), frozenset(self.tight))


def _form(forms: Sequence[Form], entries: Entries, constant: int = 0) -> Form:
    common = math.lcm(*[forms[j][1] for j, _ in entries])
    total = {CONSTANT: constant * common}
    for j, a in entries:
        terms, unit = forms[j]
        factor = a * (common // unit)
        for mark, n in terms.items():
            total[mark] = total.get(mark, 0) + factor * n
    return total, common


def _exchange(forms: list[Form], form: Form, gone: Mark, come: Mark, among: Sequence[int] | None = None) -> None:
    """Let the slack of `come`, which is `form`, stand where that of `gone` does: in all forms, or in some at most."""
    terms, unit = form
    others = {mark: n for mark, n in terms.items() if n}
    lead = others.pop(gone)
    for j in range(len(forms)) if among is None else among:
        held, under = forms[j]
        factor = held.get(gone)
        if factor:
            new = {mark: lead * n for mark, n in held.items()}
            del new[gone]
            for mark, n in others.items():
                new[mark] = new.get(mark, 0) - factor * n
            new[come] = factor * unit
            common = math.gcd(lead * under, *new.values())
            forms[j] = {mark: n // common for mark, n in new.items() if n}, lead * under // common


def _over_common(fractions: Sequence[tuple[int, int]]) -> tuple[list[int], int]:
    common = math.lcm(*[unit for n, unit in fractions if n])
    return [n * (common // unit) if n else 0 for n, unit in fractions], common


def box_basis(model: LinearModel, high: Sequence[bool]) -> Basis:
    """Every variable at a bound: the upper where `high` says so and it has one."""
    forms: list[Form] = []
    tight = []
    for place, variable in enumerate(model.variables):
        upper = high[place] and not variable.open
        end = variable.upper if upper else variable.lower
        mark = Mark("upper" if upper else "lower", place)
        forms.append(({CONSTANT: end.numerator, mark: -1 if upper else 1}, end.denominator))
        tight.append(mark)
    return Basis(model, tuple(forms), frozenset(tight))


def common_point(equations: Sequence[tuple[Vector, Fraction]], count: int) -> Vector | None:
    """The one point on which `count` linear forms have their values; None where there is none, or more than one."""
    forms: list[Form] = [({Mark("lower", place): 1}, 1) for place in range(count)]
    for number, (coefficients, value) in enumerate(equations):
        form = _form(forms, *in_whole_numbers(coefficients, value)[:2])
        gone = min((mark for mark, n in form[0].items() if n and mark.kind == "lower"), default=None)
        if gone is not None:
            _exchange(forms, form, gone, Mark("row", number))
        elif form[0][CONSTANT]:
            return None
    if any(mark.kind == "lower" for terms, _ in forms for mark in terms):
        return None
    return tuple(Fraction(terms.get(CONSTANT, 0), unit) for terms, unit in forms)
