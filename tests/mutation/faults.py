"""The deliberate faults: where a text stands, what is written in its place, and the tests that should notice.

Each is a slip that could have been made and would hurt somebody: a bound on the wrong side, an end of an interval taken
for the other, a proof that proves nothing. `tests/mutation/test_faults.py` holds every text to be where it is said.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """A change of the code that a test should notice.

    Attributes
    ----------
    name : str
        What would be wrong, in words.
    file : str
        Under `ratio_solver`.
    old, new : str
        A text that stands once in the file, and what is written in its place.
    tests : tuple of str
        Files under `tests`, or tests in them (``tools/test_card.py::test_x``).
    """

    name: str
    file: str
    old: str
    new: str
    tests: tuple[str, ...]


FAULTS = (
    # --- foods -----------------------------------------------------------------------------------------------
    Fault("fibre is taken off where the table has taken it off already", "foods/content.py",
          'fibre = _sure(food, "fibre_g", opposite) if food.basis == "by_difference" else ZERO',
          'fibre = _sure(food, "fibre_g", opposite)', ("foods/test_substances.py", "foods/test_labels.py",
                                                      "test_published.py")),
    Fault("net carbohydrate below nothing", "foods/content.py",
          "return max(ZERO, carbs - fibre - weighted_sum(food, policy.shares, opposite))",
          "return carbs - fibre - weighted_sum(food, policy.shares, opposite)",
          ("foods/test_substances.py", "dish/test_drawn_compositions.py")),
    Fault("the high end of net carbohydrate with the high end of fibre", "foods/content.py",
          'opposite = other_end(end)\n    fibre', 'opposite = end\n    fibre',
          ("dish/test_guaranteed.py", "foods/test_substances.py")),
    Fault("alcohol as dear as carbohydrate", "foods/quantities.py", 'ALCOHOL: "7"',
          'ALCOHOL: "4"', ("foods/test_energy.py", "dish/test_alcohol.py")),
    Fault("an interval's ends change places", "foods/ends.py", '{"mean": "low", "food": "lowest"}',
          '{"mean": "high", "food": "highest"}', ("dish/test_guaranteed.py",)),
    Fault("a single food's end no wider than the mean's", "foods/ends.py", '"mean": "high", "food": "highest"}',
          '"mean": "high", "food": "high"}', ("dish/test_guaranteed.py",)),
    Fault("the worst corner of a ratio without its bound", "foods/worst.py",
          " - bound * Fraction(", " - Fraction(",
          ("dish/test_guaranteed.py::test_a_guaranteed_ratio_is_the_worst_corner_and_no_stricter",)),
    Fault("of two corners the better", "foods/worst.py", "return min((Corner(apart", "return max((Corner(apart",
          ("dish/test_guaranteed.py", "dish/test_drawn_compositions.py")),
    Fault("a row that replaces another drops its most", "foods/layers.py",
          "if food.most is None and not food.most_because:", "if False:", ("foods/test_tables.py",)),
    Fault("a row that does not tell its allergens has none of those known before", "foods/layers.py",
          "allergens=tuple(known) or None, allergens_complete=False", "allergens=None, allergens_complete=False",
          ("foods/test_tables.py", "foods/test_allergens_by_kind.py")),
    Fault("a trace may be no more than nothing", "foods/rows.py", 'return TRACE if unit == "g" else math.inf',
          'return 0.0 if unit == "g" else math.inf', ("foods/test_bounds.py",)),
    Fault("what 100 g hold is not added up", "foods/rows.py", "if total > 100 + ROUNDING + 1e-9:", "if False:",
          ("foods/test_csv.py", "foods/test_tables.py", "hostile/test_mutated_files.py")),
    Fault("allergens of a food with unknown ones are all", "foods/rows.py",
          "bool(words) and UNKNOWN not in words", "bool(words)", ("foods/test_allergens_by_kind.py",
                                                                 "foods/test_tables.py", "output/test_reported.py")),
    Fault("a table of the package is read without a look at its hash", "foods/known.py",
          "if hash_of(data) != checked[HASH]:", "if False:", ("foods/test_known.py",)),
    Fault("polyols count as carbohydrate in full whatever the policy", "foods/policy.py",
          "return exact(self.left_out.get(self.named(substance), 0.0))", "return exact(0.0)",
          ("foods/test_substances.py",)),
    Fault("fat that ran out leaves its energy behind", "foods/heat.py",
          "float(max(ZERO, exact(figures[ENERGY]) - lost))", "figures[ENERGY]", ("foods/test_heat.py",)),
    Fault("half of a label's unit is rounded down", "foods/label_rules.py",
          "return floor(value / step + Fraction(1, 2)) * step", "return floor(value / step + Fraction(49, 100)) * step",
          ("foods/test_labels.py",)),
    # --- recipe ----------------------------------------------------------------------------------------------
    Fault("a ratio of 5:2 is 5", "recipe/targets.py", "value = fat / rest if rest > 0 else 0.0", "value = fat",
          ("recipe/test_faults.py", "test_cli.py", "test_library.py")),
    Fault("a number for net carbs is a least", "recipe/targets.py",
          "yield Target(meant, None, reader.number_of(", "yield Target(meant, reader.number_of(",
          ("solving/test_shares.py", "test_examples.py")),
    Fault("salt is held as so much sodium", "recipe/targets.py", "return SODIUM, MG_IN_SALT", "return SODIUM, 1000",
          ("recipe/test_serving_weight.py", "test_cli_kitchen.py", "test_library.py")),
    Fault("a share in per cent is taken for so many times the whole", "recipe/targets.py", 'float(f"{match[1]}e-2")',
          "float(match[1])", ("solving/test_shares.py",)),
    Fault("the energy that a share divides by lies at its good end", "dish/constraints.py",
          "quantity.below, LESS if sense == MORE else MORE,", "quantity.below, sense,", ("solving/test_shares.py",)),
    # --- dish ------------------------------------------------------------------------------------------------
    Fault("a maximum leans the other way", "dish/constraints.py", "return over if self.sense == MORE else -over",
          "return over", ("tools/test_add_fat.py", "tools/test_portions.py")),
    Fault("an empty dish keeps its ratio", "dish/constraints.py",
          "return dot(self.substance, weights) - EMPTY", "return ZERO", ("solving/infeasible/test_empty_dish.py",)),
    Fault("what is unknown counts as none under a maximum", "dish/constraints.py",
          "elif not _may_be_none(recipe, column):", "elif False:", ("test_cli.py", "dish/test_composition.py",
          "recipe/test_faults.py")),
    Fault("a maximum at the low end of the interval", "dish/constraints.py", "    end = most(kind)\n",
          "    end = least(kind)\n", ("dish/test_guaranteed.py",)),
    Fault("an unknown term below does not trouble a least ratio", "dish/constraints.py",
          "faults.extend(_unsure_ratio(recipe, quantity))", "pass", ("dish/test_unknown_fibre.py",)),
    Fault("what a serving holds too much of is what it holds ten times too much of", "dish/most.py",
          "return round(self.actual(weights), NOISE_DECIMALS) > self.limit.bound",
          "return round(self.actual(weights), NOISE_DECIMALS) > 10 * self.limit.bound", ("dish/test_most.py",)),
    Fault("the stronger caution from 4:1", "dish/cautions.py", "STRONG_FROM = Fraction(3)", "STRONG_FROM = Fraction(4)",
          ("dish/test_cautions.py", "dish/test_therapy_caution.py")),
    Fault("no caution by grams where the formula is another", "dish/cautions.py",
          "return (*WHOLE, BY_GRAMS) if any(map(_strong_by_grams, servings)) else WHOLE", "return WHOLE",
          ("dish/test_therapy_caution.py",)),
    Fault("alcohol is told from a gram", "dish/notices.py", "ALCOHOL_FROM = Fraction(1, 10)",
          "ALCOHOL_FROM = Fraction(1)", ("dish/test_alcohol.py",)),
    Fault("allergens of what is not known are none known", "dish/notices.py",
          "if weight and ingredient.food.allergens_unknown", "if False", ("output/test_reported.py",)),
    Fault("a probability is held at half its standard deviations", "dish/confidence.py",
          "NormalDist().inv_cdf(self.probability)", "NormalDist().inv_cdf(self.probability) / 2",
          ("solving/test_confident.py::test_the_formula_by_hand",)),
    # --- lp --------------------------------------------------------------------------------------------------
    Fault("an answer that misses a row is certified", "lp/certificate.py",
          "return self.shortfall <= tolerance and self.gap", "return self.gap", ("lp/test_certificate.py",)),
    Fault("a multiplier of the wrong sign counts in the bound", "lp/certificate.py", "if price and not wrong:",
          "if price:", ("lp/test_certificate.py",)),
    Fault("an answer that could be better is certified", "lp/certificate.py",
          "and self.gap <= tolerance * max(Fraction(1), abs(self.objective))", "", ("lp/test_certificate.py",)),
    Fault("ties are left as the solver left them", "lp/simplex.py",
          "gone = None if kept is None else _falling(kept, costs)",
          "gone = None if kept is None else _falling(kept, costs[:1])",
          ("lp/test_basis.py", "solving/test_solve.py::test_of_two_identical_oils_the_first_listed_moves")),
    Fault("a row that no slack brings nearer is no proof", "lp/simplex.py",
          "        if not stops:\n            return None",
          "        if not stops:\n            return basis", ("lp/test_basis.py",)),
    Fault("an earlier cost is not held while ties are broken", "lp/whole.py",
          "whole = whole.at_most(place, whole.cost(place, point.values))", "pass",
          ("lp/test_search.py::test_every_cost_is_held_for_those_after_it",)),
    Fault("any point is as near as the bound", "lp/whole.py",
          "near = not stage.tilt and float(objective) - point.bound <= rounding", "near = True",
          ("lp/test_search.py::test_a_bound_proves_what_it_reaches",)),
    Fault("a point on the steps that breaks a row is an answer", "lp/search.py",
          "        if model.keeps(point.values):\n", "        if True:\n", ("lp/test_search.py",)),
    Fault("a search that was cut short is complete", "lp/search.py", "all(item[2].complete for item in open_boxes))",
          "True)", ("lp/test_search.py",)),
    Fault("the best part is not looked for to the end", "lp/solve.py",
          "if not parts or (best and parts[0][0] >= best[0]):", "if not parts or best:",
          ("lp/test_solve.py",)),
    Fault("the range of a weight among the best is that among all", "lp/ranges.py",
          "for mark in [mark for mark, price in prices.items() if price and mark != CONSTANT]:", "for mark in []:",
          ("solving/test_sensitivity.py::test_of_two_identical_oils_either_will_do",
           "solving/test_sensitivity.py::test_lowest_and_highest_over_all_and_over_the_best")),
    Fault("a conflict keeps what is not needed", "lp/infeasible.py", "if not feasible_without(tried):",
          "if not feasible_without(frozenset({member})):", ("lp/test_certificate.py",)),
    # --- solving ---------------------------------------------------------------------------------------------
    Fault("ties by 1, 2, 3 in place of the roots of primes", "solving/formulation.py",
          "return tuple(Fraction(math.sqrt(prime)) for prime in islice(primes, count))",
          "return tuple(Fraction(k + 1) for k, _ in enumerate(islice(primes, count)))",
          ("solving/test_solve.py::test_ties_are_weighed_by_what_no_rational_relates",)),
    Fault("a weight may go below what is in the bowl", "tools/adjust/compute.py",
          "minimum=max(item.minimum, grams))", "minimum=item.minimum)", ("tools/test_adjust.py",)),
    Fault("a prescribed limit is as cheap as another in a joint change", "solving/infeasible/joint_change.py",
          "return {row: (DEARER if limits[row].prescribed else ONE)", "return {row: ONE",
          ("solving/infeasible/test_joint_change.py",)),
    Fault("the price of a limit is that of the other side", "solving/sensitivity.py", "side = more or less",
          "side = less or more",
          ("solving/test_sensitivity.py::test_json_tells_the_price_to_each_side",)),
    Fault("a saving is the price", "output/dish_data.py",
          '"price_looser": state.looser.price if state.looser else None', '"price_looser": state.price',
          ("solving/test_sensitivity.py::test_json_tells_the_price_to_each_side",)),
    Fault("a change that was not tried is offered", "solving/infeasible/one_change.py",
          "if writable(change) and domain.feasible(moved(limits, change)):", "if writable(change):",
          ("solving/infeasible/test_diagnosis.py::test_cures_hold_on_the_steps_of_the_scale",)),
    Fault("a fat is offered beyond what a person may eat", "solving/infeasible/added_fat.py",
          "if not beyond_with(formulation.recipe, [food], formulation.weights(rest), (added,), guaranteed)]", "]",
          ("tools/test_offered.py",)),
    # --- output and tools ------------------------------------------------------------------------------------
    Fault("a ratio is rounded up", "output/numbers.py", "for limit, so in kept), int)}:1\"",
          "for limit, so in kept))}:1\"", ("test_library.py", "output", "test_examples.py")),
    Fault("a figure that misses its limit looks as if it kept it", "output/numbers.py",
          "return until(value, decimals, lambda seen: all((limit.slack(seen) >= 0) == so for limit, so in kept))",
          "return decimal(value, decimals)", ("output/test_reported.py",)),
    Fault("a maximum is judged by the low end of the scale's error", "tools/scale_error/compute.py",
          "LimitInterval(limit, interval, worst >= 0)", "LimitInterval(limit, interval, worst >= 0 or "
          "(limit.sense == '<=' and interval.low is not None and interval.low <= limit.bound))",
          ("tools/test_scale_error.py",)),
    Fault("class III above 2,000 divisions as below", "tools/scale_error/compute.py", "(10_000, Fraction(3, 2))",
          "(10_000, Fraction(1))", ("tools/test_scale_error.py",)),
    Fault("portions do not add up to the batch", "tools/portions/compute.py",
          "    shares[(first + more) % servings] += rest\n", "", ("tools/test_portions.py", "test_library.py")),
    Fault("refuse is not bought", "tools/shopping/compute.py", "bought = raw / whole", "bought = raw",
          ("tools/test_shopping.py",)),
    Fault("a limit that the added fat breaks is not told", "tools/add_fat/addition.py",
          "if self.dish.concerned(limit) and limit.margin(self.weights) < 0)", "if False)", ("tools/test_add_fat.py",)),
    Fault("a spreadsheet is given a formula", "output/json_csv.py",
          r"(^|;)(?=[\s\"]*[=+\-@\uff1d\uff0b\uff0d\uff20])", r"(^|;)(?=[\s\"]*[+\-@])",
          ("hostile/test_payloads.py", "test_library.py")),
    # --- menu ------------------------------------------------------------------------------------------------
    Fault("every vertex is certified", "menu/stacked.py",
          "return within & ~menu.any((weights < low) | (weights > high)) & ~rows.any(broken), bound - rounding",
          "return np.ones_like(within), bound - rounding", ("menu/test_doubt.py",)),
    Fault("a vertex on a row that is no part of it is settled", "menu/stacked.py",
          "| (touching & (priced | (rows.sign > 0))))", ")",
          ("menu/test_doubt.py",)),
    Fault("a vertex on a bound that is no part of it is settled", "menu/stacked.py",
          "return menu.any(near) | ", "return ", ("menu/test_doubt.py",)),
    Fault("points in doubt are kept", "menu/steps.py", "doubtful |= usable & ~clear",
          "kept |= usable & ~clear", ("menu/test_doubt.py",)),
    Fault("foods that differ a little are one at a tie", "menu/stacked.py",
          "(most - least > 1e-9 * (1 + np.abs(most)))",
          "(most - least > 1e-3 * (1 + np.abs(most)))", ("menu/test_doubt.py",)),
    Fault("the price at a tie is that of the answer that is given", "menu/stacked.py",
          "other = apart & (np.abs(there - divisor)", "other = np.zeros_like(apart) & (np.abs(there - divisor)",
          ("menu/test_answers.py",)),
    Fault("a name may come again in a menu", "menu/solve.py",
          "names.duplicated() & (names != \"\")", "names.duplicated() & (names == \"\")", ("menu/test_faults.py",)),
)
