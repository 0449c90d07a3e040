"""Writing to disk: a file whole or not at all, nothing by accident, and one writer at a time."""

from __future__ import annotations

import contextlib
import os
import secrets
import stat
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from weakref import WeakValueDictionary

from deskproof.errors import DeskproofError

LOCK_WAIT_S = 30.0  # how long a writer waits for the one before it
_POLL_S = 0.002
_REPLACE_TRIES, _REPLACE_PAUSE_S = 10, 0.02  # on Windows a file that somebody reads cannot be replaced at once

_here: WeakValueDictionary[str, threading.Lock] = WeakValueDictionary()  # the locks between threads, by place
_here_guard = threading.Lock()


def write_whole(target: Path, data: bytes) -> None:
    """Write a file whole or not at all: whoever reads it sees the old bytes or the new, also after a power cut.

    A new file gets the permissions that the user's files get; one that is replaced keeps its own. A link is replaced
    by the file and not followed.

    Raises
    ------
    DeskproofError
        If it cannot be written, or what is there is write-protected or no ordinary file. Nothing is left behind.
    """
    beside = target.with_name(f".deskproof-{secrets.token_hex(8)}.part")
    try:
        mode = _mode_to_keep(target)
        # The name is new and is never followed, so no link can be waiting for it.
        handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(data)
                stream.flush()
                os.fsync(stream.fileno())
            if mode is not None:
                beside.chmod(mode)
            _replace(beside, target)
        except BaseException:
            beside.unlink(missing_ok=True)
            raise
    except OSError as error:
        raise DeskproofError(
            f"{target}: cannot be written ({error.strerror}). Nothing was changed; make room or name another place."
        ) from None
    _settle(target.parent)


def _mode_to_keep(target: Path) -> int | None:
    """The permissions of the file that will be replaced; None where there is none."""
    try:
        status = target.lstat()
    except FileNotFoundError:
        return None
    if stat.S_ISLNK(status.st_mode):
        return None
    if not stat.S_ISREG(status.st_mode):
        raise DeskproofError(f"{target}: no ordinary file; it is not written over. Name another file.")
    if not status.st_mode & 0o222:
        raise DeskproofError(f"{target}: write-protected. Name another file, or lift the protection.")
    return stat.S_IMODE(status.st_mode) & 0o777


def _replace(beside: Path, target: Path) -> None:
    for tries in range(_REPLACE_TRIES, 0, -1):
        try:
            beside.replace(target)
            return
        except PermissionError:
            if tries == 1:
                raise
            time.sleep(_REPLACE_PAUSE_S)


def _settle(folder: Path) -> None:
    """Have the folder's new entry on disk; where a system does not offer that, the file itself is safe."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def may_write(target: Path, source: Path | None, force: bool) -> None:
    """Refuse an output that would harm something; silence means that ``write_whole`` may follow.

    ``source`` is the score that was read, None where there is none; it is refused under any name and with ``force``
    too. ``force`` allows another file that is there to be written over.

    Raises
    ------
    DeskproofError
        If the output is the source, no ordinary file, there already (without ``force``), or has no folder to be in.
    """
    if source is not None and _same(target, source):
        raise DeskproofError(f"{target}: the original is never overwritten. Name another file with -o.")
    if target.is_dir():
        raise DeskproofError(f"{target}: a folder. Name a file with -o.")
    if target.exists() and not target.is_file():
        raise DeskproofError(f"{target}: no ordinary file. Name another file with -o.")
    if target.exists() and not force:
        raise DeskproofError(f"{target}: exists already. Name another file with -o, or add --force.")
    if not target.parent.is_dir():
        raise DeskproofError(f"{target.parent}: no such folder to write to.")


def _same(one: Path, other: Path) -> bool:
    """Whether two names lead to one file: through links, and where case does not matter in names."""
    if one.resolve() == other.resolve():
        return True
    try:
        return one.samefile(other)
    except OSError:
        return False


@contextlib.contextmanager
def locked(path: Path, wait_s: float = LOCK_WAIT_S) -> Iterator[None]:
    """Hold the right to write a file, against other threads and other processes.

    The lock is one of the operating system on ``.NAME.lock`` beside the file, so it ends with the process that held
    it, however that ended; a lock file that was left behind is taken over. The file itself need not be there. Not to
    be taken twice by one thread.

    Parameters
    ----------
    path : Path
        The file to be written. Everybody who writes it must hold the same lock.
    wait_s : float
        Seconds to wait for another writer.

    Raises
    ------
    DeskproofError
        If another writer does not finish in time, or no lock can be had in that folder.
    """
    try:
        place = path.parent.resolve() / f".{path.name}.lock"
    except (OSError, RuntimeError) as error:
        raise DeskproofError(f"{path}: its folder cannot be found ({error}).") from None
    until = time.monotonic() + wait_s
    with _here_guard:
        turn = _here.setdefault(str(place), threading.Lock())
    if not turn.acquire(timeout=wait_s):
        raise _busy(path)
    try:
        handle = _taken(path, place, until)
        try:
            yield
        finally:
            _let_go(place, handle)
    finally:
        turn.release()


def _busy(path: Path) -> DeskproofError:
    return DeskproofError(f"{path}: another Deskproof is writing it. Try again, or close the other one.")


def _taken(path: Path, place: Path, until: float) -> int:
    """The open lock file, locked for this process."""
    while True:
        try:
            handle = _opened(place)
            if handle is not None:
                if _lock(handle, place):
                    return handle
                os.close(handle)
        except OSError as error:
            raise DeskproofError(
                f"{path}: cannot be locked for writing ({place.name}: {error.strerror}). "
                "The folder must be writable and on a disk that has locks."
            ) from None
        if time.monotonic() >= until:
            raise _busy(path)
        time.sleep(_POLL_S)


def _opened(place: Path) -> int | None:
    """The lock file, made if need be; None if it is just being taken away. Links and pipes are refused."""
    guard = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
    try:
        handle = os.open(place, os.O_RDWR | os.O_CREAT | guard, 0o666)
    except PermissionError:
        if sys.platform == "win32" and place.parent.is_dir():
            return None  # a name that is being deleted answers so for a moment
        try:
            handle = os.open(place, os.O_RDONLY | guard)  # somebody else's, left behind
        except FileNotFoundError:
            if os.access(place.parent, os.W_OK):
                return None
            raise PermissionError(13, os.strerror(13)) from None
    status = os.fstat(handle)
    if not stat.S_ISREG(status.st_mode) or status.st_size:
        os.close(handle)
        raise OSError(17, "something else stands there; move it away")
    return handle


def _lock(handle: int, place: Path) -> bool:
    """Lock the open file if nobody else has; False too if the holder before took it away meanwhile.

    Raises
    ------
    OSError
        If this disk has no locks. The handle is closed.
    """
    if sys.platform == "win32":
        import msvcrt

        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except PermissionError:
            return False
    else:
        import fcntl

        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        except OSError:
            os.close(handle)
            raise
    return _still_there(place, handle)


def _still_there(place: Path, handle: int) -> bool:
    """Whether the file locked is the one at its place: the holder before takes it away."""
    try:
        return os.path.samestat(place.lstat(), os.fstat(handle))
    except FileNotFoundError:
        return False


def _let_go(place: Path, handle: int) -> None:
    if sys.platform == "win32":
        import msvcrt

        with contextlib.suppress(OSError):
            msvcrt.locking(handle, msvcrt.LK_UNLCK, 1)
        os.close(handle)
        with contextlib.suppress(OSError):  # open elsewhere: whoever waits for it takes it over
            place.unlink()
    else:
        import fcntl

        try:
            # Taken away while it is still locked, so that whoever gets it next sees that it is gone.
            if _still_there(place, handle):
                place.unlink()
        except OSError:
            pass
        finally:
            fcntl.flock(handle, fcntl.LOCK_UN)  # by itself: a child process may hold a copy of the handle
            os.close(handle)
