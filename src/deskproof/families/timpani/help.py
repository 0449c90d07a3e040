"""What is printed for a timpanist when asked: the tuning to begin with, and each retuning where it goes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from deskproof.edits import AddWords, Edit
from deskproof.families.base import Context, Help, Plan
from deskproof.families.timpani.planning import DrumsPlan
from deskproof.pitch import name


def printed_help(plan: Plan, context: Context, asked: Help) -> Sequence[Edit]:
    """The edits that print tunings, if ``asked.tuning_marks``."""
    if not isinstance(plan, DrumsPlan) or plan.reading is None or plan.drums is None or not asked.tuning_marks:
        return ()
    return list(_words(plan, context))


def _words(plan: DrumsPlan, context: Context) -> Iterator[Edit]:
    assert plan.reading is not None and plan.drums is not None and plan.settings is not None
    part = context.score.parts[plan.reading.part]
    first = plan.reading.strokes[0][0][0]
    begin = [plan.drums.initial[one.id] for one in plan.settings.drums if one.id in plan.drums.initial]
    at_first = ", ".join(_letter(pitch) for pitch in begin)
    yield AddWords(part.id, first.measure, first.note.start, first.note.staff, at_first, "above")
    by_place: dict[tuple[int, int], list[str]] = {}
    for change in plan.drums.retunings:
        tick = context.frame.clock.tick_at(change.t_us)
        play = context.frame.play_at(tick)
        if play.pass_ == 1:
            place = (play.measure, min(tick - play.onset, play.length))
            by_place.setdefault(place, []).append(f"{_letter(change.before)} to {_letter(change.after)}")
    for (measure, start), said in sorted(by_place.items()):
        if (measure, start) != (first.measure, first.note.start):
            yield AddWords(part.id, measure, start, first.note.staff, ", ".join(said), "above")


def _letter(pitch: int) -> str:
    """A pitch as timpanists read it, without its octave.

    >>> _letter(43), _letter(46)
    ('G', 'B♭')
    """
    return name(pitch).rstrip("0123456789-")
