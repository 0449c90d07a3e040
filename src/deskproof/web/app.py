"""The pages of a folder or a score as an application: which address gives what. Safe only behind the guard."""

from __future__ import annotations

import threading
from collections.abc import Callable
from functools import partial
from importlib import resources
from pathlib import Path
from typing import Any
from urllib.parse import quote

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from deskproof.errors import DeskproofError
from deskproof.footnotes import plural
from deskproof.forces import Forces
from deskproof.web import pages
from deskproof.web.desk import Heard, OnDesk, Prints, Shown
from deskproof.web.folder import Folder
from deskproof.web.session import StaleRevision
from deskproof.web.systems import INVOLVED
from deskproof.web.view import Left

BAD, STALE = 400, 409
MEDIA = {".js": "text/javascript", ".css": "text/css"}


class Scores:
    """The scores of a folder that are open; each is opened when it is first asked for."""

    def __init__(self, folder: Folder, forces: Forces, prints: Prints) -> None:
        self.folder, self.forces, self.prints = folder, forces, prints
        self._open: dict[str, OnDesk] = {}
        self._lock = threading.Lock()
        self._opening: dict[str, threading.Lock] = {}

    def on_desk(self, name: str) -> OnDesk:
        """An open score by its name.

        Raises
        ------
        DeskproofError
            If the folder has no such score, or it cannot be read.
        """
        path = self.folder.path(name)
        with self._lock:
            lock = self._opening.setdefault(name, threading.Lock())
        with lock:
            found = self._open.get(name)
            if found is None:
                found = self._open[name] = OnDesk(path, name, self.forces, self.prints)
            return found

    def close(self) -> None:
        """Forget them all."""
        for one in self._open.values():
            one.session.close()


def application(folder: Folder, forces: Forces, prints: Prints) -> Starlette:
    """The application for one folder."""
    scores = Scores(folder, forces, prints)
    only = folder.scores()

    def root_of(request: Request) -> str:
        return str(request.scope.get("root_path", ""))

    async def home(request: Request) -> Response:
        names = await run_in_threadpool(folder.scores)
        root = root_of(request)
        if len(names) == 1:
            return RedirectResponse(f"{root}/score?name={quote(names[0], safe='')}")
        return HTMLResponse(pages.listing(names, folder.root.name, root))

    async def score(request: Request) -> Response:
        return HTMLResponse(pages.shell(request.query_params.get("name", ""), root_of(request), len(only) > 1))

    async def static(request: Request) -> Response:
        name = request.path_params["name"]
        if name == "proof.css":
            return Response(prints.sheet, media_type=MEDIA[".css"])
        place = resources.files("deskproof.web").joinpath("static", Path(name).name)
        if Path(name).suffix not in MEDIA or not place.is_file():
            return Response("Not found.\n", status_code=404, media_type="text/plain")
        return Response(place.read_text(encoding="utf-8"), media_type=MEDIA[Path(name).suffix])

    def asked(work: Callable[[OnDesk, Any], Any]) -> Callable[[Request], Any]:
        """A question of a page about one score; our own errors become words with status 400, a stale page 409."""

        async def answer(request: Request) -> Response:
            try:
                given: dict[str, Any] = dict(request.query_params)
                if request.method == "POST":
                    body = await request.json()
                    if not isinstance(body, dict):
                        raise DeskproofError("the page sent no table of values; load it again.")
                    given = body
                result = await run_in_threadpool(partial(_work, scores, work, given))
            except StaleRevision as stale:
                return JSONResponse({"error": str(stale), "stale": True}, STALE)
            except DeskproofError as error:
                return JSONResponse({"error": str(error)}, BAD)
            except (KeyError, TypeError, ValueError):
                return JSONResponse({"error": "the page asked for something that is not there; load it again."}, BAD)
            if isinstance(result, bytes):
                return Response(result, media_type="audio/wav")
            return HTMLResponse(result) if isinstance(result, str) else JSONResponse(result)

        return answer

    def read(path: str, work: Callable[[OnDesk, Any], Any]) -> Route:
        return Route(path, asked(work), methods=["GET"])

    def change(path: str, work: Callable[[OnDesk, Any], Any]) -> Route:
        return Route(path, asked(work), methods=["POST"])

    return Starlette(
        routes=[
            Route("/", home),
            Route("/score", score),
            Route("/static/{name}", static),
            read("/pieces", lambda desk, given: _pieces(folder, desk, given)),
            read("/engraved", lambda desk, given: desk.engraved(_shown(given), *_bars(given))),
            read("/finding", lambda desk, given: desk.finding(str(given["id"]))),
            read("/tones", lambda desk, given: _heard(desk, given).record()),
            read("/tones-sampled", lambda desk, given: desk.sampled(_heard(desk, given))),
            read("/mend-tones", lambda desk, given: _mend_heard(desk, given).record()),
            read("/mend-tones-sampled", lambda desk, given: desk.sampled(_mend_heard(desk, given))),
            change("/take", _take),
            change("/strike", _strike),
            change("/stand", _stand),
            change("/again", _again),
            change("/save", partial(_save, folder)),
            change("/compare", partial(_compare, folder)),
        ]
    )  # fmt: skip


def _work(scores: Scores, work: Callable[[OnDesk, Any], Any], given: dict[str, Any]) -> Any:
    return work(scores.on_desk(str(given["name"])), given)


def _shown(given: dict[str, Any]) -> Shown:
    return Shown(str(given.get("show") or INVOLVED), str(given.get("narrow", "")) in ("1", "True"))


def _bars(given: dict[str, Any]) -> tuple[int, int]:
    return int(given["first"]), int(given["last"])


def _heard(desk: OnDesk, given: dict[str, Any]) -> Heard:
    return desk.heard(_shown(given), *_bars(given))


def _mend_heard(desk: OnDesk, given: dict[str, Any]) -> Heard:
    return desk.mend_heard(str(given["id"]), int(given["mend"]), given["after"] == "1")


def _pieces(folder: Folder, desk: OnDesk, given: dict[str, Any]) -> dict[str, Any]:
    others = [name for name in folder.scores() if name != desk.name]
    return {**desk.pieces(_shown(given)), "others": others}


def _take(desk: OnDesk, given: dict[str, Any]) -> dict[str, Any]:
    revision = str(given["revision"])
    view = desk.session.view()
    wanted = list(view.keeping_sound) if given.get("keeping") else [(str(i), int(k)) for i, k in given["wanted"]]
    took = desk.session.take(revision, wanted)
    said = [f"{plural(len(took.taken), 'mend')} taken."]
    said += [_left(one) for one in took.left]
    return desk.pieces(_shown(given), " ".join(said))


def _left(one: Left) -> str:
    return f"Left: {one.says}, because {one.why}."


def _strike(desk: OnDesk, given: dict[str, Any]) -> dict[str, Any]:
    struck = desk.session.strike(str(given["revision"]), int(given["number"]))
    said = ["One mend taken back."]
    said += [f"With it went: {one.where}: {one.says}, which no longer fits." for one in struck.dropped]
    return desk.pieces(_shown(given), " ".join(said))


def _stand(desk: OnDesk, given: dict[str, Any]) -> dict[str, Any]:
    desk.session.let_stand(str(given["revision"]), str(given["id"]), str(given["reason"]))
    return desk.pieces(_shown(given), "Let stand.")


def _again(desk: OnDesk, given: dict[str, Any]) -> dict[str, Any]:
    desk.session.ask_again(str(given["id"]))
    return desk.pieces(_shown(given), "Asked again.")


def _save(folder: Folder, desk: OnDesk, given: dict[str, Any]) -> dict[str, Any]:
    kind = str(given["as"])
    if kind == "mended":
        ending, data = desk.session.mended()
    else:
        ending, data = desk.saved(kind)
    place = folder.write(desk.name, ending, data)
    return {"said": f"Wrote {place.name}."}


def _compare(folder: Folder, desk: OnDesk, given: dict[str, Any]) -> dict[str, Any]:
    other = str(given["other"])
    found = desk.session.compare(folder.path(other))
    gone = [(one.where, one.finding.says) for one in found.gone]
    return {
        "html": pages.compared(other, found.new, gone, len(found.still)),
        "new": [one.finding.id for one in found.new],
        "said": f"Since {other}: {len(found.new)} new, {len(found.gone)} gone, {len(found.still)} still there.",
    }
