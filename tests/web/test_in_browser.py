"""The served page in a real browser, as a person goes through a score: look, go on, take, let stand, take back, print.

What is asked of the page is measured on it: boxes in CSS pixels, pixels of pictures, text, requests. Where an answer
is needed beside it, it comes from the score's own bytes, from the check on the command line, or from how a score was
made.
"""

from __future__ import annotations

import json
import random
import re
import shutil
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from lxml import etree

import seeds
import seeds_harp
import seeds_players
from corpus import SHARED
from deskproof import document
from deskproof.check import check
from deskproof.cli import main
from deskproof.demo import SCORE as DEMO
from deskproof.edits import NoteEdit, SetOctave
from deskproof.findings import Effect, Finding
from web.browser import NARROW, WIDE, Server, draw_all, ids_shown, open_score, said, served, watched

BOULANGER = SHARED / "boulanger-matin-bars-1-100.mxl"
SCALES: dict[str, tuple[tuple[int, int], float]] = {
    "1280 wide": (WIDE, 1),
    "390 wide": (NARROW, 1),
    "200 %": ((640, 450), 2),  # what zooming to 200 % makes of the wide window: half the pixels, each twice as large
}
TOLERANCE_PX = 0.5  # 2 are promised; that would hide whether a bracket is longer than its notes at all
GROWN_SPACES = 0.15  # by which a bracket is longer than its notes, on each side
HOSTILE_PART = '<img src=x onerror="alert(1)">'
HOSTILE_TITLE = "\"Tide\" & 'Ebb' <b id=bold>"
HOSTILE_WORDS = "</text><script>alert(2)</script>"
HOSTILE_REASON = "<svg onload=alert(3)>"


# ---------------------------------------------------------------- scores


def octave_shift() -> bytes:
    """A flute under an octave sign, with a note above any flute."""
    notes = "C5/4 D5/4 E5/4 F5/4 | G6/4 G#7/4 A6/4 G6/4 | C5/1"
    return seeds.score({"instrument": "flute", "notes": notes, "marks": [[4, "8va"], [8, "8va-end"]]})


def second_voice() -> bytes:
    """A viola in two voices; the lower has a note below its lowest string, the upper goes on above it."""
    above = "G4/8 A4/8 B4/8 C5/8 D5/2 | G4/1"
    root = etree.fromstring(seeds.score({"instrument": "viola", "notes": above, "clef": "C3"}))
    bar = root.find("part/measure")
    for note in bar.findall("note"):
        etree.SubElement(note, "stem").text = "up"
        note.insert(note.index(note.find("type")) + 1, note.find("stem"))
    below = etree.fromstring(seeds.score({"instrument": "viola", "notes": "D3/4 B2/4 E3/2", "clef": "C3"}))
    etree.SubElement(etree.SubElement(bar, "backup"), "duration").text = str(4 * seeds.DIVISIONS)
    for note in below.findall("part/measure/note"):
        note.find("voice").text = "2"
        stem = etree.Element("stem")
        stem.text = "down"
        note.insert(note.index(note.find("type")) + 1, stem)
        bar.append(note)
    return seeds.written(root)


def over_systems() -> bytes:
    """An oboe with a low note in three bars, and so many others between that there are three systems."""
    full = " ".join(["C5/16 D5/16 E5/16 F5/16 G5/16 A5/16 B5/16 C6/16"] * 2)
    bars = [full] * 6
    for bar in (1, 3, 5):
        bars[bar] = "A3/4 D4/4 E4/8 F4/8 G4/8 A4/8"
    return seeds.score({"instrument": "oboe", "notes": " | ".join(bars)})


def hostile() -> bytes:
    """A flute too low, with names, a title and words that a careless page would take for markup."""
    root = etree.fromstring(seeds.score({"instrument": "flute", "notes": "A3/4 D4/4 E4/2 | C5/1"}))
    etree.SubElement(root, "movement-title").text = HOSTILE_TITLE
    root.insert(0, root[-1])
    root.find("part-list/score-part/part-name").text = HOSTILE_PART
    direction = etree.Element("direction")
    etree.SubElement(etree.SubElement(direction, "direction-type"), "words").text = HOSTILE_WORDS
    bar = root.find("part/measure")
    bar.insert(1, direction)
    bar.set("number", "<i>1</i>")
    return seeds.written(root)


def made() -> dict[str, bytes]:
    """Scores made here, by the names of their files; the first three hold what must be among the brackets looked at."""
    rows = {"octave-shift": octave_shift(), "second-voice": second_voice(), "over-systems": over_systems()}
    rows |= {f"pedals-{k}": seeds_harp.written(seeds_harp.changes_too_fast(k, 1).page).data for k in (1, 2)}
    rows |= {f"players-{k}": seeds.score(seeds_players.made("piano and celesta together", k).case) for k in (1, 2)}
    return {f"{name}.musicxml": data for name, data in rows.items()}


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of scores that no test changes."""
    folder = tmp_path_factory.mktemp("shelf")
    shutil.copy(DEMO, folder / "ferry.musicxml")
    if BOULANGER.is_file():
        shutil.copy(BOULANGER, folder / "boulanger.mxl")
    for name, data in made().items():
        (folder / name).write_bytes(data)
    (folder / "hostile.musicxml").write_bytes(hostile())
    return folder


@pytest.fixture(scope="module")
def server(shelf: Path) -> Iterator[Server]:
    with served(shelf) as one:
        yield one


@pytest.fixture
def ferry(workshop: tuple[Path, Server]) -> Path:
    """The demo piece, for a test that changes something."""
    folder, _ = workshop
    return Path(shutil.copy(DEMO, folder / f"ferry-{len(list(folder.iterdir()))}.musicxml"))


def needs(path: Path) -> None:
    if not path.is_file():
        pytest.skip(f"{path.name} is not here")


_KNOWN: dict[bytes, list[dict[str, Any]]] = {}


def in_json(path: Path) -> list[dict[str, Any]]:
    """The findings of `check --json`, in order; equal files are checked once."""
    data = path.read_bytes()
    if data not in _KNOWN:
        result = CliRunner().invoke(main, ["check", str(path), "--json"])
        _KNOWN[data] = json.loads(result.stdout)["findings"]
    return _KNOWN[data]


def checked(path: Path) -> dict[str, Finding]:
    """The findings of a file by their ids."""
    return {one.id: one for one in check(document.read(path).score).findings}


# ---------------------------------------------------------------- going through


@pytest.mark.parametrize("name", ["ferry.musicxml", "boulanger.mxl"])
def test_next_finding_goes_to_each_with_its_ring_and_bracket(
    browser: Any, server: Server, shelf: Path, name: str
) -> None:
    if name == "boulanger.mxl":
        needs(BOULANGER)
    rows = in_json(shelf / name)
    assert rows
    with watched(browser, server) as page:
        open_score(page, server.score(name), first=False)
        assert sorted(ids_shown(page)) == sorted(one["id"] for one in rows)
        order = ids_shown(page)
        for id_ in (*order, order[0]):
            page.click("#next")
            assert page.evaluate("document.activeElement.dataset.id") == id_
            system = page.query_selector(f".system:has([data-id='{id_}'])")
            page.wait_for_function("one => one.querySelector('.engraved').dataset.done", arg=system)
            wanted = {ref for one in rows if one["id"] == id_ for ref in one["notes"]}
            ring, *more = system.query_selector_all(f".ring[data-finding='{id_}']")
            assert more == []
            assert ring.bounding_box()["width"] > 8
            assert ring.text_content() == system.query_selector(f"[data-id='{id_}'] svg.key").text_content()
            bracketed = system.eval_on_selector_all(
                f"path.bracket[data-finding='{id_}']", "rows => rows.flatMap(one => one.dataset.notes.split(' '))"
            )
            assert bool(bracketed) == bool(wanted)
            assert set(bracketed) <= wanted
        page.click("#previous")
        assert page.evaluate("document.activeElement.dataset.id") == order[-1]


def test_the_finding_gone_to_is_in_the_window_and_so_is_its_ring(browser: Any, server: Server) -> None:
    with watched(browser, server) as page:
        open_score(page, server.score("ferry.musicxml"))
        draw_all(page)
        for id_ in ids_shown(page):
            page.click("#next")
            top = page.query_selector("#choices").bounding_box()
            box = page.query_selector(f"#finding-{id_}").bounding_box()
            assert top["y"] + top["height"] <= box["y"] + 1, id_
            assert box["y"] + box["height"] <= WIDE[1] + 1, id_


# ---------------------------------------------------------------- the bracket and the notes

BRACKETS = """() => {
  const rows = [];
  for (const place of document.querySelectorAll('#music .engraved')) {
    const svg = place.querySelector('svg');
    if (!svg || !place.getClientRects().length) continue;
    const lines = [...svg.querySelectorAll('path')].map(one => one.getBoundingClientRect())
      .filter(box => box.height === 0 && box.width > 60).map(box => box.top).sort((a, b) => a - b);
    const gaps = lines.slice(1).map((y, i) => y - lines[i]).filter(gap => gap > 0.5);
    for (const path of svg.querySelectorAll('path.bracket[data-notes]')) {
      const box = path.getBoundingClientRect();
      const heads = path.dataset.notes.split(' ').map(ref => {
        const [part, m, n] = ref.split('/');
        const note = document.getElementById(`s${place.dataset.first}-note-${part}-${m.slice(1)}-${n.slice(1)}`);
        if (!svg.contains(note)) return null;
        const inside = [...note.querySelectorAll('.notehead')];
        const boxes = (inside.length ? inside : [note]).map(one => one.getBoundingClientRect());
        return [Math.min(...boxes.map(one => one.left)), Math.max(...boxes.map(one => one.right)),
                Math.max(...boxes.map(one => one.bottom)), Math.min(...boxes.map(one => one.top)),
                note.classList.contains('note') && !inside.length];
      });
      rows.push({finding: path.dataset.finding, notes: path.dataset.notes.split(' '), first: place.dataset.first,
                 left: box.left, right: box.right, top: box.top, bottom: box.bottom, space: Math.min(...gaps), heads});
    }
  }
  return rows;
}"""


def chosen(shelf: Path) -> dict[str, list[str]]:
    """Thirty findings by name of the file: all of the first three scores that were made, the others by lot."""
    names = ["ferry.musicxml", *(["boulanger.mxl"] if BOULANGER.is_file() else []), *made()]
    rows = {name: [one["id"] for one in in_json(shelf / name) if one["notes"]] for name in names}
    sure = [(name, id_) for name in list(made())[:3] for id_ in rows[name]]
    rest = [(name, id_) for name in names for id_ in rows[name] if (name, id_) not in sure]
    drawn = sure + random.Random("brackets").sample(rest, 30 - len(sure))
    return {name: own for name in names if (own := [id_ for one, id_ in drawn if one == name])}


@pytest.mark.parametrize("scale", SCALES)
def test_a_bracket_covers_exactly_the_boxes_of_its_notes(browser: Any, server: Server, shelf: Path, scale: str) -> None:
    size, dense = SCALES[scale]
    looked_at = 0
    for name, ids in chosen(shelf).items():
        notes = {one["id"]: set(one["notes"]) for one in in_json(shelf / name)}
        with watched(browser, server, size, device_scale_factor=dense) as page:
            open_score(page, server.score(name), first=False)
            draw_all(page)
            rows = page.evaluate(BRACKETS)
        for id_ in ids:
            own = [row for row in rows if row["finding"] == id_]
            assert {ref for row in own for ref in row["notes"]} == notes[id_], (name, id_)
            for row in own:
                assert all(head and not head[4] for head in row["heads"]), (name, row)
                more = GROWN_SPACES * row["space"]
                left, right = min(h[0] for h in row["heads"]) - more, max(h[1] for h in row["heads"]) + more
                assert row["left"] == pytest.approx(left, abs=TOLERANCE_PX), (name, row)
                assert row["right"] == pytest.approx(right, abs=TOLERANCE_PX), (name, row)
                below, above = max(h[2] for h in row["heads"]), min(h[3] for h in row["heads"])
                assert row["top"] > below or row["bottom"] < above, (name, row)
            looked_at += 1
    assert looked_at == 30


def test_the_scores_made_here_hold_what_they_are_made_for(browser: Any, server: Server, shelf: Path) -> None:
    seen = {}
    for name in list(made())[:3]:
        with watched(browser, server) as page:
            open_score(page, server.score(name), first=False)
            draw_all(page)
            seen[name] = page.evaluate(BRACKETS)
    assert [row["notes"] for row in seen["octave-shift.musicxml"]] == [["P1/m1/n1"]]
    assert [row["notes"] for row in seen["second-voice.musicxml"]] == [["P1/m0/n6"]]
    over = seen["over-systems.musicxml"]
    assert len({row["finding"] for row in over}) == 1
    assert len({row["first"] for row in over}) == 3


# ---------------------------------------------------------------- taking, letting stand, taking back


def look_into(page: Any, id_: str) -> Any:
    """Open a finding; what is behind it, once it is there."""
    page.click(f"#finding-{id_} summary")
    return page.wait_for_selector(f"#finding-{id_} form[data-stand]")


def first_mend(rows: Sequence[dict[str, Any]], effect: str) -> tuple[str, int]:
    """The first finding with a mend of an effect, and the number of that mend."""
    return next((one["id"], k) for one in rows for k, mend in enumerate(one["mends"], 1) if mend["effect"] == effect)


def save_mended(page: Any) -> None:
    page.click("button[data-save=mended]")
    said(page, "Wrote")


def test_a_mend_is_taken_and_the_saved_copy_is_clean_of_its_finding(
    browser: Any, workshop: tuple[Path, Server], ferry: Path
) -> None:
    rows, before = in_json(ferry), ferry.read_bytes()
    id_, k = first_mend(rows, "changes-sound")
    with watched(browser, workshop[1]) as page:
        open_score(page, workshop[1].score(ferry.name))
        look_into(page, id_)
        page.click(f"[data-take='{id_}'][data-mend='{k}']")
        said(page, "1 mend taken.")
        assert id_ not in ids_shown(page)
        said(page, "Everything has been checked again")
        assert set(ids_shown(page)) == {one["id"] for one in rows} - {id_}
        assert page.locator("#lists ol.taken li").count() == 1
        save_mended(page)
        assert page.text_content("#said") == f"Wrote {ferry.stem}-mended.musicxml."
    assert ferry.read_bytes() == before
    assert set(checked(ferry.with_name(f"{ferry.stem}-mended.musicxml"))) == {one["id"] for one in rows} - {id_}


def test_what_is_let_stand_with_a_reason_is_still_let_stand_when_the_server_starts_again(
    browser: Any, ferry: Path
) -> None:
    id_ = in_json(ferry)[0]["id"]
    reason = "the player has the note"
    with served(ferry) as server, watched(browser, server) as page:
        open_score(page, server.address)
        look_into(page, id_)
        page.fill(f"#finding-{id_} input[name=reason]", reason)
        page.click(f"#finding-{id_} button[type=submit]")
        said(page, "Let stand.")
        assert id_ not in ids_shown(page)
    with served(ferry) as server, watched(browser, server) as page:
        open_score(page, server.address)
        assert id_ not in ids_shown(page)
        assert reason in page.text_content("#lists .stand-list li")
        page.click(f"[data-again='{id_}']")
        said(page, "Asked again.")
        assert id_ in ids_shown(page)
        assert page.locator("#lists .stand-list").count() == 0


def test_all_that_keep_the_sound_are_taken_in_one_go_and_taken_back_by_the_list(
    browser: Any, workshop: tuple[Path, Server], ferry: Path
) -> None:
    rows = in_json(ferry)
    keeping = [one["id"] for one in rows if any(mend["effect"] == "keeps-sound" for mend in one["mends"])]
    assert len(keeping) > 1
    with watched(browser, workshop[1]) as page:
        open_score(page, workshop[1].score(ferry.name))
        order = ids_shown(page)
        page.click("#keep")
        said(page, f"{len(keeping)} mends taken.", "Everything has been checked again")
        assert ids_shown(page) == [id_ for id_ in order if id_ not in keeping]
        assert page.is_hidden("#keep")
        assert page.locator("#lists ol.taken li").count() == len(keeping)
        page.click("#lists ol.taken li:first-child button")
        said(page, "One mend taken back.", "Everything has been checked again")
        assert ids_shown(page) == [id_ for id_ in order if id_ not in keeping[1:]]
        page.click("#lists ol.taken li:first-child button")
        page.wait_for_function("() => !document.querySelector('#lists ol.taken')")
        save_mended(page)
        assert ids_shown(page) == order
    assert ferry.with_name(f"{ferry.stem}-mended.musicxml").read_bytes() == ferry.read_bytes()


def test_a_reason_half_typed_outlasts_the_check_in_the_background(
    browser: Any, workshop: tuple[Path, Server], ferry: Path
) -> None:
    rows = in_json(ferry)
    id_, k = first_mend(rows, "keeps-sound")
    other = next(one["id"] for one in reversed(rows) if one["id"] != id_)
    with watched(browser, workshop[1]) as page:
        open_score(page, workshop[1].score(ferry.name))
        look_into(page, id_)
        look_into(page, other)
        # both at once, so that the check cannot be over before the first letter is there
        page.evaluate(
            """([id, k, other]) => {
              const field = document.querySelector(`#finding-${other} input[name=reason]`);
              field.focus(); field.value = 'it is do';
              document.querySelector(`[data-take='${id}'][data-mend='${k}']`).click();
            }""",
            [id_, str(k), other],
        )
        said(page, "1 mend taken.", "Everything has been checked again")
        page.wait_for_selector(f"#finding-{other} form[data-stand]")
        assert page.input_value(f"#finding-{other} input[name=reason]") == "it is do"


# ---------------------------------------------------------------- before and after

HEIGHTS = """figure => {
  const svg = figure.querySelector('svg.music');
  const rows = [...svg.querySelectorAll('path')].map(one => one.getBoundingClientRect())
    .filter(box => box.height === 0 && box.width > 40).map(box => box.top);
  const lines = [...new Set(rows.map(y => Math.round(10 * y)))].map(y => y / 10).sort((a, b) => a - b);
  const space = (lines[lines.length - 1] - lines[0]) / 4;
  const found = {};
  for (const note of svg.querySelectorAll('g.note[id*="-note-"]')) {
    const head = note.querySelector('.notehead');
    if (!head) continue;
    const box = head.getBoundingClientRect();
    found[note.id.replace(/^x\\d+-/, '')] = ((box.top + box.bottom) / 2 - lines[0]) / space;
  }
  return {lines: lines.length, found};
}"""
TONES = """async ([id, mend]) => {
  const {root, name} = document.body.dataset, rows = [];
  for (const after of ['0', '1']) {
    const answer = await fetch(`${root}/mend-tones?${new URLSearchParams({name, id, mend, after})}`);
    rows.push((await answer.json()).tones);
  }
  return rows;
}"""


def left_over(rows: Sequence[dict[str, Any]], others: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """The tones of one list that the other has not, with time, length and pitch."""
    there = [(one["at_s"], one["for_s"], one["midi"]) for one in others]
    found = []
    for one in rows:
        key = (one["at_s"], one["for_s"], one["midi"])
        if key in there:
            there.remove(key)
        else:
            found.append(one)
    return found


def octaves(says: str) -> int:
    """Semitones from the words of a mend: "two octaves higher" is 24."""
    match = re.search(r"(an|two|three) octaves? (higher|lower)", says)
    assert match, says
    return 12 * {"an": 1, "two": 2, "three": 3}[match[1]] * (1 if match[2] == "higher" else -1)


def test_before_and_after_of_each_mend_differ_where_the_edit_is_and_nowhere_else(
    browser: Any, server: Server, shelf: Path
) -> None:
    found = checked(shelf / "ferry.musicxml")
    sorts = {"octave": 0, "keeps": 0, "other": 0, "heads": 0}
    with watched(browser, server) as page:
        open_score(page, server.score("ferry.musicxml"))
        for id_, finding in found.items():
            written = [(k, mend) for k, mend in enumerate(finding.mends, 1) if mend.edits]
            if not written:
                continue
            look_into(page, id_)
            sections = page.query_selector_all(f"#finding-{id_} section.mend:has(.sides)")
            picture = sections[0].query_selector("svg.music")
            assert picture.screenshot() == picture.screenshot()
            assert len(sections) == len(written)
            for section, (k, mend) in zip(sections, written, strict=True):
                edited = {str(edit.note) for edit in mend.edits if isinstance(edit, NoteEdit)}
                before, after = page.evaluate(TONES, [id_, str(k)])
                went, came = left_over(before, after), left_over(after, before)
                figures = section.query_selector_all("figure")
                pictures = [one.query_selector("svg.music").screenshot() for one in figures]
                assert pictures[0] != pictures[1], (id_, k)
                if mend.effect is Effect.KEEPS_SOUND:
                    assert (went, came) == ([], []), (id_, k)
                    sorts["keeps"] += 1
                elif all(isinstance(edit, SetOctave) for edit in mend.edits):
                    by = octaves(mend.says)
                    changed = [one for one in before if edited & set(one["notes"])]
                    assert went == changed, (id_, k)
                    key = ("at_s", "for_s", "midi")
                    assert sorted(tuple(one[x] for x in key) for one in came) == sorted(
                        (one["at_s"], one["for_s"], one["midi"] + by) for one in changed
                    ), (id_, k)
                    sorts["octave"] += 1
                    heights = [one.evaluate(HEIGHTS) for one in figures]
                    if all(one["lines"] == 5 for one in heights):
                        moved = {f"note-{ref.replace('/m', '-').replace('/n', '-')}" for ref in edited}
                        assert moved & set(heights[0]["found"])
                        for note, y in heights[0]["found"].items():
                            up = 3.5 * by / 12 if note in moved else 0.0
                            assert y - heights[1]["found"][note] == pytest.approx(up, abs=0.1), (id_, k, note)
                        sorts["heads"] += 1
                else:
                    assert went, (id_, k)
                    sorts["other"] += 1
    assert all(sorts.values()), sorts


# ---------------------------------------------------------------- what is shown


def marks_shown(page: Any) -> set[str]:
    """The ids of the findings that have a ring or bracket to be seen."""
    rows = page.eval_on_selector_all(
        "#music .engraved [data-finding]",
        "rows => rows.filter(one => one.getBoundingClientRect().width).map(one => one.dataset.finding)",
    )
    return set(rows)


@pytest.mark.parametrize("choice", ["level", "part", "all"])
def test_show_only_hides_findings_and_their_marks(browser: Any, server: Server, shelf: Path, choice: str) -> None:
    rows = in_json(shelf / "ferry.musicxml")
    part = rows[-1]["part"]
    with watched(browser, server) as page:
        open_score(page, server.score("ferry.musicxml"))
        draw_all(page)
        assert marks_shown(page) == {one["id"] for one in rows}
        if choice == "level":
            page.uncheck(".only-level[value=hard]")
            kept = {one["id"] for one in rows if one["level"] != "hard"}
        elif choice == "part":
            page.select_option("#only-part", part)
            kept = {one["id"] for one in rows if one["part"] == part}
        else:
            for level in ("impossible", "hard", "notation", "advice"):
                page.uncheck(f".only-level[value={level}]")
            kept = set()
        assert len(kept) < len(rows)
        assert set(ids_shown(page)) == kept
        assert marks_shown(page) == kept
        page.click("#next")
        if kept:
            assert page.evaluate("document.activeElement.dataset.id") in kept
        else:
            said(page, "No finding is shown.")


def test_only_what_is_new_since_an_older_export(browser: Any, workshop: tuple[Path, Server], ferry: Path) -> None:
    older = ferry.with_name("older.musicxml")
    result = CliRunner().invoke(main, ["mend", str(ferry), "-o", str(older), "--all-keeping-sound"])
    assert older.is_file(), result.output
    new = {one["id"] for one in in_json(ferry)} - {one["id"] for one in in_json(older)}
    assert new
    with watched(browser, workshop[1]) as page:
        open_score(page, workshop[1].score(ferry.name))
        assert page.is_hidden("#only-new")
        page.select_option("#older", older.name)
        page.click("#compare")
        said(page, f"Since older.musicxml: {len(new)} new")
        page.check("#only-new")
        assert set(ids_shown(page)) == new


@pytest.mark.parametrize(("name", "source"), [("ferry.musicxml", DEMO), ("boulanger.mxl", BOULANGER)])
def test_the_full_score_on_wish(browser: Any, server: Server, name: str, source: Path) -> None:
    needs(source)
    parts = len(seeds.tree(source).findall("part-list/score-part"))
    with watched(browser, server) as page:
        open_score(page, server.score(name))
        first = "#music .system:first-child .engraved"
        some = page.evaluate("Math.min(...[...document.querySelectorAll('.engraved')].map(one => one.offsetHeight))")
        page.select_option("#show", "all")
        page.wait_for_selector(f"{first}[data-done]")
        shown = page.eval_on_selector_all(
            f"{first} [id*='-note-']", "rows => rows.map(one => one.id.replace(/^s\\d+-note-/, '').split('-')[0])"
        )
        assert len(set(shown)) == parts
        assert page.query_selector(first).bounding_box()["height"] > some
        assert page.query_selector(f"{first} svg").bounding_box()["height"] <= 1850


# ---------------------------------------------------------------- hostile names


def test_hostile_names_are_text(browser: Any, tmp_path: Path) -> None:
    name = 'a "b" <img src=x onerror=alert(4)>.musicxml'
    (tmp_path / name).write_bytes(hostile())
    shutil.copy(DEMO, tmp_path / "ferry.musicxml")
    with served(tmp_path) as server, watched(browser, server) as page:
        page.goto(server.address)
        page.click(f"text={name}")
        page.wait_for_selector(".engraved .notehead use")
        assert HOSTILE_TITLE in page.text_content("#title")
        assert HOSTILE_TITLE in page.title()
        assert HOSTILE_PART in page.text_content(".finding h3")
        assert HOSTILE_PART in page.text_content("#only-part option:last-child")
        assert "<i>1</i>" in page.text_content(".system h2")
        assert HOSTILE_WORDS in page.text_content(".engraved svg")
        id_ = ids_shown(page)[0]
        look_into(page, id_)
        assert HOSTILE_WORDS in page.text_content(".sides svg")
        page.fill("input[name=reason]", HOSTILE_REASON)
        page.click("button[type=submit]")
        said(page, "Let stand.")
        assert HOSTILE_REASON in page.text_content("#lists li")
        page.select_option("#older", "ferry.musicxml")
        page.click("#compare")
        said(page, "Since ferry.musicxml")
        page.click("button[data-save=html]")
        said(page, "Wrote")
        assert page.locator("img, #bold, i, script:not([src]), [onload], [onerror]").count() == 0
        page.goto(server.score("ferry.musicxml"))
        page.wait_for_selector("#choices:not([hidden])")
        assert page.text_content("#older option") == name
        assert page.evaluate("document.querySelectorAll('img').length") == 0


# ---------------------------------------------------------------- the page and the world


def test_the_page_says_its_policy_and_a_request_elsewhere_is_refused(browser: Any, server: Server) -> None:
    with watched(browser, server) as page:
        answer = page.goto(server.score("ferry.musicxml"))
        assert "default-src 'none'" in answer.headers["content-security-policy"]
        page.wait_for_selector("#choices:not([hidden])")
        assert page.seen.wrong == []
        with pytest.raises(Exception, match="Failed to fetch"):
            page.evaluate("fetch('http://127.0.0.1:9/')")
        assert any("Content Security Policy" in one for one in page.seen.wrong)  # so a breach would be seen in any test
        page.seen.wrong.clear()
        page.seen.asked[:] = [url for url in page.seen.asked if not url.startswith("http://127.0.0.1:9/")]
