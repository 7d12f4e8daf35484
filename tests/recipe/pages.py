"""Saved pages, made for the tests, in the shapes in which pages carry a schema.org Recipe."""

from __future__ import annotations

import json

STEW: dict[str, object] = {
    "@context": "https://schema.org",
    "@type": "Recipe",
    "name": "Lodge stew",
    "recipeYield": "4 servings",
    "recipeIngredient": ["800 g stewing beef", "2 tbsp olive oil", "1 onion, chopped", "3 carrots"],
    "recipeInstructions": [
        {"@type": "HowToStep", "text": "Brown the beef."},
        {"@type": "HowToStep", "text": "Simmer."},
    ],
}


def page(*blocks: object, kind: str = "application/ld+json", around: str = "") -> str:
    """A page with blocks of data between other things."""
    texts = [block if isinstance(block, str) else json.dumps(block).replace("</", "<\\/") for block in blocks]
    data = "".join(f'<script type="{kind}">{text}</script>' for text in texts)
    return ('<!DOCTYPE html><html><head><title>x</title><script>document.write("<h1>ran</h1>")</script>'
            f"{data}</head><body>{around}<p>2 cups of nothing at all</p></body></html>")


INGREDIENTS = ("800 g stewing beef", "2 tbsp olive oil", "1 onion, chopped", "3 carrots")
STEPS = ("Brown the beef.", "Simmer.")

GRAPH = page(
    {
        "@context": "https://schema.org",
        "@graph": [
            {"@type": "WebSite", "name": "A house"},
            {"@type": ["Recipe", "NewsArticle"], **{k: v for k, v in STEW.items() if k != "@type"}},
        ],
    }
)
LIST = page([{"@type": "BreadcrumbList", "itemListElement": []}, STEW])
SECTIONS = page(
    STEW
    | {
        "recipeIngredient": ["For the stew:", *INGREDIENTS],
        "recipeYield": 4,
        "recipeInstructions": [
            {
                "@type": "HowToSection",
                "name": "The meat",
                "itemListElement": [{"@type": "HowToStep", "text": "Brown the beef."}],
            },
            {
                "@type": "HowToSection",
                "name": "The pot",
                "itemListElement": [{"@type": "HowToStep", "name": "Simmer."}],
            },
        ],
    }
)
ENTITIES = page(STEW | {"name": "Lodge &amp; garden stew", "recipeIngredient": [
    "1&frac12; kg&nbsp;beef", "&lt;b&gt;2 tbsp&lt;/b&gt; olive oil", "100&nbsp;ml cr&egrave;me fra&icirc;che"],
    "recipeInstructions": "<ol><li>Brown the beef.</li><li>Simmer.</li></ol>", "recipeYield": ["4", "4 bowls"]})
NO_YIELD = page({key: value for key, value in STEW.items() if key != "recipeYield"})
TWO = page(STEW, STEW | {"name": "Second stew", "recipeIngredient": ["1 kg potatoes"]})
BROKEN = page('{"@type": "Recipe", "name": "Lodge stew", "recipeIngredient": ["800 g beef", ')
NEARLY = page("<!--\n" + json.dumps(STEW)[:-1] + ",\n}\n-->")
MAIN_ENTITY = page({"@type": "WebPage", "mainEntity": STEW | {"recipeYield": "Serves 4 to 6", "recipeInstructions": [
    "Brown the beef.", "Simmer."]}})
OLD = page(
    {
        "@type": "http://schema.org/Recipe",
        "name": "Lodge stew",
        "yield": "4",
        "ingredients": "\n".join(INGREDIENTS),
        "recipeInstructions": "Brown the beef.\nSimmer.",
    },
    kind="application/ld+json; charset=utf-8",
)
HOSTILE = page(
    STEW
    | {
        "name": 'x"\n[[ingredients]]\nfood = "salt"',
        "recipeIngredient": [
            'a "quote" \\ and\n# a comment',
            "1 onion\r\n[policy]\r\n",
            "\u202e2 eggs\x1b[2J",
            "<script>alert(1)</script>3 carrots",
            "'''\"\"\"",
        ],
        "recipeInstructions": '"]\nservings = 9\n',
    }
)
JSON_FILE = json.dumps(STEW)
