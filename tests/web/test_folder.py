"""A name from the page opens a score of the folder or nothing, and nothing that was there is written over."""

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from deskproof import cli, decisions
from deskproof.errors import DeskproofError
from deskproof.files import write_whole
from deskproof.web import folder
from deskproof.web.folder import Folder, FolderError

STRANGE = ["a\nb.xml", "it's \"so\".xml", "🎻 é e\u0301.mid", "a..%2f..%2fprivate.musicxml", "%00.xml", "-rf.mxl",
           " .xml", "a\\..\\b.mxl", "C:tide.mxl", "<script>.xml", "~.xml", "x" * 251 + ".mxl", "a..xml.xml",
           "\u202etxt.xml", "CON.xml"]  # fmt: skip


@pytest.fixture
def tree(tmp_path):
    """A folder with scores, and around it what must not be reached."""
    root = tmp_path / "pieces"
    for name in ("tide.musicxml", "Ferry.MXL", "one/two/deep.xml", "one/take.mid", "one/take.midi", *STRANGE):
        path = root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(name.encode())
    for name in (
        "notes.txt", "tide.deskproof.toml", "tide.musicxml.bak", "musicxml", ".hidden.xml", ".git/inner.xml", ".xml",
        "one/._take.mid", "..%2f..%2fprivate.musicxml",
    ):  # fmt: skip
        path = root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"no score")
    (tmp_path / "private.musicxml").write_bytes(b"private")
    (tmp_path / "pieces-of-others").mkdir()
    (tmp_path / "pieces-of-others" / "theirs.xml").write_bytes(b"private")
    (root / "folder.xml").mkdir()
    os.mkfifo(root / "pipe.xml")
    links = {
        "out.xml": "../private.musicxml", "out-straight.xml": str(tmp_path / "private.musicxml"),
        "sibling.xml": "../pieces-of-others/theirs.xml", "chain.xml": "out.xml", "device.xml": "/dev/zero",
        "gone.xml": "nothing.xml", "loop.xml": "loop.xml", "folder-out": "..", "round": ".", "text.xml": "notes.txt",
        "to-hidden.xml": ".hidden.xml", "to-folder.xml": "one", "inside.xml": "one/two/deep.xml",
        "folder-in": "one", "up-and-back.xml": "../pieces/tide.musicxml",
    }  # fmt: skip
    for name, target in links.items():
        (root / name).symlink_to(target)
    if os.name == "posix":
        with open(os.fsencode(root) + b"/\xff.xml", "wb"):  # noqa: PTH123  no name in Unicode
            pass
    return root


GOOD = {"tide.musicxml", "Ferry.MXL", "one/two/deep.xml", "one/take.mid", "one/take.midi", "inside.xml",
        "up-and-back.xml", *STRANGE}  # fmt: skip


def test_the_scores_and_nothing_else(tree):
    names = Folder(tree).scores()
    assert set(names) == GOOD
    assert list(names) == sorted(names)


def test_a_listed_name_leads_to_its_file(tree):
    opened = Folder(tree)
    for name in opened.scores():
        path = opened.path(name)
        expected = {"inside.xml": "one/two/deep.xml", "up-and-back.xml": "tide.musicxml"}.get(name, name)
        assert path.read_bytes() == expected.encode()
        assert path == tree / expected


REFUSED = [
    "", ".", "..", "/", "\0", "tide.musicxml\0", "tide.musicxml\0.xml", "../private.musicxml", "..\\private.musicxml",
    "one/../tide.musicxml", "./tide.musicxml", "/tide.musicxml", "one//take.mid", "one/./take.mid", "tide.musicxml/",
    "..%2fprivate.musicxml", "%2e%2e/private.musicxml", "../pieces/tide.musicxml", "../pieces-of-others/theirs.xml",
    "one/two", "one", "notes.txt", "tide.deskproof.toml", ".hidden.xml", ".git/inner.xml", ".xml", "one/._take.mid",
    "folder.xml", "pipe.xml", "out.xml", "out-straight.xml", "sibling.xml", "chain.xml", "device.xml", "gone.xml",
    "loop.xml", "text.xml", "to-hidden.xml", "to-folder.xml", "folder-out/private.musicxml", "round/tide.musicxml",
    "folder-out/pieces/tide.musicxml", "folder-in/take.mid", "nothing.xml", "TIDE.musicxml", "tide", "*.musicxml",
    "tide.musicxml ", " tide.musicxml", "~/tide.musicxml", "C:\\tide.musicxml", "\\\\host\\share\\a.xml", "/dev/zero",
    "/proc/self/environ", "file:///etc/passwd", "\udcff.xml", "\ud800.xml", "🎻 é é.mid", "x" * 5000 + ".xml",
    "a/" * 3000 + "b.xml",
]  # fmt: skip


@pytest.mark.parametrize("name", REFUSED, ids=range(len(REFUSED)))
def test_any_other_name_is_refused(tree, name):
    opened = Folder(tree)
    with pytest.raises(FolderError, match=r"^No such score in the folder that was opened.$"):
        opened.path(name)
    for suffix in ("-mended.musicxml", ".deskproof.toml"):
        with pytest.raises(FolderError, match="No such score"):
            opened.beside(name, suffix)
    with pytest.raises(FolderError, match="No such score"):
        opened.write(name, "-proof.html", b"x")


@settings(max_examples=300, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(
    parts=st.lists(
        st.sampled_from(["..", ".", "", "one", "two", "tide.musicxml", "take.mid", "out.xml", "folder-out", "round",
                         "pieces", "private.musicxml", "\0", "%2e%2e", ".git", "inner.xml"]) | st.text(max_size=5),
        max_size=6,
    ),
    between=st.sampled_from(["/", "\\", "//", "%2f"]),
)  # fmt: skip
def test_a_path_is_always_a_listed_file_inside(tree, parts, between):
    name = between.join(parts)
    try:
        path = Folder(tree).path(name)
    except FolderError:
        assert name not in GOOD
    else:
        assert name in GOOD
        assert os.path.commonpath([os.path.realpath(path), tree]) == str(tree)


def test_a_score_that_comes_and_one_that_goes(tree):
    opened = Folder(tree)
    (tree / "new.xml").write_bytes(b"new")
    assert opened.path("new.xml").read_bytes() == b"new"
    (tree / "new.xml").unlink()
    with pytest.raises(FolderError, match="No such score"):
        opened.path("new.xml")
    (tree / "new.xml").symlink_to("/etc/passwd")  # what was a score leads out now
    with pytest.raises(FolderError, match="No such score"):
        opened.path("new.xml")


def test_a_folder_on_the_way_that_becomes_a_link_out(tree):
    opened = Folder(tree)
    opened.path("one/take.mid")
    (tree / "one").rename(tree.parent / "elsewhere")
    (tree / "one").symlink_to("../elsewhere")
    with pytest.raises(FolderError, match="No such score"):
        opened.path("one/take.mid")


def test_a_file_that_is_too_large(tree):
    opened = Folder(tree, largest_bytes=100)
    (tree / "large.xml").write_bytes(b"x" * 101)
    (tree / "just.xml").write_bytes(b"x" * 100)
    assert opened.path("just.xml")
    with pytest.raises(FolderError, match=r"large.xml: larger than"):
        opened.path("large.xml")


def test_far_too_many_files(tree, monkeypatch):
    monkeypatch.setattr(folder, "MAX_ENTRIES", 10)
    with pytest.raises(FolderError, match=r"more than 10 files. Open the folder with the scores"):
        Folder(tree).scores()


def test_the_kinds_of_files_are_those_of_the_command_line():
    assert folder.SUFFIXES == cli.SUFFIXES


# One score opened


def test_a_single_score(tree):
    opened = Folder(tree / "one" / "take.mid")
    assert opened.root == tree / "one"
    assert opened.scores() == ("take.mid",)
    assert opened.path("take.mid") == tree / "one" / "take.mid"
    for name in ("take.midi", "two/deep.xml", "../tide.musicxml", "one/take.mid", str(tree / "one" / "take.mid")):
        with pytest.raises(FolderError, match="No such score"):
            opened.path(name)
    (tree / "one" / "take.mid").unlink()
    assert opened.scores() == ()


def test_a_link_that_the_person_opened_is_followed_once(tree):
    opened = Folder(tree / "out.xml")
    assert (opened.root, opened.scores()) == (tree.parent, ("private.musicxml",))
    opened = Folder(tree / "folder-in")
    assert opened.root == tree / "one"
    assert set(opened.scores()) == {"two/deep.xml", "take.mid", "take.midi"}


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("nothing.xml", "cannot be opened"),
        ("loop.xml", "cannot be opened"),
        ("a\0.xml", "cannot be opened"),
        ("notes.txt", "not read as a score"),
        (".hidden.xml", "not read as a score"),
        ("pipe.xml", "not read as a score"),
        ("device.xml", "not read as a score"),
    ],
)
def test_what_cannot_be_opened(tree, name, says):
    with pytest.raises(FolderError, match=says):
        Folder(tree / name)


# What is written beside a score


@pytest.mark.parametrize("suffix", ["-mended.musicxml", "-mended.mxl", "-proof.html", ".deskproof.toml"])
def test_beside_a_score(tree, suffix):
    opened = Folder(tree)
    for name in opened.scores():
        if len(name) > 200 or "tide" in name:
            continue
        place = opened.beside(name, suffix)
        assert place.parent == (tree / name).parent
        assert place.name == Path(name).stem + suffix
        if suffix == folder.DECISIONS:
            assert place == decisions.beside(tree / name)


@pytest.mark.parametrize(
    "suffix",
    ["", "musicxml", ".musicxml", "/../../x", "-mended.musicxml/../../x", "-mended.xml", "-proof.html\0", "/x", ".py"],
)
def test_another_suffix_is_refused(tree, suffix):
    with pytest.raises(FolderError, match="is not written beside a score"):
        Folder(tree).beside("tide.musicxml", suffix)


def test_nothing_that_was_there_is_written_over(tree):
    """Also after it was written by hand over our own copy, under the same name."""
    opened = Folder(tree)
    theirs = tree / "tide-mended.musicxml"
    theirs.write_bytes(b"somebody's work")
    assert opened.beside("tide.musicxml", "-mended.musicxml").name == "tide-mended-2.musicxml"
    ours = opened.write("tide.musicxml", "-mended.musicxml", b"first")
    assert ours.name == "tide-mended-2.musicxml"
    assert opened.write("tide.musicxml", "-mended.musicxml", b"again") == ours
    assert (theirs.read_bytes(), ours.read_bytes()) == (b"somebody's work", b"again")
    ours.write_bytes(b"by hand")
    assert opened.write("tide.musicxml", "-mended.musicxml", b"third").name == "tide-mended-3.musicxml"
    write_whole(ours, b"again")  # by another program
    assert opened.beside("tide.musicxml", "-mended.musicxml").name == "tide-mended-3.musicxml"
    assert Folder(tree).beside("tide.musicxml", "-mended.musicxml").name == "tide-mended-4.musicxml"
    assert ours.read_bytes() == b"again"


def test_two_scores_of_one_stem_do_not_write_over_each_other(tree):
    (tree / "tide.mxl").write_bytes(b"another")
    opened = Folder(tree)
    first = opened.write("tide.musicxml", "-mended.musicxml", b"1")
    second = opened.write("tide.mxl", "-mended.musicxml", b"2")
    assert (first.read_bytes(), second.read_bytes()) == (b"1", b"2")
    assert second.name == "tide-mended-2.musicxml"


@pytest.mark.parametrize("target", ["../private.musicxml", "../new.musicxml", "tide.musicxml"])
def test_never_through_a_link(tree, target):
    opened = Folder(tree)
    for name in ("tide-mended.musicxml", "tide-proof.html"):
        (tree / name).symlink_to(target)
    for suffix, name in (("-mended.musicxml", "tide-mended-2.musicxml"), ("-proof.html", "tide-proof-2.html")):
        assert opened.write("tide.musicxml", suffix, b"mine") == tree / name
    assert (tree.parent / "private.musicxml").read_bytes() == b"private"
    assert not (tree.parent / "new.musicxml").exists()
    assert (tree / "tide.musicxml").read_bytes() == b"tide.musicxml"


@pytest.mark.parametrize("target", ["../private.musicxml", "../new.toml", "notes.txt"])
def test_decisions_are_not_written_through_a_link(tree, target):
    place = tree / "Ferry.deskproof.toml"
    place.symlink_to(target)
    with pytest.raises(FolderError, match="a link or no ordinary file"):
        Folder(tree).beside("Ferry.MXL", ".deskproof.toml")
    place.unlink()
    place.mkdir()
    with pytest.raises(FolderError, match="a link or no ordinary file"):
        Folder(tree).beside("Ferry.MXL", ".deskproof.toml")


def test_decisions_that_are_there_are_added_to_and_never_written_whole(tree):
    opened = Folder(tree)
    assert opened.beside("tide.musicxml", ".deskproof.toml") == tree / "tide.deskproof.toml"
    with pytest.raises(FolderError, match="added one by one"):
        opened.write("tide.musicxml", ".deskproof.toml", b"x")
    assert (tree / "tide.deskproof.toml").read_bytes() == b"no score"


def test_beside_a_link_inside_it_is_written_where_the_name_stands(tree):
    opened = Folder(tree)
    assert opened.write("inside.xml", "-mended.musicxml", b"x") == tree / "inside-mended.musicxml"
    assert (tree / "one/two/deep.xml").read_bytes() == b"one/two/deep.xml"


def test_no_number_is_free(tree, monkeypatch):
    monkeypatch.setattr(folder, "MAX_COPIES", 3)
    for name in ("tide-proof.html", "tide-proof-2.html"):
        (tree / name).write_bytes(b"")
    with pytest.raises(FolderError, match="are there already"):
        Folder(tree).beside("tide.musicxml", "-proof.html")


def test_a_name_that_is_too_long_to_write_beside(tree):
    with pytest.raises(DeskproofError, match=r"cannot be written \(File name too long"):
        Folder(tree).write("x" * 251 + ".mxl", "-mended.musicxml", b"x")
