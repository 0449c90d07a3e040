"""The order in which measures are played; what is quoted are the words of MusicXML 4.0."""

from __future__ import annotations

import pytest

from deskproof.musicxml.reader import read_bytes
from deskproof.order import playing_order
from deskproof.timeline import realise

NOTE = "<note><pitch><step>C</step><octave>4</octave></pitch><duration>4</duration></note>"

# One letter for each thing that can stand at a barline or in a measure.
OPENS = '<barline location="left"><repeat direction="forward"/></barline>'
CLOSES = '<barline location="right"><repeat direction="backward"/></barline>'


def closes(times: int = 2, after_jump: bool = False) -> str:
    jump = ' after-jump="yes"' if after_jump else ""
    return f'<barline location="right"><repeat direction="backward" times="{times}"{jump}/></barline>'


def ending(number: str, first: bool = True, last: bool = True, repeat: bool = True) -> tuple[str, str]:
    """What stands before and behind the notes of a measure under the bracket of an ending."""
    start = f'<barline location="left"><ending number="{number}" type="start"/></barline>' if first else ""
    sign = '<repeat direction="backward"/>' if repeat else ""
    kind = "stop" if repeat else "discontinue"
    stop = f'<barline location="right"><ending number="{number}" type="{kind}"/>{sign}</barline>' if last else ""
    return start, stop


def words(text: str) -> str:
    return f"<direction><direction-type><words>{text}</words></direction-type></direction>"


def sign(kind: str) -> str:
    return f"<direction><direction-type><{kind}/></direction-type></direction>"


def sound(attribute: str) -> str:
    return f"<sound {attribute}/>"


def score_of(*parts: list[str | tuple[str, str]]):
    """A score; each measure is what stands behind its note, or a pair of what stands before and behind it."""
    names = "".join(f'<score-part id="P{i}"><part-name>Horn</part-name></score-part>' for i in range(len(parts)))
    bodies = ""
    for i, measures in enumerate(parts):
        rows = [
            (m, "") if isinstance(m, str) and m == OPENS else (("", m) if isinstance(m, str) else m) for m in measures
        ]
        body = "".join(
            f'<measure number="{k}"><attributes><divisions>1</divisions></attributes>{before}{NOTE}{behind}</measure>'
            for k, (before, behind) in enumerate(rows)
        )
        bodies += f'<part id="P{i}">{body}</part>'
    return read_bytes(f"<score-partwise><part-list>{names}</part-list>{bodies}</score-partwise>".encode())


def played(*measures: str | tuple[str, str]) -> list[int]:
    order = playing_order(score_of(list(measures)))
    assert order.remark == ""
    return list(order.measures)


def test_without_signs_as_printed():
    assert played("", "", "") == [0, 1, 2]


def test_a_repeat_from_the_beginning():
    # "The start of the repeat has a forward direction while the end of the repeat has a backward direction."
    assert played("", CLOSES, "") == [0, 1, 0, 1, 2]


def test_a_repeat_between_two_signs():
    assert played("", OPENS, CLOSES, "") == [0, 1, 2, 1, 2, 3]


def test_one_measure_may_be_repeated_by_itself():
    assert played("", (OPENS, CLOSES), "") == [0, 1, 1, 2]


def test_a_second_repeat_without_a_beginning_goes_back_to_the_end_of_the_first():
    # The standard is silent; this is how two-part forms are printed.
    assert played("", CLOSES, "", CLOSES) == [0, 1, 0, 1, 2, 3, 2, 3]


def test_a_section_is_played_as_often_as_it_says():
    # "The times attribute indicates the number of times the repeated section is played."
    assert played("", closes(3), "") == [0, 1, 0, 1, 0, 1, 2]


def test_a_forward_sign_at_the_right_barline_opens_with_the_next_measure():
    after = '<barline location="right"><repeat direction="forward"/></barline>'
    assert played("", after, "", CLOSES) == [0, 1, 2, 3, 2, 3]


def test_a_backward_sign_at_the_left_barline_closes_the_measure_before():
    before = '<barline location="left"><repeat direction="backward"/></barline>'
    assert played("", "", (before, "")) == [0, 1, 0, 1, 2]


def test_an_implied_forward_repeat():
    # "The forward-repeat attribute indicates that a forward repeat sign is implied but not displayed."
    assert played("", (sound('forward-repeat="yes"'), ""), CLOSES) == [0, 1, 2, 1, 2]


def test_first_and_second_ending():
    # "The number attribute indicates which times the ending is played."
    assert played("", ending("1"), ending("2", repeat=False), "") == [0, 1, 0, 2, 3]


def test_endings_of_several_measures():
    assert played(
        "", ending("1", last=False), ending("1", first=False), ending("2", last=False, repeat=False),
        ending("2", first=False, repeat=False), "",
    ) == [0, 1, 2, 0, 3, 4, 5]  # fmt: skip


def test_three_endings():
    assert played("", ending("1"), ending("2"), ending("3", repeat=False)) == [0, 1, 0, 2, 0, 3]


def test_one_ending_for_two_passes():
    # "comma-separated multiple endings such as "1,2" may be used"
    assert played("", ending("1,2"), ending("3", repeat=False)) == [0, 1, 0, 1, 0, 2]


def test_a_lone_first_ending():
    assert played("", ending("1"), "") == [0, 1, 0, 2]


def test_a_new_repeat_after_endings():
    assert played("", ending("1"), ending("2", repeat=False), OPENS, CLOSES) == [0, 1, 0, 2, 3, 4, 3, 4]


def test_endings_within_a_repeat_that_is_opened():
    assert played("", OPENS, ending("1"), ending("2", repeat=False)) == [0, 1, 2, 1, 3]


@pytest.mark.parametrize("jump", [sound('dacapo="yes"'), words("D.C."), words("Da Capo"), words("D. C.")])
def test_da_capo(jump):
    # "Dacapo indicates to go back to the beginning of the movement."
    assert played("", "", jump) == [0, 1, 2, 0, 1, 2]


@pytest.mark.parametrize(
    ("fine", "jump"),
    [
        (sound('fine="yes"'), sound('dacapo="yes"')),
        (words("Fine"), words("D.C. al Fine")),
        (words("Fine"), words("Da Capo\nal Fine")),
    ],
)
def test_da_capo_al_fine(fine, jump):
    # "By default, a dalsegno or dacapo attribute indicates that the jump should occur the first time through"
    assert played("", fine, "", jump) == [0, 1, 2, 3, 0, 1]


def test_repeats_are_not_taken_again_after_a_jump():
    # "The after-jump attribute indicates if the repeats are played after a jump due to a da capo or dal segno."
    tail = ["", words("D.C. al Fine")]
    assert played("", CLOSES, words("Fine"), *tail) == [0, 1, 0, 1, 2, 3, 4, 0, 1, 2]
    assert played("", closes(after_jump=True), words("Fine"), *tail) == [0, 1, 0, 1, 2, 3, 4, 0, 1, 0, 1, 2]


def test_after_a_jump_the_last_ending_is_played():
    assert played("", ending("1"), ending("2", repeat=False), words("D.C.")) == [0, 1, 0, 2, 3, 0, 2, 3]


@pytest.mark.parametrize(
    ("segno", "leaves", "coda", "jump"),
    [
        (sound('segno="S"'), sound('tocoda="C"'), sound('coda="C"'), sound('dalsegno="S"')),
        (sign("segno"), words("To Coda"), sign("coda"), words("D.S. al Coda")),
        (sign("segno"), sign("coda"), sign("coda"), words("D.S. al Coda")),
        (sign("segno"), words("To Coda"), words("Coda"), words("Dal Segno al Coda")),
    ],
)
def test_dal_segno_al_coda(segno, leaves, coda, jump):
    # "Segno and dalsegno are used for backwards jumps to a segno sign; coda and tocoda are used for forward jumps to
    # a coda sign"; "a tocoda attribute indicates the jump should occur the second time through".
    assert played("", (segno, ""), leaves, jump, (coda, ""), "") == [0, 1, 2, 3, 1, 2, 4, 5]


def test_dal_segno_al_fine():
    assert played("", (sign("segno"), ""), words("Fine"), words("D.S. al Fine")) == [0, 1, 2, 3, 1, 2]


def test_signs_hold_for_all_parts_whichever_part_has_them():
    order = playing_order(score_of(["", "", ""], ["", CLOSES, ""]))
    assert list(order.measures) == [0, 1, 0, 1, 2]
    # The same sign in both parts is one sign.
    assert list(playing_order(score_of(["", CLOSES, ""], ["", CLOSES, ""])).measures) == [0, 1, 0, 1, 2]


def test_a_part_with_fewer_measures_ends_earlier():
    assert list(playing_order(score_of(["", ""], ["", "", "", CLOSES])).measures) == [0, 1, 2, 3, 0, 1, 2, 3]


def test_jumps_that_never_come_to_an_end_are_refused():
    order = playing_order(score_of(["", closes(60_000)]))
    assert list(order.measures) == [0, 1]
    assert "50000" in order.remark


def test_passes_are_counted_for_each_measure():
    timeline = realise(score_of(["", ending("1"), ending("2", repeat=False)]))
    assert [(p.measure, p.pass_, p.onset // timeline.frame.grid) for p in timeline.frame.plays] == [
        (0, 1, 0),
        (1, 1, 4),
        (0, 2, 8),
        (2, 1, 12),
    ]
    assert [(e.measure, e.pass_) for e in timeline.parts[0]] == [(0, 1), (1, 1), (0, 2), (2, 1)]
