"""Kitchen units: what a written recipe calls them, and how large those are that have a size of their own."""

from __future__ import annotations

import re
from collections.abc import Mapping
from fractions import Fraction
from functools import cache
from types import MappingProxyType

from ratio_solver.foods.words import singular_of

MEASURES = ("metric", "us", "uk")
"""Whose cups, spoons and pints a recipe means."""

_OUNCE = Fraction("28.349523125")
_INCH = Fraction("16.387064")  # ml of a cubic inch
_US_GALLON, _UK_GALLON = 231 * _INCH, Fraction("4546.09")

MASSES: Mapping[str, Fraction] = MappingProxyType({
    "g": Fraction(1), "mg": Fraction(1, 1000), "kg": Fraction(1000), "oz": _OUNCE, "lb": 16 * _OUNCE,
    "pfund": Fraction(500),
})
"""Grams of one: the avoirdupois pound is 453.59237 g (NIST Handbook 44, Appendix C; Weights and Measures Act 1985,
Schedule 1); the Pfund and the livre of a market are half a kilogram (common practice, no source)."""

_EVERYWHERE = {"ml": Fraction(1), "cl": Fraction(10), "dl": Fraction(100), "l": Fraction(1000)}
_UK = {"pint": _UK_GALLON / 8, "quart": _UK_GALLON / 4, "gallon": _UK_GALLON, "fl oz": _UK_GALLON / 160}
_METRIC_SPOONS = {"tbsp": Fraction(15), "tsp": Fraction(5), "dessertspoon": Fraction(10)}
VOLUMES: Mapping[str, Mapping[str, Fraction]] = MappingProxyType({
    "us": _EVERYWHERE | {"cup": _US_GALLON / 16, "tbsp": _US_GALLON / 256, "tsp": _US_GALLON / 768,
                         "dessertspoon": _US_GALLON / 384, "fl oz": _US_GALLON / 128, "pint": _US_GALLON / 8,
                         "quart": _US_GALLON / 4, "gallon": _US_GALLON},
    "metric": _EVERYWHERE | _METRIC_SPOONS | _UK | {"cup": Fraction(250)},
    "uk": _EVERYWHERE | _METRIC_SPOONS | _UK | {"cup": _UK_GALLON / 16},
})
"""Millilitres of one. US: the gallon of 231 cubic inches and its parts (NIST Handbook 44, Appendix C); nutrition labels
round them to 240, 15 and 5 ml (21 CFR 101.9(b)(5)(viii)). UK: the gallon of 4.54609 l and its parts (Units of
Measurement Regulations 1995; Weights and Measures Act 1985, Schedule 1). The metric cup of 250 ml, spoons of 15 and
5 ml, and the UK cup of half a pint are common practice, no source."""

RELEASE = VOLUMES["us"]
"""The cups and spoons of the USDA release are US customary."""

PACKAGES = frozenset(("can", "jar", "packet", "box", "carton", "bag", "tub", "pot", "bottle", "block", "tube", "sachet",
                      "punnet", "ball", "container", "pouch", "log", "wheel", "loaf", "envelope", "tray"))
"""Units of which a recipe says how much is in one: "1 (14 oz) can"."""

_NAMES = {
    "g": "g|gr|gm|gms|grs|gram|grams|gramme|grammes|gramm|grammi",
    "mg": "mg|milligram|milligrams",
    "kg": "kg|kgs|kilo|kilos|kilogram|kilograms|kilogramm|kilogramme|kilogrammes",
    "oz": "oz|ozs|ounce|ounces",
    "lb": "lb|lbs|pound|pounds",
    "pfund": "pfund|livre|livres",
    "ml": "ml|mls|milliliter|milliliters|millilitre|millilitres|cc",
    "cl": "cl|centiliter|centiliters|centilitre|centilitres",
    "dl": "dl|deciliter|deciliters|decilitre|decilitres",
    "l": "l|ltr|lt|liter|liters|litre|litres",
    "cup": "cup|cups|c|tasse|tassen|tasses",
    "tbsp": "tbsp|tbsps|tbs|tbl|tblsp|tblsps|tbspn|tb|tablespoon|tablespoons|tablespoonful|tablespoonfuls|tablespons|"
    "tablspoon|tablespon|el|essl|esslöffel|esslöffeln|essloeffel|cuillère à soupe|cuillères à soupe|"
    "cuillere a soupe|cuilleres a soupe|cuil à soupe|cuil. à soupe|cuil. à s|c. à soupe|c à soupe|c. à s|c.à.s|"
    "c.à s|c à s|càs|cas|c. a s|c.a.s|c à. s|cs|cuillerée à soupe|cuillerées à soupe",
    "tsp": "tsp|tsps|ts|tspn|teaspoon|teaspoons|teaspoonful|teaspoonfuls|teaspon|teaspons|tl|teel|teelöffel|teelöffeln|"
    "teeloeffel|cuillère à café|cuillères à café|cuillere a cafe|cuilleres a cafe|cuil à café|cuil. à café|"
    "cuil. à c|c. à café|c à café|c. à c|c.à.c|c.à c|c à c|càc|cac|c. a c|c.a.c|cuillère à thé|"
    "cuillerée à café|cuillerées à café",
    "dessertspoon": "dessertspoon|dessertspoons|dsp|dstspn|dessert spoon|dessert spoons",
    "fl oz": "fl oz|fl. oz|floz|fl.oz|fluid oz|fluid ounce|fluid ounces",
    "pint": "pint|pints|pt|pts",
    "quart": "quart|quarts|qt|qts",
    "gallon": "gallon|gallons|gal",
    "stick": "stick|sticks",
    "clove": "clove|cloves|zehe|zehen|gousse|gousses",
    "slice": "slice|slices|scheibe|scheiben|tranche|tranches|rasher|rashers|slc",
    "bunch": "bunch|bunches|bund|bunde|botte|bottes|bouquet|bouquets|bd",
    "sprig": "sprig|sprigs|zweig|zweige|zweiglein|brin|brins|branche|branches|stem|stems|stängel|stiel|stiele",
    "can": "can|cans|tin|tins|dose|dosen|boîte|boîtes|boite|boites|conserve",
    "jar": "jar|jars|bocal|bocaux",
    "piece": "piece|pieces|pc|pcs|stück|stücke|stk|st|morceau|morceaux|pièce|pièces|chunk|chunks|portion|portions|each",
    "pinch": "pinch|pinches|prise|prisen|pincée|pincées|pincee|pincees|messerspitze|messerspitzen|msp|smidgen|pn",
    "handful": "handful|handfuls|handfull|handvoll|hand voll|poignée|poignées|poignee|poignees|fistful",
    "stalk": "stalk|stalks|stange|stangen|rib|ribs|tige|tiges",
    "head": "head|heads|kopf|köpfe|tête|têtes",
    "bulb": "bulb|bulbs|knolle|knollen",
    "leaf": "leaf|leaves|blatt|blätter|feuille|feuilles",
    "ear": "ear|ears|cob|cobs|kolben",
    "fillet": "fillet|fillets|filet|filets",
    "sheet": "sheet|sheets|platte|platten",
    "cube": "cube|cubes|würfel",
    "knob": "knob|knobs|noix|nut",
    "dash": "dash|dashes|spritzer|trait|shake|shakes|few dashes",
    "drop": "drop|drops|tropfen|goutte|gouttes",
    "splash": "splash|splashes|schuss|glug|glugs|lug|lugs|filet d'|trickle|drizzle|drizzles|swirl",
    "squeeze": "squeeze|squeezes",
    "grating": "grating|gratings|grind|grinds|grinding|grindings|twist|twists|crack|cracks|sprinkle|sprinkling|"
    "scraping",
    "glass": "glass|glasses|glas|gläser|verre|verres",
    "packet": "packet|packets|package|packages|pack|packs|pkg|pkgs|pkt|pkts|päckchen|packung|packungen|pck|paket|"
    "pakete|paquet|paquets|beutel|satz",
    "sachet": "sachet|sachets|tütchen|tüte",
    "envelope": "envelope|envelopes",
    "box": "box|boxes|boîtier",
    "carton": "carton|cartons|brique|briques",
    "container": "container|containers",
    "bag": "bag|bags|sack|sacks",
    "tub": "tub|tubs",
    "pot": "pot|pots|becher",
    "bottle": "bottle|bottles|flasche|flaschen|bouteille|bouteilles",
    "tube": "tube|tubes",
    "block": "block|blocks|bloc",
    "log": "log|logs",
    "wheel": "wheel|wheels",
    "ball": "ball|balls|kugel|kugeln|boule|boules",
    "pouch": "pouch|pouches",
    "punnet": "punnet|punnets|barquette|schale",
    "tray": "tray|trays",
    "loaf": "loaf|loaves|laib",
    "scoop": "scoop|scoops",
    "bar": "bar|bars|tafel|tablette|tablettes",
    "wedge": "wedge|wedges",
    "strip": "strip|strips",
    "inch": 'inch|inches|in|"|″|”|zoll',
    "cm": "cm|centimetre|centimetres|centimeter|centimeters",
    "thumb": "thumb|thumbs|thumb-sized piece|thumb sized piece|thumb-size piece|thumb size piece|knuckle",
    "mug": "mug|mugs",
    "shot": "shot|shots",
    "spear": "spear|spears",
    "link": "link|links",
    "floret": "floret|florets|röschen",
    "crown": "crown|crowns",
    "square": "square|squares",
    "patty": "patty|patties",
    "rack": "rack|racks",
    "joint": "joint|joints",
    "round": "round|rounds",
    "pat": "pat|pats",
    "strand": "strand|strands",
}

UNIT_OF: Mapping[str, str] = MappingProxyType(
    {name: unit for unit, names in _NAMES.items() for name in names.split("|")})
"""What a recipe may call a unit, in small letters, and its name here."""


@cache
def _unit_pattern() -> re.Pattern[str]:
    """Any of the names, the longest first, or a sign; made where a written recipe is read, as it takes its time."""
    names = "|".join(map(re.escape, sorted(UNIT_OF, key=len, reverse=True)))
    return re.compile(rf"(?:{names})(?:\.(?!\d))?(?![\w'’])|[\"″”]", re.IGNORECASE)


def unit_at(text: str) -> tuple[str, str] | None:
    """The unit with which a text begins, by its name here, and what follows it; None where it begins with none.

    A capital T is a tablespoon and a small t a teaspoon, as in American handwriting.

    >>> unit_at("tbsp. of flour"), unit_at("Zehen Knoblauch"), unit_at("garlic")
    (('tbsp', 'of flour'), ('clove', 'Knoblauch'), None)
    """
    if letter := re.match(r"[Tt](?:\.|(?=\s))", text):
        return ("tbsp" if text[0] == "T" else "tsp"), text[letter.end():].strip()
    found = _unit_pattern().match(text)
    return (UNIT_OF[found[0].rstrip(".").lower()], text[found.end():].strip()) if found else None


def singular(word: str) -> str:
    """A unit's name as the composition table has it: "cups", "tablespoons" and "leaves" are "cup", "tbsp", "leaf".

    A word that is no unit loses the ending of a plural.

    >>> singular("tablespoons"), singular("leaves"), singular("patties"), singular("olives"), singular("larges")
    ('tbsp', 'leaf', 'patty', 'olive', 'large')
    """
    return UNIT_OF.get(word) or singular_of(word)
