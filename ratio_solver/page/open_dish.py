"""A dish that is open on the page: its states, the file it came from, and the answer to what stands there now."""

from __future__ import annotations

import asyncio
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from ratio_solver.errors import BadInput, RatioSolverError, one_line
from ratio_solver.foods.bundled import BUNDLED, placed
from ratio_solver.foods.table import FoodTable
from ratio_solver.page.answer import Origin, PageAnswer, answer_of
from ratio_solver.page.edits import Change, edited, known_values, parse_ahead
from ratio_solver.page.folder import ENDING, Folder, NotThere, name_for, text_of
from ratio_solver.page.history import History, State
from ratio_solver.page.sheet import Sheet, sheet_of
from ratio_solver.page.workers import Workers
from ratio_solver.recipe.model import Recipe
from ratio_solver.recipe.read import recipe_of_text

DRAFT = "draft-"
"""How the name of a dish begins that has no file yet; it has no ending, as a file has."""


class OpenDish:
    """A dish on the page; every browser that shows it shows the same.

    Parameters
    ----------
    name : str
        Of its file, from the folder; of one that has no file yet what stands in the address.
    text : str
        The recipe file.
    saved : bytes or None
        What stands in the file; None where there is none yet.
    look_at : sequence of str
        What a cook should look at in a draft.

    Attributes
    ----------
    version : int
        Counts what is done: a browser that has not seen the last of it changes nothing.
    answer, before : PageAnswer or None
        The last one there was, and the one before it.
    sheet : Sheet or None
        What stands there, once it is read; that of the last text that could be, where this one has faults.
    faults : tuple of str
        What is wrong with what stands there now.
    disk : bytes or None
        What the file held when it was last looked at; None where it is gone.
    parts : tuple of int and frozenset of str
        What was shown last of it under a moving hand, and how often something was.
    """

    def __init__(self, name: str, text: str, folder: Folder, foods: FoodTable, *, saved: bytes | None = None,
                 look_at: Sequence[str] = ()) -> None:
        self.name, self.folder, self._foods = name, folder, foods
        self.saved = self.disk = saved
        self.look_at = tuple(look_at)
        self.history = History(State(text))
        self.version = 1
        self.answer: PageAnswer | None = None
        self.before: PageAnswer | None = None
        self.sheet: Sheet | None = None
        self.faults: tuple[str, ...] = ()
        self.stopped = ""
        self.parts: tuple[int, frozenset[str]] = (0, frozenset())
        self._answered: State | None = None
        self._solving: asyncio.Task[None] | None = None
        self._read = False
        self.read()

    # --- what stands there ------------------------------------------------------------------------------------------

    @property
    def state(self) -> State:
        """What stands there now."""
        return self.history.now

    @property
    def origin(self) -> Origin:
        """Where it comes from, for faults and for the tables that it names."""
        return Origin(self.name, str((self.folder.root / self.name).parent))

    @property
    def title(self) -> str:
        """What the dish is called, as far as it can be read."""
        return self.sheet.recipe.title if self.sheet else self.name

    @property
    def table(self) -> Mapping[str, Any]:
        """The values of the recipe file."""
        return known_values(self.state.text) or tomllib.loads(self.state.text)

    @property
    def recipe(self) -> Recipe:
        """The recipe as it stands there; raises BadInput with its faults."""
        return recipe_of_text(self.state.text, self._foods, *self.origin, known_values(self.state.text))

    def read(self) -> None:
        """Read what stands there, once."""
        if not self._read:
            self._read = True
            try:
                self.sheet = sheet_of(self.recipe, self.sheet.tops if self.sheet else {},
                                      moving=bool(self.history.moving))
                parse_ahead(self.state.text)
            except BadInput as bad:
                self.faults = tuple(map(str, bad.faults))

    def elsewhere(self, text: str) -> tuple[str, ...]:
        """The files out of the folder that a text names and the one that stands here does not.

        Whoever has the address (`--lan`) has no file read that the cook has not named in a recipe.
        """
        known = _named_files(self.state.text)
        return tuple(name for name in _named_files(text) if name not in known and name not in BUNDLED
                     and not self.folder.holds(Path(placed(name, self.origin.folder))))

    def put(self, state: State, moving: str = "") -> None:
        """Let another state stand there; one that a hand is still moving is no step of its own."""
        self._stand(self.history.changed(state, moving))

    def change(self, changes: Sequence[Change], moving: str = "") -> None:
        """Make changes in the recipe file as it would be saved; raises BadInput where they cannot be."""
        now = self.state
        self.put(State(edited(now.text, changes), now.bowl, now.take), moving)

    def undo(self) -> None:
        """Go a step back."""
        self._stand(self.history.undone())

    def redo(self) -> None:
        """Go a step forward again."""
        self._stand(self.history.redone())

    def _stand(self, history: History) -> None:
        before, self.history = self.history.now, history
        if history.now != before:
            self.version += 1
            self.stop()
            self.faults, self._read = (), False

    # --- the answer -------------------------------------------------------------------------------------------------

    @property
    def fresh(self) -> bool:
        """Whether the answer is one to what stands there now."""
        return self.answer is not None and self._answered == self.state and not self.faults

    @property
    def solving(self) -> bool:
        """Whether a solve is under way."""
        return self._solving is not None and not self._solving.done()

    @property
    def moved(self) -> list[tuple[str, str, str]] | None:
        """Label, weight before and weight now, g, of what weighs otherwise; None where there was no answer before."""
        answer, before = self.answer, self.before
        if answer is None or before is None or not before.figures or before.asked[0] != answer.asked[0]:
            return None
        return [(label, old.grams, new.grams) for label, old, new in
                zip(answer.asked[0], before.figures, answer.figures, strict=False) if old.grams != new.grams]

    async def ask(self, workers: Workers) -> None:
        """Send what stands there to be solved, where it has no answer and is not being solved."""
        if not (self.faults or self.stopped or self.fresh or self._solving):
            self._solving = asyncio.ensure_future(self._solve(workers, self.state))
            await asyncio.sleep(0)  # it is sent

    async def solved(self, workers: Workers, within: float) -> None:
        """Wait for the answer to what stands there, at most so many seconds.

        Meanwhile its sheet is read, and its file is looked at.
        """
        await self.ask(workers)
        self.read()
        self.look_at_disk()
        if self._solving is not None:
            await asyncio.wait({self._solving}, timeout=within)

    async def _solve(self, workers: Workers, state: State) -> None:
        try:
            found: PageAnswer = await workers.do(answer_of, state, self.origin, known_values(state.text))
        except BadInput as bad:
            self.faults = tuple(map(str, bad.faults))
        except RatioSolverError as error:
            self.stopped = str(error)
        else:
            self.before, self.answer, self._answered = self.answer, found, state

    def stop(self, why: str = "") -> None:
        """Stop the solve that is under way; the last answer stays."""
        if self._solving is not None:
            self._solving.cancel()
        self._solving, self.stopped = None, why

    # --- the file ---------------------------------------------------------------------------------------------------

    @property
    def saved_text(self) -> str:
        """The text of the file as it was saved last; empty where there is none."""
        return "" if self.saved is None else text_of(self.saved, self.name)

    def saved_bounds(self, label: str) -> tuple[float, float] | None:
        """The bounds between which an ingredient may move in the saved file; None where it may not."""
        try:
            recipe = recipe_of_text(self.saved_text, self._foods, *self.origin)
        except BadInput:
            return None
        return next(((item.minimum, item.maximum) for item in recipe.ingredients if item.label == label
                     and item.minimum is not None and item.maximum is not None and item.minimum < item.maximum), None)

    @property
    def unsaved(self) -> bool:
        """Whether what stands there is not what the file holds."""
        return self.saved is None or self.state.text != self.saved_text

    def look_at_disk(self) -> None:
        """See what stands in the file; another program may have written it, or taken it away."""
        if self.saved is not None:
            try:
                self.disk = self.folder.data_of(self.name)
            except (NotThere, BadInput):
                self.disk = None

    @property
    def changed_on_disk(self) -> bool:
        """Whether the file holds something else than it did when it was read or saved here, or is no longer there."""
        return self.saved != self.disk

    def take_from_disk(self) -> None:
        """Let what the file holds stand here; what stood here can be gone back to."""
        if self.disk is not None:
            text = text_of(self.disk, self.name)
            self.keep_here()
            self.put(State(text))

    def keep_here(self) -> None:
        """Keep what stands here; the next Save writes it over what the file holds now, and nothing newer.

        Where the file is gone, it writes a new one.
        """
        self.saved = self.disk
        self.version += 1

    def save(self, new_name: str = "") -> None:
        """Write the file.

        Raises
        ------
        ChangedOnDisk, NotThere, BadInput
            Where it was changed or taken away, or cannot be written; nothing is then.
        """
        if self.saved is None:
            self.name = self.folder.save_new(new_name or name_for(self.title), self.state.text)
            self.disk, self.look_at = self.state.text.encode("utf-8"), ()
        else:
            self.disk = self.folder.save(self.name, self.state.text, self.saved)
        self.keep_here()


def _named_files(text: str) -> tuple[str, ...]:
    """Tables and photo that a recipe file names; none where it is no TOML, as then nothing is read."""
    try:
        table = tomllib.loads(text)
    except (ValueError, RecursionError):
        return ()
    foods = table.get("foods", ())
    names = [*(foods if isinstance(foods, list | tuple) else [foods]), table.get("photo", "")]
    return tuple(one_line(name) for name in names if isinstance(name, str) and name.strip())


class OpenDishes:
    """The dishes that are open on the page: those of the folder, and drafts that have no file yet.

    Parameters
    ----------
    root : path
        The folder; nothing outside of it is shown or written.
    foods : FoodTable
    """

    def __init__(self, root: Path, foods: FoodTable) -> None:
        self.folder, self.foods = Folder(root), foods
        self._open: list[OpenDish] = []
        self._begun = 0

    @property
    def drafts(self) -> tuple[OpenDish, ...]:
        """Dishes that have no file yet."""
        return tuple(dish for dish in self._open if dish.saved is None)

    def dish(self, name: str) -> OpenDish:
        """The dish of a name: one that is open, else the file is read.

        Raises
        ------
        NotThere, BadInput
        """
        for dish in self._open:
            if dish.name == name:
                return dish
        if not name.endswith(ENDING):
            raise NotThere("this draft is not open any more")
        data = self.folder.data_of(name)
        self._open.append(OpenDish(name, text_of(data, name), self.folder, self.foods, saved=data))
        return self._open[-1]

    def begin(self, text: str, look_at: Sequence[str]) -> OpenDish:
        """A new dish, which has no file until it is saved."""
        self._begun += 1
        self._open.append(OpenDish(f"{DRAFT}{self._begun}", text, self.folder, self.foods, look_at=look_at))
        return self._open[-1]
