"""The pedals of a piano: signs read, strings simulated against a walk through time, findings.

What is expected rests on the mechanism as handbooks tell it: the damper pedal lifts all dampers, the sostenuto keeps
up those that are up as it goes down and holds no key struck later, una corda changes no length. Hold C2, press the
sostenuto, let C2 go, play and let go E4: C2 sounds on, E4 stops.
"""

from __future__ import annotations

import random
import time
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import pytest
from music21.pitch import Pitch

from corpus import corpus_files, shared_scores
from deskproof import facts
from deskproof.document import from_bytes
from deskproof.families.keyboard import pedal_rules
from deskproof.families.keyboard.pedal_checks import Played, pedal_findings, undamped_from
from deskproof.families.keyboard.pedal_signs import kinds_of, said, signs_of
from deskproof.families.keyboard.pedals import (
    DAMPER,
    SOSTENUTO,
    UNA_CORDA,
    Kept,
    Key,
    Need,
    Press,
    Sign,
    blurs,
    needs_damper,
    presses,
    proposed_dampers,
    simulate,
    sostenuto_instead,
)
from deskproof.findings import Finding, folded
from deskproof.score import UNCHECKED, NoteRef, Score
from deskproof.spans import spans_of
from deskproof.timeline import Timeline, realise
from oracles.keyboard_pedals import record_complaints

QUARTER = 1_000_000  # microseconds; the scores here stand at 60 quarters a minute

# ------------------------------------------------------------------ the simulation against a walk through time


def some_presses(draw: random.Random, pedal: str) -> list[Press]:
    """Presses of one pedal that do not overlap; some follow one another at once."""
    at, found = 0, []
    for _ in range(draw.randrange(4)):
        down = at + draw.choice((0, 0, 1, 2, 3, 5))
        at = down + draw.choice((1, 1, 2, 3, 4, 8))
        found.append(Press(pedal, down, at))
    return found


def some_keys(draw: random.Random) -> list[Key]:
    """A few notes on three keys, unisons, overlaps and notes of no length among them."""
    found = []
    for _ in range(draw.randrange(1, 7)):
        down = draw.randrange(26)
        up = down + draw.choice((0, 1, 1, 2, 3, 5))
        written = max(down, up + draw.choice((-1, 0, 0, 1, 2, 5, 9)))
        found.append(Key(draw.choice((60, 60, 62, 64)), down, up, written))
    return found


def record(keys: Sequence[Key], kept: Sequence[Kept], pressed: Sequence[Press]) -> dict[str, Any]:
    return {
        "notes": [
            {
                "ref": f"P1/m0/n{n}", "pass": 1, "midi": key.midi, "t_us": key.down_us, "down_us": key.down_us,
                "up_us": key.up_us, "sounds_until_us": one.sounds_until_us, "kept_by": one.kept_by,
            }
            for n, (key, one) in enumerate(zip(keys, kept, strict=True))
        ],
        "pedals": [
            {"pedal": one.pedal, "down_us": one.down_us, "up_us": one.up_us, "written": one.written}
            for one in pressed
        ],
    }  # fmt: skip


@pytest.mark.parametrize("block", range(8))
def test_strings_sound_as_long_as_a_walk_through_time_says(block):
    seen = set()
    for seed in range(250 * block, 250 * (block + 1)):
        draw = random.Random(f"pedals {seed}")
        keys = some_keys(draw)
        pressed = some_presses(draw, DAMPER) + some_presses(draw, SOSTENUTO) + some_presses(draw, UNA_CORDA)
        kept = simulate(keys, pressed)
        written = {(f"P1/m0/n{n}", 1): key.written_us for n, key in enumerate(keys)}
        assert record_complaints(record(keys, kept, pressed), written) == [], seed
        seen |= {one.kept_by for one in kept}
    assert seen == {"finger", "damper", "sostenuto", "cut"}


def test_the_walk_finds_a_wrong_record():
    keys = [Key(60, 0, 2, 6)]
    pressed = [Press(DAMPER, 1, 8)]
    good = record(keys, simulate(keys, pressed), pressed)
    assert record_complaints(good, {("P1/m0/n0", 1): 6}) == []
    for change in ({"sounds_until_us": 7}, {"kept_by": "finger"}, {"kept_by": "cut"}):
        bad = {**good, "notes": [{**good["notes"][0], **change}]}
        assert record_complaints(bad, {("P1/m0/n0", 1): 6})


@pytest.mark.parametrize("seed", range(200))
def test_needs_are_what_it_takes(seed):
    """With the damper pedal down over the needs no note is cut; with any of them left out one is."""
    draw = random.Random(f"needs {seed}")
    keys = some_keys(draw)
    sostenuto = some_presses(draw, SOSTENUTO)
    needs = needs_damper(keys, sostenuto)
    down = [Press(DAMPER, max(0, need.from_us - 1), need.to_us) for need in needs]
    apart = all(one.up_us <= other.down_us for one, other in pairwise(down))
    starts = {press.down_us for press in sostenuto}
    if apart and not any(one.down_us < t < one.up_us for one in down for t in starts):
        short = [key for key in keys if key.down_us == key.up_us]  # struck and gone: the pedal must be down before
        if not short:
            assert not any(one.kept_by == "cut" for one in simulate(keys, [*sostenuto, *down]))
    for i in range(len(needs)):
        less = [one for n, one in enumerate(down) if n != i]
        assert any(one.kept_by == "cut" for one in simulate(keys, [*sostenuto, *less]))
    assert all(need.from_us < need.to_us for need in needs)
    cut = {n for n, one in enumerate(simulate(keys, sostenuto)) if one.kept_by == "cut"}
    assert {n for need in needs for n in need.keys} == cut


# ------------------------------------------------------------------ the simulation by example


def test_the_published_example_of_the_sostenuto_pedal():
    c2, e4 = Key(36, 0, 2, 2), Key(64, 3, 4, 4)
    assert simulate([c2, e4], [Press(SOSTENUTO, 1, 9)]) == (Kept(9, "sostenuto"), Kept(4, "finger"))


def test_pressed_with_the_key_it_catches_pressed_as_it_lifts_it_does_not():
    key = Key(60, 5, 8, 8)
    assert simulate([key], [Press(SOSTENUTO, 5, 20)])[0].sounds_until_us == 20
    assert simulate([key], [Press(SOSTENUTO, 8, 20)])[0].sounds_until_us == 8
    assert simulate([key], [Press(DAMPER, 8, 20)])[0].sounds_until_us == 8


def test_all_strings_are_caught_while_the_damper_pedal_is_down():
    keys = [Key(36, 0, 1, 1), Key(90, 6, 7, 7)]
    pressed = [Press(DAMPER, 0, 4), Press(SOSTENUTO, 3, 30)]
    assert [one.sounds_until_us for one in simulate(keys, pressed)] == [30, 30]
    together = [Press(DAMPER, 3, 4), Press(SOSTENUTO, 3, 30)]
    assert [one.sounds_until_us for one in simulate(keys, together)] == [1, 7]


def test_repedalling_damps_what_no_finger_holds():
    keys = [Key(48, 0, 2, 2), Key(52, 0, 6, 6)]
    pressed = [Press(DAMPER, 1, 4), Press(DAMPER, 4, 9)]
    assert [one.sounds_until_us for one in simulate(keys, pressed)] == [4, 9]


def test_una_corda_changes_no_length():
    draw = random.Random("una corda")
    for _ in range(50):
        keys, pressed = some_keys(draw), some_presses(draw, DAMPER)
        assert simulate(keys, pressed) == simulate(keys, [*pressed, *some_presses(draw, UNA_CORDA)])


def test_strings_without_dampers_are_never_cut():
    top = undamped_from("piano")
    assert top == Pitch(facts.get("piano.undamped_from").value).midi
    assert undamped_from("celesta") is None
    keys = [Key(top, 0, 1, 5), Key(top - 1, 0, 1, 5)]
    assert simulate(keys, [], top) == (Kept(5, "finger"), Kept(1, "cut"))
    assert needs_damper(keys, [], top) == (Need(1, 5, (1,)),)


def test_a_bass_that_no_hand_holds_needs_the_damper_pedal():
    keys = [Key(36, 0, 10, 40), Key(60, 10, 20, 20), Key(64, 20, 30, 30)]
    assert needs_damper(keys) == (Need(10, 40, (0,)),)
    assert needs_damper(keys, [Press(SOSTENUTO, 5, 40)]) == ()
    assert proposed_dampers(keys, needs_damper(keys)) == (Press(DAMPER, 0, 40, written=False),)


def test_the_pedal_is_changed_with_the_bass():
    bars = [(36, 48, 60), (43, 55, 62), (43, 59, 67)]
    keys = [
        key
        for i, (bass, one, two) in enumerate(bars)
        for key in (Key(bass, 40 * i, 40 * i + 10, 40 * i + 40), Key(one, 40 * i + 10, 40 * i + 20, 40 * i + 20),
                    Key(two, 40 * i + 20, 40 * i + 40, 40 * i + 40))
    ]  # fmt: skip
    needs = needs_damper(keys)
    assert [(need.from_us, need.to_us) for need in needs] == [(10, 40), (50, 80), (90, 120)]
    found = proposed_dampers(keys, needs)
    assert [(one.down_us, one.up_us) for one in found] == [(0, 40), (40, 80), (80, 120)]
    assert not any(one.kept_by == "cut" for one in simulate(keys, found))


def test_a_change_never_cuts_a_note_that_is_wanted():
    keys = [Key(36, 0, 10, 80), Key(31, 40, 50, 80), Key(60, 50, 80, 80)]
    assert [(one.down_us, one.up_us) for one in proposed_dampers(keys, needs_damper(keys))] == [(0, 80)]


def test_blurs_only_under_a_pedal_that_nobody_wrote():
    keys = [Key(60, 0, 10, 10), Key(62, 10, 20, 20), Key(67, 20, 30, 30)]
    steps = facts.get("pedals.blur_steps").value
    ours = [Press(DAMPER, 0, 30, written=False)]
    assert [(one.t_us, one.held, one.struck) for one in blurs(keys, ours, steps)] == [(10, 0, 1)]
    assert blurs(keys, [Press(DAMPER, 0, 30)], steps) == ()
    assert blurs(keys, [], steps) == ()


def test_a_sostenuto_pedal_for_a_held_bass_under_staccato():
    keys = [Key(36, 0, 10, 40), Key(60, 10, 12, 12), Key(64, 20, 22, 22)]
    (need,) = needs_damper(keys)
    assert sostenuto_instead(keys, need, {1, 2}) == Press(SOSTENUTO, 0, 40, written=False)
    assert sostenuto_instead(keys, need, {1}) is None  # one note is not short
    assert sostenuto_instead(keys, need, {1, 2}, [Press(UNA_CORDA, 0, 60)]) is None  # the left foot is taken
    pressed = sostenuto_instead(keys, need, {1, 2})
    assert pressed is not None
    assert [one.kept_by for one in simulate(keys, [pressed])] == ["sostenuto", "finger", "finger"]


def test_time_is_linear_in_notes():
    def seconds(n: int) -> float:
        keys = [Key(36 + i * 7 % 50, 10 * i, 10 * i + 8, 10 * i + 30) for i in range(n)]
        pressed = [Press(DAMPER, 20 * i, 20 * i + 20) for i in range(n // 2)]
        pressed += [Press(SOSTENUTO, 50 * i + 1, 50 * i + 40) for i in range(n // 5)]
        start = time.perf_counter()
        simulate(keys, pressed)
        needs = needs_damper(keys, pressed)
        proposed_dampers(keys, needs)
        blurs(keys, [one._replace(written=False) for one in pressed], (1, 2))
        return time.perf_counter() - start

    small = min(seconds(2000) for _ in range(3))
    large = min(seconds(16000) for _ in range(2))
    assert large < 20 * small


# ------------------------------------------------------------------ signs of a page

HEAD = """<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>{name}</part-name></score-part>
</part-list><part id="P1">"""
FIRST = """<attributes><divisions>4</divisions><time><beats>4</beats><beat-type>4</beat-type></time><staves>2</staves>
</attributes><direction><direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>60</per-minute></metronome>
</direction-type></direction>"""


def note(step: str = "C4", quarters: int = 4, voice: int = 1, staff: int = 1) -> str:
    pitch = f"<pitch><step>{step[0]}</step><octave>{step[1]}</octave></pitch>" if step != "R" else "<rest/>"
    return f"<note>{pitch}<duration>{4 * quarters}</duration><voice>{voice}</voice><staff>{staff}</staff></note>"


def pedal(attributes: str, staff: int = 1) -> str:
    kind = f"<direction-type><pedal {attributes}/></direction-type>"
    return f"<direction>{kind}<staff>{staff}</staff></direction>"


def text(words: str, sound: str = "") -> str:
    extra = f"<sound {sound}/>" if sound else ""
    return f"<direction><direction-type><words>{words}</words></direction-type>{extra}</direction>"


def heard(*bars: str, name: str = "Piano") -> Timeline:
    body = "".join(f'<measure number="{i}">{FIRST if i == 1 else ""}{bar}</measure>' for i, bar in enumerate(bars, 1))
    score = HEAD.format(name=name) + body + "</part></score-partwise>"
    return realise(from_bytes(score.encode()).score)


def moves(timeline: Timeline) -> list[tuple[int, str, float, bool, int]]:
    """Quarter, pedal, down, written and pass of every sign."""
    signs = signs_of(timeline.score.parts[0], timeline.frame)
    assert all(sign.t_us % QUARTER == 0 for sign in signs)
    return [(sign.t_us // QUARTER, sign.pedal, sign.down, sign.written, sign.pass_) for sign in signs]


def pressed(timeline: Timeline) -> list[tuple[str, int, int]]:
    signs = signs_of(timeline.score.parts[0], timeline.frame)
    end = timeline.frame.clock.ceil_us(timeline.frame.length)
    return [(one.pedal, one.down_us // QUARTER, one.up_us // QUARTER) for one in presses(signs, end)]


def test_pedal_marks_of_the_standard():
    timeline = heard(
        pedal('type="start" line="yes"') + note(quarters=2) + pedal('type="change" line="yes"') + note(quarters=2),
        pedal('type="continue" line="yes"') + note(quarters=2) + pedal('type="stop" line="yes"') + note(quarters=2),
    )
    assert moves(timeline) == [
        (0, DAMPER, 1, True, 1), (2, DAMPER, 0, True, 1), (2, DAMPER, 1, True, 1), (6, DAMPER, 0, True, 1),
    ]  # fmt: skip
    assert pressed(timeline) == [(DAMPER, 0, 2), (DAMPER, 2, 6)]


def test_a_stop_lifts_the_pedal_of_its_number_and_without_one_the_last():
    timeline = heard(
        pedal('type="sostenuto" number="2"') + note(quarters=1) + pedal('type="start"') + note(quarters=1)
        + pedal('type="stop" number="2"') + note(quarters=1) + pedal('type="stop"') + note(quarters=1)
    )  # fmt: skip
    assert pressed(timeline) == [(SOSTENUTO, 0, 2), (DAMPER, 1, 3)]
    timeline = heard(
        pedal('type="sostenuto"') + note(quarters=1) + pedal('type="start"') + note(quarters=1)
        + pedal('type="stop"') + note(quarters=1) + pedal('type="stop"') + note(quarters=1)
    )  # fmt: skip
    assert pressed(timeline) == [(SOSTENUTO, 0, 3), (DAMPER, 1, 2)]


def test_marks_on_both_staves_count_once():
    both = heard(
        pedal('type="sostenuto" number="2"') + note(quarters=1) + pedal('type="start"') + pedal('type="start"', 2)
        + note(quarters=1) + pedal('type="stop"') + pedal('type="stop"', 2) + note(quarters=2)
    )  # fmt: skip
    assert pressed(both) == [(SOSTENUTO, 0, 4), (DAMPER, 1, 2)]


def test_a_line_named_as_the_sostenuto_is_one():
    timeline = heard(
        text("Sost. Ped.") + pedal('type="start" line="yes" sign="no"') + note(), pedal('type="stop"') + note()
    )
    assert pressed(timeline) == [(SOSTENUTO, 0, 4)]


def test_a_line_that_breaks_off_and_is_taken_up():
    timeline = heard(
        pedal('type="start"') + note(), pedal('type="discontinue"') + note(), pedal('type="resume"') + note()
    )
    assert pressed(timeline) == [(DAMPER, 0, 4), (DAMPER, 8, 12)]


def test_a_new_ped_without_a_star_repedals():
    timeline = heard(text("Ped.") + note(), text("Ped.") + note(), text("*") + note())
    assert pressed(timeline) == [(DAMPER, 0, 4), (DAMPER, 4, 8)]


@pytest.mark.parametrize(
    ("said_there", "expected"),
    [
        ("Ped.", [(DAMPER, 1, False)]),
        ("\U0001d1ae", [(DAMPER, 1, False)]),
        ("\ue650", [(DAMPER, 1, False)]),
        ("1/2 Ped.", [(DAMPER, 0.5, False)]),
        ("con Ped.", [(DAMPER, 1, True)]),
        ("sempre Ped.", [(DAMPER, 1, True)]),
        ("senza sordini", [(DAMPER, 1, True)]),
        ("senza Ped.", [(DAMPER, 0, True)]),
        ("*", [("", 0, False)]),
        ("* Ped.", [("", 0, False), (DAMPER, 1, False)]),
        ("una corda", [(UNA_CORDA, 1, False)]),
        ("U.C.", [(UNA_CORDA, 1, False)]),
        ("sopra una corda", [(UNA_CORDA, 1, False)]),
        ("mit Verschiebung", [(UNA_CORDA, 1, False)]),
        ("due corde", [(UNA_CORDA, 0.5, False)]),
        ("tre corde", [(UNA_CORDA, 0, False)]),
        ("tutte le corde", [(UNA_CORDA, 0, False)]),
        ("ohne Verschiebung", [(UNA_CORDA, 0, False)]),
        ("poco a poco tre corde", [(UNA_CORDA, 0.5, True)]),
        ("mit 2 Pedalen", [(UNA_CORDA, 1, False), (DAMPER, 1, True)]),
        ("una corda e con ped.", [(UNA_CORDA, 1, False), (DAMPER, 1, True)]),
        ("sourdine", [(UNA_CORDA, 1, False)]),
        ("sans sourdine", [(UNA_CORDA, 0, True)]),
        ("sost. ped.", [(SOSTENUTO, 1, False)]),
        ("S.P.", [(SOSTENUTO, 1, False)]),
        ("senza sost. ped.", [(SOSTENUTO, 0, False)]),
        ("cantabile", []),
    ],
)
def test_what_words_and_signs_ask_for(said_there, expected):
    assert list(said(said_there)) == expected


def test_half_pedals_and_playback_data_pass_through():
    timeline = heard(
        '<sound damper-pedal="40"/>' + note(), '<sound damper-pedal="100"/>' + note(),
        '<sound damper-pedal="0" soft-pedal="yes" sostenuto-pedal="yes"/>' + note(),
    )  # fmt: skip
    assert moves(timeline) == [
        (0, DAMPER, 0.4, False, 1), (4, DAMPER, 1, False, 1), (8, DAMPER, 0, False, 1), (8, UNA_CORDA, 1, False, 1),
        (8, SOSTENUTO, 1, False, 1),
    ]  # fmt: skip
    signs = signs_of(timeline.score.parts[0], timeline.frame)
    one, *_ = presses(signs, 12 * QUARTER)
    assert (one.down_us, one.up_us, one.half, one.written) == (0, 8 * QUARTER, True, False)


def test_playback_data_beside_printed_signs_are_left_out():
    timeline = heard(
        pedal('type="start"') + '<sound damper-pedal="yes"/>' + note(), pedal('type="stop"') + note(),
        '<sound damper-pedal="yes"/>' + note(),
    )  # fmt: skip
    assert moves(timeline) == [(0, DAMPER, 1, True, 1), (4, DAMPER, 0, True, 1)]


def test_signs_are_played_every_time_their_bar_is():
    repeat = '<barline location="right"><repeat direction="backward"/></barline>'
    timeline = heard(
        pedal('type="start"') + note(quarters=2) + pedal('type="stop"') + note(quarters=2) + repeat, note()
    )
    assert moves(timeline) == [
        (0, DAMPER, 1, True, 1), (2, DAMPER, 0, True, 1), (4, DAMPER, 1, True, 2), (6, DAMPER, 0, True, 2),
    ]  # fmt: skip


def test_una_corda_ends_with_its_line():
    line = '<direction><direction-type><{} type="{}" number="1"{}/></direction-type></direction>'
    for kind, extra in (("dashes", ""), ("bracket", ' line-end="down"')):
        timeline = heard(
            text("una corda") + line.format(kind, "start", extra) + note(),
            note(),
            line.format(kind, "stop", extra) + note(),
        )
        assert pressed(timeline) == [(UNA_CORDA, 0, 8)]


def test_con_ped_presses_nothing_and_una_corda_said_again_only_reminds():
    signs = [
        Sign(0, 0, 0, 1, DAMPER, 1, True, free=True),
        Sign(1, 0, 0, 1, UNA_CORDA, 1, True),
        Sign(5, 1, 0, 1, UNA_CORDA, 1, True),
        Sign(9, 2, 0, 1, UNA_CORDA, 0, True),
    ]
    assert [(one.pedal, one.down_us, one.up_us, one.closed) for one in presses(signs, 20)] == [(UNA_CORDA, 1, 9, True)]


# ------------------------------------------------------------------ findings


def played(score: Score, timeline: Timeline, part: int, leave_us: dict[str, int] | None = None) -> list[Played]:
    """The notes of a part; hands hold them as written, or leave those named at a time."""
    found = []
    for event in timeline.parts[part]:
        if event.sounding is None or event.note.flags & UNCHECKED or event.sounding != int(event.sounding):
            continue
        down, end = timeline.frame.times_us(event)
        ref = NoteRef(score.parts[part].id, event.measure, event.note.n)
        up = (leave_us or {}).get(str(ref), end)
        key = Key(int(event.sounding), down, up, end)
        found.append(Played(ref, event.pass_, event.measure, event.note.start, event.note.staff, key))
    return found


def findings(timeline: Timeline, part: int = 0, leave_us: dict[str, int] | None = None) -> list[Finding]:
    score, frame = timeline.score, timeline.frame
    notes = played(score, timeline, part, leave_us)
    signs = signs_of(score.parts[part], frame)
    kind = kinds_of(spans_of(timeline)[part], frame)
    return folded(pedal_findings(signs, notes, part, score.parts[part], frame, kind))


def rule_ids(found: Sequence[Finding]) -> list[str]:
    return [one.rule.id for one in found]


def two_voices(upper: str, lower: str) -> str:
    return upper + "<backup><duration>16</duration></backup>" + lower


def test_a_note_struck_after_the_sostenuto_is_not_held_by_it():
    bass = note("C2", 3, 2, 2)
    early = heard(
        two_voices(note("G5", 4), pedal('type="sostenuto"', 2) + note("E3", 1, 2, 2) + bass),
        pedal('type="stop"', 2) + note(),
    )
    late = heard(
        two_voices(note("G5", 4), note("E3", 1, 2, 2) + pedal('type="sostenuto"', 2) + bass),
        pedal('type="stop"', 2) + note(),
    )
    left = {"P1/m0/n2": 2 * QUARTER}  # the hand has to leave the bass at the third quarter
    (found,) = findings(early, leave_us=left)
    assert (found.rule, found.level) == (pedal_rules.SOSTENUTO_AFTER, "notation")
    assert [str(ref) for ref in found.notes] == ["P1/m0/n2"] and found.numbers["short_us"] == 2 * QUARTER
    assert findings(early) == [] and findings(late, leave_us=left) == []


def test_a_sostenuto_on_the_rest_before_its_note_is_one_finding():
    timeline = heard(
        two_voices(note("G5", 1) + note("R", 3), note("R", 1, 2, 2) + pedal('type="sostenuto"', 2) + note("R", 1, 2, 2)
                   + note("C2", 2, 2, 2)),
        pedal('type="stop"', 2) + note(),
    )  # fmt: skip
    found = findings(timeline, leave_us={"P1/m0/n4": 3 * QUARTER})
    assert rule_ids(found) == ["keyboard-sostenuto-nothing"]
    assert found[0].numbers["early_us"] == QUARTER


def test_hidden_signs_are_never_judged():
    hidden = "".join(f'<sound {one}="yes"/>' for one in ("damper-pedal", "sostenuto-pedal", "soft-pedal"))
    timeline = heard(note(), hidden + note("R"), *[note()] * 30, '<sound soft-pedal="no"/>' + note())
    assert findings(timeline) == []
    lone = heard(note(), note(), '<sound soft-pedal="yes"/>' + note(), text("tre corde") + note())
    assert findings(lone) == []


def test_repeats_ask_for_una_corda_once():
    repeat = '<barline location="right"><repeat direction="backward"/></barline>'
    bars = [note(quarters=1) * 4] * 3
    timeline = heard(
        note(), text("una corda") + note(quarters=1) * 4, *bars, note() + repeat, text("tre corde") + note()
    )
    assert findings(timeline) == []


def test_a_player_of_two_instruments():
    celesta = heard(
        text("una corda") + note(), text("tre corde") + note(), text("To Celesta") + note("R"), note(),
        text("una corda") + note(),
    )  # fmt: skip
    found = findings(celesta)
    assert rule_ids(found) == ["keyboard-no-such-pedal"]
    assert found[0].place.measure == 4 and found[0].numbers["pedal"] == UNA_CORDA


def test_a_pedal_mark_in_an_organ_part_is_the_pedalboard():
    for name, expected in (("Organ", []), ("Harpsichord", ["keyboard-no-such-pedal"])):
        assert (
            rule_ids(findings(heard(pedal('type="start"') + note(), pedal('type="stop"') + note(), name=name)))
            == expected
        )


def test_printed_piano_music_is_silent():
    """The piano parts of the shared scores and of music21's corpus that print a pedal."""
    read = signs = 0
    for path in [*(one.path for one in corpus_files()), *(p for p in shared_scores() if p.suffix != ".mid")]:
        raw = path.read_bytes()
        if path.suffix == ".xml" and b"pedal" not in raw and b"orda" not in raw:
            continue
        timeline = realise(from_bytes(raw, path.name).score)
        for i, spans in enumerate(spans_of(timeline)):
            if any(span.instrument is not None and span.instrument.kind == "piano" for span in spans):
                found = [f"{path.name}: {one.says}" for one in findings(timeline, i)]
                assert found == []
                read += 1
                signs += len(signs_of(timeline.score.parts[i], timeline.frame))
    assert read >= 5 and signs >= 8


def test_the_record_of_a_real_part_stands_before_the_walk():
    """Signs and strings of a printed song, in steps of its shortest note, against the walk through time."""
    path = next((p for p in shared_scores() if p.name == "viardot-belle-yoli.mxl"), None)
    if path is None:
        pytest.skip("the shared score is not here")
    timeline = realise(from_bytes(path.read_bytes(), path.name).score)
    part = next(i for i, one in enumerate(timeline.score.parts) if one.name.casefold() == "piano")
    signs = signs_of(timeline.score.parts[part], timeline.frame)
    notes = [one for one in played(timeline.score, timeline, part) if one.measure < 24]
    down = [one for one in presses(signs, max(n.key.up_us for n in notes)) if one.down_us < notes[-1].key.up_us]
    times = sorted({t for n in notes for t in n.key[1:]} | {t for one in down for t in (one.down_us, one.up_us)})
    step = {t: i for i, t in enumerate(times)}  # only the order of moments matters
    keys = [Key(n.key.midi, *(step[t] for t in n.key[1:])) for n in notes]
    small = [one._replace(down_us=step[one.down_us], up_us=step[one.up_us]) for one in down]
    written = {(f"P1/m0/n{n}", 1): key.written_us for n, key in enumerate(keys)}
    assert len(keys) > 150 and len(small) > 5
    assert record_complaints(record(keys, simulate(keys, small), small), written) == []
    exact = simulate([n.key for n in notes], down)
    assert [step[one.sounds_until_us] for one in exact] == [one.sounds_until_us for one in simulate(keys, small)]
