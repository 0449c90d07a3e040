"""The local server: one folder or score, one secret, this machine only; it ends with Ctrl-C."""

from __future__ import annotations

import contextlib
import logging
import os
import shutil
import signal
import socket
import sys
import tempfile
import threading
import webbrowser
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType

import uvicorn

from deskproof.errors import DeskproofError
from deskproof.forces import Forces
from deskproof.web.app import Scores, application
from deskproof.web.desk import Prints
from deskproof.web.folder import Folder
from deskproof.web.guard import SERVER, Guard, address, new_token

WRITES_S = 0.5  # waited for a file that is being written when the server ends


class _Server(uvicorn.Server):
    """Ends by a request to terminate as by Ctrl-C, and says nothing of answers that are cut short: that is no fault."""

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        logging.getLogger("uvicorn.error").disabled = True
        super().handle_exit(signal.SIGINT, frame)


def _end(scores: Scores, scratch: str) -> None:
    """When no connection is left: forget the scores; the process ends here if one is still being worked on.

    Nobody waits for that work any more, and Python cannot break off a thread. The process does not end in the middle
    of a file, and not without clearing away the folder ``scratch``.
    """
    if scores.busy():
        scores.writing.acquire(timeout=WRITES_S)
        shutil.rmtree(scratch, ignore_errors=True)
        sys.stdout.flush()
        os._exit(0)
    scores.close()


@contextmanager
def _scratch() -> Iterator[str]:
    """A folder for all files that are made on the way."""
    before = tempfile.tempdir
    with tempfile.TemporaryDirectory(prefix="deskproof-") as place:
        tempfile.tempdir = place
        try:
            yield place
        finally:
            tempfile.tempdir = before


def _open_ahead(scores: Scores, folder: Folder) -> None:
    """Open the score while the browser starts, if it is the only one; what is wrong with it is said when asked for."""

    def ahead(name: str) -> None:
        with contextlib.suppress(DeskproofError):
            scores.on_desk(name)

    names = folder.scores()
    if len(names) == 1:
        threading.Thread(target=ahead, args=names, daemon=True).start()


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
        if os.name == "posix":  # a port just used is free again at once; elsewhere the option means another thing
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind(("127.0.0.1", port))
        listener.listen()
    except (OSError, OverflowError) as error:
        listener.close()
        raise DeskproofError(f"port {port} cannot be used ({error}); name another with --port, or none.") from None
    with listener, _scratch() as scratch:
        real = int(listener.getsockname()[1])
        token = new_token()
        app = application(folder, forces, prints)
        server = _Server(uvicorn.Config(Guard(app, real, token), port=real, **SERVER))
        where = address(real, token)
        try:
            say(where)
            _open_ahead(app.state.scores, folder)
            if browser:
                opening = threading.Timer(0.3, webbrowser.open, (where,))
                opening.daemon = True
                opening.start()
            server.run([listener])
        except KeyboardInterrupt:  # it has shut down by now and hands the interrupt on
            pass
        _end(app.state.scores, scratch)
