"""A recipe as someone wrote it down: title, servings, ingredient lines under their headings, steps.

Each line of it is a heading, a yield, something about cooking, or an ingredient.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from ratio_solver.errors import one_line
from ratio_solver.recipe.amounts import amount_at, number_at, plain
from ratio_solver.recipe.lines import MOST_WORDS

MOST_SERVINGS_SAID = 1_000
"""A yield of more than this is no number of servings."""


def _any(words: str, parted: str | None = None) -> str:
    """A pattern for any of the words of a text."""
    return "|".join(word.strip() for word in words.split(parted))


_METHOD = re.compile(r"(?:the )?(?:method|directions?|instructions?|preparation|steps?|how to make it|procedure|"
                     r"to make|zubereitung|anleitung|préparation|preparation steps|étapes|instructions de cuisson)"
                     r"\s*[:.]?", re.IGNORECASE)
_INGREDIENTS = re.compile(r"(?:the )?(?:ingredients?(?: list)?|ingredients? needed|you(?:'ll| will)? need|"
                          r"what you(?:'ll)? need|shopping list|zutaten|zutatenliste|ingrédients?|für die zutaten)\b"
                          r".{0,40}", re.IGNORECASE)
_SERVES = re.compile(
    r"(?:recipe\s+)?(?:serves|servings?|yields?|makes|feeds|portions?|portionen|personen|ergibt|for|für|pour)\b\s*:?\s*"
    r"(?:about |approximately |up to |ca\.? )?(?P<number>\d+|one|two|three|four|six|eight|ten|twelve)"
    r"(?:\s*(?:-|to|or|bis|à)\s*\d+)?\s*(?P<of>[^\d]*)", re.IGNORECASE)
_SO_MANY = re.compile(r"(?P<number>\d+)(?:\s*(?:-|to)\s*\d+)?\s*(?:servings?|portions?|portionen|personen|personnes?|"
                      r"people|parts|pers\.?|stück|pieces)\b", re.IGNORECASE)
_PEOPLE = re.compile(r"$|people|persons?|servings?|portions?|portionen|personen|personnes?|pers\b|adults?|guests|"
                     r"generous|as |hungry|\(", re.IGNORECASE)

_OTHER_LINE = re.compile(
    r"""^(?:
      (?:prep|cook|total|active|inactive|rest\w*|chill\w*|proof\w*|baking|oven|soak\w*|marinat\w*|hands-on|ready|working|
         arbeits|koch|back|gesamt|temps|vor)
         [\s-]*(?:aration|ing)?[\s-]*(?:time|in|zeit|temperature|de|bereitung\w*)\b .*
    | (?:zubereitungs|arbeits|koch|back|gesamt|ruhe)zeit.* | (?:préparation|cuisson|repos)\s*:?\s*\d+\s*(?:min|h).*
    | (?:difficulty|level|course|cuisine|category|keywords?|author|source|published|updated|diet|calories|kcal|energy|
         nutrition(?:al)?|cost|rating|print|save|share|pin|tweet|jump|rate|review\w*|comments?|advert\w*|sponsored|
         subscribe|newsletter|photo\w*|image|video|watch|copyright|©|equipment|special\ equipment|tools|notes?|tips?|
         cook'?s\ notes?|chef'?s\ (?:notes?|tips?)|hint|allergens?|storage|store|schwierigkeit|hinweis|tipp?|astuce|
         us\ customary|metric|imperial|scale|adjust|servings\ adjust\w*|recipe\ (?:by|from|card|notes?|tips?|courtesy)|
         adapted|from\ the|by|posted|click|tap|buy|shop|add\ all|get\ (?:the|ingredients)|deselect|select|convert|
         step|schritt|étape|chapter|page|per\ serving|deal|view|more\ recipes|you\ may|you\ might|tag|email|read|follow|
         cooking\ mode|cook\ mode|prevent|keep\ (?:your|the)\ screen|yield|swap\b|substitut\w+)\b
         (?!\s+(?:juice|flakes|powder|seeds?|oil))[\s:.\-/|].*
    | (?:print|save|share|pin(?:\ it)?|rate|notes?|advertisement|nutrition(?:al\ (?:info\w*|facts))?|reviews?|metric|
         equipment|us\ customary|imperial|cups?|tips?|video|comments?|directions|yields?|servings?|makes|print\ recipe|
         pin\ recipe|jump\ to\ recipe|cook'?s\ notes?|loading|ad|or|and|scale|ingredients)\s*[:.!]*
    | (?:[1-4](?:/2)?x\s*){1,4} | [\d.,\s/|:;()\[\]*_=~+#-]+ | .*(?:https?://|www\.).* | .*\d\s*(?:°|º|degrees?\b
      |deg\b).*
    | [\d.]+\s*(?:from|\(|/)\s*\d+\s*(?:votes?|reviews?|ratings?)\b.* | serve[sd]?\ (?:with|warm|hot|cold|over
      |immediately)\b.*
    | \(?\d+\s*(?:kcal|calories|reviews?|ratings?|votes?|comments?|stars?(?!\ anise)|likes?|shares?)\b.*
      | [\d.]+\s*(?:stars?\b(?!\ anise)|out\ of|/\s*5).*
    | (?:about\ |approx\.?\ )?\d+(?:\s*-\s*\d+)?\s*(?:mins?|minutes?|minuten|hours?|hrs?|std
      |stunden)\b\.?(?:\s+(?:prep|cook|total|plus|to|in|until|or|resting|chilling|\d).*)?
    )$""",
    re.IGNORECASE | re.VERBOSE,
)
_OFFER = re.compile(r"\d\s*% off\b|\b(?:discount|promo|coupon|voucher)\b|\bwith (?:the )?code\b|"
                    r"\bfree (?:shipping|delivery|trial)\b|\bsign up\b", re.IGNORECASE)
"""What sells something else than the dish."""

_DOING = re.compile(r"(?:\d+[.)]\s*)?(?:" + _any("""
    then now next first meanwhile carefully gently lightly in once when while after before using with if repeat
    you this these it we i my make be do don't feel all see serve enjoy preheat pre-heat heat bake mix stir
    whisk add combine pour place put cook boil simmer fry saute sauté roast grill blend beat fold cut chop slice
    peel drain rinse remove let leave set cover bring reduce season sprinkle spread roll knead grease line melt
    cream toss transfer return allow arrange brush garnish top store freeze refrigerate chill wash trim taste
    turn use den die das alle faites préchauffer préchauffez mélanger mélangez
    """) + r"),? ", re.IGNORECASE)
"""How a sentence about cooking begins."""

_THINGS = re.compile(r"\b(?:" + _any("""
    baking (?:sheet|tray|paper|parchment|tin|pan), parchment(?: paper)?, greaseproof, (?:aluminium|aluminum|tin)
    foil, cling ?film, plastic wrap, kitchen (?:string|twine|paper|towel), paper towels?, skewers?, toothpicks?,
    cocktail sticks?, muffin (?:tin|cases|liners|cups|tray), paper cases, cupcake (?:cases|liners), springform,
    loaf tin, cake tin, loaf pan, cake pan, pie dish, ovenproof, casserole dish, thermometer, piping bag,
    rolling pin, saucepan, frying pan, food processor, blender, stand mixer, slow cooker, pressure cooker, large
    pot, whisk, ramekins?, jars? with lids?, muslin, cheesecloth, backpapier, alufolie, backform, papier cuisson
    """, ",") + r")\b", re.IGNORECASE)
"""What is needed and not eaten."""

_FOR = re.compile(r"(?:for (?:the |your |a )?|für (?:den |die |das )?|pour (?:la |le |les |l')?|zum |zur )",
                  re.IGNORECASE)
_PART_NAMES = _any("""
    filling toppings? sauce dressing marinade crust base dough glaze icing frosting garnish(?:es)? batter gravy
    stuffing rub streusel crumble mash salad extras main assembly coating teig füllung belag guss soße sosse
    dekoration garnitur pâte garniture
    """)
_MORE_PARTS = _any("""
    meatballs dumplings cake sponge ganache custard soup stew curry pie mixture layer ingredients vegetables
    salsa seasoning brine mix blend crème glaçage appareil finition décor
    """)
_SERVING = r"(?:to|zum) (?:serve|finish|garnish|decorate|assemble|servieren|garnieren|bestreuen)"
_PARTS = re.compile(rf"(?:(?:the|optional|your|main|other|dry|wet|for)\s+)*(?:\w+\s+){{0,2}}"
                    rf"(?:{_PART_NAMES}|{_MORE_PARTS}|{_SERVING})", re.IGNORECASE)
_ONLY_PARTS = re.compile(rf"(?:(?:the|optional|your)\s+)?(?:{_PART_NAMES}|pastry|toppings and garnishes|"
                         rf"(?:dry|wet|liquid|other)(?= ingredients)|{_SERVING})"
                         r"(?: ingredients)?(?: \(optional\))?", re.IGNORECASE)
"""Names of parts that stand alone on a line; no food of the kitchen is called so."""


def line_kind_of(text: str) -> str:
    """What a written line is: "method", "ingredients", "servings", "heading", "other" or "item".

    >>> lines = ("For the sauce:", "FILLING", "Prep time: 20 min", "Serves 4", "2 eggs", "Salt")
    >>> [line_kind_of(line) for line in lines]
    ['heading', 'heading', 'other', 'servings', 'item', 'item']
    """
    if len(text) > 2 * MOST_WORDS:
        return "other"
    line = plain(one_line(text)).strip()
    bare = re.sub(r"^[#*_=\-–—\s]+|[#*_=\-–—\s]+$", "", line)
    if not re.search(r"[^\W\d_]", bare):
        return "other"
    if _METHOD.fullmatch(bare):
        return "method"
    if servings_in(bare, alone=True) is not None:
        return "servings"
    if _INGREDIENTS.fullmatch(bare):
        return "ingredients"
    if len(bare) > MOST_WORDS or _OTHER_LINE.match(bare):
        return "other"
    leading = amount_at(bare)
    if _THINGS.search(bare) and not (leading and leading[0].weighs):
        return "other"
    if leading is not None:
        return "item"
    if _OFFER.search(bare):
        return "other"
    if _is_heading(one_line(text), bare):
        return "heading"
    doing = _DOING.match(bare) and len(bare.split()) > 3 and not re.search(r",? to taste$", bare)
    return "other" if doing or (re.search(r"[.!?]$", bare) and len(bare.split()) > 7) else "item"


def _is_heading(line: str, bare: str) -> bool:
    """Whether a line without an amount names a part of the dish."""
    words = bare.rstrip(":")
    sized = re.search(r"\d(?![\d ]*(?:cm|inch|in\b|\"))", words)
    if (sized and not re.match(r"(?:layer|part|day|step) \d$", words, re.I)) or re.search(r":\s+\w", words):
        return False
    if bare.endswith(":") or re.match(r"#|\*\*|__|==|--|\[[^\]]+\]$|\*[^*]+\*$|-+ .+ -+$", line):
        return True
    if (found := _FOR.match(words)) and len(words.split()) <= 7 and not re.search(r",", words):
        return bool(words[found.end():])
    letters = re.sub(r"[^\w]", "", words)
    shouted = letters.isupper() and len(letters) > 3 \
        and (_PARTS.fullmatch(words) or (len(words.split()) <= 4 and not _foodlike(words)))
    return bool(shouted or _ONLY_PARTS.fullmatch(words))


def _foodlike(words: str) -> bool:
    """Whether a line in capitals more likely is a food than a heading: no part of a dish is named in it."""
    return not re.search(r"filling|topping|sauce|dressing|marinade|crust|base|dough|glaze|icing|frosting|garnish|"
                         r"batter|gravy|serve|ingredient|mix|layer|teig|füllung|stuffing", words, re.IGNORECASE)


def heading_of(text: str) -> str:
    """The name of the part that a heading begins; empty where it only says that ingredients follow.

    >>> heading_of("For the tomato sauce:"), heading_of("**FILLING**"), heading_of("Ingredients:")
    ('tomato sauce', 'filling', '')
    """
    bare = re.sub(r"^[#*_=\-–—\s\[\]]+|[#*_=\-–—:\s\[\]]+$", "", plain(one_line(text)))
    name = re.sub(r"\s*\(.*?\)", "", _FOR.sub("", bare, count=1)).strip(" :")
    name = re.sub(r"\s+ingredients$", "", name, flags=re.IGNORECASE)
    if _INGREDIENTS.fullmatch(name) or re.fullmatch(r"ingredients?", name, re.I):
        return ""
    return name.lower() if name.isupper() else name[:60]


def servings_in(text: str, alone: bool = False) -> int | None:
    """The number of servings that a text tells; with `alone` only where it tells nothing else.

    Of a range the lower number: each serving then is as large as it may be.

    >>> servings_in("Serves 4 to 6"), servings_in("Makes 12 muffins"), servings_in("Für 4 Personen"), servings_in("4")
    (4, 12, 4, 4)
    """
    line = plain(one_line(text)).strip(" .")
    found = _SERVES.match(line)
    named = re.match(r"(?:recipe\s+)?(?:serves|servings?|yields?|makes|feeds|portion|personen|ergibt)", line, re.I)
    if found and alone and (len(line.split()) > 9 or not (named or (found["of"] and _PEOPLE.match(found["of"])))):
        found = None
    found = found or (_SO_MANY.fullmatch(line) if alone else _SO_MANY.search(line))
    if not found and not alone:
        found = re.match(r"\D{0,20}?(?P<number>\d+)(?!\s*(?:g|kg|ml|oz|lb|cups?|inch|cm|min)\b)", line)
    if not found:
        return None
    if re.match(r"\W*(?:cups?|ml|l\b|lit|quarts?|pints?|jars?|loa[fv]|g\b|kg|oz|lb|inch|cm|batch)",
                line[found.end("number"):], re.I):
        return None
    value = number_at(found["number"])
    count = int(value[0]) if value else 0
    one_thing = count == 1 and not _PEOPLE.match(line[found.end("number"):].strip())
    return count if 1 <= count <= MOST_SERVINGS_SAID and not one_thing else None


def part_within(text: str) -> tuple[str, str]:
    """The part of the dish that a line names before its food, and the rest of the line.

    >>> part_within("For garnish: fresh cilantro"), part_within("Topping: 100 g cheese"), part_within("Salt: 1 tsp")
    (('garnish', 'fresh cilantro'), ('Topping', '100 g cheese'), ('', 'Salt: 1 tsp'))
    """
    name, colon, rest = text.partition(":")
    named = colon and rest.strip() and len(name.split()) < 7 and not re.search(r"\d", name)
    if named and (_FOR.match(name) or _ONLY_PARTS.fullmatch(name.strip())):
        return heading_of(name), rest.strip()
    return "", text


def method_step_of(line: str) -> str:
    """A step without its number.

    >>> method_step_of("1. Mix."), method_step_of("Step 2: Bake."), method_step_of("- Rest."), method_step_of("Step 3")
    ('Mix.', 'Bake.', 'Rest.', '')
    """
    return re.sub(r"^(?:[-*•]\s+|(?:step|schritt|étape)\s*\d+\s*[:.)-]?\s*|\d+\s*[.):]\s+)+", "", line,
                  flags=re.I).strip()


@dataclass(frozen=True)
class Line:
    """One ingredient line as written, and the part of the dish under whose heading it stands."""

    text: str
    part: str = ""


@dataclass(frozen=True)
class Written:
    """What a written recipe says, before anything is understood of it.

    Attributes
    ----------
    title : str
        May be empty.
    servings : int or None
        None where it does not say.
    lines : tuple of Line
        One ingredient each, in order.
    method : tuple of str
        Its steps.
    passed_over : tuple of str
        Lines that are about something else: times, notes, what the page says around the recipe.
    """

    title: str = ""
    servings: int | None = None
    lines: tuple[Line, ...] = ()
    method: tuple[str, ...] = ()
    passed_over: tuple[str, ...] = ()


def written_in(text: str, is_food: Callable[[str], bool] = lambda words: False) -> Written:
    """The recipe that a plain text holds: one ingredient a line, headings, steps after a line "Method".

    The first line is the title where it is no ingredient and no heading of one; where no line after it says so,
    `is_food` is asked whether its words are a food.
    """
    lines = [one_line(line) for line in text.splitlines()]
    together = sum(bool(line) for line in lines) > 2 * sum(not line for line in lines)  # else every line stands alone
    title, servings, part = "", None, ""
    found: list[Line] = []
    method: list[str] = []
    over: list[str] = []
    cooking = False
    for place, line in enumerate(lines):
        if not line:
            continue
        if together and place and not lines[place - 1] and found and found[-1].part == part:
            part = ""
        if cooking:
            cooking = not _INGREDIENTS.fullmatch(plain(line))
            method += [method_step_of(line)] if cooking else []
            continue
        kind = line_kind_of(line)
        if not title and not found and not any(lines[:place]) and _may_be_title(line, kind, lines[place + 1:], is_food):
            title = re.sub(r"^[#*\s]+|[#*:\s]+$", "", line)
        elif kind == "method":
            cooking = True
        elif kind == "servings":
            servings = servings_in(line) or servings
        elif kind == "heading" or (kind == "item" and _begins_part(lines, place, is_food)):
            part = heading_of(line)
        elif kind == "ingredients":
            part = ""
        elif kind == "item":
            within, _ = part_within(line)
            found.append(Line(line, within or part))
        else:
            over.append(line)
    return Written(title, servings, tuple(found), tuple(step for step in method if step), tuple(over))


def _begins_part(lines: Sequence[str], place: int, is_food: Callable[[str], bool]) -> bool:
    """Whether a line between a blank one and an amount is the name of a part: it has no amount, and is no food."""
    line, follows = lines[place], next(iter(lines[place + 1:]), "")
    return (bool(place) and not lines[place - 1] and bool(amount_at(plain(follows))) and not re.search(r"[\d,]", line)
            and len(line.split()) < 6 and not is_food(plain(line)))


def _may_be_title(line: str, kind: str, rest: Sequence[str], is_food: Callable[[str], bool]) -> bool:
    """Whether a first line is the dish's name: no amount in it, nor a heading, and something follows."""
    bare = plain(line)
    if kind in ("servings", "method", "ingredients") or not any(rest) or len(bare) > 100:
        return False
    if line.startswith("#"):
        return True
    follows = next((later for later in rest if later), "")
    parted = not rest[0] or line_kind_of(follows) in ("servings", "ingredients", "heading", "other")
    if amount_at(bare) or re.search(r"\bto taste$|:$|^for the\b", bare, re.I) or re.search(r"\d+ ?(?:g|ml|oz)\b", bare):
        return False
    return parted or not is_food(bare)
