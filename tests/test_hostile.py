"""Bad input: a clear message with place and what to do, exit status 2, nothing written, no traceback."""

import io
import sys
import zipfile
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from corpus import smallest
from deskproof import document
from deskproof.check import check
from deskproof.cli import main
from deskproof.demo import SCORE
from deskproof.errors import DeskproofError
from deskproof.musicxml import container, editor
from deskproof.order import MAX_PLAYED

HEAD = '<?xml version="1.0" encoding="UTF-8"?>'
LIST = '<part-list><score-part id="P1"><part-name>Flute</part-name></score-part></part-list>'
NOTE = "<note><pitch><step>{step}</step>{alter}<octave>{octave}</octave></pitch><duration>{duration}</duration></note>"


def note(step="C", octave="5", duration="4", alter=""):
    return NOTE.format(step=step, octave=octave, duration=duration, alter=alter)


def score(*measures, divisions="1", head=HEAD, before=""):
    attributes = f"<attributes><divisions>{divisions}</divisions></attributes>"
    rows = "".join(
        f'<measure number="{i}">{attributes if i == 1 else ""}{m}</measure>' for i, m in enumerate(measures, 1)
    )
    return f'{head}{before}<score-partwise version="4.0">{LIST}<part id="P1">{rows}</part></score-partwise>'.encode()


def packed(files, method=zipfile.ZIP_DEFLATED):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return out.getvalue()


BOMB = "<!DOCTYPE x [<!ENTITY a 'ha'>" + "".join(
    f"<!ENTITY a{i} '{'&a' + (str(i - 1) if i else '') + ';'}{('&a' + (str(i - 1) if i else '') + ';') * 9}'>"
    for i in range(9)
) + "]>"  # fmt: skip
CONTAINER = '<container><rootfiles><rootfile full-path="score.xml"/></rootfiles></container>'
REFUSED = {
    "not XML": (b"Dear librarian, here is the score", "not well-formed"),
    "truncated": (SCORE.read_bytes()[:5000], "not well-formed"),
    "empty": (b"", "empty"),
    "blank": (b"  \n", "empty"),
    "another document": (b"<html><body/></html>", "outermost element is <html>"),
    "no measures": (f'<score-partwise>{LIST}<part id="P1"/></score-partwise>'.encode(), "no measures"),
    "no parts": (f"<score-partwise>{LIST}</score-partwise>".encode(), "no measures"),
    "a torn archive": (packed({"score.xml": score(note())})[:60], "damaged"),
    "an archive without a score": (packed({"readme.txt": b"hello"}), "without a MusicXML score"),
    "an archive whose container is broken": (packed({"META-INF/container.xml": "<a", "s.xml": "<b/>"}), "not XML"),
    "a packed bomb": (
        packed({"META-INF/container.xml": CONTAINER, "score.xml": b" " * (container.MAX_UNPACKED + 10)}),
        f"unpacks to more than {container.MAX_UNPACKED // 2**20} MB",
    ),
    "an entity bomb": (score(note(step="&a8;"), before=BOMB.replace("DOCTYPE x", "DOCTYPE score-partwise")), ""),
    "UTF-16 that calls itself UTF-8": (score(note()).decode().encode("utf-16"), "its bytes are UTF-16"),
    "another encoding than it says": (score(note()).replace(b"Flute", b"Fl\xf6te"), "not well-formed"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_refused_with_a_word_and_nothing_written(case, tmp_path):
    data, says = REFUSED[case]
    path = tmp_path / "bad.musicxml"
    path.write_bytes(data)
    for command in (["check", str(path)], ["mend", str(path), "-o", str(tmp_path / "out.musicxml")]):
        done = CliRunner().invoke(main, command)
        if case == "an entity bomb" and done.exit_code == 0:
            continue  # read without expanding anything is as good
        assert done.exit_code == 2, done.output
        assert done.exception is None or isinstance(done.exception, SystemExit)
        assert "Traceback" not in done.output
        assert says in done.stderr
        assert str(path) in done.stderr
    if case != "an entity bomb":
        assert [p.name for p in tmp_path.iterdir()] == ["bad.musicxml"]


def test_nothing_outside_the_file_is_read(tmp_path):
    secret = tmp_path / "secret.txt"
    secret.write_text("Fagott")
    before = f'<!DOCTYPE score-partwise [<!ENTITY x SYSTEM "{secret.as_uri()}">]>'
    data = score(note()).replace(b"Flute", b"&x;").replace(HEAD.encode(), HEAD.encode() + before.encode())
    try:
        read = document.from_bytes(data)
    except DeskproofError:
        return
    assert "Fagott" not in repr(read.score)


@pytest.mark.parametrize(
    ("kind", "says"), [("folder", "a folder without scores"), ("missing", "no such file"), ("denied", "cannot be read")]
)
def test_what_is_no_file(kind, says, tmp_path, monkeypatch):
    path = tmp_path / "thing.musicxml"
    if kind == "folder":
        path.mkdir()
    if kind == "denied":
        path.write_bytes(SCORE.read_bytes())

        def refuse(self):
            raise PermissionError(13, "Permission denied")

        monkeypatch.setattr(Path, "read_bytes", refuse)
    done = CliRunner().invoke(main, ["check", str(path)])
    assert done.exit_code == 2
    assert says in done.stderr


def test_a_device_is_not_read():
    if not Path("/dev/zero").exists():
        pytest.skip("no such device here")
    with pytest.raises(DeskproofError, match="no ordinary file"):
        container.read(Path("/dev/zero"))


READ = {
    "divisions of 0": (score(note(), divisions="0"), "divisions of 0"),
    "negative durations": (score(note(duration="-4"), note()), ""),
    "durations that are no numbers": (score(note(duration="many")), ""),
    "a number of a million digits": (score(note(duration="9" * 1_000_000)), ""),
    "an exponent": (score(note(duration="1e999999999")), ""),
    "an alteration beyond sense": (score(note(alter="<alter>99</alter>")), "cannot be read"),
    "an octave beyond sense": (score(note(octave="99")), "cannot be read"),
    "a letter that is none": (score(note(step="H")), "cannot be read"),
    "tempo 0": (score('<sound tempo="0"/>' + note()), ""),
    "a tempo that is no number": (score('<sound tempo="fast"/>' + note()), ""),
    "no end of the repeat": (score('<barline><repeat direction="forward"/></barline>' + note()), ""),
    "a million times": (
        score(note() + '<barline><repeat direction="backward" times="1000000"/></barline>', note()),
        f"more than {MAX_PLAYED}",
    ),
    "jumps for ever": (score(note() + '<sound dacapo="yes" segno="s"/>', note() + '<sound dalsegno="s"/>'), ""),
    "a metre of 0": (
        score("<attributes><time><beats>0</beats><beat-type>0</beat-type></time></attributes>" + note()),
        "",
    ),
    "a metre that is negative": (
        score("<attributes><time><beats>4</beats><beat-type>-4</beat-type></time></attributes>" + note()),
        "",
    ),
    "an element of no standard": (score("<mystery/>" + note()), "<mystery> is no element of MusicXML"),
    "back before the bar": (score("<backup><duration>99</duration></backup>" + note()), ""),
    "a part that is not in the list": (score(note()).replace(b'part id="P1"', b'part id="P9"'), ""),
    "two parts of one name": (
        score(note(step="B", octave="3")).replace(b"</part>", b'</part><part id="P1"><measure/></part>'),
        "",
    ),
    "a part without measures": (score(note()).replace(b"</score-part>", b"</score-part>") + b"", ""),
}


@pytest.mark.parametrize("case", READ)
def test_read_as_far_as_it_goes(case, tmp_path):
    data, says = READ[case]
    path = tmp_path / "odd.musicxml"
    path.write_bytes(data)
    done = CliRunner().invoke(main, ["check", str(path)])
    assert done.exit_code in (0, 1), done.output
    assert says in done.stdout
    again = CliRunner().invoke(main, ["check", "--json", "--notes", str(path)])
    assert again.exit_code == done.exit_code


def test_notes_beyond_what_any_instrument_has():
    report = check(document.from_bytes(score(note(octave="10"), note(octave="-1"))).score)
    assert {f.level for f in report.findings} == {"impossible"}


def _survives(data: bytes) -> None:
    try:
        read = document.from_bytes(data)
        report = check(read.score)
        edits = [e for f in report.findings for m in f.mends for e in m.edits][:1]
        if edits:
            editor.write(read.container.score, edits)
    except DeskproofError as error:
        assert str(error)


FILES = [SCORE, *[f.path for f in smallest(60) if f.path.stat().st_size < 60_000]]


@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_mutated_files_never_break_it(data):
    raw = bytearray(data.draw(st.sampled_from(FILES)).read_bytes())
    if raw[:2] == b"PK" and data.draw(st.booleans()):
        raw = bytearray(container.from_bytes(bytes(raw)).score)
    for _ in range(data.draw(st.integers(1, 8))):
        at = data.draw(st.integers(0, max(0, len(raw) - 1)))
        kind = data.draw(st.sampled_from(("flip", "cut", "copy", "digit", "swap")))
        if kind == "flip":
            raw[at] = data.draw(st.integers(0, 255))
        elif kind == "cut":
            del raw[at : at + data.draw(st.integers(1, 200))]
        elif kind == "copy":
            raw[at:at] = raw[at : at + data.draw(st.integers(1, 400))]
        elif kind == "digit":
            digit = next((i for i in range(at, min(at + 500, len(raw))) if chr(raw[i]).isdigit()), None)
            if digit is not None:
                raw[digit : digit + 1] = data.draw(st.sampled_from((b"0", b"-1", b"99999", b"1.5", b"x", b"")))
        else:
            raw = raw.replace(*data.draw(st.sampled_from(SWAPS)), 1)
    _survives(bytes(raw))


SWAPS = [
    (b"<note>", b"<note><chord/>"), (b"</note>", b""), (b"<pitch>", b"<unpitched>"), (b"start", b"stop"),
    (b"<duration>", b"<duration>-"), (b"<grace/>", b""), (b"<measure", b"<measur"), (b"backward", b"forward"),
    (b"<octave>", b"<octave>9"), (b"<divisions>", b"<divisions>0."), (b'id="P1"', b'id="P2"'),
]  # fmt: skip


def test_the_limits_are_documented():
    text = (Path(__file__).parents[1] / "docs" / "limits.md").read_text("utf-8")
    for figure in (container.MAX_UNPACKED // 2**20, container.MAX_ENTRIES, MAX_PLAYED):
        assert f"{figure:,}" in text


def test_memory_is_bounded_by_the_score():
    """Reading a score of 20,000 bars takes no more than a few kilobytes a bar."""
    import tracemalloc

    data = score(*[note()] * 20_000)
    tracemalloc.start()
    read = document.from_bytes(data)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert len(read.score.parts[0].measures) == 20_000
    assert peak < 20_000 * 4096
    assert sys.getsizeof(data) > 0
