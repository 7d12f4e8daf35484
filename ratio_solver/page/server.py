"""The pages: what is asked for, what is done, and what is shown of it."""

from __future__ import annotations

import asyncio
import base64
import hashlib
import re
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from contextlib import asynccontextmanager
from importlib.resources import files
from typing import Any
from urllib.parse import parse_qsl, quote

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response, StreamingResponse
from starlette.routing import Route

from ratio_solver.dish.cautions import cautions
from ratio_solver.errors import BadInput, RatioSolverError, unforeseen
from ratio_solver.foods.matching import Match
from ratio_solver.foods.table import match
from ratio_solver.page.actions import ACTIONS, MOVING, Hand, not_done, number_typed
from ratio_solver.page.folder import ChangedOnDisk, NotThere
from ratio_solver.page.guard import policy
from ratio_solver.page.html import PART, VIEWS, compile_ahead, html
from ratio_solver.page.jobs import card_of, compared, drafted, portions_of
from ratio_solver.page.open_dish import OpenDish, OpenDishes
from ratio_solver.page.workers import Workers, collect_less
from ratio_solver.recipe.targets import ratio_value

PATIENCE = 2.0
"""Seconds after which a solve is slow: it is told, and can be stopped."""

JOB_SECONDS = 60.0
"""That a card, portions, a comparison or a draft may take."""

OFFERED = 6
"""Foods that are offered for a cook's words."""

MOST_FIELDS = 200

SCRIPTED = "x-scripted"
"""Header of what the script of the page asks for."""

_STYLE = re.compile(r"<style>(.*?)</style>", re.DOTALL)
_STATIC = {"page.css": "text/css", "page.js": "text/javascript", "icon.svg": "image/svg+xml"}


class Pages:
    """What is answered to each request.

    Parameters
    ----------
    dishes : OpenDishes
    tables : sequence of str
        The composition tables, for the processes that solve.
    patience : float
        Seconds after which a solve is slow.

    Attributes
    ----------
    workers : Workers
        From when the pages are served until they no longer are.
    """

    workers: Workers

    def __init__(self, dishes: OpenDishes, tables: Sequence[str] = (), patience: float = PATIENCE) -> None:
        self.dishes, self._tables, self._patience = dishes, tables, patience
        self._fats = dishes.foods.with_role("fat")

    @asynccontextmanager
    async def _at_work(self, app: Starlette) -> AsyncIterator[None]:
        self.workers = Workers(self._tables)
        compile_ahead()
        collect_less()
        try:
            yield
        finally:
            self.workers.end()

    def app(self) -> Starlette:
        """The application that answers with them."""
        asked = {"/": self.folder, "/new": self.new, "/cautions": self.cautions, "/static/{name}": self.static,
                 "/card/{name:path}": self.card, "/dish/{name:path}": self.dish}
        sent = {"/new": self.begin, "/dish/{name:path}": self.act}
        return Starlette(
            routes=[*(Route(path, made) for path, made in asked.items()),
                    *(Route(path, made, methods=["POST"]) for path, made in sent.items())],
            exception_handlers=dict.fromkeys((RatioSolverError, HTTPException, Exception), self.trouble),
            lifespan=self._at_work)

    def _html(self, request: Request, template: str, **shown: Any) -> str:
        return html(template, base=request.scope["root_path"], **shown)

    def _page(self, request: Request, template: str, status: int = 200, **shown: Any) -> HTMLResponse:
        return HTMLResponse(self._html(request, template, **shown), status)

    async def _done(self, job: Callable[..., Any], *given: Any) -> Any:
        """What comes out of a job that is not the solve of the dish; it is stopped where it takes too long."""
        try:
            return await asyncio.wait_for(self.workers.do(job, *given), JOB_SECONDS)
        except TimeoutError as error:
            raise not_done("", "", f"stopped, as it took longer than {JOB_SECONDS:g} s") from error

    # --- the folder -------------------------------------------------------------------------------------------------

    async def folder(self, request: Request) -> Response:
        """The recipes of the folder, and what is begun."""
        folder = self.dishes.folder
        return self._page(request, "folder.html.j2", recipes=list(folder.recipes()), drafts=self.dishes.drafts,
                          folder=folder.root.name)

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
        fields = await _fields(request)
        try:
            text, look_at = await self._done(drafted, fields.get("lines", ""), _asked_of_draft(fields))
        except RatioSolverError as error:
            return self._page(request, "new.html.j2", 422, faults=_lines(error), typed=fields)
        return _to_dish(request, self.dishes.begin(text, look_at))

    # --- a dish -----------------------------------------------------------------------------------------------------

    async def dish(self, request: Request) -> Response:
        """A dish as it stands."""
        dish = self.dishes.dish(request.path_params["name"])
        if "state" in request.query_params:
            dish.look_at_disk()
            return JSONResponse({"version": dish.version, "solving": dish.solving, "disk": dish.changed_on_disk})
        return await self._shown(request, dish)

    async def act(self, request: Request) -> Response:
        """Do something to a dish, where the browser has seen the last of it; and show it."""
        dish, fields = self.dishes.dish(request.path_params["name"]), await _fields(request)
        refused: tuple[str, ...] = ()
        if fields.get("version") != str(dish.version):
            refused = ("Not done: the dish was changed from another window. This is how it stands now.",)
        elif fields.get("do") not in ACTIONS:
            refused = ("Not done: there is no such action.",)
        else:
            try:
                ACTIONS[fields["do"]](Hand(dish, fields, self.dishes.foods))
            except ChangedOnDisk:
                refused = ("Not saved: another program has changed the file.",)
            except RatioSolverError as error:
                refused = _lines(error)
        await dish.ask(self.workers)
        if MOVING in fields and SCRIPTED in request.headers and not refused and dish.sheet is not None:
            return StreamingResponse(self._moved(request, dish, fields), media_type="text/html")
        if SCRIPTED in request.headers or refused:
            return await self._shown(request, dish, refused, fields.get("do") == "save")
        await dish.solved(self.workers, self._patience)
        return _to_dish(request, dish)

    async def _moved(self, request: Request, dish: OpenDish, fields: Mapping[str, str]) -> AsyncIterator[str]:
        """The parts of a dish that change while a hand moves, but those that the window has.

        That they come is told while the dish is solved: it is the body of an answer that has begun.
        """
        await dish.solved(self.workers, self._patience)
        number, had = dish.parts
        whole = self._html(request, "moving.html.j2", moving=fields[MOVING], number=number + 1,
                           **_standing(request, dish))
        begun, *parts, end = whole.split(PART)
        dish.parts = number + 1, frozenset(parts)
        known = had if fields.get("parts") == str(number) else ()
        yield "".join([begun, *(part for part in parts if part not in known), end])

    async def _shown(self, request: Request, dish: OpenDish, refused: tuple[str, ...] = (), saved: bool = False
                     ) -> Response:
        """A dish as it stands."""
        await dish.solved(self.workers, self._patience)
        block, trouble = await self._block(request, dish, _view(request))
        return self._page(
            request, "dish.html.j2", 409 if refused else 200, block=block, trouble=trouble, saved=saved and not refused,
            found=self._found(request, dish), fats=self._fats, **_standing(request, dish, refused))

    async def _block(self, request: Request, dish: OpenDish, see: str) -> tuple[Any, tuple[str, ...]]:
        """The report of a view that is one, or why there is none."""
        if dish.faults or dish.solving or dish.stopped:
            return None, ()
        try:
            if see == "compare" and dish.saved is not None:
                return await self._done(compared, dish.state, dish.origin, dish.saved_text), ()
            if see == "portions":
                grams = number_typed(request.query_params.get("grams", ""), "grams")
                return await self._done(portions_of, dish.state, dish.origin, grams and float(grams)), ()
        except RatioSolverError as error:
            return None, _lines(error)
        return None, ()

    def _found(self, request: Request, dish: OpenDish) -> dict[str, Any]:
        """Foods that were looked for, to take the place of an ingredient or as one more."""
        words, place = request.query_params.get("words", "")[:200], request.query_params.get("for", "")
        if not words.strip() or dish.sheet is None:
            return {"words": "", "for": ""}
        meant: Match = match(self.dishes.foods.with_tables(dish.sheet.recipe.tables), words, OFFERED)
        return {"words": words, "for": place, "lacks": meant.lacks, "sure": meant.sure,
                "foods": tuple(food for food in (meant.food, *meant.others) if food)}

    async def card(self, request: Request) -> Response:
        """The card of a dish, to print."""
        dish = self.dishes.dish(request.path_params["name"])
        if dish.faults:
            raise not_done(dish.name, "", "has faults: there is no card")
        card = await self._done(card_of, dish.state, dish.origin, request.query_params.get("label", "none"))
        return HTMLResponse(card, headers={"Content-Security-Policy": policy(_sum_of_style(card), "data:")})

    async def trouble(self, request: Request, error: Exception) -> Response:
        """A page that says what is not there, or what is wrong; what nobody has thought of is one line as well."""
        status = error.status_code if isinstance(error, HTTPException) else 404 if isinstance(error, NotThere) else \
            422 if isinstance(error, RatioSolverError) else 500
        return self._page(request, "trouble.html.j2", status, lines=_lines(error))


def _to_dish(request: Request, dish: OpenDish) -> Response:
    """The way of a browser without script to a dish as it stands now."""
    return RedirectResponse(f"{request.scope['root_path']}/dish/{quote(dish.name)}?see={_view(request)}", 303)


def _standing(request: Request, dish: OpenDish, refused: tuple[str, ...] = ()) -> dict[str, Any]:
    """What the templates take of a dish; figures stand beside what they were found for, and nothing else."""
    sheet, answer = dish.sheet, dish.answer
    fits = answer if answer is not None and sheet is not None and answer.asked == sheet.asked else None
    return {"dish": dish, "sheet": sheet, "answer": answer, "shown": fits is not None,
            "figures": (fits and fits.figures) or [None] * len(sheet.lines if sheet else ()),
            "gauges": fits.gauges if fits else {}, "old": answer is not None and not dish.fresh,
            "see": _view(request), "refused": refused, "scripted": SCRIPTED in request.headers}


def _view(request: Request) -> str:
    """What is seen of a dish."""
    see = request.query_params.get("see", "dish")
    return see if see in VIEWS else "dish"


async def _fields(request: Request) -> dict[str, str]:
    """The fields of a form, each once, as browsers send it."""
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != "application/x-www-form-urlencoded":
        raise not_done("", kind, "expected the fields of a form")
    try:
        return dict(parse_qsl((await request.body()).decode("utf-8"), keep_blank_values=True,
                              max_num_fields=MOST_FIELDS, errors="strict"))
    except ValueError as error:
        raise not_done("", "", "expected the fields of a form, as UTF-8") from error


def _lines(error: Exception) -> tuple[str, ...]:
    """What is told of an error, a line each."""
    if isinstance(error, BadInput):
        return tuple(map(str, error.faults))
    if isinstance(error, HTTPException):
        return ("there is no such page" if error.status_code == 404 else error.detail,)
    return (str(error) if isinstance(error, RatioSolverError) else unforeseen(error),)


def _asked_of_draft(fields: Mapping[str, str]) -> dict[str, Any]:
    """What is asked of a dish that is pasted, as `draft` takes it; raises BadInput with what cannot be read."""
    ratio = fields.get("ratio", "").strip()
    if ratio and ratio_value(ratio) is None:
        raise not_done("ratio", ratio[:40], "expected a ratio such as 2 or 2:1")
    servings, net_carbs, bounds = (number_typed(fields.get(name, ""), name)
                                   for name in ("servings", "net_carbs", "bounds"))
    if servings is not None and (servings.denominator > 1 or servings < 1):
        raise not_done("servings", fields["servings"][:40], "expected a whole number")
    return {"title": fields.get("title", "").strip() or None, "servings": None if servings is None else int(servings),
            "ratio": ratio_value(ratio) if ratio else None,
            "net_carbs": None if net_carbs is None else float(net_carbs),
            "bounds": None if bounds is None else float(bounds)}


def _sum_of_style(html: str) -> str:
    """What lets the style that stands in a card be used, and no other."""
    sums = (base64.b64encode(hashlib.sha256(style.encode("utf-8")).digest()).decode() for style in _STYLE.findall(html))
    return " ".join(f"'sha256-{one}'" for one in sums) or "'none'"
