"""A file is written whole or not at all, nothing by accident, and by one writer at a time."""

import os
import stat
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from deskproof import files
from deskproof.errors import DeskproofError

ROOT = hasattr(os, "geteuid") and os.geteuid() == 0


def names(folder):
    return sorted(path.name for path in folder.iterdir())


def mode(path):
    return stat.S_IMODE(path.lstat().st_mode)


# Writing whole


def test_a_new_file_and_one_that_is_replaced(tmp_path):
    target = tmp_path / "tide.musicxml"
    files.write_whole(target, b"one\r\n")
    assert target.read_bytes() == b"one\r\n"
    files.write_whole(target, b"")
    assert target.read_bytes() == b""
    assert names(tmp_path) == ["tide.musicxml"]


def test_a_new_file_has_the_permissions_of_any_other(tmp_path):
    (tmp_path / "other").write_bytes(b"")
    files.write_whole(tmp_path / "mine", b"x")
    assert mode(tmp_path / "mine") == mode(tmp_path / "other")


@pytest.mark.skipif(os.name == "nt", reason="permissions of POSIX")
@pytest.mark.parametrize("given", [0o600, 0o640, 0o755])
def test_a_file_that_is_replaced_keeps_its_permissions(tmp_path, given):
    target = tmp_path / "tide.musicxml"
    target.write_bytes(b"old")
    target.chmod(given)
    files.write_whole(target, b"new")
    assert (mode(target), target.read_bytes()) == (given, b"new")


def test_a_write_protected_file_stays(tmp_path):
    target = tmp_path / "tide.musicxml"
    target.write_bytes(b"old")
    target.chmod(0o444)
    with pytest.raises(DeskproofError, match=r"tide.musicxml: write-protected. Name another"):
        files.write_whole(target, b"new")
    assert target.read_bytes() == b"old"
    assert names(tmp_path) == ["tide.musicxml"]


@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_when_it_fails_the_old_file_stays_and_nothing_else(tmp_path, monkeypatch, step):
    target = tmp_path / "tide.musicxml"
    target.write_bytes(b"old")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(files.os if step == "fsync" else files.Path, step, full)
    with pytest.raises(DeskproofError, match=r"tide.musicxml: cannot be written \(No space left.*make room"):
        files.write_whole(target, b"new")
    assert target.read_bytes() == b"old"
    assert names(tmp_path) == ["tide.musicxml"]


def test_when_it_is_interrupted_nothing_is_left(tmp_path, monkeypatch):
    def interrupted(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(files.os, "fsync", interrupted)
    with pytest.raises(KeyboardInterrupt):
        files.write_whole(tmp_path / "tide.musicxml", b"new")
    assert names(tmp_path) == []


def test_the_bytes_are_on_disk_before_the_name_is(tmp_path, monkeypatch):
    done = []
    real = files.os.fsync
    monkeypatch.setattr(files.os, "fsync", lambda handle: (done.append(names(tmp_path)), real(handle)))
    files.write_whole(tmp_path / "tide.musicxml", b"new")
    assert done and "tide.musicxml" not in done[0] and len(done[0]) == 1


def test_a_file_that_is_held_for_a_moment_is_replaced_after_it(tmp_path, monkeypatch):
    real, left = files.Path.replace, [1, 1, 1]

    def held(self, target):
        if left:
            left.pop()
            raise PermissionError(13, "Permission denied")
        return real(self, target)

    monkeypatch.setattr(files.Path, "replace", held)
    files.write_whole(tmp_path / "tide.musicxml", b"new")
    assert not left
    left.extend([1] * 1000)
    with pytest.raises(DeskproofError, match="Permission denied"):
        files.write_whole(tmp_path / "tide.musicxml", b"newer")
    assert (tmp_path / "tide.musicxml").read_bytes() == b"new"
    assert names(tmp_path) == ["tide.musicxml"]


def test_a_link_is_replaced_and_not_followed(tmp_path):
    elsewhere, target = tmp_path / "elsewhere", tmp_path / "tide.musicxml"
    elsewhere.write_bytes(b"precious")
    target.symlink_to(elsewhere)
    files.write_whole(target, b"new")
    assert elsewhere.read_bytes() == b"precious"
    assert target.read_bytes() == b"new" and not target.is_symlink()


def test_what_is_no_file_is_not_written_over(tmp_path):
    for target, make in ((tmp_path / "folder", Path.mkdir), (tmp_path / "pipe", os.mkfifo)):
        make(target)
        with pytest.raises(DeskproofError, match="no ordinary file"):
            files.write_whole(target, b"new")
    assert names(tmp_path) == ["folder", "pipe"]


def test_no_folder_to_write_to(tmp_path):
    with pytest.raises(DeskproofError, match=r"gone/tide.musicxml: cannot be written \(No such file"):
        files.write_whole(tmp_path / "gone" / "tide.musicxml", b"new")


def test_the_longest_name_that_the_disk_takes(tmp_path):
    files.write_whole(tmp_path / ("x" * 255), b"new")
    assert names(tmp_path) == ["x" * 255]


# What may be written


def test_a_free_place_may_be_written_and_another_file_with_force(tmp_path):
    source, target = tmp_path / "tide.musicxml", tmp_path / "tide-mended.musicxml"
    source.write_bytes(b"x")
    files.may_write(target, source, False)
    files.may_write(target, None, False)
    target.write_bytes(b"y")
    files.may_write(target, source, True)
    with pytest.raises(DeskproofError, match=r"tide-mended.musicxml: exists already. Name another .* --force"):
        files.may_write(target, source, False)


@pytest.mark.parametrize("kind", ["itself", "a roundabout name", "a link", "a second name"])
def test_the_original_is_never_overwritten(tmp_path, kind):
    source = tmp_path / "tide.musicxml"
    source.write_bytes(b"x")
    (tmp_path / "inner").mkdir()
    target = {"itself": source, "a roundabout name": tmp_path / "inner" / ".." / "tide.musicxml"}.get(
        kind, tmp_path / "out.musicxml"
    )
    if kind == "a link":
        target.symlink_to(source)
    elif kind == "a second name":
        target.hardlink_to(source)
    with pytest.raises(DeskproofError, match="the original is never overwritten"):
        files.may_write(target, source, True)


def test_what_cannot_be_written(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    for target, says in (
        (tmp_path, "a folder. Name a file"),
        (tmp_path / "pipe", "no ordinary file"),
        (tmp_path / "gone" / "out.musicxml", "gone: no such folder"),
    ):
        with pytest.raises(DeskproofError, match=says):
            files.may_write(target, None, True)


# One writer at a time


def test_one_thread_at_a_time(tmp_path):
    target, inside, most = tmp_path / "count", [0], []

    def work():
        for _ in range(20):
            with files.locked(target, 60):
                inside[0] += 1
                most.append(inside[0])
                time.sleep(0.0005)
                inside[0] -= 1

    threads = [threading.Thread(target=work) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert most == [1] * 120
    assert names(tmp_path) == []


COUNT = """
import sys
from pathlib import Path
from deskproof.files import locked

target, times = Path(sys.argv[1]), int(sys.argv[2])
print("ready", flush=True)
sys.stdin.readline()
for _ in range(times):
    with locked(target, 60):
        target.write_text(str(int(target.read_text()) + 1))
"""


def started(code, *arguments):
    command = [sys.executable, "-c", code, *map(str, arguments)]
    process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert process.stdout.readline() == "ready\n"
    return process


def test_one_process_at_a_time(tmp_path):
    """Three processes count up one number that each reads and writes in two steps."""
    target = tmp_path / "count"
    target.write_text("0")
    processes = [started(COUNT, target, 150) for _ in range(3)]
    for process in processes:
        process.stdin.write("go\n")
        process.stdin.flush()
    for process in processes:
        process.communicate()
        assert process.returncode == 0
    assert target.read_text() == "450"
    assert names(tmp_path) == ["count"]


HOLD = """
import sys
from pathlib import Path
from deskproof.files import locked

with locked(Path(sys.argv[1])):
    print("ready", flush=True)
    sys.stdin.readline()
"""


def test_another_process_is_waited_for_and_not_for_ever(tmp_path):
    target = tmp_path / "tide.deskproof.toml"
    process = started(HOLD, target)
    with (
        pytest.raises(DeskproofError, match=r"toml: another Deskproof is writing it. Try again"),
        files.locked(target, 0.05),
    ):
        raise AssertionError("entered")
    process.communicate("done\n")
    with files.locked(target, 0.05):
        pass


def test_the_lock_of_a_process_that_was_killed_does_not_hold(tmp_path):
    target = tmp_path / "tide.deskproof.toml"
    process = started(HOLD, target)
    process.kill()
    process.communicate()
    assert names(tmp_path) == [".tide.deskproof.toml.lock"]  # left behind
    with files.locked(target, 0):
        assert names(tmp_path) == [".tide.deskproof.toml.lock"]
    assert names(tmp_path) == []


def test_the_same_thread_does_not_wait_for_itself_for_ever(tmp_path):
    target = tmp_path / "a"
    with files.locked(target), pytest.raises(DeskproofError, match="another Deskproof"), files.locked(target, 0.01):
        raise AssertionError("entered")
    with files.locked(target, 0):
        pass


def test_what_fails_inside_lets_go(tmp_path):
    with pytest.raises(ZeroDivisionError), files.locked(tmp_path / "a"):
        raise ZeroDivisionError
    with files.locked(tmp_path / "a", 0), files.locked(tmp_path / "b", 0):
        assert names(tmp_path) == [".a.lock", ".b.lock"]
    assert names(tmp_path) == []


def test_a_lock_reached_through_a_linked_folder_is_the_same(tmp_path):
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "real")
    with (
        files.locked(tmp_path / "real" / "a"),
        pytest.raises(DeskproofError, match="another Deskproof"),
        files.locked(tmp_path / "link" / "a", 0.01),
    ):
        raise AssertionError("entered")


def test_a_lock_file_that_somebody_took_away(tmp_path):
    with files.locked(tmp_path / "a"):
        (tmp_path / ".a.lock").unlink()
    assert names(tmp_path) == []


@pytest.mark.parametrize("kind", ["file", "folder", "link", "pipe"])
def test_something_else_in_the_place_of_the_lock_stays(tmp_path, kind):
    place, other = tmp_path / ".a.lock", tmp_path / "other"
    other.write_bytes(b"")
    make = {
        "file": lambda: place.write_bytes(b"mine"),
        "folder": place.mkdir,
        "link": lambda: place.symlink_to(other),
        "pipe": lambda: os.mkfifo(place),
    }
    make[kind]()
    with (
        pytest.raises(DeskproofError, match=r"a: cannot be locked for writing \(.a.lock: "),
        files.locked(tmp_path / "a"),
    ):
        raise AssertionError("entered")
    assert names(tmp_path) == [".a.lock", "other"]


def test_no_folder_to_lock_in(tmp_path):
    with pytest.raises(DeskproofError, match="cannot be locked"), files.locked(tmp_path / "gone" / "a"):
        raise AssertionError("entered")


@pytest.mark.skipif(ROOT or os.name == "nt", reason="root may write everywhere")
def test_a_folder_that_is_not_writable(tmp_path):
    tmp_path.chmod(0o555)
    try:
        with pytest.raises(DeskproofError, match="cannot be locked"), files.locked(tmp_path / "a"):
            raise AssertionError("entered")
    finally:
        tmp_path.chmod(0o755)


def test_a_disk_without_locks(tmp_path, monkeypatch):
    fcntl = pytest.importorskip("fcntl")

    def none(*_):
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr(fcntl, "flock", none)
    with (
        pytest.raises(DeskproofError, match=r"Operation not supported.*on a disk that has locks"),
        files.locked(tmp_path / "a"),
    ):
        raise AssertionError("entered")
