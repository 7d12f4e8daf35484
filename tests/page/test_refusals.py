"""Who is not let in, and what is not done: each refusal, and that what names hold stays text."""

from __future__ import annotations

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import httpx
import pytest
from click.testing import CliRunner

from ratio_solver.cli import main
from ratio_solver.page import command
from ratio_solver.page.guard import BODY_BYTES
from tests.page.conftest import copied
from tests.page.serving import TOKEN, Served
from tests.test_readme import ROOT

FORM = {"content-type": "application/x-www-form-urlencoded"}


def post(page: Served, name: str, fields: dict[str, str], **headers: str) -> httpx.Response:
    """A form sent from the page itself, unless the headers say otherwise; as the script sends it."""
    return httpx.post(page.dish(name), data=fields, timeout=60,
                      headers={"origin": f"http://{page.host}", "x-scripted": "1"} | headers)


def version(page: Served, name: str) -> str:
    found = re.search(r'data-version="(\d+)"', httpx.get(page.dish(name), timeout=60).text)
    assert found
    return found[1]


@pytest.mark.parametrize("path", ["/", "/dish/celeriac-gratin.toml", "/another-token/", f"/{TOKEN[:-1]}/",
                                  f"/{TOKEN}x/", "/static/page.js", "//", f"/%2e%2e/{TOKEN}x/"])
def test_without_the_token_nothing_is_answered(page: Served, path: str) -> None:
    answer = httpx.get(f"http://{page.host}{path}")
    assert answer.status_code == 404
    assert answer.text == "The address is not whole: its token is missing."


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1", "127.0.0.1:1", "localhost.evil.example:80", ""])
def test_a_foreign_host_is_refused(page: Served, host: str) -> None:
    answer = httpx.get(page.base + "/", headers={"host": host})
    assert answer.status_code in (400, 421)
    assert "Recipes" not in answer.text


def test_two_hosts_are_refused(page: Served) -> None:
    name, port = page.host.split(":")
    with socket.create_connection((name, int(port))) as pipe:
        pipe.sendall(f"GET /{TOKEN}/ HTTP/1.1\r\nHost: {page.host}\r\nHost: evil.example\r\n\r\n".encode())
        assert pipe.recv(100).split()[1] in (b"400", b"421")


@pytest.mark.parametrize("origin", ["http://evil.example", "https://{host}", "http://127.0.0.1:1", "null", None])
def test_a_form_of_another_page_is_refused(page: Served, origin: str | None) -> None:
    name = copied(page, "celeriac-gratin", "origin")
    now = version(page, name)
    headers = {} if origin is None else {"origin": origin.format(host=page.host)}
    answer = httpx.post(page.dish(name), data={"version": now, "do": "bounds", "place": "4", "min": "0", "max": "9"},
                        headers=headers)
    assert answer.status_code == 403
    assert version(page, name) == now


def test_what_is_read_by_another_page_is_refused(page: Served) -> None:
    assert httpx.get(page.base + "/", headers={"origin": "http://evil.example"}).status_code == 403


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS"])
def test_other_methods_are_refused(page: Served, method: str) -> None:
    answer = httpx.request(method, page.base + "/", headers={"origin": f"http://{page.host}"})
    assert answer.status_code == 405
    assert "access-control-allow-origin" not in answer.headers


@pytest.mark.parametrize("name", [
    "../outside.toml", "..%2Foutside.toml", "%2e%2e/outside.toml", "drafts/../../outside.toml", "/etc/hostname",
    "....//outside.toml", "..\\outside.toml", "linked.toml", "linked/outside.toml", "own-foods.csv", "outside.toml%00",
    "celeriac-gratin.toml/", "~/outside.toml", "a" * 5000 + ".toml"])
def test_only_recipe_files_of_the_folder_are_opened(page: Served, name: str) -> None:
    outside = page.folder.parent / "outside.toml"
    shutil.copy(ROOT / "examples" / "celeriac-gratin.toml", outside)
    for link, target in (("linked.toml", outside), ("linked", page.folder.parent)):
        if not (page.folder / link).is_symlink():
            (page.folder / link).symlink_to(target)
    answer = httpx.get(f"{page.base}/dish/{name}", timeout=60)
    assert answer.status_code == 404
    assert "kohlrabi" not in answer.text
    assert httpx.get(f"{page.base}/card/{name}", timeout=60).status_code == 404
    listed = httpx.get(page.base + "/").text
    assert "linked" not in listed and "outside" not in listed


def test_a_link_to_a_recipe_of_the_folder_is_opened(page: Served) -> None:
    link = page.folder / "alias.toml"
    if not link.is_symlink():
        link.symlink_to(page.folder / "moussaka.toml")
    assert httpx.get(page.dish("alias.toml"), timeout=60).status_code == 200


@pytest.mark.parametrize("said", [True, False])
def test_a_body_that_is_too_large_is_refused(page: Served, said: bool) -> None:
    name = copied(page, "celeriac-gratin", "large")
    body = b"do=text&text=" + b"x" * 10_000_000

    def pieces() -> Any:
        yield from (body[start:start + 65536] for start in range(0, len(body), 65536))

    try:
        answer = httpx.post(page.dish(name), content=body if said else pieces(), timeout=60,
                            headers={"origin": f"http://{page.host}"} | FORM)
    except httpx.TransportError:
        pass  # the connection was closed while it was still sending
    else:
        assert answer.status_code == 413
    assert version(page, name) == "1"
    assert len(body) > BODY_BYTES


@pytest.mark.parametrize("content, kind", [
    (b"{}", "application/json"), (b"a=1&" * 500, FORM["content-type"]), (b"do=%ff%fe", FORM["content-type"]),
    (b"x", "multipart/form-data; boundary=x")])
def test_a_body_that_is_no_form_is_a_fault(page: Served, content: bytes, kind: str) -> None:
    name = copied(page, "celeriac-gratin", "noform")
    answer = httpx.post(page.dish(name), content=content, timeout=60,
                        headers={"origin": f"http://{page.host}", "content-type": kind})
    assert answer.status_code == 422
    assert "expected the fields of a form" in answer.text


HOSTILE = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>{{ 7*7 }}"


def test_names_that_hold_html_are_text(page: Served, chromium: Any) -> None:
    quoted = HOSTILE.replace('"', '\\"')
    text = (ROOT / "examples" / "celeriac-gratin.toml").read_text("utf-8")
    text = text.replace("Gratin of celeriac and kohlrabi", quoted).replace('"butter"', f'"{quoted} butter"')
    text = text.replace('"slices"', f'"{quoted} slices"').replace("[parts.slices]", f'[parts."{quoted} slices"]')
    file = page.folder / "<b>hostile & co.toml"
    file.write_text(text, encoding="utf-8")
    window = chromium.new_page()
    said: list[str] = []
    window.on("dialog", lambda dialog: (said.append(dialog.message), dialog.dismiss()))
    window.on("pageerror", lambda error: said.append(str(error)))
    try:
        for address in (page.base + "/", *(page.dish(file.name, see) for see in
                                           ("dish", "weigh", "portions", "compare", "text")),
                        page.dish(file.name) + "&for=add&words=" + HOSTILE, f"{page.base}/card/{file.name}"):
            window.goto(address)
            window.wait_for_timeout(50)
            assert window.locator("img").count() == 0 and "49" not in window.title()
            assert window.evaluate("[...document.scripts].every(one => one.src.endsWith('/static/page.js')"
                                   " || one.type === 'application/ld+json')")
        window.goto(page.dish(file.name))
        assert HOSTILE in window.locator("h1").inner_text()
        assert not said
    finally:
        window.close()
        file.unlink()


def test_every_answer_is_held_to_a_strict_policy(page: Served) -> None:
    name = copied(page, "celeriac-gratin", "policy")
    for address in ("/", "/new", "/cautions", "/static/page.js", "/nothing", f"/dish/{name}", f"/card/{name}"):
        answer = httpx.get(page.base + address, timeout=60)
        policy = answer.headers["content-security-policy"]
        assert policy.startswith("default-src 'none'; script-src 'self'; ") and "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy and "http" not in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["cache-control"] == "no-store"
        assert "set-cookie" not in answer.headers
        assert not re.search(r"(?:src|href|action)=\"(?:https?:)?//", answer.text)


def test_nothing_but_saving_writes(page: Served) -> None:
    name = copied(page, "celeriac-gratin", "unwritten")
    before = {path: path.read_bytes() for path in page.folder.rglob("*") if path.is_file()}
    for fields in ({"do": "bounds", "place": "4", "min": "200", "max": "500"},
                   {"do": "weigh", "place": "4", "bowl": "9"},
                   {"do": "text", "text": "title = 1"}, {"do": "undo"}, {"do": "servings", "servings": "3"}):
        assert post(page, name, {"version": version(page, name)} | fields).status_code == 200
    httpx.post(f"{page.base}/new", data={"lines": "200 g butter"}, timeout=60,
               headers={"origin": f"http://{page.host}"})
    assert {path: path.read_bytes() for path in page.folder.rglob("*") if path.is_file()} == before


@pytest.mark.parametrize("name", ["../escaped", "/tmp/escaped", "a/b", "", ".hidden", "moussaka", "..", "con\0",
                                  "x" * 120, "dangling"])
def test_a_new_file_has_a_plain_name_that_is_free(page: Served, name: str) -> None:
    if not (page.folder / "dangling.toml").is_symlink():
        (page.folder / "dangling.toml").symlink_to(page.folder.parent / "nowhere.toml")
    before = sorted(os.listdir(page.folder.parent)), sorted(os.listdir(page.folder))
    made = httpx.post(f"{page.base}/new", data={"lines": "200 g butter", "title": ".", "servings": "1"}, timeout=60,
                      headers={"origin": f"http://{page.host}"}, follow_redirects=False)
    draft = made.headers["location"].rpartition("/")[2].partition("?")[0]
    answer = post(page, draft, {"version": version(page, draft), "do": "save", "name": name or "moussaka.toml"})
    assert answer.status_code == 409
    assert (sorted(os.listdir(page.folder.parent)), sorted(os.listdir(page.folder))) == before


@pytest.mark.parametrize("fields", [
    {"do": "bounds", "place": "4", "min": "a", "max": "9"}, {"do": "bounds", "place": "99", "min": "1", "max": "9"},
    {"do": "bounds", "place": "-1", "min": "1", "max": "9"}, {"do": "bounds", "place": "4", "min": "9", "max": "1"},
    {"do": "bounds", "place": "4", "min": "1", "max": ""}, {"do": "bounds", "place": "4", "min": "nan", "max": "inf"},
    {"do": "limit", "number": "1e3", "value": "1"}, {"do": "limit", "number": "0", "value": "-1"},
    {"do": "target", "nutrient": "__class__", "end": "min", "value": "1"}, {"do": "cure", "number": "0"},
    {"do": "cure", "number": "all"}, {"do": "take", "number": "0"}, {"do": "swap", "place": "4", "food": "nothing"},
    {"do": "add", "food": "../../x", "most": "1"}, {"do": "nothing"}, {}, {"do": "__init__"},
    {"do": "text", "text": "x" * 1_100_000}])
def test_what_cannot_be_done_is_said_and_changes_nothing(page: Served, fields: dict[str, str]) -> None:
    name = copied(page, "celeriac-gratin", "cannot")
    now = version(page, name)
    answer = post(page, name, {"version": now} | fields)
    assert answer.status_code == 409
    assert 'class="notice bad"' in answer.text
    assert version(page, name) == now


@pytest.mark.parametrize("number", ["nan", "inf", "1_0", "\u0661", "1e999", "ten"])
def test_what_is_no_number_is_none_wherever_it_is_typed(page: Served, number: str) -> None:
    name = copied(page, "celeriac-gratin", "numbers")
    portions = httpx.get(page.dish(name, "portions"), params={"see": "portions", "grams": number}, timeout=60)
    begun = httpx.post(f"{page.base}/new", data={"lines": "200 g butter", "title": "B", "net_carbs": number},
                       headers={"origin": f"http://{page.host}"}, timeout=60)
    bound = post(page, name, {"version": version(page, name), "do": "fix", "place": "4", "grams": number})
    assert (portions.status_code, begun.status_code, bound.status_code) == (200, 422, 409)
    for answer in (portions, begun, bound):
        assert "expected a number" in answer.text


@pytest.mark.parametrize("key", ['foods = "{}"', 'foods = ["europe", "{}"]', '"photo" = "{}"', "foods = [ '{}' ]"])
@pytest.mark.parametrize("file", ["../secret.csv", "/etc/hostname", "linked/secret.csv", "drafts/../../secret.csv"])
def test_a_text_names_no_file_out_of_the_folder(page: Served, key: str, file: str) -> None:
    name = copied(page, "celeriac-gratin", "names")
    (page.folder.parent / "secret.csv").write_text("food,secret figures\nmilk,17\n", encoding="utf-8")
    if not (page.folder / "linked").is_symlink():
        (page.folder / "linked").symlink_to(page.folder.parent)
    text = f"{key.format(file)}\n" + (page.folder / name).read_text("utf-8")
    now = version(page, name)
    answer = post(page, name, {"version": now, "do": "text", "text": text})
    assert answer.status_code == 409 and "is no file of this folder" in answer.text
    assert "secret figures" not in answer.text and version(page, name) == now


def test_a_text_names_a_table_of_the_folder(page: Served) -> None:
    name = copied(page, "celeriac-gratin", "table")
    text = 'foods = ["europe", "own-foods.csv"]\n' + (page.folder / name).read_text("utf-8")
    answer = post(page, name, {"version": version(page, name), "do": "text", "text": text})
    assert answer.status_code == 200 and "faults" not in answer.text


def test_an_older_version_changes_nothing(page: Served) -> None:
    name = copied(page, "celeriac-gratin", "older")
    seen = version(page, name)
    fields = {"do": "bounds", "place": "4", "min": "200", "max": "500"}
    assert post(page, name, {"version": seen} | fields).status_code == 200
    answer = post(page, name, {"version": seen, "do": "bounds", "place": "6", "min": "0", "max": "60"})
    assert answer.status_code == 409 and "changed from another window" in answer.text
    assert 'value="500"' in answer.text and 'id="max-6" value="45"' in answer.text


# --- the command ------------------------------------------------------------------------------------------------------


class Ended(Exception):
    """The server would run now."""


@pytest.fixture
def started(monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """What the command would listen with, in place of a server that runs."""
    import uvicorn

    found: list[Any] = []

    def run(self: uvicorn.Server, sockets: list[socket.socket]) -> None:
        found.extend((self.config.app, [one.getsockname() for one in sockets]))
        for one in sockets:
            one.close()

    monkeypatch.setattr(uvicorn.Server, "run", run)
    return found


def test_it_listens_on_this_machine_alone(started: list[Any]) -> None:
    result = CliRunner().invoke(main, ["page", str(ROOT / "examples")])
    assert result.exit_code == 0, result.output
    [(host, port)] = started[1]
    assert host == "127.0.0.1"
    address = re.fullmatch(rf"The page is at http://127\.0\.0\.1:{port}/([\w-]{{32}})/\n", result.stdout)
    assert address
    again = CliRunner().invoke(main, ["page", str(ROOT / "examples")]).stdout
    assert address[1] not in again


def test_a_recipe_opens_its_own_page(started: list[Any]) -> None:
    result = CliRunner().invoke(main, ["page", str(ROOT / "examples" / "moussaka.toml")])
    assert result.stdout.endswith("/dish/moussaka.toml\n")


def test_in_a_network_it_says_what_that_means(started: list[Any], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(command, "_address", lambda: "192.0.2.7")
    result = CliRunner().invoke(main, ["page", str(ROOT / "examples"), "--lan"])
    [(host, port)] = started[1]
    assert host == "0.0.0.0"
    assert f"http://192.0.2.7:{port}/" in result.stdout
    assert "anyone in it who has this address" in " ".join(result.stderr.split())
    assert "not encrypted" in " ".join(result.stderr.split())


def test_it_ends_quietly_with_its_processes() -> None:
    """Stopped from the keyboard: exit code 0, nothing on stderr, nothing left."""
    command = [sys.executable, "-m", "ratio_solver", "page", str(ROOT / "examples")]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as running:
        assert running.stdout and running.stderr
        address = running.stdout.readline().split()[-1]
        for _ in range(200):
            try:
                httpx.get(f"{address}dish/moussaka.toml", timeout=60)
                break
            except httpx.TransportError:
                time.sleep(0.1)
        running.send_signal(signal.SIGINT)
        assert running.wait(60) == 0
        assert running.stderr.read() == ""


@pytest.mark.parametrize("path", ["nowhere", "README.md"])
def test_what_is_no_recipe_is_a_fault(path: str, started: list[Any]) -> None:
    result = CliRunner().invoke(main, ["page", str(ROOT / path)])
    assert result.exit_code == 1 and not started
    assert "Traceback" not in result.stderr and result.stderr.count("\n") == 1


def test_a_port_that_is_taken_is_a_fault(started: list[Any]) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        result = CliRunner().invoke(main, ["page", str(ROOT / "examples"), "--port", str(taken.getsockname()[1])])
    assert result.exit_code == 1 and result.stderr.startswith("--port: ")


def test_without_the_extra_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setitem(sys.modules, "uvicorn", None)
    result = CliRunner().invoke(main, ["page", str(tmp_path)])
    assert result.exit_code == 1
    assert "pip install '.[page]'" in result.stderr
