"""The pages of a folder or a score as an application: which address gives what. Safe only behind the guard."""

from __future__ import annotations

import re
import threading
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict
from difflib import SequenceMatcher
from functools import partial
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from deskproof.errors import DeskproofError
from deskproof.footnotes import plural
from deskproof.forces import Forces
from deskproof.mending import MendError
from deskproof.web import pages
from deskproof.web.desk import Heard, OnDesk, Prints, Shown, stamp
from deskproof.web.folder import DECISIONS, Folder
from deskproof.web.plan_refusals import StalePlan, TypedError
from deskproof.web.session import StaleRevision
from deskproof.web.systems import INVOLVED
from deskproof.web.view import Left

if TYPE_CHECKING:
    from deskproof.web.plan_desk import Plans

OK, BAD, NOT_FOUND, STALE, BROKEN = 200, 400, 404, 409, 500
MEDIA = {".js": "text/javascript", ".css": "text/css"}
KEPT_OPEN = 8
LONGEST_REASON = 300  # as the form says
LONGEST_TEXT = 1000  # of anything else that a page sends: names, ids
NOT_THERE = "the page asked for something that is not there; load it again."
NO_ADDRESS = "there is nothing at this address; load the page again."
FAILED = "this could not be done, by a fault of Deskproof itself; what it was stands where Deskproof was started."


class Scores:
    """The scores of a folder that are open; each is opened when it is first asked for.

    Those in which a mend is taken stay open. Of the others the last ``KEPT_OPEN`` used do; the rest are forgotten, and
    read again when they are asked for again. ``writing`` is held while a file is written.
    """

    def __init__(self, folder: Folder, forces: Forces, prints: Prints) -> None:
        self.folder, self.forces, self.prints = folder, forces, prints
        self.writing = threading.Lock()
        self._open: dict[str, OnDesk] = {}  # the one used last stands last
        self._users: Counter[str] = Counter()  # how many are at work on a score just now
        self._lock = threading.Lock()  # never held for long
        self._opening: dict[str, threading.Lock] = {}
        self._plans: Plans | None = None

    @property
    def plans(self) -> Plans:
        """The plans beside the scores; what plans is loaded when it is first asked for."""
        from deskproof.web.plan_desk import Plans

        with self._lock:
            if self._plans is None:
                self._plans = Plans(self.folder, self.writing)
            return self._plans

    @contextmanager
    def on_desk(self, name: str) -> Iterator[OnDesk]:
        """An open score by its name; it stays open while it is in use.

        Raises
        ------
        DeskproofError
            If it is not open and the folder has no such score, or it cannot be read.
        """
        with self._lock:
            self._users[name] += 1
        try:
            yield self._opened(name)
        finally:
            with self._lock:
                self._users[name] -= 1
                if not self._users[name]:
                    del self._users[name]
                self._forget_some()

    def _opened(self, name: str) -> OnDesk:
        found = self._found(name)
        if found is not None:
            return found
        path = self.folder.path(name)
        with self._lock:
            turn = self._opening.setdefault(name, threading.Lock())
        with turn:
            found = self._found(name)
            if found is None:
                found = OnDesk(path, name, self.forces, self.prints)
                with self._lock:
                    self._open[name] = found
            return found

    def _found(self, name: str) -> OnDesk | None:
        with self._lock:
            found = self._open.pop(name, None)
            if found is not None:
                self._open[name] = found
            return found

    def _forget_some(self) -> None:
        """With the lock held. Scores in use are not looked into: they may be busy."""
        bare = [name for name, one in self._open.items() if name in self._users or one.bare]
        for name in bare[:-KEPT_OPEN]:
            if name not in self._users:
                self._open.pop(name).session.close()

    def look_again(self, name: str) -> None:
        """Forget a score whose file has changed since it was read, unless it is in use or a mend is taken in it."""
        with self._lock:
            one = self._open.get(name)
            if one is not None and name not in self._users and one.bare and one.changed:
                self._open.pop(name).session.close()

    def open(self) -> tuple[str, ...]:
        """The names of those that are open, the one used last at the end."""
        with self._lock:
            return tuple(self._open)

    def busy(self) -> bool:
        """Whether one of them is in use, being opened or being checked, or a plan is being made."""
        with self._lock:
            planned = self._plans is not None and self._plans.busy()
            return planned or bool(self._users) or any(one.session.view().checking for one in self._open.values())

    def close(self) -> None:
        """Forget them all."""
        with self._lock:
            for one in self._open.values():
                one.session.close()
            self._open.clear()


def application(folder: Folder, forces: Forces, prints: Prints) -> Starlette:
    """The application for one folder; its ``state.scores`` are the ``Scores`` that are open."""
    scores = Scores(folder, forces, prints)

    def root_of(request: Request) -> str:
        return str(request.scope.get("root_path", ""))

    async def home(request: Request) -> Response:
        root = root_of(request)
        try:
            names, plans = await run_in_threadpool(lambda: (folder.scores(), folder.plans()))
        except DeskproofError as error:
            return HTMLResponse(pages.page("Scores", f"<main><p>{pages.e(error)}</p></main>", root, script=""), BAD)
        if len(names) == 1 and not plans:
            return RedirectResponse(f"{root}/score?name={quote(names[0], safe='')}")
        return HTMLResponse(pages.listing(names, plans, folder.root.name, root))

    async def score(request: Request) -> Response:
        name = request.query_params.get("name", "")
        several = await run_in_threadpool(_laid_out, scores, name)
        return HTMLResponse(pages.shell(name, root_of(request), several))

    async def plan(request: Request) -> Response:
        name, root = request.query_params.get("name", ""), root_of(request)
        shown, status = await run_in_threadpool(_plan_shown, scores, name, root)
        return HTMLResponse(shown, status)

    async def static(request: Request) -> Response:
        name = request.path_params["name"]
        if name == "proof.css":
            return Response(prints.sheet, media_type=MEDIA[".css"])
        for place in resources.files("deskproof.web").joinpath("static").iterdir():
            if place.name == name and Path(name).suffix in MEDIA:
                return Response(place.read_text(encoding="utf-8"), media_type=MEDIA[Path(name).suffix])
        return Response("Not found.\n", status_code=NOT_FOUND, media_type="text/plain")

    def asked(work: Callable[[Any], Any]) -> Callable[[Request], Any]:
        """A question of a page; our own errors become words with status 400, a stale page 409."""

        async def answer(request: Request) -> Response:
            try:
                given = await _given(request)
                result = await run_in_threadpool(work, given)
            except (StaleRevision, StalePlan) as stale:
                return JSONResponse({"error": str(stale), "stale": True}, STALE)
            except TypedError as error:
                return JSONResponse({"error": str(error), "wrong": [asdict(one) for one in error.wrong]}, BAD)
            except DeskproofError as error:
                return JSONResponse({"error": str(error)}, BAD)
            if isinstance(result, bytes):
                return Response(result, media_type="audio/wav")
            return HTMLResponse(result) if isinstance(result, str) else JSONResponse(result)

        return answer

    def read(path: str, work: Callable[[OnDesk, Any], Any]) -> Route:
        return Route(path, asked(partial(_work, scores, work)), methods=["GET"])

    def change(path: str, work: Callable[[OnDesk, Any], Any]) -> Route:
        return Route(path, asked(partial(_work, scores, work)), methods=["POST"])

    app = Starlette(
        exception_handlers={404: _nowhere, 405: _nowhere, Exception: _failed},
        routes=[
            Route("/", home),
            Route("/score", score),
            Route("/plan", plan),
            Route("/plan-pieces", asked(partial(_plan_pieces, scores)), methods=["GET"]),
            Route("/plan-again", asked(partial(_plan_again, scores)), methods=["POST"]),
            Route("/static/{name}", static),
            read("/pieces", lambda desk, given: _pieces(folder, desk, given)),
            read("/engraved", _engraved),
            read("/finding", lambda desk, given: desk.finding(_text(given, "id"))),
            read("/tones", lambda desk, given: _heard(desk, given).record()),
            read("/tones-sampled", lambda desk, given: desk.sampled(_heard(desk, given))),
            read("/mend-tones", lambda desk, given: _mend_heard(desk, given).record()),
            read("/mend-tones-sampled", lambda desk, given: desk.sampled(_mend_heard(desk, given))),
            change("/take", _take),
            change("/strike", _strike),
            change("/stand", partial(_stand, scores)),
            change("/again", partial(_again, scores)),
            change("/save", partial(_save, scores)),
            change("/compare", partial(_compare, folder)),
        ],
    )  # fmt: skip
    app.router.redirect_slashes = False
    app.state.scores = scores
    return app


async def _nowhere(request: Request, error: Exception) -> Response:
    return JSONResponse({"error": NO_ADDRESS}, NOT_FOUND)


async def _failed(request: Request, error: Exception) -> Response:
    """The answer when our own code has failed; the error itself goes on to the server, which prints it."""
    return JSONResponse({"error": FAILED}, BROKEN)


async def _given(request: Request) -> dict[str, Any]:
    """What the page sent: the query, or the table in the body."""
    if request.method != "POST":
        return dict(request.query_params)
    try:
        body = await request.json()
    except (ValueError, RecursionError):
        body = None
    if not isinstance(body, dict):
        raise DeskproofError("the page sent no table of values; load it again.")
    return body


def _work(scores: Scores, work: Callable[[OnDesk, Any], Any], given: dict[str, Any]) -> Any:
    with scores.on_desk(_text(given, "name")) as desk:
        return work(desk, given)


def _laid_out(scores: Scores, name: str) -> bool:
    """Before the page of a score: a file that has changed is read again; whether there are other scores."""
    scores.look_again(name)
    try:
        return len(scores.folder.scores()) > 1 or bool(scores.folder.plans())
    except DeskproofError:
        return True


def _plan_shown(scores: Scores, name: str, root: str) -> tuple[str, int]:
    """The page of a plan, or of why there is none; and its status."""
    from deskproof.web import plan_pages

    try:
        shown = scores.plans.pieces(_text({"name": name}, "name"))
    except DeskproofError as error:
        return plan_pages.refused(name, root, str(error)), BAD
    return plan_pages.shell(shown, name, root), OK


def _plan_pieces(scores: Scores, given: dict[str, Any]) -> dict[str, Any]:
    return scores.plans.pieces(_text(given, "name"))


def _plan_again(scores: Scores, given: dict[str, Any]) -> dict[str, Any]:
    return scores.plans.again(_text(given, "name"), given)


def _text(given: dict[str, Any], key: str) -> str:
    """A text that the page sent."""
    value = given.get(key)
    if not isinstance(value, str) or len(value) > LONGEST_TEXT or not _is_unicode(value):
        raise DeskproofError(NOT_THERE)
    return value


def _is_unicode(text: str) -> bool:
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True


def _whole(given: dict[str, Any], key: str) -> int:
    """A whole number from 0 that the page sent, in JSON or as digits."""
    value = given.get(key)
    if isinstance(value, str) and re.fullmatch("[0-9]{1,9}", value):
        return int(value)
    if type(value) is not int or not 0 <= value < 10**9:
        raise DeskproofError(NOT_THERE)
    return value


def _shown(given: dict[str, Any]) -> Shown:
    show = _text(given, "show") if given.get("show") else INVOLVED
    return Shown(show, given.get("narrow") in ("1", True))


def _bars(given: dict[str, Any]) -> tuple[int, int]:
    return _whole(given, "first"), _whole(given, "last")


def _engraved(desk: OnDesk, given: dict[str, Any]) -> str:
    """The picture of one system; nothing for a page that shows the systems of a moment ago and asks again soon."""
    try:
        return desk.engraved(_shown(given), *_bars(given))
    except DeskproofError:
        if given.get("revision", stamp(desk.session.view())) == stamp(desk.session.view()):
            raise
        return ""


def _heard(desk: OnDesk, given: dict[str, Any]) -> Heard:
    return desk.heard(_shown(given), *_bars(given))


def _mend_heard(desk: OnDesk, given: dict[str, Any]) -> Heard:
    return desk.mend_heard(_text(given, "id"), _whole(given, "mend"), _text(given, "after") == "1")


def _pieces(folder: Folder, desk: OnDesk, given: dict[str, Any]) -> dict[str, Any]:
    others = [name for name in folder.scores() if name != desk.name]
    alike = {name: SequenceMatcher(None, desk.name, name).ratio() for name in others}
    others.sort(key=lambda name: ("-mended" in name, -alike[name], name))
    return {**desk.pieces(_shown(given)), "others": others}


def _seen(desk: OnDesk, given: dict[str, Any]) -> str:
    """The revision of the session, if what the page shows is what stands there now."""
    seen, view = _text(given, "revision"), desk.session.view()
    if seen != stamp(view):
        raise StaleRevision(view)
    return view.revision


def _take(desk: OnDesk, given: dict[str, Any]) -> dict[str, Any]:
    revision = _seen(desk, given)
    wanted = list(desk.session.view().keeping_sound) if given.get("keeping") is True else _wanted(given)
    try:
        took = desk.session.take(revision, wanted)
    except MendError:
        many = {one.finding.id: len(one.finding.mends) for one in desk.session.view().asked}
        if all(1 <= number <= many.get(id_, 0) for id_, number in wanted):
            raise
        raise DeskproofError("a mend that was wanted is not offered any more; nothing was taken. Look again.") from None
    said = [f"{plural(len(took.taken), 'mend')} taken."]
    said += [_left(one) for one in took.left]
    return desk.pieces(_shown(given), " ".join(said))


def _wanted(given: dict[str, Any]) -> list[tuple[str, int]]:
    rows = given.get("wanted")
    if not isinstance(rows, list) or not rows or not all(isinstance(row, list) and len(row) == 2 for row in rows):
        raise DeskproofError(NOT_THERE)
    return [(_text({"id": id_}, "id"), _whole({"mend": number}, "mend")) for id_, number in rows]


def _left(one: Left) -> str:
    return f"Left: {one.says}, because {one.why}."


def _strike(desk: OnDesk, given: dict[str, Any]) -> dict[str, Any]:
    struck = desk.session.strike(_text(given, "revision").partition("-")[0], _whole(given, "number"))
    said = ["One mend taken back."]
    said += [f"With it went: {one.where}: {one.says}, which no longer fits." for one in struck.dropped]
    return desk.pieces(_shown(given), " ".join(said))


def _stand(scores: Scores, desk: OnDesk, given: dict[str, Any]) -> dict[str, Any]:
    reason = " ".join(_text(given, "reason").split())
    if len(reason) > LONGEST_REASON:
        raise DeskproofError(f"the reason is longer than {LONGEST_REASON} letters; say it shorter.")
    revision, id_ = _seen(desk, given), _text(given, "id")
    scores.folder.beside(desk.name, DECISIONS)  # refuses a link
    with scores.writing:
        desk.session.let_stand(revision, id_, reason)
    return desk.pieces(_shown(given), "Let stand.")


def _again(scores: Scores, desk: OnDesk, given: dict[str, Any]) -> dict[str, Any]:
    id_ = _text(given, "id")
    scores.folder.beside(desk.name, DECISIONS)
    with scores.writing:
        desk.session.ask_again(id_)
    return desk.pieces(_shown(given), "Asked again.")


def _save(scores: Scores, desk: OnDesk, given: dict[str, Any]) -> dict[str, Any]:
    kind = _text(given, "as")
    if kind == "mended":
        ending, data = desk.session.mended()
    else:
        ending, data = desk.saved(kind)
    if desk.gone:
        raise DeskproofError(f"{desk.name} has gone from its folder, so nothing is written beside it. Put it back.")
    with scores.writing:  # else two scores with one stem might choose one name
        place = scores.folder.write(desk.name, ending, data)
    older = " The score has been changed since it was read here; what was written is of the score as it was read."
    return {"said": f"Wrote {place.name}.{older if desk.changed else ''}"}


def _compare(folder: Folder, desk: OnDesk, given: dict[str, Any]) -> dict[str, Any]:
    other = _text(given, "other")
    found = desk.session.compare(folder.path(other))
    gone = [(one.where, one.finding.says) for one in found.gone]
    return {
        "html": pages.compared(other, found.new, gone, len(found.still)),
        "new": [one.finding.id for one in found.new],
        "said": f"Since {other}: {len(found.new)} new, {len(found.gone)} gone, {len(found.still)} still there.",
    }
