"""Targets: what every serving must keep, from the recipe file and from the command line."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from ratio_solver.errors import Fault, collected, shown
from ratio_solver.exact import exact
from ratio_solver.foods.nutrients import MG_IN_SALT, NET_CARBS, SALT, SODIUM, column_named, key_of_name, stem_of
from ratio_solver.foods.quantities import RATIO, RATIOS, REGISTERED, SHARE, SHARES, quantity_of
from ratio_solver.foods.sizes import LARGEST, SMALLEST, sensible
from ratio_solver.foods.table import suggestion
from ratio_solver.recipe.model import Recipe, Target
from ratio_solver.recipe.reader import Reader

_POINTED = {
    "grams": "; the weight of a serving is weight = {min = ..., max = ...}, g",
    "kj": "; energy is in kcal: energy = {max = ...}",
    "price": "; prices are minimised: --prefer cheapest",
}
"""Names that are no nutrients, and where what they mean is said."""

HIGHEST_RATIO = RATIOS["net"].highest
_RATIO_TEXT = re.compile(r"\s*([0-9]+(?:\.[0-9]*)?|\.[0-9]+)\s*(?::\s*([0-9]+(?:\.[0-9]*)?|\.[0-9]+)\s*)?")
_PER_CENT = re.compile(r"([0-9]+(?:\.[0-9]*)?|\.[0-9]+)\s*%(\s*(?:of\s+)?(?:the\s+)?energy)?", re.IGNORECASE)
"""A share in per cent, and whether it says of what."""


def ratio_value(text: str) -> float | None:
    """A ratio written "2:1", "2.5 : 1" or "2"; None where it is none.

    >>> ratio_value("3:1"), ratio_value("5:2"), ratio_value("fat")
    (3.0, 2.5, None)
    """
    match = _RATIO_TEXT.fullmatch(text)
    if not match:
        return None
    fat, rest = float(match[1]), float(match[2] or 1)
    value = fat / rest if rest > 0 else 0.0
    return value if SMALLEST <= value <= HIGHEST_RATIO else None


def share_meant(key: str, amount: object) -> tuple[str, object]:
    """What a target on a quantity limits where its amount is a share of the energy: that share, and how much.

    Any other amount is left as it is, and so is one that is a share of nobody says what.

    >>> share_meant("fat_g", "75 % of energy"), share_meant("energy_from_fat", "75 %"), share_meant("fat_g", "75 %")
    (('energy_from_fat', 0.75), ('energy_from_fat', 0.75), ('fat_g', '75 %'))
    """
    match = _PER_CENT.fullmatch(amount.strip()) if isinstance(amount, str) else None
    if not match:
        return key, amount
    shared = key in SHARES and match[2]
    if not shared and quantity_of(key).unit != SHARE:
        return key, amount
    return SHARES[key].key if shared else key, float(f"{match[1]}e-2")


def per_cent(amount: str) -> bool:
    """Whether an amount is a share in per cent, whose words may have blanks between them."""
    return _PER_CENT.fullmatch(amount.strip()) is not None


def read_targets(reader: Reader, columns: Sequence[str]) -> tuple[Target, ...]:
    """The targets of a recipe file; `columns` are the nutrients that may be named."""
    targets: dict[str, Target] = {}
    for key, value in reader.table.items():
        nutrient, unit = target_meant(key, columns)
        if nutrient is None:
            reader.fault(key, None, "is not a nutrient of the composition table"
                         + (_POINTED.get(key.strip().lower()) or _unit_hint(key, columns)
                            or suggestion(key, _target_names(columns))))
            continue
        for target in _targets_under(reader, key, nutrient, value):
            if target.nutrient in targets:
                reader.fault(key, value, f"expected one target on {key}")
            targets[target.nutrient] = replace(target, minimum=in_column(target.minimum, unit),
                                               maximum=in_column(target.maximum, unit))
    return tuple(targets.values())


def target_meant(name: str, columns: Sequence[str]) -> tuple[str | None, int]:
    """What a name limits, the key of a quantity, and so many units of it in one of the name's: of salt mg of sodium.

    A column of one's own comes before a quantity that is registered under the same name.
    """
    if name == RATIO:
        return RATIO, 1
    if name.strip().lower() in ("salt", SALT) and SALT not in columns and SODIUM in columns:
        return SODIUM, MG_IN_SALT
    key = key_of_name(name)
    return column_named(name, columns) or (key if key in REGISTERED else None), 1


def in_column(amount: float | None, unit: int) -> float | None:
    """An amount in the unit of its column, from the one that it is written in (`target_column`)."""
    return amount if amount is None or unit == 1 else float(exact(amount) * unit)


def _target_names(columns: Sequence[str]) -> list[str]:
    return [RATIO, "net_carbs", "energy", "weight", *(stem_of(column) for column in columns), *REGISTERED]


def _unit_hint(key: str, columns: Sequence[str]) -> str:
    fitting = [column for column in columns if stem_of(column) == key]
    return f"; say which: {', '.join(fitting)}" if len(fitting) > 1 else ""


def _expected_of(key: str, amounts: Iterable[object]) -> str:
    """What a value of a quantity is, and what to add where one is a share of something else than the quantity takes."""
    quantity = quantity_of(key)
    if quantity.quotient or not any(isinstance(amount, str) and "%" in amount for amount in amounts):
        return quantity.asked
    return f"{quantity.asked}, or a share as '20 % of energy'" if key in SHARES else \
        f"{quantity.asked}: no energy is known of {quantity.words}, so no share of it either"


def _targets_under(reader: Reader, key: str, nutrient: str, value: object) -> Iterator[Target]:
    """The target that a key gives; two where one of its ends is an amount and one a share of the energy."""
    if isinstance(value, Mapping):
        ends: dict[str, dict[str, object]] = {}
        for end, amount in value.items():
            meant, number = share_meant(nutrient, amount)
            ends.setdefault(meant, {})[end] = number
        for meant, amounts in ends.items() or [(nutrient, {})]:
            inner = Reader(reader.source, reader.faults, reader.at(key), amounts)
            inner.known_keys(("min", "max"))
            what = _expected_of(meant, amounts.values())
            yield Target(meant, *inner.ends(quantity_of(meant).highest, what, above=meant == RATIO))
    elif nutrient == NET_CARBS:
        meant, number = share_meant(nutrient, value)
        what = "g per serving, at most" if meant == NET_CARBS else quantity_of(meant).asked
        yield Target(meant, None, reader.number_of(key, number, 0.0, quantity_of(meant).highest, what))
    elif nutrient != RATIO:
        reader.fault(key, value, "expected {min = ...}, {max = ...} or both")
        yield Target(nutrient)
    elif isinstance(value, str):
        ratio = ratio_value(value)
        if ratio is None:
            reader.fault(RATIO, value, "expected a ratio such as 2 or '2:1'")
        yield Target(RATIO, ratio)
    else:
        yield Target(RATIO, reader.number(RATIO, 0.0, HIGHEST_RATIO, quantity_of(RATIO).asked, above=True))


def override(recipe: Recipe, columns: Sequence[str], *, ratio: str | None = None,
             net_carbs: float | None = None, targets: Sequence[str] = (), energy: str | None = None) -> Recipe:
    """The recipe held to other targets, as the command line gives them.

    Parameters
    ----------
    ratio : str, optional
        "2:1" or "2": at least, instead of the recipe's least. The recipe's highest ratio stays unless it is below.
    net_carbs : float, optional
        At most so many g per serving, instead of the recipe's most; its least stays unless it is above.
    targets : sequence of str
        "protein>=18", "energy<=650": each replaces that end of the target.
    energy : str, optional
        Whence energy, instead of the recipe's policy (`ratio_solver.foods.policy.ENERGIES`).

    Raises
    ------
    BadInput
        With every option that cannot be read.
    """
    faults: list[Fault] = []
    changed = {target.nutrient: target for target in recipe.targets}
    if ratio is not None:
        value = ratio_value(ratio)
        if value is None:
            faults.append(Fault("--ratio", "", shown(ratio), "expected a ratio such as 2 or 2:1"))
        else:
            changed[RATIO] = with_end(changed.get(RATIO, Target(RATIO)), "min", value)
    if net_carbs is not None:
        if not (0 <= net_carbs <= LARGEST and sensible(net_carbs)):
            faults.append(Fault("--net-carbs", "", shown(net_carbs),
                                f"expected g per serving, 0 or {SMALLEST:f} to {LARGEST:,.0f}"))
        changed[NET_CARBS] = with_end(changed.get(NET_CARBS, Target(NET_CARBS)), "max", net_carbs)
    for text in targets:
        _override_end(text, columns, changed, faults)
    for target in changed.values():
        if target.minimum is not None and target.maximum is not None and target.minimum > target.maximum:
            place = f"targets.{stem_of(target.nutrient)}"
            faults.append(Fault(recipe.source or "--target", place, f"{target.minimum:g}",
                                f"expected a minimum of at most the maximum, {target.maximum:g}"))
    collected(faults)
    held = with_energy(replace(recipe, targets=tuple(changed.values())), energy)
    return replace(held, remarks=(*recipe.remarks, *_dropped_ends(recipe, held)))


def with_energy(recipe: Recipe, energy: str | None) -> Recipe:
    """The recipe with its energy reckoned another way; as it is where nothing is asked for."""
    return recipe if energy is None else replace(recipe, policy=replace(recipe.policy, energy=energy))


def with_end(target: Target, end: str, amount: float) -> Target:
    """The target with one end ("min" or "max") put in place; the other stays unless the amount is past it."""
    low, high = (amount, target.maximum) if end == "min" else (target.minimum, amount)
    if low is not None and high is not None and low > high:
        return Target(target.nutrient, low) if end == "min" else Target(target.nutrient, None, high)
    return Target(target.nutrient, low, high)


def _dropped_ends(before: Recipe, after: Recipe) -> Iterator[str]:
    """What to say of ends of targets that no longer hold because what is asked for has passed them."""
    ratio, held = (recipe.target(RATIO) or Target(RATIO) for recipe in (before, after))
    if ratio.maximum is not None and held.maximum is None:
        yield f"the recipe's highest ratio, {ratio.maximum:g}:1, is below {held.minimum:g}:1 and no longer holds"
    carbs, kept = (recipe.target(NET_CARBS) or Target(NET_CARBS) for recipe in (before, after))
    if carbs.minimum is not None and kept.minimum is None:
        yield f"the recipe's least net carbs, {carbs.minimum:g} g, are above {kept.maximum:g} g and no longer hold"


def _override_end(
    text: str, columns: Sequence[str], changed: dict[str, Target], faults: list[Fault]
) -> None:
    sense = ">=" if ">=" in text else "<="
    name, _, amount = (part.strip() for part in text.partition(sense))
    if not name or not amount or (" " in amount and not per_cent(amount)):
        faults.append(Fault("--target", "", shown(text), "expected NAME>=X or NAME<=X"))
        return
    nutrient, unit = target_meant(name, columns)
    if nutrient is None:
        faults.append(Fault("--target", name, "", "is not a nutrient of the composition table"
                            + (_POINTED.get(name.lower()) or suggestion(name, _target_names(columns)))))
    key, value = _read_amount(nutrient or "", amount, unit)
    if value is None and (nutrient or "%" not in amount):
        expected = _expected_of(key, [amount]) if quantity_of(key).quotient or "%" in amount else "a number, 0 or more"
        faults.append(Fault("--target", name, shown(amount), f"expected {expected}"))
    if nutrient is None or value is None:
        return
    before = changed.get(key, Target(key))
    changed[key] = replace(before, minimum=value) if sense == ">=" else replace(before, maximum=value)


def _read_amount(key: str, amount: str, unit: int) -> tuple[str, float | None]:
    """What NAME>=AMOUNT limits, and the number that the amount is in its unit; None where it takes none such."""
    meant, number = share_meant(key, amount)
    value = number if isinstance(number, float) else \
        ratio_value(amount) if key == RATIO else in_column(_plain_number(amount), unit)
    fits = value is not None and value <= quantity_of(meant).highest and sensible(value)
    return meant, value if fits else None


def _plain_number(text: str) -> float | None:
    match = re.fullmatch(r"[0-9]+(?:\.[0-9]*)?|\.[0-9]+", text)
    value = float(text) if match else None
    return value if value is not None and value <= LARGEST and sensible(value) else None


def target_key(name: str, amount: str, nutrients: Iterable[str]) -> str | None:
    """The key of what NAME>=AMOUNT limits, or None where that is no target."""
    key, _ = target_meant(name, list(nutrients))
    return None if key is None else share_meant(key, amount)[0]


def target_column(name: str, nutrients: Iterable[str]) -> tuple[str, str, int] | None:
    """What a column limits: the nutrient (or the ratio), which end, and so many of its units in one of the column's.

    None where it is no target.

    >>> target_column("protein_min", ["protein_g"]), target_column("net_carbs", []), target_column("ratio", [])
    (('protein_g', 'min', 1), ('net_carbs_g', 'max', 1), ('ratio', 'min', 1))
    >>> target_column("salt_max", ["sodium_mg"])
    ('sodium_mg', 'max', 400)
    """
    if name == RATIO:
        return RATIO, "min", 1
    known = list(nutrients)
    if column_named(name, known) == NET_CARBS:
        return NET_CARBS, "max", 1
    stem, _, end = name.rpartition("_")
    if end not in ("min", "max") or not stem:
        return None
    nutrient, unit = target_meant(stem, known)
    return None if nutrient is None else (nutrient, end, unit)
