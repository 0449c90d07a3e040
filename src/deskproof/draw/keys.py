"""The keys under two hands, to scale: outlines only, a small cross on each key that is struck, the hands as brackets.

One unit of the picture is a millimetre on the keyboard. The right hand's bracket stands above the keys and the left
hand's below, each with its width from key to key and with its fingers where they are known.
"""

from __future__ import annotations

import html
from collections.abc import Iterator, Sequence, Set
from typing import NamedTuple

from deskproof import facts
from deskproof.families.keyboard.fingering import fingers_of
from deskproof.families.keyboard.geometry import SEMITONES, Keyboard, is_black, keyboard
from deskproof.families.keyboard.planning import KeyboardPlan
from deskproof.pitch import name

LENGTH = 150.0  # of a white key
BLACK_LENGTH = 95.0
MORE = 2  # white keys shown beyond the outermost on each side
ROOM = 34.0  # above and below the keys, for one bracket
CROSS = 3.5  # half of a cross
LINE, STRONG = 0.6, 1.4
FONT = "Georgia, 'Times New Roman', serif"
LOWEST, HIGHEST = 0, 127
SIDES = {"L": "left", "R": "right"}


class Struck(NamedTuple):
    """A key that is struck: its MIDI number, its hand (L or R) and its finger, 0 if none is told."""

    key: int
    hand: str
    finger: int = 0


def struck_at(plan: KeyboardPlan, notes: Set[tuple[int, int]], hand_of_notes: str = "") -> list[Struck]:
    """The keys of the first onset that has one of these notes (measure, ordinal), with hands and fingers.

    A key that no hand is left for is told with the hand that is nearer. ``hand_of_notes`` is the hand that a finding
    gives the notes to (L or R), where it says so: then they are its, and no finger is told of a chord out of reach.
    """
    assert plan.reading is not None and plan.hands is not None
    for i, row in enumerate(plan.reading.onsets):
        if any((event.measure, event.note.n) in notes for key in row for event in key.events):
            fingers = fingers_of(plan)[i]
            hands = plan.hands.hands[i]
            middle = (row[0].key + row[-1].key) / 2
            found = []
            for key, hand, finger in zip(row, hands, fingers, strict=True):
                named = bool(hand_of_notes) and any((e.measure, e.note.n) in notes for e in key.events)
                side = hand_of_notes if named else hand or ("L" if key.key < middle else "R")
                found.append(Struck(key.key, side, finger[0] if finger and not hand_of_notes else 0))
            return found
    return []


def of_hand(plan: KeyboardPlan, notes: Set[tuple[int, int]], hand: str) -> list[Struck]:
    """The keys of one hand at all onsets that have one of these notes: where it leaps from, and where to."""
    assert plan.reading is not None and plan.hands is not None
    found = {
        key.key
        for row, hands in zip(plan.reading.onsets, plan.hands.hands, strict=True)
        if any((event.measure, event.note.n) in notes for key in row for event in key.events)
        for key, its in zip(row, hands, strict=True)
        if its == hand
    }
    return [Struck(key, hand) for key in sorted(found)]


def keys_words(struck: Sequence[Struck], board: Keyboard | None = None) -> str:
    """The picture in words.

    >>> keys_words([Struck(48, "L", 5), Struck(64, "L", 1), Struck(72, "R")])
    'left hand: C3 (finger 5) and E4 (finger 1), 212 mm; right hand: C5'
    """
    board = board or keyboard()
    said = []
    for hand, side in SIDES.items():
        mine = sorted(one for one in struck if one.hand == hand)
        if mine:
            names = [f"{name(one.key)}{f' (finger {one.finger})' if one.finger else ''}" for one in mine]
            row = f"{', '.join(names[:-1])} and {names[-1]}" if len(names) > 1 else names[0]
            wide = board.extent_um([one.key for one in mine])
            said.append(f"{side} hand: {row}{f', {wide / 1000:.0f} mm' if wide else ''}")
    return "; ".join(said)


def keys_picture(struck: Sequence[Struck], board: Keyboard | None = None, prefix: str = "") -> str:
    """The keys within reach of what is struck, as an SVG picture that is as wide as it should be shown at most.

    Parameters
    ----------
    struck : sequence of Struck
        At least one.
    board : Keyboard, optional
        The keys of the instrument; those of a piano if not given.
    prefix : str
        Goes before the ids in the picture.
    """
    board = board or keyboard()
    low, high = _from_to(struck)
    left = _left_edge(low, board)
    width = _left_edge(high, board) + _white(board) - left
    top = ROOM if any(one.hand == "R" for one in struck) else 4.0
    bottom = ROOM if any(one.hand == "L" for one in struck) else 4.0
    out = [*_outlines(low, high, board, left, top), *_crosses(struck, board, left, top)]
    for hand in SIDES:
        mine = sorted(one for one in struck if one.hand == hand)
        if mine:
            out += _bracket(mine, board, left, top - 6 if hand == "R" else top + LENGTH + 6, hand)
    title = html.escape(keys_words(struck, board))
    tall = top + LENGTH + bottom
    return (
        f'<svg class="keys" xmlns="http://www.w3.org/2000/svg" role="img" aria-labelledby="{prefix}keys" '
        f'viewBox="-1 0 {width + 2:.1f} {tall:.1f}" width="{width + 2:.0f}" height="{tall:.0f}">'
        f'<title id="{prefix}keys">{title}</title>{"".join(out)}</svg>'
    )


def _from_to(struck: Sequence[Struck]) -> tuple[int, int]:
    """The outermost white keys shown."""
    low, high = min(one.key for one in struck), max(one.key for one in struck)
    for _ in range(MORE):
        low = _next_white(low, -1)
        high = _next_white(high, 1)
    return low, high


def _next_white(key: int, step: int) -> int:
    key += step
    while LOWEST < key < HIGHEST and is_black(key):
        key += step
    return min(max(key, LOWEST), HIGHEST)


def _white(board: Keyboard) -> float:
    return float(facts.get("keys.white_key").value) * board.width / 1000


def _black(board: Keyboard) -> float:
    narrow, wide = facts.get("keys.black_key").value
    return float(narrow + wide) / 2 * board.width / 1000


_WHITES = [key for key in range(SEMITONES) if not is_black(key)]


def _left_edge(key: int, board: Keyboard) -> float:
    """Where a white key begins, in millimetres from the left edge of key 0."""
    octave, inside = divmod(key, SEMITONES)
    return (7 * octave + _WHITES.index(inside)) * _white(board)


def _outlines(low: int, high: int, board: Keyboard, left: float, top: float) -> Iterator[str]:
    half = _black(board) / 2
    whites = [key for key in range(low, high + 1) if not is_black(key)]
    yield (
        f'<rect x="0" y="{top:.1f}" width="{len(whites) * _white(board):.1f}" height="{LENGTH:.1f}" fill="none" '
        f'stroke="#000" stroke-width="{LINE}"/>'
    )
    for key in whites[1:]:
        x = _left_edge(key, board) - left
        begin = top + (BLACK_LENGTH if is_black(key - 1) else 0)
        yield f'<path d="M{x:.1f} {begin:.1f}V{top + LENGTH:.1f}" stroke="#000" stroke-width="{LINE}"/>'
    for key in range(low, high + 1):
        if key % SEMITONES == 0:
            yield _text(_left_edge(key, board) - left + _white(board) / 2, top + LENGTH - 3, name(key), 8)
        if is_black(key):
            x = board.centres_um[key] / 1000 - left
            yield (
                f'<path d="M{x - half:.1f} {top:.1f}V{top + BLACK_LENGTH:.1f}H{x + half:.1f}V{top:.1f}" fill="none" '
                f'stroke="#000" stroke-width="{LINE}"/>'
            )


def _crosses(struck: Sequence[Struck], board: Keyboard, left: float, top: float) -> Iterator[str]:
    for one in struck:
        x = board.centres_um[one.key] / 1000 - left
        y = top + (BLACK_LENGTH - 14 if is_black(one.key) else LENGTH - 18)
        yield (
            f'<path class="struck" d="M{x - CROSS:.1f} {y - CROSS:.1f}l{2 * CROSS} {2 * CROSS}m0 {-2 * CROSS}'
            f'l{-2 * CROSS} {2 * CROSS}" fill="none" stroke="#000" stroke-width="{STRONG}"/>'
        )


def _bracket(mine: Sequence[Struck], board: Keyboard, left: float, y: float, hand: str) -> Iterator[str]:
    """The hand: a bracket from its lowest to its highest key, fingers beside it, its width in words."""
    xs = [board.centres_um[one.key] / 1000 - left for one in mine]
    out = -1 if hand == "R" else 1
    hook = 4.0 * -out
    yield (
        f'<path class="hand" d="M{xs[0]:.1f} {y + hook:.1f}V{y:.1f}H{xs[-1]:.1f}V{y + hook:.1f}" fill="none" '
        f'stroke="#000" stroke-width="{STRONG}"/>'
    )
    base = y - 4 if hand == "R" else y + 11
    last = float("-inf")
    for x, one in zip(xs, mine, strict=True):
        if one.finger:
            shift = 3.0 if x - last < 7 else 0.0
            last = x
            yield _text(x + shift, base, str(one.finger), 10)
    wide = board.extent_um([one.key for one in mine]) / 1000
    words = f"{SIDES[hand]} hand{f', {wide:.0f} mm' if wide else ''}"
    yield _text((xs[0] + xs[-1]) / 2, base - 12 if hand == "R" else base + 13, words, 10, italic=True)


def _text(x: float, y: float, text: str, size: int, italic: bool = False) -> str:
    style = ' font-style="italic"' if italic else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-family="{FONT}" font-size="{size}" text-anchor="middle"{style}>'
        f"{html.escape(text)}</text>"
    )
