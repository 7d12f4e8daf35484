"""The command page."""

from __future__ import annotations

import secrets
import socket
import sys
import webbrowser
from contextlib import suppress
from pathlib import Path

import click

from ratio_solver.errors import BadInput, Fault
from ratio_solver.foods.table import load_foods
from ratio_solver.output.options import TABLES, say, with_options

HERE, EVERYWHERE = "127.0.0.1", "0.0.0.0"
TOKEN_BYTES = 24
NO_NETWORK_ADDRESS = "192.0.2.1"
"""An address of the block for documentation (RFC 5737): nothing is sent to it."""

LAN = ("In this network: anyone in it who has this address with its token can see the recipes of this folder and save "
       "over them, until you stop the page (Ctrl-C). What is sent is not encrypted: use it in a network of your own, "
       "and give the address to nobody else.")


@click.command("page")
@click.argument("recipe", metavar="[FOLDER|RECIPE]", default=".", type=click.Path(readable=False))
@click.option("--port", type=click.IntRange(0, 65535), default=0, help="The port; one that is free unless said.")
@click.option("--open", "opened", is_flag=True, help="Open the page in the browser of this machine.")
@click.option("--lan", is_flag=True, help="Let other machines of this network, a tablet, ask for it too.")
@with_options(TABLES)
def command(recipe: str, port: int, opened: bool, lan: bool, tables: tuple[str, ...]) -> None:
    """A page to move the bounds of a dish by hand and see the weights follow.

    It is served from this machine for the recipe files of FOLDER (this one unless said), or of the folder of RECIPE.
    Nothing is written but on Save, nothing is fetched. Stop it with Ctrl-C.
    """
    try:
        import uvicorn

        from ratio_solver.page.guard import Guard
        from ratio_solver.page.open_dish import OpenDishes
        from ratio_solver.page.server import Pages
    except ImportError as error:
        raise BadInput([Fault("page", "", "", "needs the extra: pip install '.[page]' in a clone of the repository "
                                              f"({error.name} is missing)")]) from error
    folder, start = _folder_and_start(recipe)
    pages = Pages(OpenDishes(folder, load_foods(*tables)),
                  [str(Path(one).absolute()) if Path(one).is_file() else one for one in tables])
    token, listening = secrets.token_urlsafe(TOKEN_BYTES), listening_at(EVERYWHERE if lan else HERE, port)
    port = listening.getsockname()[1]
    names = [HERE, "localhost", *([_address()] if lan else [])]
    addresses = [f"http://{name}:{port}/{token}{start}" for name in names]
    click.echo(f"The page is at {addresses[0]}")
    if lan:
        click.echo(f"On a tablet:   {addresses[-1]}")
        say(LAN)
    if opened:
        webbrowser.open(addresses[0])
    guarded = Guard(pages.app(), token, [f"{name}:{port}" for name in names])
    config = uvicorn.Config(guarded, log_level="critical", access_log=False, server_header=False,
                            proxy_headers=False, lifespan="on", timeout_graceful_shutdown=1)
    sys.stdout.flush()
    with suppress(KeyboardInterrupt):  # the way to stop it
        uvicorn.Server(config).run(sockets=[listening])


def _folder_and_start(path: str) -> tuple[Path, str]:
    """The folder, and the path of the first page in it."""
    from ratio_solver.page.folder import Folder

    given = Path(path)
    if given.is_dir():
        return given, "/"
    if not given.is_file():
        raise BadInput([Fault(path, "", "", "expected a folder, or a recipe file")])
    from urllib.parse import quote

    folder = Folder(given.absolute().parent)
    folder.path_of(given.name)
    return folder.root, f"/dish/{quote(given.name)}"


def listening_at(host: str, port: int) -> socket.socket:
    """A socket that listens there.

    That it is TCP is said, else asyncio does not take it for that and lets small packets wait: 40 ms an answer.
    """
    found = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        found.bind((host, port))
    except OSError as error:
        found.close()
        raise BadInput([Fault("--port", "", str(port), f"cannot be listened to: {error.strerror}")]) from error
    return found


def _address() -> str:
    """The address of this machine in its network."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        try:
            asked.connect((NO_NETWORK_ADDRESS, 9))
        except OSError as error:
            raise BadInput([Fault("--lan", "", "", f"this machine is in no network: {error.strerror}")]) from error
        found: str = asked.getsockname()[0]
        return found
