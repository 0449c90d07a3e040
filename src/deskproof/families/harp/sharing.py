"""What one harp cannot play, shared between two: from a finding to the words that say who plays what."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from deskproof.families.base import Context
from deskproof.families.harp import rules
from deskproof.families.harp.either import on_harp
from deskproof.families.harp.hand_checks import hand_findings
from deskproof.families.harp.handing import hands_of
from deskproof.families.harp.model import LETTERS, Settings, choices
from deskproof.families.harp.plan import PedalPlan, plan_pedals
from deskproof.families.harp.planning import harmonics_of, settings_of
from deskproof.families.harp.reading import Reading, read
from deskproof.families.harp.setting_checks import setting_text
from deskproof.families.harp.two_harps import Division, Passage, Share, divided
from deskproof.families.harp.two_strings import named_apart
from deskproof.families.harp.wording import written_name
from deskproof.families.wording import listed
from deskproof.findings import Finding, Rule
from deskproof.page import alters_of
from deskproof.score import UNCHECKED, Part
from deskproof.spans import Span

QUICK = (rules.QUICK, rules.ONE_FOOT)
DIVISIBLE = (rules.CLUSTER, rules.TOO_FAST, rules.GLISS_SET, rules.HANDS, *QUICK)
AROUND = (6, 2)  # onsets looked at on either side of the trouble, first so many
AROUND_CHORD = (2, 0)  # where the trouble is one chord
MOST = 24  # onsets of a passage that is divided
HARPS_FOR_A_CHORD = 3  # tried for a chord that two do not have
MOST_SAID = 4  # chords whose division is said
_BEATS = {2: "half", 4: "beat", 8: "eighth", 16: "sixteenth"}
_PARTS = {Fraction(1, 2): "½", Fraction(1, 3): "⅓", Fraction(2, 3): "⅔", Fraction(1, 4): "¼", Fraction(3, 4): "¾"}

_Key = tuple[int, int, int]
"""A note as it is played: measure, ordinal, pass."""


@dataclass(slots=True)
class Places:
    """Where the notes of a reading stand among its onsets."""

    reading: Reading
    _known: dict[_Key, int] = field(default_factory=dict)

    def of(self, findings: Sequence[Finding]) -> list[int]:
        """The onsets of the findings' notes, at the pass at which the first of them is said."""
        if not self._known:
            for i, row in enumerate(self.reading.plucked):
                for one in row:
                    for event in one.events:
                        self._known.setdefault((event.measure, event.note.n, event.pass_), i)
        pass_ = findings[0].place.pass_
        found = set()
        for finding in findings:
            own = {at for ref in finding.notes if (at := self._known.get((ref.measure, ref.n, pass_))) is not None}
            found |= own
            if finding.rule in QUICK and own:
                found.add(max(0, min(own) - 1))  # the pedal moves before the note
        return sorted(found)


def mend_words(finding: Finding, spans: Sequence[Span], context: Context) -> str:
    """How the passage of a finding goes on two harps or more, in words; empty where it does not."""
    for atoms in _tries(finding):
        near = tuple(_near(atoms, spans, context))
        if not near:
            continue
        reading = read(near, context, LETTERS, harmonics_of(context))
        reading = replace(reading, onsets=named_apart(reading.onsets))
        found = in_words(atoms, Places(reading), context, settings_of(context, reading.part), 1)
        if found:
            most = len(finding.atoms)
            return found if len(atoms) == most or most < 2 else f"{found} (the first of {most} places)"
    return ""


def _tries(finding: Finding) -> Iterator[Sequence[Finding]]:
    """The places to divide: those of a hurried passage together, then the first alone."""
    atoms = finding.atoms or (finding,)
    if len(atoms) > 1 and finding.rule in QUICK:
        yield atoms
    yield atoms[:1]


def _near(atoms: Sequence[Finding], spans: Sequence[Span], context: Context) -> Iterator[Span]:
    """The harp's spans with the events around the findings only; nothing where these are too many."""
    harp = on_harp(spans, context.score.parts[atoms[0].place.part].name)
    wanted = {(ref.measure, ref.n) for one in atoms for ref in one.notes}
    pass_ = atoms[0].place.pass_
    own = [e.onset for s in harp for e in s.events if (e.measure, e.note.n) in wanted and e.pass_ == pass_]
    if not own:
        return
    ticks = sorted({e.onset for s in harp for e in s.events if e.sounding is not None and not e.note.flags & UNCHECKED})
    first, last = bisect_left(ticks, min(own)), bisect_right(ticks, max(own)) - 1
    if last - first >= MOST:
        return
    low, high = ticks[max(0, first - AROUND[0] - 1)], ticks[min(len(ticks) - 1, last + AROUND[0])]
    for span in harp:
        events = tuple(e for e in span.events if low <= e.onset <= high)
        if events:
            yield replace(span, events=events)


def in_words(
    findings: Sequence[Finding], places: Places, context: Context, settings: Settings, harps: int
) -> str:
    """How the passage of some findings of one rule is divided; empty where it cannot be.

    Parameters
    ----------
    findings : sequence of Finding
        Of one rule and one pass, near each other.
    places : Places
        Of the reading that they were found in, or of the part of it around them.
    settings : Settings
        Of the part; one harp has the fingers of one.
    harps : int
        How many the part is for; for a part for one harp two are thought of, and for a chord three.
    """
    own = places.of(findings)
    if not own or own[-1] - own[0] >= MOST:
        return ""
    chord = findings[0].rule in (rules.CLUSTER, rules.HANDS)
    most = harps if harps > 1 else HARPS_FOR_A_CHORD if chord else 2
    one = replace(settings, together=2 * settings.hand, initial=None)
    for count in range(2, most + 1):
        for around in AROUND_CHORD if chord else AROUND:
            window = _Window.of(places.reading, own, around, findings[0].rule, context, one)
            found = window.divided(count)
            if found is not None:
                return window.words(found)
    return ""


@dataclass(frozen=True, slots=True)
class _Window:
    """The onsets around a trouble as one reading; ``first`` is the ordinal of the trouble's first."""

    reading: Reading
    passage: Passage
    part: Part
    context: Context
    first: int
    rule: Rule

    @classmethod
    def of(
        cls, whole: Reading, own: Sequence[int], around: int, rule: Rule, context: Context, settings: Settings
    ) -> _Window:
        """The window of a reading; notes that no string has are left out."""
        low, high = max(0, own[0] - around), min(len(whole.onsets), own[-1] + 1 + around)
        onsets, plucked = [], []
        for onset, row in zip(whole.onsets[low:high], whole.plucked[low:high], strict=True):
            kept = [n for n, note in enumerate(onset.notes) if choices(note.pitch, settings.fixed)]
            if kept:
                onsets.append(onset._replace(notes=tuple(onset.notes[n] for n in kept)))
                plucked.append(tuple(row[n] for n in kept))
        reading = replace(whole, onsets=tuple(onsets), plucked=tuple(plucked), joints=())
        at = next((i for i, onset in enumerate(onsets) if onset.t_us >= whole.onsets[own[0]].t_us), 0)
        return cls(reading, _passage(reading, context, settings), context.score.parts[whole.part], context, at, rule)

    # -- the division ----------------------------------------------------------------------------------------------

    def divided(self, harps: int) -> Division | None:
        """The fewest hand-overs; in comfort where that takes no more of them, or only one."""
        if not self.reading.onsets:
            return None
        passage = replace(self.passage, comfortable=True, fits=self._fits)
        easy = divided(passage, harps)
        if self.rule in QUICK or (easy is not None and easy.overs <= 1):
            return easy
        found = divided(replace(passage, comfortable=False), harps)
        return easy if found is None or (easy is not None and easy.overs <= found.overs) else found

    def _fits(self, share: Share) -> bool:
        """Whether two hands take a share; of a chord for the hands also without a fifth note in one of them."""
        rows = tuple(tuple(self.reading.plucked[i][n] for n in notes) for i, notes in share)
        reading = replace(self.reading, onsets=self.passage.of(share), plucked=rows)
        handed = hands_of(reading, self._pedals(share), self.part.staves)
        if self.rule is not rules.HANDS:
            return not handed.plan.left_out
        found = hand_findings(handed, reading, self.part, lambda t_us: True, lambda t_us, factor: "")
        return not any(one.rule is rules.HANDS for one in found)

    def _pedals(self, share: Share) -> PedalPlan:
        return plan_pedals(self.passage.of(share), self.passage.settings, self.reading.damps)

    # -- in words --------------------------------------------------------------------------------------------------

    def words(self, division: Division) -> str:
        """Who plays what, set how."""
        return _Said(self, division, tuple(self._pedals(share) for share in division.shares)).words()


def _passage(reading: Reading, context: Context, settings: Settings) -> Passage:
    """What is divided: no harp stops within a glissando or behind a grace note, and best at a bar line or a beat."""
    barred, liked, carriers = set(), [], {}
    for i, (onset, row) in enumerate(zip(reading.onsets, reading.plucked, strict=True)):
        if i and all(event.grace for one in reading.plucked[i - 1] for event in one.events):
            barred.add(i)
        if any(sweep.from_us < onset.t_us <= sweep.to_us for sweep in reading.sweeps):
            barred.add(i)
        event = row[0].events[0]
        start, unit = event.note.start, context.frame.metres[event.measure][1]
        liked.append(2 if not start else int(start * unit % (4 * context.frame.grid) == 0))
        firsts = {sweep.first for sweep in reading.sweeps if sweep.from_us == onset.t_us}
        carried = tuple(n for n, one in enumerate(row) if any(event in firsts for event in one.events))
        if carried:
            carriers[i] = carried
    return Passage(
        reading.onsets, settings, reading.damps, barred=frozenset(barred), liked=tuple(liked), carriers=carriers
    )


@dataclass(frozen=True, slots=True)
class _Said:
    """A division being told."""

    window: _Window
    division: Division
    plans: tuple[PedalPlan, ...]

    def words(self) -> str:
        """The stretches of each harp, then the chords that are split."""
        runs, chords = self._runs()
        said = []
        if self.division.overs:
            said.append(", ".join(self._run(k, *run) for k, run in enumerate(runs)))
        elif runs and chords:
            said.append(f"harp {runs[0][0] + 1} plays all else")
        said += [self._chord(i, len(chords) + len(said) > 1) for i in chords[:MOST_SAID]]
        if len(chords) > MOST_SAID:
            said.append(f"and {len(chords) - MOST_SAID} chords more in the same way")
        return "; ".join(said[1:] + said[:1] if said and said[0].endswith("plays all else") else said)

    def _runs(self) -> tuple[list[tuple[int, int, int]], list[int]]:
        """The stretches (harp, first and last onset), split chords left out, and the split chords."""
        runs: list[tuple[int, int, int]] = []
        chords = []
        for i in range(len(self.window.reading.onsets)):
            who = self.division.players(i)
            if len(who) > 1:
                chords.append(i)
            elif runs and runs[-1][0] == who[0]:
                runs[-1] = (who[0], runs[-1][1], i)
            else:
                runs.append((who[0], i, i))
        return runs, chords

    def _run(self, k: int, harp: int, first: int, last: int) -> str:
        if k:
            return f"harp {harp + 1} from {self._at(first)} set to {self._setting(harp, first)}"
        # the music before the bar of the trouble is harp 1's anyway
        bar = min(self._measure(self.window.first), self._measure(last))
        first = next(i for i in range(first, last + 1) if self._measure(i) >= bar)
        return f"harp {harp + 1} bar {self._bar(bar)} to {self._at(last, bar)} set to {self._setting(harp, first)}"

    def _chord(self, onset: int, placed: bool) -> str:
        row = self.window.reading.plucked[onset]
        rows = [(h, dict(share)[onset]) for h, share in enumerate(self.division.shares) if onset in dict(share)]
        settings = {h: self._setting(h, onset) for h, _ in rows}
        same = len(set(settings.values())) == 1
        takes: list[str] = []
        for h, notes in rows:
            names = listed([written_name(row[n]) for n in notes])
            said = f"harp {h + 1} {names}" if takes else f"harp {h + 1} takes {names}"
            takes.append(said if same else f"{said} set to {settings[h]}")
        return f"{self._at(onset)}: {', '.join(takes)}" if placed else ", ".join(takes)

    def _setting(self, harp: int, onset: int) -> str:
        """The setting of a harp at an onset; a letter that it does not use stands as another harp's, or in the key."""
        t_us = self.window.reading.onsets[onset].t_us
        measure = self._measure(onset)
        keys = self.window.context.layouts[self.window.reading.part].keys[measure]
        alters = alters_of(next(iter(keys.values())))
        stands = {letter: int(alters.get(letter, 0)) for letter in LETTERS}
        others = [h for h in range(len(self.plans)) if h != harp]
        for h in (*others, harp):
            plan = self.plans[h]
            used = {one.string.letter for row in plan.notes for one in row if one is not None and one.pedal}
            used |= {letter for i, _ in self.division.shares[h] for letter, _, _ in self._demands(i)}
            now = plan.standing(t_us)
            stands.update({letter: now[letter] for letter in used})
        return setting_text(stands)

    def _demands(self, onset: int) -> tuple[tuple[str, int, int], ...]:
        return self.window.reading.onsets[onset].demands

    # places

    def _measure(self, onset: int) -> int:
        return self.window.reading.plucked[onset][0].events[0].measure

    def _bar(self, measure: int) -> str:
        return self.window.part.measures[measure].number or str(measure + 1)

    def _at(self, onset: int, bar: int | None = None) -> str:
        """Bar and beat; the beat alone in the bar that was just named."""
        event = self.window.reading.plucked[onset][0].events[0]
        frame = self.window.context.frame
        unit = frame.metres[event.measure][1]
        whole, rest = divmod(1 + Fraction(event.note.start * unit, 4 * frame.grid), 1)
        count = f"{whole}{_PARTS.get(rest, f' {rest}' if rest else '')}"
        beat = f"{_BEATS.get(unit, f'1/{unit}')} {count}"
        return beat if event.measure == bar else f"bar {self._bar(event.measure)} {beat}"
