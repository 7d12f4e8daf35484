"""What fat to add: as text for a terminal of 80 columns, as plain data, as rows of a CSV."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from ratio_solver.dish.cautions import in_a_cell
from ratio_solver.dish.most import BEYOND, BREAKS, KEEPS
from ratio_solver.dish.notices import allergen_words
from ratio_solver.foods.nutrients import ENERGY, NET_CARBS
from ratio_solver.output.blocks import (
    BAD,
    GOOD,
    QUIET,
    STRONG,
    Block,
    Cell,
    Text,
    batch_line,
    headline,
    more_lines,
    notes,
    section,
    table_of,
)
from ratio_solver.output.dish_text import facts_data, limit_data, policy_data
from ratio_solver.output.json_csv import Data, Rows
from ratio_solver.output.numbers import decimal, honest, plain, ratio, short, short_weight
from ratio_solver.tools.add_fat.addition import Addition
from ratio_solver.tools.add_fat.compute import CANNOT, UNJUDGED, AddFat, Candidate

CANDIDATE_COLUMNS = ("food", "outcome", "least_g", "weighed_g", "ratio", "net_carbs_g", "energy_kcal", "protein_g",
                     "fat_g", "serving_g", "breaks", "brings", "reason", "beyond", "warnings", "caution")


def text(found: AddFat, most: int = 12) -> Block:
    """The candidates in the order of preference, at most so many of each outcome."""
    facts = found.written.facts
    parts: list[Block] = [
        headline(found.recipe.title, *_outcome_words(found)),
        Text(f"{batch_line(found.recipe, facts)} as written, at {ratio(facts.ratio)}{found.recipe.policy.formula}; "
             f"to reach at least {short(found.ratio, 4)}:1"),
    ]
    if found.beyond:
        names = "; ".join(dict.fromkeys(state.limit.name for state in found.beyond))
        parts.append(Text(f"Broken as written, whatever is added: {names}", BAD))
    if found.reached:
        parts.append(Text("No fat is needed for the ratio, which the dish has as written." if found.written.broken else
                          "Nothing needs to be added: the ratio and every target are kept as written."))
    if found.mendable:
        parts += _sections(found, most)
    parts.append(notes(found.recipe, allergen_words(found.allergens, found.allergens_unknown), found.warnings,
                       found.cautions, of=" as written"))
    return tuple(parts)


def _outcome_words(found: AddFat) -> tuple[str, str]:
    if found.reached and not found.written.broken:
        return "has its ratio as written", GOOD
    if found.reached and not found.mendable:
        return "has its ratio as written, and breaks other limits", BAD
    best = found.best
    if best is not None and best.outcome == KEEPS and best.weighed is not None:
        pairs = zip(best.weighed.grams, best.foods, strict=True)
        return f"add {' and '.join(f'{short(grams)} g {food.name}' for grams, food in pairs)}", GOOD
    if found.unjudged:  # why: the reason they share, or that of the first
        reasons = list(dict.fromkeys(candidate.reason for candidate in found.candidates))
        others = " (others: see below)" if len(reasons) > 1 else ""
        return f"no fat could be judged: {reasons[0]}{others}", BAD
    if found.having(UNJUDGED):
        return "of the fats that could be judged none, and no two, keep every limit", BAD
    return "no fat, and no two, keep every limit", BAD


def _sections(found: AddFat, most: int) -> Iterator[Block]:
    for heading, keeping, chosen in _grouped(found):
        if chosen:
            beyond = [Text(f"{candidate.name}: {words}.", "yellow")
                      for candidate in chosen[:most] for words in candidate.beyond]
            yield section(heading, _candidates_table(found, chosen[:most], keeping), *beyond,
                          *more_lines(len(chosen) - most))
    if found.mix is not None:
        heading = "The mix of two with the fewest grams that keeps every limit" if found.mix.outcome == KEEPS \
            else f"A mix of two keeps every limit, but not in steps of {short(found.step)} g"
        yield section(heading, _candidates_table(found, [found.mix], found.mix.outcome == KEEPS))
    elif not (found.unjudged or _hopeless(found) or found.having(KEEPS)):
        which = "those that could be judged" if found.having(UNJUDGED) else "them"
        yield from (Text(""), Text(f"No mix of two of {which} keeps every limit either.", BAD))
    for outcome, heading, last in (
            (CANNOT, "Cannot reach it: their own ratio is not above the one to be reached", "own ratio"),
            (UNJUDGED, "Cannot be judged", "why")):
        if others := found.having(outcome):
            table = table_of((("", "left"), (last, "left"), ("adds allergen", "left")), (
                (Text(one.name), ratio(one.own_ratio) if outcome == CANNOT else Text(one.reason),
                 Text(", ".join(one.brings), "yellow")) for one in others[:most]))
            yield section(heading, table, *more_lines(len(others) - most))
    if found.not_offered:
        names = "; ".join(candidate.name for candidate in found.not_offered)
        yield section(f"Not offered, as a serving would hold {BEYOND}", Text(names))


def _grouped(found: AddFat) -> Iterator[tuple[str, bool, Sequence[Candidate]]]:
    """The candidates with grams under their headings, and whether they keep what can be kept.

    One that would be added for nothing is under none.
    """
    breaking = [candidate for candidate in found.having(BREAKS) if candidate.weighed and candidate.weighed.total]
    worse = [candidate for candidate in breaking if candidate.weighed and found.broken_by(candidate.weighed)]
    reach = "" if found.reached else "reaches it and "
    yield f"Any one of these {reach}keeps every limit", True, found.having(KEEPS)
    yield f"Any one of these {reach}breaks no other limit", True, [one for one in breaking if one not in worse]
    yield ("These break another limit" if found.reached else
           f"These reach it and break {'another' if _hopeless(found) else 'a'} limit", False, worse)
    yield f"With these a serving would hold {BEYOND}", False, found.having(BEYOND)


def _hopeless(found: AddFat) -> bool:
    """Whether a target is broken whatever is added, so that no fat and no mix keeps every limit."""
    return any(state in found.beyond for state in found.written.broken)


def _candidates_table(found: AddFat, chosen: Sequence[Candidate], keeping: bool) -> Block:
    """What each needs and weighs, and the serving with it; last its allergens, or the limits that it breaks."""
    headings = ("per serving:", "needs\ng", "weigh\ng", "net\ncarbs", "protein\ng", "energy\nkcal", "serving\ng")
    columns = [(heading, "right" if place else "left") for place, heading in enumerate(headings)]
    return table_of([*columns, ("adds allergen" if keeping else "breaks", "left")],
                    _candidates_rows(found, chosen, keeping))


def _candidates_rows(found: AddFat, chosen: Sequence[Candidate], keeping: bool) -> Iterator[Sequence[Cell]]:
    yield Text("as written", QUIET), "", "", *_candidate_figures(found.written), ""
    for candidate in chosen:
        assert candidate.least is not None and candidate.weighed is not None
        mixed = len(candidate.foods) > 1
        for food, needs, weighs in zip(candidate.foods, candidate.least.grams, candidate.weighed.grams, strict=True):
            if mixed:
                yield Text(food.name), decimal(needs, 2), Text(short_weight(weighs), STRONG), *[""] * 5
        name, brings = Text("together" if mixed else candidate.name), ", ".join(candidate.brings)
        if candidate.reason:
            name = name.plus(f"\n  {candidate.reason}", QUIET)
        if brings and not keeping:  # the last column says which limit breaks
            name = name.plus(f"\n  adds {brings}", "yellow")
        last = brings if keeping else ", ".join(state.limit.name for state in found.broken_by(candidate.weighed))
        yield (name, decimal(candidate.least.total, 2), Text(short(candidate.weighed.total), "" if mixed else STRONG),
               *_candidate_figures(candidate.weighed), Text(last, "yellow" if keeping or mixed else BAD))


def _candidate_figures(addition: Addition) -> Iterator[str]:
    """Net carbs, protein, energy and weight of a serving, on the right side of their limits."""
    for column, decimals in ((NET_CARBS, 2), ("protein_g", 1), (ENERGY, 0)):
        own = [state for state in addition.limits if state.limit.nutrient == column]
        yield honest(addition.facts.amounts[column], decimals, own)
    yield decimal(addition.facts.weight, 0)


def data(found: AddFat) -> Data:
    """Each candidate and the mix, needed and weighed; what is not known is null."""
    return {
        "title": found.recipe.title,
        "servings": found.recipe.servings,
        "ratio": plain(found.ratio),
        "step_g": plain(found.step),
        "reached_as_written": found.reached,
        "as_written": _addition_data(found.written),
        "broken_whatever_is_added": [limit_data(state) for state in found.beyond],
        "candidates": [_candidate_data(candidate) for candidate in found.candidates],
        "mix": None if found.mix is None else _candidate_data(found.mix),
        "not_offered": [{"food": candidate.name, "id": candidate.foods[0].id, "outcome": candidate.outcome}
                        for candidate in found.not_offered],
        "policy": policy_data(found.recipe, found.guaranteed) | {"guaranteed": False},  # not for what is added
        "allergens": list(found.allergens),
        "allergens_unknown": list(found.allergens_unknown),
        "warnings": list(found.warnings),
        "cautions": list(found.cautions),
    }


def _candidate_data(candidate: Candidate) -> Data:
    return {
        "foods": [food.name for food in candidate.foods],
        "ids": [food.id for food in candidate.foods],
        "outcome": candidate.outcome,
        "own_ratio": plain(candidate.own_ratio),
        "least": None if candidate.least is None else _addition_data(candidate.least),
        "weighed": None if candidate.weighed is None else _addition_data(candidate.weighed),
        "brings": list(candidate.brings),
        "reason": candidate.reason or None,
        "beyond": list(candidate.beyond),
    }


def _addition_data(addition: Addition) -> Data:
    return {
        "grams": [plain(grams) for grams in addition.grams],
        "total_g": plain(addition.total),
        "per_serving": facts_data(addition.facts, addition.limits),
        "breaks": [limit_data(state) for state in addition.broken],
    }


def rows(found: AddFat) -> Rows:
    """A row a candidate, the mix last; figures per serving at the weighed grams."""
    return CANDIDATE_COLUMNS, (_candidate_row(found, candidate)
                               for candidate in (*found.candidates, found.mix) if candidate)


def _candidate_row(found: AddFat, candidate: Candidate) -> Data:
    row: Data = {
        "food": candidate.name, "outcome": candidate.outcome,
        "brings": "; ".join(candidate.brings), "reason": candidate.reason, "beyond": "; ".join(candidate.beyond),
        "warnings": "; ".join(found.warnings), "caution": in_a_cell(found.cautions),
    }
    if candidate.least is None or candidate.weighed is None:
        return row
    facts = facts_data(candidate.weighed.facts, candidate.weighed.limits)
    return row | {
        "least_g": _grams_cell(candidate.least), "weighed_g": _grams_cell(candidate.weighed),
        "serving_g": facts["weight_g"],
        "breaks": "; ".join(state.limit.name for state in candidate.weighed.broken),
        **{key: facts.get(key) for key in ("ratio", NET_CARBS, ENERGY, "protein_g", "fat_g")},
    }


def _grams_cell(addition: Addition) -> object:
    """A number, or of a mix both numbers as text."""
    if len(addition.grams) == 1:
        return plain(addition.total)
    return " + ".join(short(grams, 6) for grams in addition.grams)
