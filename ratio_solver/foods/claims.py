"""What a cook says that a food is free of, low in, or made without: a food that does not carry it is another food.

A claim is carried by a food where its name or another of its names has it, or where its figures or allergens say so:
sugar-free is at most 0.5 g of sugars in 100 g, fat-free 0.5 g of fat, low in fat 3 g (Regulation (EC) No 1924/2006,
annex, from memory).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from functools import cache
from types import MappingProxyType

from ratio_solver.foods.food import PERHAPS, Food
from ratio_solver.foods.words import folded

_PATTERNS: Mapping[str, str] = MappingProxyType({
    "unsweetened": r"unsweetened|ungesusst\w*|non sucre\w*|no[ -](?:added[ -])?sugars?(?:[ -]added)?|"
                   r"without added sugars?|ohne zuckerzusatz|sans sucres? ajoutes?",
    "sugar-free": r"sugar[ -]?free|sugarless|zuckerfrei\w*|sans sucres?(?! ajoute)|ohne zucker(?!zusatz)|zero sugar",
    "less sugar": r"(?:less|low|lower|reduced|half)[ -]sugar|zuckerreduziert\w*|reduit en sucres?",
    "diet": r"diet|(?:coke|cola) zero|zero (?:coke|cola)|skinny|diat\w*",
    "low in carbohydrate": r"(?:low|lower|reduced)[ -]carb\w*|keto(?:genic)?(?:[ -]friendly)?|carb[ -]?free",
    "fat-free": r"fat[ -]?free|non[ -]?fat|fettfrei\w*|sans matieres? grasses?",
    "low in fat": r"low[ -]?fat|fettarm\w*",
    "less fat": r"(?:lower|less|reduced|half)[ -]fat|fettreduziert\w*|allegee?s?|"
                r"(?:light|lite)(?= (?:\w+ )?(?:cream|creme|cheese|mayo|mayonnaise|coconut|yogh?urt|butter|margarine|"
                r"spread|milk|dressing|halloumi|mozzarella|feta|sour))",
    "gluten-free": r"gluten[ -]?free|wheat[ -]?free|glutenfrei\w*|sans gluten|ohne gluten",
    "milk-free": r"(?:dairy|milk|casein)[ -]?free|non[ -]?dairy|milchfrei\w*|sans lait|ohne milch",
    "lactose-free": r"lactose[ -]?free|laktosefrei\w*|sans lactose|ohne laktose|lactosefree",
    "egg-free": r"egg[ -]?free|eggless|eifrei\w*|sans (?:oeufs?)|ohne ei(?:er)?",
    "nut-free": r"(?:nut|peanut)[ -]?free|nussfrei\w*|sans (?:noix|arachides?)",
    "soya-free": r"soya?[ -]?free|sojafrei\w*|sans soja",
    "meat-free": r"meat[ -]?free|meatless|vegetarian|veggie (?=\w)|vegetarisch\w*|vegetarien\w*",
    "vegan": r"vegan\w*|plant[ -]?based|pflanzlich\w*(?! ol)|(?<!huile )vegetal\w*",
    "alcohol-free": r"(?:alcohol)[ -]?free|non[ -]?alcoholic|low[ -]alcohol|alkoholfrei\w*|sans alcool",
    "less salt": r"(?:low|lower|less|reduced)[ -](?:salt|sodium)|(?:salt|sodium)[ -]?free|no[ -](?:added[ -])?salt"
                 r"(?:[ -]added)?|salzarm\w*|sans sel(?: ajoute)?|without salt|ohne salz",
    "imitation": r"imitation|mock|faux(?!.filet)|fake|artificial|substitutes?|replacers?|replacements?|"
                 r"alternatives?|ersatz|simili",
})
"""What a claim is called here, and what a cook may call it, in small letters without accents."""

_CLAIM_NAMES = tuple(_PATTERNS)
_HINT = re.compile(r"fre[ei]|less|ohne|sans|sug|sucr|suss|diet|diat|skin|low|redu|half|carb|keto|fat|fett|alleg|"
                   r"li[gt]|non|veg|plant|pflanz|no[ -]|zero|imit|mock|faux|fake|artif|subst|repla|altern|ersatz|"
                   r"simili|salz|salt")
"""One of these is in every claim: most words have none, and are not looked at."""

_ALLERGENS = {"gluten-free": ("gluten",), "milk-free": ("milk",), "egg-free": ("eggs",),
              "nut-free": ("nuts", "peanuts"), "soya-free": ("soybeans",)}
_MEASURED_CLAIMS = ("unsweetened", "sugar-free", "fat-free", "alcohol-free", "less salt", "low in fat")
"""Claims that hold of a food in grams, whatever one of its other names says; "light" is lighter than another."""

_OF_PLANTS = ("vegetable", "starchy vegetable", "mushroom", "fruit", "nut", "seed", "grain", "legume", "herb",
              "spice")
_OF_ANIMALS = ("meat", "poultry", "fish", "shellfish")
_MAY_BE_SWEET = ("sugar", "condiment", "chocolate", "drink")
LEAST_SWEET = 5.0
"""Sugars, g in 100 g, from which a sauce, chocolate or drink is sweetened where its name does not say; our choice."""


@cache
def _claim_pattern() -> re.Pattern[str]:
    """Any of the claims; made where there is a hint of one, as it takes its time."""
    return re.compile("|".join(f"(?P<c{place}>(?<![a-z])(?:{pattern})(?![a-z]))"
                               for place, pattern in enumerate(_PATTERNS.values())))


def claims(words: str) -> tuple[str, ...]:
    """What the words say that the food is free of, low in or made without.

    >>> claims("sugar-free jam"), claims("jam (no added sugar)"), claims("Mehl, glutenfrei"), claims("free-range eggs")
    (('sugar-free',), ('unsweetened',), ('gluten-free',), ())
    """
    text = folded(words)
    if not _HINT.search(text):
        return ()
    found = (match.lastgroup or "c0" for match in _claim_pattern().finditer(text))
    return tuple(dict.fromkeys(_CLAIM_NAMES[int(group[1:])] for group in found))


def not_carried(words: str, food: Food) -> tuple[str, ...]:
    """The claims of the words that neither a name of the food nor its figures or allergens bear out."""
    asked = claims(words)
    if not asked:
        return ()
    own, other = set(claims(food.name)), {claim for name in food.also if name[-1] != PERHAPS for claim in claims(name)}
    return tuple(claim for claim in asked if claim not in own and not _borne_out(claim, food)
                 and (claim not in other or claim in _ALLERGENS or claim in _MEASURED_CLAIMS))


def without_claims(words: str) -> str:
    """The words without what they claim, folded.

    >>> without_claims("Sugar-free jelly"), without_claims("crème, allégée")
    ('jelly', 'creme')
    """
    text = folded(words)
    return " ".join(_claim_pattern().sub(" ", text).split()).strip(" ,") if _HINT.search(text) else text


def _borne_out(claim: str, food: Food) -> bool:
    """Whether the figures or allergens of a food say what is claimed."""
    if claim in _ALLERGENS:
        return food.allergens is not None and not set(_ALLERGENS[claim]) & set(food.allergens)
    test = _FIGURES.get(claim)
    return test is not None and test(food)


def _at_most(column: str, most: float) -> Callable[[Food], bool]:
    return lambda food: food.amounts.get(column, most + 1) <= most


def _unsweetened(food: Food) -> bool:
    """Sugars of milk and fruit are their own; in jam, sauces and drinks they are added unless a name says otherwise."""
    return food.role != "sugar" and not re.search(r"\bsweetened|candied", food.name) and (
        food.role not in _MAY_BE_SWEET or food.amounts.get("sugars_g", LEAST_SWEET + 1) <= LEAST_SWEET)


_FIGURES: Mapping[str, Callable[[Food], bool]] = MappingProxyType({
    "unsweetened": _unsweetened,
    "sugar-free": _at_most("sugars_g", 0.5),
    "fat-free": _at_most("fat_g", 0.5),
    "low in fat": _at_most("fat_g", 3.0),
    "less fat": _at_most("fat_g", 3.0),
    "alcohol-free": lambda food: food.role != "drink" and not food.amounts.get("alcohol_g"),
    "vegan": lambda food: food.role in _OF_PLANTS,
    "meat-free": lambda food: food.role not in _OF_ANIMALS,
    "less salt": _at_most("sodium_mg", 120.0),
})
