"""The pages: what is asked for, what is done, and what is shown of it."""

from __future__ import annotations

import asyncio
import base64
import hashlib
import re
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from functools import cache
from importlib.resources import files
from typing import Any
from urllib.parse import parse_qsl, quote

from jinja2 import Environment, FunctionLoader, StrictUndefined
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from ratio_solver.dish.cautions import cautions
from ratio_solver.errors import BadInput, Fault, RatioSolverError, unforeseen, written_out
from ratio_solver.foods.csv_file import number
from ratio_solver.foods.matching import Match
from ratio_solver.foods.table import match
from ratio_solver.output.blocks import Grid, Section, Text
from ratio_solver.page.actions import ACTIONS, MOVING
from ratio_solver.page.folder import ChangedOnDisk, NotThere, name_for
from ratio_solver.page.guard import policy
from ratio_solver.page.jobs import Card, Compared, Dealt, Drafted
from ratio_solver.page.kitchen import Kitchen
from ratio_solver.page.open_dish import OpenDish
from ratio_solver.page.sheet import typed
from ratio_solver.page.told import told_of
from ratio_solver.recipe.targets import ratio_value

PATIENCE = 2.0
"""Seconds after which a solve is slow: it is told, and can be stopped."""

LONGEST = 60.0
"""Seconds that a card, portions, a comparison or a draft may take."""

VIEWS = {"dish": "Dish", "weigh": "Weigh in", "portions": "Portions", "compare": "Compare", "text": "Text"}
"""What can be seen of a dish."""

OFFERED = 6
"""Foods that are offered for a cook's words."""

CANDIDATE = 50
"""g that a food which is added may have at most, until a hand moves it."""

MOST_FIELDS = 200

_STYLE = re.compile(r"<style>(.*?)</style>", re.DOTALL)
_STATIC = {"page.css": "text/css", "page.js": "text/javascript", "icon.svg": "image/svg+xml"}


@cache
def _templates() -> Environment:
    folder = files("ratio_solver.page").joinpath("templates")
    found = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True,
                        finalize=written_out_text,
                        loader=FunctionLoader(lambda name: folder.joinpath(name).read_text("utf-8")))
    found.globals.update(Text=Text, Grid=Grid, Section=Section, is_a=isinstance, quoted=quote, typed=typed)
    return found


def written_out_text(value: object) -> object:
    """Whatever a name holds is seen for what it is; markup stays markup."""
    return written_out(value) if type(value) is str else value


def app_of(kitchen: Kitchen, patience: float = PATIENCE) -> Starlette:
    """The application that shows a kitchen; `patience` in seconds."""
    pages = Pages(kitchen, patience)

    @asynccontextmanager
    async def at_work(app: Starlette) -> AsyncIterator[None]:
        kitchen.workers  # noqa: B018  # the first process starts ahead
        try:
            yield
        finally:
            kitchen.close()

    def route(path: str, made: Callable[..., Any], *methods: str) -> Route:
        return Route(path, made, methods=list(methods or ("GET",)))

    return Starlette(
        routes=[route("/", pages.folder), route("/new", pages.new), route("/new", pages.begin, "POST"),
                route("/cautions", pages.cautions), route("/static/{name}", pages.static),
                route("/card/{name:path}", pages.card), route("/dish/{name:path}", pages.dish),
                route("/dish/{name:path}", pages.act, "POST")],
        exception_handlers={RatioSolverError: pages.trouble, HTTPException: pages.refused, Exception: pages.defect},
        lifespan=at_work)


class Pages:
    """What is answered to each request."""

    def __init__(self, kitchen: Kitchen, patience: float) -> None:
        self._kitchen, self._patience = kitchen, patience

    def _page(self, request: Request, template: str, status: int = 200, **shown: Any) -> HTMLResponse:
        html = _templates().get_template(template).render(base=request.scope["root_path"], views=VIEWS, **shown)
        return HTMLResponse(html, status)

    async def _done(self, job: Card | Compared | Dealt | Drafted) -> Any:
        """What comes out of a job that is not the solve of the dish; it is stopped where it takes too long."""
        try:
            return await asyncio.wait_for(self._kitchen.workers.do(job), LONGEST)
        except TimeoutError as error:
            raise BadInput([Fault("the page", "", "", f"stopped, as it took longer than {LONGEST:g} s")]) from error

    # --- the folder -------------------------------------------------------------------------------------------------

    async def folder(self, request: Request) -> Response:
        """The recipes of the folder, and what is begun."""
        return self._page(request, "folder.html.j2", recipes=list(self._kitchen.folder.recipes()),
                          drafts=self._kitchen.drafts, folder=self._kitchen.folder.root.name)

    async def cautions(self, request: Request) -> Response:
        """All that is to be said beside a ratio."""
        return self._page(request, "cautions.html.j2", cautions=cautions())

    async def static(self, request: Request) -> Response:
        """The style and the script of the page."""
        name = request.path_params["name"]
        if name not in _STATIC:
            raise NotThere("there is no such file")
        text = files("ratio_solver.page").joinpath("static", name).read_text("utf-8")
        return Response(text, media_type=_STATIC[name])

    # --- a new dish -------------------------------------------------------------------------------------------------

    async def new(self, request: Request) -> Response:
        """Where lines are pasted."""
        return self._page(request, "new.html.j2", faults=(), typed={})

    async def begin(self, request: Request) -> Response:
        """A draft of the lines, as an open dish; what cannot be read is told beside what was typed."""
        said = await _fields(request)
        try:
            job = _drafted(said)
            text, look_at = await self._done(job)
        except RatioSolverError as error:
            return self._page(request, "new.html.j2", 422, faults=_lines(error), typed=said)
        dish = self._kitchen.begin(text, look_at)
        return RedirectResponse(f"{request.scope['root_path']}/dish/{quote(dish.name)}", 303)

    # --- a dish -----------------------------------------------------------------------------------------------------

    async def dish(self, request: Request) -> Response:
        """A dish as it stands."""
        dish = self._kitchen.dish(request.path_params["name"])
        dish.look_at_disk()
        if "state" in request.query_params:
            return JSONResponse({"version": dish.version, "solving": dish.solving, "disk": dish.changed_on_disk})
        return await self._shown(request, dish)

    async def act(self, request: Request) -> Response:
        """Do something to a dish, where the browser has seen the last of it; and show it."""
        name = request.path_params["name"]
        dish, fields = self._kitchen.dish(name), await _fields(request)
        dish.look_at_disk()
        refused: tuple[str, ...] = ()
        if fields.get("version") != str(dish.version):
            refused = ("Not done: the dish was changed from another window. This is how it stands now.",)
        elif fields.get("do") not in ACTIONS:
            refused = ("Not done: there is no such action.",)
        else:
            try:
                ACTIONS[fields["do"]](dish, fields, self._kitchen.foods)
            except ChangedOnDisk:
                dish.look_at_disk()
                refused = ("Not saved: another program has changed the file.",)
            except RatioSolverError as error:
                refused = _lines(error)
        if dish.name != name and not refused:
            self._kitchen.renamed(name)
        if request.headers.get("x-part") or refused:
            return await self._shown(request, dish, refused, fields)
        see = request.query_params.get("see", "dish")
        await dish.solved(self._kitchen.workers, self._patience)
        return RedirectResponse(f"{request.scope['root_path']}/dish/{quote(dish.name)}?see={quote(see)}", 303)

    async def _shown(self, request: Request, dish: OpenDish, refused: tuple[str, ...] = (),
                     fields: dict[str, str] | None = None) -> Response:
        await dish.solved(self._kitchen.workers, self._patience)
        see = request.query_params.get("see", "dish")
        see = see if see in VIEWS else "dish"
        block, trouble = await self._block(request, dish, see)
        moving = bool(fields and fields.get(MOVING))
        saved = bool(fields and fields.get("do") == "save")
        return self._page(
            request, "dish.html.j2", 409 if refused else 200, dish=dish, see=see, refused=refused, block=block,
            trouble=trouble, told="" if moving else told_of(dish, refused, saved), found=self._found(request, dish),
            fats=self._kitchen.fats, candidate=CANDIDATE, name_for=name_for(dish.title))

    async def _block(self, request: Request, dish: OpenDish, see: str) -> tuple[Any, tuple[str, ...]]:
        """The report of a view that is one, or why there is none."""
        if see not in ("portions", "compare") or dish.faults or dish.solving or dish.stopped:
            return None, ()
        try:
            if see == "compare":
                return (None, ()) if dish.saved is None else (
                    await self._done(Compared(dish.file, dish.state, dish.saved_text)), ())
            grams = _typed_number(request.query_params.get("grams", ""), "grams")
            return await self._done(Dealt(dish.file, dish.state, grams)), ()
        except RatioSolverError as error:
            return None, _lines(error)

    def _found(self, request: Request, dish: OpenDish) -> dict[str, Any]:
        """Foods that were looked for, to take the place of an ingredient or as one more."""
        words, place = request.query_params.get("words", "")[:200], request.query_params.get("for", "")
        if not words.strip() or dish.sheet is None:
            return {"words": "", "for": "", "foods": (), "lacks": ()}
        foods = self._kitchen.foods.with_tables(dish.sheet.recipe.tables)
        meant: Match = match(foods, words, OFFERED)
        return {"words": words, "for": place, "lacks": meant.lacks, "sure": meant.sure,
                "foods": tuple(food for food in (meant.food, *meant.others) if food)}

    async def card(self, request: Request) -> Response:
        """The card of a dish, to print."""
        dish = self._kitchen.dish(request.path_params["name"])
        if dish.faults:
            raise BadInput([Fault(dish.name, "", "", "has faults: there is no card")])
        label = request.query_params.get("label", "none")
        html: str = await self._done(Card(dish.file, dish.state, label))
        return HTMLResponse(html, headers={"Content-Security-Policy": policy(_sum_of_style(html), "data:")})

    # --- what is not there ------------------------------------------------------------------------------------------

    async def trouble(self, request: Request, error: Exception) -> Response:
        """A page that says what is not there, or what is wrong with what was asked for."""
        assert isinstance(error, RatioSolverError)
        return self._page(request, "trouble.html.j2", 404 if isinstance(error, NotThere) else 422, lines=_lines(error))

    async def refused(self, request: Request, error: Exception) -> Response:
        """The same for any other address, and for what is too large."""
        assert isinstance(error, HTTPException)
        line = "there is no such page" if error.status_code == 404 else error.detail
        return self._page(request, "trouble.html.j2", error.status_code, lines=(line,))

    async def defect(self, request: Request, error: Exception) -> Response:
        """The last resort: what nobody has thought of is one line as well."""
        return self._page(request, "trouble.html.j2", 500, lines=(unforeseen(error),))


async def _fields(request: Request) -> dict[str, str]:
    """The fields of a form, each once, as browsers send it."""
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != "application/x-www-form-urlencoded":
        raise BadInput([Fault("the page", "", kind, "expected the fields of a form")])
    try:
        return dict(parse_qsl((await request.body()).decode("utf-8"), keep_blank_values=True,
                              max_num_fields=MOST_FIELDS, errors="strict"))
    except ValueError as error:
        raise BadInput([Fault("the page", "", "", "expected the fields of a form, as UTF-8")]) from error


def _lines(error: RatioSolverError) -> tuple[str, ...]:
    """What is told of an error, a line each."""
    return tuple(map(str, error.faults)) if isinstance(error, BadInput) else (str(error),)


def _typed_number(text: str, name: str) -> float | None:
    """A number that was typed, or None where none was."""
    if not text.strip():
        return None
    value = number(text)
    if value is None:
        raise BadInput([Fault("the page", name, repr(text[:40]), "expected a number, decimals after a point")])
    return value


def _drafted(typed: dict[str, str]) -> Drafted:
    """The lines that were pasted, with what was said of the dish; raises BadInput where that cannot be read."""
    ratio = typed.get("ratio", "").strip()
    if ratio and ratio_value(ratio) is None:
        raise BadInput([Fault("the page", "ratio", repr(ratio[:40]), "expected a ratio such as 2 or 2:1")])
    servings = _typed_number(typed.get("servings", ""), "servings")
    if servings is not None and not (servings.is_integer() and servings >= 1):
        raise BadInput([Fault("the page", "servings", f"{servings:g}", "expected a whole number")])
    return Drafted(typed.get("lines", ""), typed.get("title", "").strip() or None,
                   None if servings is None else int(servings), ratio_value(ratio) if ratio else None,
                   _typed_number(typed.get("net_carbs", ""), "net_carbs"),
                   _typed_number(typed.get("bounds", ""), "bounds"))


def _sum_of_style(html: str) -> str:
    """What lets the style that stands in a card be used, and no other."""
    sums = (base64.b64encode(hashlib.sha256(style.encode("utf-8")).digest()).decode() for style in _STYLE.findall(html))
    return " ".join(f"'sha256-{one}'" for one in sums) or "'none'"
