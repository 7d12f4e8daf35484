"""Forms of a food's name: as it stands in a table, and as a cook writes it, with less and less beside the food."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from ratio_solver.foods.words import (
    CLAUSE,
    DONE_AFTER,
    MINOR,
    NEUTRAL,
    SAID_BESIDE,
    SKINNED,
    STATES,
    folded,
    telling,
    without_skin,
    words_of,
    words_of_folded,
)


def variants(name: str) -> Iterable[str]:
    """A name of the table as it stands, without what is in brackets, and with that in place of what it explains.

    >>> list(variants("eggplant (aubergine), raw"))
    ['eggplant (aubergine), raw', 'eggplant, raw', 'aubergine, raw']
    """
    yield name
    before, bracket, rest = name.partition("(")
    if bracket:
        inside, _, after = rest.partition(")")
        yield f"{before.strip()}{after}"
        if not any(sign.isdigit() for sign in inside):
            kept = before.rpartition(",")[0]
            yield ", ".join(filter(None, (kept, inside))) + after


def head_word_of(text: str, among: set[str]) -> str:
    """The word that says what it is: the last of the first part, before "of", "in" or "with".

    >>> head_word_of("peanut butter, smooth", {"peanut", "butter"}), head_word_of("leg of lamb", {"leg", "lamb"})
    ('butter', 'lamb')
    """
    first = words_of(text.partition(",")[0].partition("(")[0])
    parts: list[list[str]] = [[]]
    for word in first:
        if word in ("in", "with", "without", "de", "du", "d", "au", "aux", "mit", "a"):
            parts.append([])
        elif word in among and word not in STATES:
            parts[-1].append(word)
    return next((part[-1] for part in parts if part), first[-1] if first else "")


def key_of(words: Iterable[str]) -> tuple[str, ...]:
    """The words in no order, each once."""
    return tuple(sorted(set(words)))


def short_key(words: Sequence[str]) -> tuple[str, ...]:
    """The words that tell a food from others, in no order."""
    return key_of([word for word in words if word not in NEUTRAL] or words)


def first_part(text: str) -> str:
    """The words before the first comma, and of what follows only what has been done to the food; folded.

    >>> first_part("Tomatoes, tinned, from the larder"), first_part("skinless, boneless chicken thighs, diced")
    ('tomatoes canned', 'skinless boneless chicken thighs')
    """
    parts = CLAUSE.sub("", folded(text)).replace("(", ",").replace(")", ",").split(",")
    begin = next((place for place, part in enumerate(parts) if names_food(part)), 0)
    done = [word for word in words_of_folded(" ".join(parts[begin + 1:])) if word in STATES]
    return " ".join((*" ".join(parts[:begin + 1]).split(), *done))


def names_food(part: str) -> bool:
    """Whether a part of what is written names a food: it has more than words of size, cut and state."""
    return any(word not in SAID_BESIDE and word not in SKINNED and word not in STATES for word in words_of_folded(part))


def _not_done(part: str) -> str:
    """What follows a comma, without what is done to the food only then: potatoes, mashed, are no mashed potatoes."""
    return " ".join(word for word in part.split() if word.strip(".;") not in DONE_AFTER)


def shorter(text: str) -> Iterator[tuple[str, bool]]:
    """The words as they stand, then less and less of them, folded; and whether what is left out may matter."""
    begin, *after = CLAUSE.sub("", folded(text)).split(",")
    bare = " ".join(",".join((begin, *map(_not_done, after))).split())
    first = first_part(text)
    few = telling(words_of_folded(first))
    known = dict.fromkeys([bare, first, " ".join(telling(words_of_folded(bare))), " ".join(few),
                           " ".join(without_skin(few))])
    yield from ((words, False) for words in known if words)
    without_minor = " ".join(word for word in without_skin(few) if STATES.get(word) not in MINOR)
    if without_minor and without_minor not in known:
        yield without_minor, True
