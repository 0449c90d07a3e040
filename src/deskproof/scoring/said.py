"""A plan in sentences: how good it is known to be, what is left out, and how the next best scorings differ.

Also the words for who plays a line, as every page and table has them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from deskproof.scoring.records import COMPOSER, Line, Passage, PlannedPassage, ScoringPlan, Tacet, Who

PROVEN = "proven"
"""The status of a plan than which none costs less."""

NOT_NEEDED = "not needed"
"""Why nobody plays a strand that stands in for another, and that the plan does without."""

_OCTAVES = {1: "8va", -1: "8vb", 2: "15ma", -2: "15mb"}
_ORDINALS = ("second", "third", "fourth", "fifth", "sixth")


def octave_words(octave: int) -> str:
    """The sign for an octave other than the sketch's.

    >>> octave_words(0), octave_words(-1), octave_words(2), octave_words(-3)
    ('', '8vb', '15ma', '3 octaves below')
    """
    if not octave:
        return ""
    return _OCTAVES.get(octave) or f"{abs(octave)} octaves {'above' if octave > 0 else 'below'}"


def who_words(one: Who) -> str:
    """A chair as a line names it.

    >>> who_words(Who("double bass", -1, "pizz."))
    'double bass 8vb pizz.'
    """
    return " ".join(word for word in (one.chair, octave_words(one.octave), one.how) if word)


def bars_words(bars: str) -> str:
    """Bars as printed.

    >>> bars_words("1-8"), bars_words("9-9"), bars_words("12a")
    ('bars 1–8', 'bar 9', 'bar 12a')
    """
    first, _, last = bars.partition("-")
    return f"bars {first}–{last}" if last and last != first else f"bar {first}"


def listed(words: Sequence[str]) -> str:
    """Words with commas, "and" before the last.

    >>> listed(["oboe 1", "viola", "cello"])
    'oboe 1, viola and cello'
    """
    return " and ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else "".join(words)


def kind_of(strand: str, passage: Passage | None = None) -> str:
    """The kind of a strand: as its passage has it, else its name without the number.

    >>> kind_of("inner part 2")
    'inner part'
    """
    known = passage.strand(strand) if passage else None
    return known.kind if known else strand.rstrip("0123456789 ")


def is_left_out(line: Line) -> bool:
    """Whether nobody plays a strand that somebody should.

    >>> is_left_out(Line("bass")), is_left_out(Line("held harmony", why=NOT_NEEDED))
    (True, False)
    """
    return not line.who and line.why != NOT_NEEDED


def left_out(plan: ScoringPlan) -> list[tuple[PlannedPassage, Line]]:
    """The lines of a plan that nobody plays and somebody should, each with its passage."""
    return [(planned, line) for planned in plan.passages for line in planned.lines if is_left_out(line)]


def who_chose(line: Line) -> str:
    """Who chose a line, and whether it may be changed."""
    return ("composer" if line.by == COMPOSER else "planner") + (", fixed" if line.fixed else "")


def tacet_words(tacet: Tacet) -> str:
    """Who is silent, and why.

    >>> tacet_words(Tacet(("brass", "harp"), "kept for letter C"))
    'brass and harp silent: kept for letter C'
    """
    return f"{listed(tacet.who)} silent" + (f": {tacet.why}" if tacet.why else "")


def said_of(plan: ScoringPlan) -> list[str]:
    """The sentences of a plan: how good it is known to be, what is left out, the next best scorings."""
    return [status_words(plan), *left_words(plan), *next_words(plan)]


def status_words(plan: ScoringPlan) -> str:
    """How good the plan is known to be; nothing is called best that was not proven."""
    costs = [planned.cost for planned in plan.passages if planned.cost is not None]
    total = f" This one costs {sum(costs)}." if costs else ""
    if not plan.status:
        return "Not weighed against other plans."
    if plan.gap:
        return f"A better plan may exist, by at most {plan.gap} in cost.{total}"
    if plan.status == PROVEN:
        return f"No plan is better, as the cost is reckoned.{total}"
    return f"A better plan may exist; by how much is not known.{total}"


def left_words(plan: ScoringPlan) -> list[str]:
    """The strands that nobody plays; those of one passage and one reason in one sentence."""
    alike: dict[tuple[str, str], list[str]] = {}
    for planned, line in left_out(plan):
        alike.setdefault((planned.bars, line.why), []).append(line.strand)
    return [
        f"{bars_words(bars).capitalize()}: left out: {listed(strands)}{f' ({why})' if why else ''}."
        for (bars, why), strands in alike.items()
    ]


def next_words(plan: ScoringPlan) -> list[str]:
    """The next best scorings of each passage: how each differs from the plan, and what it costs more."""
    rows = []
    for planned in plan.passages:
        for ordinal, (cost, lines) in zip(_ORDINALS, planned.scorings, strict=False):
            rows.append(f"{bars_words(planned.bars).capitalize()}, {ordinal}: {scoring_words(planned, cost, lines)}.")
    return rows


def scoring_words(planned: PlannedPassage, cost: int, lines: Sequence[Line]) -> str:
    """How another scoring of a passage differs, and its price beside the plan's."""
    differs = "; ".join(_differences(_taken(planned.lines), _taken(lines))) or "the same players"
    if planned.cost is None:
        return f"{differs}; costs {cost}"
    more = cost - planned.cost
    return f"{differs}; costs {f'{more} more' if more > 0 else f'{-more} less' if more < 0 else 'the same'}"


def _taken(lines: Sequence[Line]) -> dict[str, dict[str, Who]]:
    """Strand -> chair -> how it is taken; a strand whose line names nobody is there without a chair."""
    found: dict[str, dict[str, Who]] = {}
    for line in lines:
        found.setdefault(line.strand, {}).update({one.chair: one for one in line.who})
    return found


def _differences(now: Mapping[str, Mapping[str, Who]], then: Mapping[str, Mapping[str, Who]]) -> Iterator[str]:
    for strand in dict.fromkeys([*now, *then]):
        had, has = now.get(strand, {}), then.get(strand, {})
        come = [who_words(one) for name, one in has.items() if name not in had]
        gone = [name for name in had if name not in has]
        if come and gone:
            yield f"the {strand} to {listed(come)} instead of {listed(gone)}"
        elif come:
            yield f"{listed(come)} also in the {strand}" if had else f"the {strand} to {listed(come)}"
        elif gone:
            yield f"{listed(gone)} not in the {strand}" if has else f"nobody in the {strand}"
        for name, one in has.items():
            if name in had and had[name] != one:
                yield f"the {strand} on {name} {_manner(one)} instead of {_manner(had[name])}"


def _manner(one: Who) -> str:
    return " ".join(word for word in (octave_words(one.octave), one.how) if word) or "as in the sketch"
