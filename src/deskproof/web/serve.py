"""The local server: one folder or score, one secret, this machine only; it ends with Ctrl-C."""

from __future__ import annotations

import socket
import threading
import webbrowser
from collections.abc import Callable
from pathlib import Path

import uvicorn

from deskproof.errors import DeskproofError
from deskproof.forces import Forces
from deskproof.web.app import application
from deskproof.web.desk import Prints
from deskproof.web.folder import Folder
from deskproof.web.guard import SERVER, Guard, address, new_token


def serve(
    place: Path, forces: Forces, prints: Prints, port: int, browser: bool, say: Callable[[str], None]
) -> None:
    """Serve the pages of a score or folder until it is interrupted.

    Parameters
    ----------
    place : Path
        A score, or a folder of scores.
    forces : Forces
    prints : Prints
    port : int
        0 for any that is free.
    browser : bool
        Whether to open the page in the browser.
    say : callable(str)
        Gets the address, once the server listens.

    Raises
    ------
    DeskproofError
        If there is nothing to serve, or the port is taken.
    """
    folder = Folder(place)
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        listener.bind(("127.0.0.1", port))
    except (OSError, OverflowError) as error:
        listener.close()
        raise DeskproofError(f"port {port} cannot be used ({error}); name another with --port, or none.") from None
    with listener:
        listener.listen()
        real = int(listener.getsockname()[1])
        token = new_token()
        guard = Guard(application(folder, forces, prints), real, token)
        server = uvicorn.Server(uvicorn.Config(guard, port=real, **SERVER))
        where = address(real, token)
        say(where)
        if browser:
            threading.Timer(0.3, webbrowser.open, (where,)).start()
        try:
            server.run([listener])
        except KeyboardInterrupt:  # it has shut down by now and hands the interrupt on
            return
