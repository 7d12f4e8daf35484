"""The page under a hand, in a browser: what moves, what comes out, what is saved."""

from __future__ import annotations

import difflib
import json
import re
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from ratio_solver.cli import main
from ratio_solver.output.numbers import short
from tests.page.conftest import OWN, ROOT, copied
from tests.page.serving import Served


def some_by_default(values: list[Any], count: int) -> list[Any]:
    """Values of which all but the first few are tried in the long run alone."""
    return [*values[:count], *(pytest.param(value, marks=pytest.mark.slow) for value in values[count:])]


EXAMPLES = sorted(path.stem for path in (ROOT / "examples").glob("*.toml"))
SETTLED = "() => !document.getElementById('page').dataset.solving"


class Hand:
    """A window of the browser on one dish."""

    def __init__(self, window: Any, served: Served, name: str, see: str = "dish") -> None:
        self.window, self.errors = window, list[str]()
        window.on("pageerror", lambda error: self.errors.append(str(error)))
        window.on("console", lambda said: self.errors.append(said.text)
                  if said.type == "error" and "409" not in said.text else None)  # what is refused is no error
        window.set_default_timeout(60_000)
        window.goto(served.dish(name, see))
        window.wait_for_function(SETTLED)

    @property
    def version(self) -> int:
        return int(self.window.locator("#page").get_attribute("data-version"))

    def after(self, done: Any) -> None:
        """Do something and wait until its answer is there."""
        before = self.version
        done()
        self.window.wait_for_function(f"() => Number(document.getElementById('page').dataset.version) > {before}"
                                      " && !document.getElementById('page').dataset.solving")
        self.window.wait_for_timeout(50)

    def type(self, field: str, text: str) -> None:
        """Type into a number's field and leave it."""
        def typed() -> None:
            self.window.fill(field, text)
            self.window.press(field, "Tab")
        self.after(typed)

    def drag(self, slider: str, share: float) -> None:
        """Take hold of a bound and move it by a share of its track, in steps, as a hand does."""
        place = self.window.locator(slider)
        place.scroll_into_view_if_needed()
        box, value, top = place.bounding_box(), float(place.input_value()), float(place.get_attribute("max"))
        side = -13 if "low" in place.get_attribute("class") else 13
        x = box["x"] + 13 + (box["width"] - 26) * value / top + side
        y = box["y"] + box["height"] / 2

        def dragged() -> None:
            self.window.mouse.move(x, y)
            self.window.mouse.down()
            for step in range(1, 6):
                self.window.mouse.move(x + box["width"] * share * step / 5, y)
            self.window.mouse.up()

        self.after(dragged)
        self.still()

    def still(self) -> None:
        """Wait until nothing is under way."""
        self.window.wait_for_function("() => !busy && !waiting.length")
        self.window.wait_for_function(SETTLED)

    @property
    def outcome(self) -> str:
        return str(self.window.locator(".stand .state").inner_text()).split()[-1]

    @property
    def weights(self) -> list[str]:
        return [str(text) for text in self.window.locator(".line .grams strong").all_inner_texts()]

    @property
    def text(self) -> str:
        """The recipe file as it stands on the page."""
        other = self.window.context.new_page()
        other.goto(re.sub(r"\?.*", "?see=text", self.window.url))
        found = other.locator("textarea").input_value()
        other.close()
        return str(found)


@pytest.fixture
def hand(chromium: Any, page: Served) -> Iterator[Any]:
    context = chromium.new_context(viewport={"width": 1280, "height": 900})
    hands: list[Hand] = []

    def opened(name: str, see: str = "dish", width: int = 1280) -> Hand:
        window = context.new_page()
        window.set_viewport_size({"width": width, "height": 900})
        hands.append(Hand(window, page, name, see))
        return hands[-1]

    yield opened
    for one in hands:
        assert not one.errors
    context.close()


def solved(text: str, folder: Path) -> dict[str, Any]:
    """What the command says of the same recipe."""
    path = folder / "same.toml"
    path.write_text(text, encoding="utf-8")
    result = CliRunner().invoke(main, ["solve", str(path), "--format", "json", "--foods", OWN])
    assert result.exit_code in (0, 3), result.output
    found: dict[str, Any] = json.loads(result.stdout)
    return found


def same_weights(shown: list[str], answer: dict[str, Any]) -> bool:
    """Whether the page shows these very weights."""
    return [Fraction(text) for text in shown] == [Fraction(short(Fraction(one["grams"]), 9))
                                                  for one in answer["weights"]]


@pytest.mark.parametrize("example", some_by_default(EXAMPLES, 2))
def test_a_dragged_bound_gives_the_weights_of_solve(example: str, hand: Any, page: Served, tmp_path: Path) -> None:
    name = copied(page, example, f"drag-{example}")
    dish = hand(name)
    before = dish.text
    sliders = dish.window.locator(".slide.high")
    place = next(k for k in range(sliders.count()) if float(sliders.nth(k).input_value()) > 10)
    slider = f"[data-sets='{sliders.nth(place).get_attribute('data-sets')}']"
    dish.drag(slider, -0.06)
    after = dish.text
    assert after != before
    answer = solved(after, tmp_path)
    assert dish.outcome == answer["outcome"]
    if answer["outcome"] == "solved":
        assert same_weights(dish.weights, answer)
        ratio = dish.window.locator(".stand .figure strong").first.inner_text()
        assert ratio in CliRunner().invoke(main, ["solve", str(tmp_path / "same.toml"), "--foods", OWN]).stdout
    else:
        assert set(dish.weights) == {"–"}
    dish.after(lambda: dish.window.click("text=Undo"))
    assert dish.text == before


def test_impossible_and_its_first_cure(hand: Any, page: Served, tmp_path: Path) -> None:
    dish = hand(copied(page, "celeriac-gratin", "cure"))
    dish.type("#bound-0", "6")
    assert dish.outcome == "impossible"
    top = dish.window.locator("#content").inner_text().partition("Ingredients for the batch")[0]
    assert "impossible" not in top.partition("Ratio and net carbs")[2]  # how it came out is said once, above
    assert set(dish.weights) == {"–"}
    assert "ratio" in dish.window.locator(".conflict").inner_text()
    dish.after(lambda: dish.window.locator(".offers button").first.click())
    assert dish.outcome == "solved"
    assert same_weights(dish.weights, solved(dish.text, tmp_path))


@pytest.mark.parametrize("example, ratio, number", [
    ("impossible-dumplings", "2", 1), pytest.param("celeriac-gratin", "2.5", 10, marks=pytest.mark.slow)])
def test_every_button_that_cures_does(example: str, ratio: str, number: int, hand: Any, page: Served, tmp_path: Path
                                      ) -> None:
    dish = hand(copied(page, example, f"cures-{example}"))
    if dish.outcome == "solved":
        dish.type("#bound-0", ratio)
    buttons = dish.window.locator(".offers button")
    assert buttons.count() == number
    for place in range(number):
        dish.after(buttons.nth(place).click)
        assert dish.outcome == solved(dish.text, tmp_path)["outcome"] == "solved", place
        dish.after(lambda: dish.window.click("text=Undo"))


def test_what_is_nearest_to_a_band_is_shown_in_the_words_of_solve(hand: Any, page: Served) -> None:
    """Of cheese by 10 g, at 29.81 g protein in 100 g (USDA release SR28, NDB 01023), 20 and 30 g are next to 7 g."""
    band = page.folder / "band.toml"
    band.write_text("""title = "Cheese by ten grams"
servings = 1
targets = {protein = {min = 7, max = 7}}
ingredients = [{food = "olive oil", grams = 50, min = 10, max = 100},
               {food = "gruyere", grams = 40, min = 0, max = 100, step = 10}]
""", encoding="utf-8")
    why = hand(band.name).window.locator(".why").inner_text()
    shown = why[why.index("Nearest"):why.index("These cannot")].split()
    printed = CliRunner().invoke(main, ["solve", str(band)]).stdout
    assert shown == printed[printed.index("Nearest"):printed.index("These cannot")].split()
    assert "protein 5.96 g 8.94 g olive oil 50 50 gruyere 20 30" in " ".join(shown)


def test_changes_that_cure_together_are_made_together(hand: Any, page: Served, tmp_path: Path) -> None:
    dish = hand(copied(page, "celeriac-gratin", "together"))
    dish.type("#bound-0", "4")
    dish.type("#bound-1", "3")
    assert dish.window.locator(".offers li").count() == 3
    dish.after(lambda: dish.window.click("text=Make all of these changes"))
    assert dish.outcome == solved(dish.text, tmp_path)["outcome"] == "solved"


def test_saving_changes_that_number_alone(hand: Any, page: Served) -> None:
    name = copied(page, "celeriac-gratin", "save")
    dish, path = hand(name), page.folder / name
    before = path.read_text("utf-8")
    dish.type("#max-4", "500")
    assert path.read_text("utf-8") == before
    dish.after(lambda: dish.window.click("text=Save"))
    changed = [line for line in difflib.ndiff(before.splitlines(), path.read_text("utf-8").splitlines())
               if line[:1] in "+-"]
    assert changed == ["- max = 550", "+ max = 500"]
    assert dish.window.locator("button[value=save]").is_disabled()
    assert dish.window.locator("button[value=save]").inner_text() == "Saved"
    assert dish.window.locator("#told").inner_text() == f"Saved as {path.name}."


def traditional_of(dish: Any) -> list[str]:
    """The figures of the traditional dish on the card of what stands there."""
    card = dish.window.evaluate("async () => (await fetch(location.pathname.replace('/dish/', '/card/'))).text()")
    table = card.split('aria-labelledby="compared">')[-1].split("</table>")[0]
    rows: list[str] = re.findall(r"</th><td>([^<]*)</td>", table)
    return rows


def test_weighing_in(hand: Any, page: Served) -> None:
    name = copied(page, "celeriac-gratin", "bowl")
    dish = hand(name, "weigh")
    traditional = traditional_of(dish)
    dish.type("#bowl-4", "480")
    result = CliRunner().invoke(main, ["adjust", str(page.folder / name), "--weighed", "cream=480", "--format", "json"])
    assert same_weights(dish.weights, json.loads(result.stdout))
    assert "planned 422 g" in dish.window.locator("#line-4").inner_text()
    assert traditional_of(dish) == traditional
    assert len(traditional) == 3
    dish.after(lambda: dish.window.click("text=Empty the bowl"))
    assert dish.weights[4] == "422"


def test_a_bowl_that_has_no_answer_has_ways_out(hand: Any, page: Served) -> None:
    dish = hand(copied(page, "celeriac-gratin", "ways"), "weigh")
    dish.type("#bowl-2", "1400")
    assert dish.window.locator(".headline").inner_text() == "impossible with this bowl"
    dish.after(lambda: dish.window.locator(".offers button").first.click())
    assert dish.window.locator(".headline").inner_text().startswith("adjusted: ")
    assert dish.weights[2] == "1400"


def move(window: Any, field: str, value: float, event: str = "input") -> None:
    """Move a bound as a hand does that does not let go, or lets go ("change")."""
    window.evaluate("""([field, value, event]) => { const slider = document.querySelector(`[data-sets='${field}']`);
        slider.focus(); slider.value = value; slider.dispatchEvent(new Event(event, {bubbles: true})); }""",
                    [field, value, event])


def shown_without_told(dish: Hand) -> str:
    """What a window shows, values of its fields as they stand there; what is said aloud hangs on what was before."""
    return str(dish.window.evaluate("""() => {
        page().querySelectorAll("input").forEach((field) => field.setAttribute("value", field.value));
        const copy = page().cloneNode(true);
        copy.querySelector("#told").remove();
        return copy.innerHTML.replace(/\\s+/g, " ").replace(/> </g, "><");
    }"""))


@pytest.mark.parametrize("see", ["dish", "weigh"])
def test_while_a_hand_moves_only_what_changes_is_sent(see: str, hand: Any, page: Served, tmp_path: Path) -> None:
    """What stands there while a hand moves, and at the end, is what a new window shows."""
    name = copied(page, "celeriac-gratin", f"moving-{see}")
    dish = hand(name, see)
    window = dish.window
    sent: list[str] = []
    window.on("response", lambda answer: sent.append(answer.text()) if answer.request.method == "POST" else None)
    field, ways = ("max-4", (400, 405, 549)) if see == "dish" else ("bound-0", (1.9, 1.85, 2))
    for value in ways:
        dish.after(lambda value=value: move(window, field, value))
        dish.still()
        assert same_weights(dish.weights, solved(dish.text, tmp_path))
        other = hand(name, see)
        assert shown_without_told(dish) == shown_without_told(other)
        other.window.close()
    assert all("data-parts" in answer and "Another food" not in answer for answer in sent)
    assert 'id="grams-4"' in sent[0] and 'id="grams-9"' in sent[0]
    assert 'id="grams-4"' in sent[1] and 'id="grams-9"' not in sent[1]  # nutmeg is fixed, and there already
    if see == "dish":
        assert window.locator("#line-4 button[value=fix]").text_content() == f"Fix at {dish.weights[4]} g"
    move(window, field, ways[-1], "change")
    dish.still()
    assert "data-parts" not in sent[-1]
    assert shown_without_told(dish) == shown_without_told(hand(name, see))


def test_what_was_sent_before_is_sent_again_where_something_else_stands_by_now(hand: Any, page: Served) -> None:
    """A bound moved to where it was before, with another one typed in between, here and in another window."""
    name = copied(page, "celeriac-gratin", "two-hands")
    first, second = hand(name), hand(name)

    def moved(dish: Hand, grams: int) -> None:
        dish.window.bring_to_front()
        dish.window.evaluate("look()")
        dish.still()
        dish.after(lambda: move(dish.window, "max-4", grams))
        dish.still()
        other = hand(name)
        assert shown_without_told(dish) == shown_without_told(other)
        other.window.close()

    moved(first, 400)
    first.type("#max-4", "430")
    moved(first, 400)
    moved(second, 420)
    second.type("#max-4", "440")
    moved(first, 420)
    moved(second, 410)
    moved(first, 420)


def test_what_has_no_place_in_the_window_is_asked_for(hand: Any, page: Served) -> None:
    dish = hand(copied(page, "celeriac-gratin", "lacking"))
    dish.window.evaluate("document.querySelector('#aside').remove()")
    dish.after(lambda: move(dish.window, "max-4", 400))
    dish.still()
    assert dish.window.locator("#aside .limit").count() > 5


def test_a_hand_that_lets_go_where_it_began_holds_nothing_back(hand: Any, page: Served) -> None:
    """A browser tells of no change where a slider is let go where it was taken."""
    dish = hand(copied(page, "celeriac-gratin", "let-go"))
    for grams in (400, 550):
        dish.after(lambda grams=grams: move(dish.window, "max-4", grams))
        dish.still()
    dish.type("#max-4", "420")
    move(dish.window, "max-4", 425)
    dish.still()
    dish.after(lambda: dish.window.click("text=Undo"))
    dish.still()
    assert [dish.window.locator(field).input_value() for field in ("#max-4", "[data-sets='max-4']")] == ["420", "420"]


def test_a_hand_stays_on_a_limit_that_changes_its_place(hand: Any, page: Served) -> None:
    """A binding limit that is moved until it is loose goes down in the list, under the hand that moves it."""
    dish = hand(copied(page, "celeriac-gratin", "order"))
    window = dish.window
    places = "[...document.querySelectorAll('.limit')].map(one => one.id)"
    least = window.locator(".limit", has_text="slices weight").filter(has_text="at least").locator(".slide")
    field = least.get_attribute("data-sets")
    window.evaluate("field => { window.begun = document.querySelector(`[data-sets='${field}']`); }", field)
    before = window.evaluate(places)
    asked: list[str] = []
    window.on("request", lambda request: asked.append(request.method) if "state" not in request.url else None)
    for grams, event in ((500, "input"), (100, "input"), (100, "change")):
        move(window, field, grams, event)
        dish.still()
    after = window.evaluate(places)
    moved = field.replace("bound", "limit")
    assert after.index(moved) > before.index(moved)
    assert window.evaluate("window.begun.isConnected && window.begun === document.activeElement")
    assert asked == ["POST"] * 3  # and nothing was lost on the way that must be asked for


def test_a_dish_without_weights_offers_no_card(hand: Any, page: Served) -> None:
    dish = hand(copied(page, "celeriac-gratin", "no-card"))
    assert dish.window.locator("[data-print]").count() == 1
    dish.type("#bound-0", "6")
    assert dish.window.locator("[data-print]").count() == 0
    dish.after(lambda: dish.window.click("text=Undo"))
    dish.window.evaluate("window.open = () => null")
    dish.window.click("text=Print the card")
    assert "has opened no window for the card" in dish.window.locator("#told").inner_text()


def test_two_windows_do_not_overwrite_each_other(hand: Any, page: Served) -> None:
    name = copied(page, "celeriac-gratin", "windows")
    first, second = hand(name), hand(name)
    second.window.evaluate("look = () => {}; clearInterval(1)")  # it has not yet seen what the first one does
    second.window.evaluate("busy = false")
    first.type("#max-4", "500")
    seen = second.version
    second.window.evaluate(f"document.getElementById('page').dataset.version = '{seen}'")
    second.window.evaluate("""() => { const field = document.getElementById('max-6'); field.value = '60';
        document.getElementById('page').dataset.version = '1'; ask(field.form, null, field, false); }""")
    second.window.wait_for_selector("text=changed from another window")
    assert second.window.locator("#max-4").input_value() == "500"
    assert 'max = 60\n' not in second.text
    assert 'max = 45\n' in second.text


def test_a_window_sees_what_another_one_does(hand: Any, page: Served) -> None:
    name = copied(page, "celeriac-gratin", "seen")
    first, second = hand(name), hand(name)
    first.type("#max-4", "500")
    second.window.wait_for_function("() => document.getElementById('max-4').value === '500'")
    assert second.weights == first.weights


def test_a_file_changed_meanwhile_is_asked_about(hand: Any, page: Served) -> None:
    name = copied(page, "celeriac-gratin", "disk")
    dish, path = hand(name), page.folder / name
    dish.type("#max-4", "500")
    other = path.read_text("utf-8").replace("max = 45", "max = 44")
    path.write_text(other, encoding="utf-8")
    dish.window.wait_for_selector("text=Another program has changed the file")
    dish.window.click("button[value=save]")
    dish.window.wait_for_selector("text=Not saved")
    assert path.read_text("utf-8") == other
    dish.after(lambda: dish.window.click("text=Take what the file holds"))
    assert dish.window.locator("#max-6").input_value() == "44" and dish.window.locator("#max-4").input_value() == "550"
    dish.after(lambda: dish.window.click("text=Undo"))
    assert dish.window.locator("#max-4").input_value() == "500"


def test_keyboard_alone(hand: Any, page: Served) -> None:
    dish = hand(copied(page, "celeriac-gratin", "keys"))
    keys = dish.window.keyboard

    def tab_to(label: str) -> None:
        for _ in range(120):
            keys.press("Tab")
            if dish.window.evaluate("document.activeElement.getAttribute('aria-label') || "
                                    "document.activeElement.textContent.trim()") == label:
                return
        raise AssertionError(f"the Tab key does not reach {label}")

    tab_to("most cream, g")
    dish.after(lambda: keys.press("ArrowLeft"))
    dish.still()
    assert dish.window.locator("#max-4").input_value() == "549"
    assert dish.window.evaluate("document.activeElement.getAttribute('aria-label')") == "most cream, g"
    dish.window.evaluate("document.activeElement.blur()")
    tab_to("Undo")
    dish.after(lambda: keys.press("Enter"))
    assert dish.window.locator("#max-4").input_value() == "550"
    assert "solved" in dish.window.locator("#told").inner_text()


@pytest.mark.parametrize("see", ["dish", "weigh", "portions", "compare", "text"])
@pytest.mark.parametrize("width", some_by_default([360, 820, 1280], 1))
def test_nothing_runs_out_of_the_window(width: int, see: str, hand: Any, page: Served) -> None:
    dish = hand("moussaka.toml", see, width)
    assert dish.window.evaluate("document.documentElement.scrollWidth") <= width
    small = dish.window.evaluate("""() => [...document.querySelectorAll('button, summary, select, .slide, input')]
        .filter(one => one.type !== 'hidden' && one.checkVisibility())
        .map(one => [one.outerHTML.slice(0, 80), one.getBoundingClientRect()])
        .filter(([, box]) => box.height && (box.height < 19 || box.width < 19)).map(([html]) => html)""")
    assert not small


def test_a_dish_from_pasted_lines_to_its_card(hand: Any, page: Served) -> None:
    dish = hand("celeriac-gratin.toml")
    window = dish.window
    window.goto(f"{page.base}/new")
    window.fill("#lines", (ROOT / "examples/drafts/potato-gratin.txt").read_text("utf-8"))
    window.fill("#ratio", "1.5")
    window.fill("#net_carbs", "12")
    window.click("text=Make the dish")
    window.wait_for_selector("#save")
    window.wait_for_function(SETTLED)
    assert "to look at" in window.locator("#save").inner_text()
    assert not (page.folder / "from-lines.toml").exists()
    window.fill("#name", "from-lines")
    dish.after(lambda: window.locator("#save button").click())
    assert (page.folder / "from-lines.toml").exists()
    assert "/dish/from-lines.toml" in window.url
    with window.context.expect_page() as opened:
        window.click("text=Print the card")
    card = opened.value
    card.wait_for_selector("h1")
    assert card.evaluate("getComputedStyle(document.querySelector('td.grams')).fontWeight") == "700"  # its own style
    card.close()


def test_swapping_and_adding_a_food(hand: Any, page: Served, tmp_path: Path) -> None:
    dish = hand(copied(page, "celeriac-gratin", "foods"))
    window = dish.window
    window.click("#line-6 summary")
    window.fill("#words-6", "clarified butter")
    window.press("#words-6", "Enter")
    window.wait_for_selector("#line-6 .offered button")
    dish.after(lambda: window.locator("#line-6 .offered button").first.click())
    assert "ghee" in window.locator("#line-6 h3").inner_text()
    window.fill("#add-words", "hazelnut oil")
    window.press("#add-words", "Enter")
    window.wait_for_selector(".add .offered button")
    dish.after(lambda: window.locator(".add .offered button").first.click())
    assert window.locator(".line").count() == 11
    assert same_weights(dish.weights, solved(dish.text, tmp_path))
    dish.after(lambda: window.click("#line-4 summary") or window.click("#line-4 button[value=fix]"))
    assert window.locator("#max-4").input_value() == window.locator("#min-4").input_value() == dish.weights[4]
    dish.after(lambda: window.click("#line-4 button[value=free]"))
    assert window.locator("#max-4").input_value() == "550"
