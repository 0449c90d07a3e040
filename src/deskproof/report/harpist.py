"""The page for the harpist: settings and changes in order, and what else is to know before the first rehearsal."""

from __future__ import annotations

import html
from bisect import bisect_right
from collections.abc import Iterator, Mapping
from fractions import Fraction

from deskproof.draw import pedals
from deskproof.families.base import Context
from deskproof.families.harp.model import LETTERS
from deskproof.families.harp.planning import HarpPlan
from deskproof.families.harp.setting_checks import setting_text
from deskproof.families.harp.wording import SIGNS
from deskproof.families.wording import listed
from deskproof.footnotes import CAUTION
from deskproof.places import Spot
from deskproof.score import Part

MANY = 3  # pedals that move since the last diagram, before a new one is drawn
MOST_BARS = 12  # bars named for one renamed note
QUARTERS = 4  # the smallest part of a beat that is said
_TIMES = {2: "2nd", 3: "3rd"}


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
        f'{"".join([page.settings(), *page.rest()])}<p class="quiet">{CAUTION}</p></section>'
    )


class _Page:
    def __init__(self, plan: HarpPlan, context: Context, part: Part, prefix: str) -> None:
        assert plan.reading is not None and plan.pedals is not None and plan.settings is not None
        self.reading, self.pedals, self.fixed = plan.reading, plan.pedals, plan.settings.fixed
        self.comfortable_us = plan.settings.comfortable_us
        self.part, self.prefix, self.frame = part, prefix, context.frame
        self.onsets_us = [self.frame.clock.floor_us(play.onset) for play in self.frame.plays]
        self.figures = 0

    def diagram(self, positions: Mapping[str, int], caption: str) -> str:
        self.figures += 1
        drawn = pedals.diagram(positions, f"{self.prefix}{self.figures}-")
        said = f'{html.escape(caption)} <span class="unbroken">{html.escape(setting_text(positions))}.</span>'
        return f"<figure>{drawn}<figcaption>{said}</figcaption></figure>"

    def settings(self) -> str:
        """The setting to begin with, every change in order, and a diagram wherever several pedals have moved."""
        stands = {letter: self.pedals.initial[letter] for letter in LETTERS}
        drawn = self.diagram(stands, "Before the first note:")
        out: list[str] = []
        rows: list[str] = []
        moved: set[str] = set()
        for change in self.pedals.changes:
            stands[change.pedal] = change.after
            moved.add(change.pedal)
            spare = pedals.spare_words(change, self.comfortable_us)
            rows.append(
                f'<tr><th scope="row">{html.escape(self.where(change.t_us))}</th><td>{change.pedal}'
                f"{SIGNS[change.before]} to {change.pedal}{SIGNS[change.after]}</td><td>{change.foot}</td>"
                f"<td>{spare}</td></tr>"
            )
            if len(moved) >= MANY:
                out.append(_step(drawn, rows, bool(out)))
                drawn = self.diagram(stands, "Then:")
                rows, moved = [], set()
        out.append(_step(drawn, rows, bool(out)))
        if not self.pedals.changes:
            out.append("<p>No pedal moves.</p>")
        return "".join(out)

    def rest(self) -> Iterator[str]:
        """What else is to know; nothing is said that the part does not need."""
        glissandi = self.glissandi()
        if glissandi:
            yield f'<h3>Glissandi</h3><div class="sides">{"".join(glissandi)}</div>'
        for title, rows in (
            ("To be tuned by hand before the piece", self.by_hand()),
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
        """Every setting of a glissando drawn once, with the bars and the ends of those that need it."""
        found: dict[str, tuple[dict[str, int], list[str]]] = {}
        for sweep in self.reading.sweeps:
            if sweep.first.pass_ > 1:
                continue
            stands = {**self.pedals.standing(sweep.from_us), **(sweep.slide.setting or {})}
            ends = [e.note.pitch for e in (sweep.first, sweep.last) if e is not None and e.note.pitch is not None]
            text = self.where(sweep.from_us) + "".join(f" {w} {p}" for w, p in zip(("from", "to"), ends, strict=False))
            if sweep.slide.setting is None:
                text += ", without a printed setting"
            found.setdefault(setting_text(stands), (stands, []))[1].append(text)
        return [self.diagram(stands, f"{_capital('; '.join(where))}:") for stands, where in found.values()]

    def harmonics(self) -> list[str]:
        """Every harmonic by its string, with its bars; it sounds an octave above the string."""
        found: dict[str, list[str]] = {}
        for row, planned in zip(self.reading.plucked, self.pedals.notes, strict=True):
            for one, taken in zip(row, planned, strict=True):
                if one.how == "harmonic" and taken is not None:
                    letter = f"{taken.string.letter}{SIGNS[taken.position] if taken.position else ''}"
                    text = f"{letter}{taken.string.octave} string, sounds {letter}{taken.string.octave + 1}"
                    found.setdefault(text, []).append(self._bar(one.events[0].measure))
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

    def where(self, t_us: int) -> str:
        """Bar and beat of a time, and which time where bars are repeated.

        A foot may move between the beats: where that is no simple part of a beat, the beat before it is said.
        """
        play = self.frame.plays[max(0, bisect_right(self.onsets_us, t_us) - 1)]
        _, unit, _, beats = self.frame.metres[play.measure]
        tick = max(self.frame.clock.tick_at(t_us) - play.onset, 0)
        beat = 1 + Fraction(tick * unit, 4 * self.frame.grid).limit_denominator(96)
        odd = beat.denominator > QUARTERS
        at = Fraction(int(beat)) if odd else beat
        said = Spot(self._bar(play.measure), at, unit, t_us, f"{beats}/{unit}").words
        again = f", {_TIMES.get(play.pass_, f'{play.pass_}th')} time" if play.pass_ > 1 else ""
        return f"{said.replace(', ', ', after ', 1) if odd else said}{again}"

    def _bar(self, measure: int) -> str:
        return self.part.measures[measure].number or str(measure + 1)


def _step(drawn: str, rows: list[str], later: bool) -> str:
    """A diagram and the changes that follow it; only the first head of the columns is shown."""
    if not rows:
        return f'<div class="setting">{drawn}</div>'
    hidden = ' class="aside"' if later else ""
    return (
        f'<div class="setting">{drawn}<table><thead{hidden}><tr><th scope="col">Where the foot moves</th>'
        '<th scope="col">Pedal</th><th scope="col">Foot</th><th scope="col">Time</th></tr></thead>'
        f"<tbody>{''.join(rows)}</tbody></table></div>"
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


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
