"""The page for the harpist: settings and changes in order, and what else is to know before the first rehearsal."""

from __future__ import annotations

import html
from collections.abc import Iterator

from deskproof.draw import pedals
from deskproof.families.base import Context
from deskproof.families.harp.model import LETTERS
from deskproof.families.harp.planning import HarpPlan
from deskproof.families.harp.record import Places
from deskproof.families.harp.setting_checks import setting_text
from deskproof.families.harp.wording import SIGNS, listed
from deskproof.pitch import name
from deskproof.score import Part

MANY = 3  # pedals that move since the last diagram, before a new one is drawn
MOST_BARS = 12  # bars named for one renamed note
CAUTION = (
    "Repeated wide chords and long tremolo strain fingers and wrists; the player decides, with a teacher or doctor."
)


def for_harpist(plan: HarpPlan, context: Context, title: str, prefix: str) -> str:
    """The page of one harp part as HTML; it begins on a sheet of its own when printed.

    Parameters
    ----------
    plan : HarpPlan
    context : Context
        Of the score.
    title : str
        The part's name.
    prefix : str
        Goes before all ids.
    """
    assert plan.reading is not None and plan.pedals is not None
    part = context.score.parts[plan.reading.part]
    page = _Page(plan, context, part, prefix)
    return (
        f'<section class="stand"><h2>For the harpist: {html.escape(title)}</h2>'
        f"{''.join([page.settings(), *page.rest()])}<p class=\"quiet\">{CAUTION}</p></section>"
    )


class _Page:
    def __init__(self, plan: HarpPlan, context: Context, part: Part, prefix: str) -> None:
        assert plan.reading is not None and plan.pedals is not None and plan.settings is not None
        self.reading, self.pedals, self.fixed = plan.reading, plan.pedals, plan.settings.fixed
        self.comfortable_us = plan.settings.comfortable_us
        self.part, self.prefix = part, prefix
        self.places = Places.of(context, part)
        self.figures = 0

    def diagram(self, positions: dict[str, int], caption: str) -> str:
        self.figures += 1
        drawn = pedals.diagram(positions, f"{self.prefix}{self.figures}-")
        return f"<figure>{drawn}<figcaption>{html.escape(caption)}</figcaption></figure>"

    def settings(self) -> str:
        """The setting to begin with, every change in order, and a diagram wherever several pedals have moved."""
        stands = {letter: self.pedals.initial[letter] for letter in LETTERS}
        out = [self.diagram(stands, f"Before the first note: {setting_text(stands)}.")]
        rows: list[str] = []
        moved: set[str] = set()
        for change in self.pedals.changes:
            bar, beat, _ = self.places.at(change.t_us)
            stands[change.pedal] = change.after
            moved.add(change.pedal)
            spare = pedals.spare_words(change, self.comfortable_us)
            rows.append(
                f'<tr><th scope="row">{html.escape(_where(bar, beat))}</th><td>{change.pedal}{SIGNS[change.before]} '
                f"to {change.pedal}{SIGNS[change.after]}</td><td>{change.foot} foot</td><td>{spare}</td></tr>"
            )
            if len(moved) >= MANY:
                out += [_table(rows), self.diagram(dict(stands), f"Then it stands: {setting_text(stands)}.")]
                rows, moved = [], set()
        out += [_table(rows)] if rows else []
        if not self.pedals.changes:
            out.append("<p>No pedal moves.</p>")
        return "".join(out)

    def rest(self) -> Iterator[str]:
        """What else is to know; nothing is said that the part does not need."""
        for title, rows in (
            ("To be tuned by hand before the piece", self.by_hand()),
            ("Glissandi", self.glissandi()),
            ("Harmonics: string and sound", self.harmonics()),
            ("Notes that are played on a string of another name", self.renamed()),
        ):
            if rows:
                listed_rows = "".join(f"<li>{html.escape(row)}</li>" for row in rows)
                yield f"<h3>{title}</h3><ul>{listed_rows}</ul>"

    def by_hand(self) -> list[str]:
        """The strings without a pedal that the part uses."""
        used = {
            str(taken.string): taken.position
            for row in self.pedals.notes
            for taken in row
            if taken is not None and not taken.pedal
        }
        return [f"{string} string: {pedals.NAMES[position]}" for string, position in sorted(used.items())]

    def glissandi(self) -> list[str]:
        """Every glissando with its setting."""
        found = []
        for sweep in self.reading.sweeps:
            bar, beat, pass_ = self.places.at(sweep.from_us)
            setting = sweep.slide.setting
            if pass_ == 1:
                stands = {**self.pedals.standing(sweep.from_us), **(setting or {})}
                found.append(f"{_where(bar, beat)}: {setting_text(stands)}")
        return found

    def harmonics(self) -> list[str]:
        """Every harmonic once a bar."""
        found: dict[str, list[str]] = {}
        for row, planned in zip(self.reading.plucked, self.pedals.notes, strict=True):
            for one, taken in zip(row, planned, strict=True):
                if one.how == "harmonic" and taken is not None:
                    sign = SIGNS[taken.position] if taken.position else ""
                    string = f"{taken.string.letter}{sign}{taken.string.octave}"
                    sound = name(one.pitch + 12, flats=taken.position <= 0)
                    found.setdefault(f"{string} string, sounds {sound}", []).append(self._bar(one.events[0].measure))
        return [f"{text}: {_in_bars(bars)}" for text, bars in found.items()]

    def renamed(self) -> list[str]:
        """Names of the page that are other strings, each with its bars."""
        found: dict[str, list[str]] = {}
        for row, planned in zip(self.reading.plucked, self.pedals.notes, strict=True):
            for one, taken in zip(row, planned, strict=True):
                written = one.events[0].note.pitch
                if taken is None or written is None or written.midi != one.pitch or one.how == "trill":
                    continue
                if (written.step, written.alter) != (taken.string.letter, taken.position):
                    text = f"{str(written).rstrip('0123456789-')} as {taken.string.letter}{SIGNS[taken.position]}"
                    found.setdefault(text, []).append(self._bar(one.events[0].measure))
        return [f"{text}: {_in_bars(bars)}" for text, bars in found.items()]

    def _bar(self, measure: int) -> str:
        return self.part.measures[measure].number or str(measure + 1)


def _where(bar: str, beat: str) -> str:
    """Bar and beat; a beat between the beats is said as after the one before it."""
    whole, _, rest = beat.partition("/")
    if not rest:
        return f"bar {bar}, beat {beat}"
    return f"bar {bar}, after beat {int(whole) // int(rest)}"


def _table(rows: list[str]) -> str:
    return (
        '<table><thead><tr><th scope="col">Where the foot moves</th><th scope="col">Pedal</th>'
        f'<th scope="col">Foot</th><th scope="col">Time</th></tr></thead><tbody>{"".join(rows)}</tbody></table>'
    )


def _in_bars(bars: list[str]) -> str:
    """Bars in words, each once; of many the first ones.

    >>> _in_bars(["3", "3", "5"]), _in_bars(["7"])
    ('bars 3 and 5', 'bar 7')
    """
    once = list(dict.fromkeys(bars))
    more = f" and {len(once) - MOST_BARS} more" if len(once) > MOST_BARS else ""
    shown = once[:MOST_BARS]
    return f"bar{'s' * (len(once) > 1)} {', '.join(shown) + more if more else listed(shown)}"
