"""A finding as a footnote under its bars: what is wrong, on which figures, and the ways out, before and after.

Pieces of HTML for a printed or a served page. Whatever comes from the score is text, never markup.
"""

from __future__ import annotations

import html
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

from deskproof import facts, pages
from deskproof.document import Document
from deskproof.draw import pedals
from deskproof.draw.hand_rows import hand_rows
from deskproof.draw.keys import keys_picture, of_hand, struck_at
from deskproof.draw.rota import rota
from deskproof.edits import ChangeRef, Edit
from deskproof.engrave.marks import Mark, Picture, picture
from deskproof.engrave.render import EngraveError, EngraverMissing, sign_shapes
from deskproof.engrave.slice import MOST_BARS, Bars, Desk, bars_of
from deskproof.facts import Fact
from deskproof.families.harp.planning import HarpPlan
from deskproof.families.harp.setting_checks import setting_text
from deskproof.families.keyboard.planning import KeyboardPlan
from deskproof.families.keyboard.summary import bars_in_words
from deskproof.families.players.planning import PlayersPlan
from deskproof.findings import EFFECT_WORDS, Finding, Mend
from deskproof.instruments import Instrument
from deskproof.places import bar_number, spot_of
from deskproof.score import NoteRef
from deskproof.state import WHOLE, State

SIGNS = "sign-"  # before the names of the outlines of music signs, which stand once on the page
CAUTION = (
    "Repeated wide chords and long tremolo strain fingers and wrists; the player decides, with a teacher or doctor."
)
HANDS_DIFFER = (
    "Hands differ; long stretches, fast octaves and repeated notes at the limit can hurt a player: the player and "
    "their teacher or doctor decide, not a program."
)
_MEND_BARS = 2  # so that before and after stand side by side
_MEND_SCALE = 0.85
_NARROW_PX = 340  # what is not wider fits the narrowest page and needs no scrolling


def capital(text: str) -> str:
    """The text with a capital at its beginning."""
    return text[:1].upper() + text[1:]


def plural(count: int, one: str) -> str:
    """A count of things, "1 note" or "3 notes"."""
    return f"{count} {one}{'s' * (count != 1)}"


def _e(text: object) -> str:
    return html.escape(str(text))


@dataclass
class Footnotes:
    """Writes the findings of one score, and keeps the outlines of music signs that their pictures need (``signs``).

    ``document`` is the score that ``state`` was made for. With ``ids`` the marks in pictures of mends can be found by
    a page (see ``Mark``).
    """

    document: Document
    state: State
    ids: bool = False
    signs: dict[str, str] = field(default_factory=dict)
    pictures: int = 0

    def __post_init__(self) -> None:
        self.desk = Desk(self.document)
        names = Counter(part.name or part.id for part in self.state.score.parts)
        self.names = [
            name if names[name := part.name or part.id] == 1 else f"{name} (line {i} of the score)"
            for i, part in enumerate(self.state.score.parts, 1)
        ]

    def finding(self, number: int, finding: Finding) -> str:
        """One finding: place, engraved bars, and below them what is wrong, on which figures, and the ways out."""
        where = spot_of(self.state, finding).words
        name = f"finding-{number}"
        bars = self.bars(finding.notes) or Bars(
            (self.state.score.parts[finding.place.part].id,), finding.place.measure, finding.place.measure
        )
        bars, hung = self.pedal_rows(finding, bars)
        title = (
            f"{self.names[finding.place.part]}, {self.bars_words(finding.place.part, bars)}; "
            f"ring {number}, {finding.level}"
        )
        mark = Mark(str(number), finding.level, finding.notes)
        caption = " ".join(text for text in (self.left_out(finding, bars), self.of_keys(finding, bars)) if text)
        marked = self.figure(bars, [mark], title, caption, rows=hung) + self.keys(finding, name)
        text = [
            f'<p><span class="number">{number}.</span> <span class="level">{_e(finding.level)}</span>: '
            f"{_e(finding.says)}{_e(self.how_many(finding))}</p>",
            f'<p class="quiet">{_e(finding.rule.why)}</p>',
            self.facts(finding),
            *(self.mend(number, k, finding, mend) for k, mend in enumerate(finding.mends, 1)),
        ]
        text += self.cautions(finding)
        if not finding.mends:
            text.append('<p class="quiet">No mend is offered.</p>')
        return (
            f'<article class="finding" id="{name}" aria-labelledby="{name}-place">'
            f'<h3 id="{name}-place">{_e(capital(where))}<span class="aside">, finding {number}, '
            f'{_e(finding.level)}</span></h3>{marked}<div class="footnote">{"".join(text)}</div></article>'
        )

    def harp(self, part: int) -> HarpPlan | None:
        """The plan of a harp's pedals; None for every other part."""
        plan = self.state.plans.get(("harp", part))
        return plan if isinstance(plan, HarpPlan) and plan.pedals is not None else None

    def pedal_rows(self, finding: Finding, bars: Bars) -> tuple[Bars, pedals.Rows | None]:
        """The bars of a finding about a harp, and under them hands and pedals.

        The bars begin where a pedal moves for the finding; pedals stand where they move or the finding is about them.
        """
        plan = self.harp(finding.place.part)
        if plan is None or plan.pedals is None or plan.settings is None or not of_harp(finding):
            return bars, None
        place, frame = finding.place, self.state.timeline.frame
        at = place.measure if bars.first <= place.measure <= bars.last else bars.first
        of_pedals = finding.rule.id in _OF_PEDALS
        if of_pedals and pedals.reaches_back(plan.pedals, frame, bars.first, at, place.pass_):
            bars = replace(bars, first=bars.first - 1)
        plays = pedals.once_through(frame, bars.first, bars.last, at, place.pass_)
        try:
            engraving = self.desk.engraving(bars)
        except EngraverMissing:
            raise
        except EngraveError:
            return bars, None
        part = self.state.score.parts[place.part]
        below = None
        if of_pedals or pedals.moves_in(plan.pedals, plays, frame):
            below = pedals.rows(engraving, plan.pedals, plan.settings.comfortable_us, part, frame, bars.first, plays)
        if plan.hands is not None:
            below = hand_rows(engraving, plan, part, frame, bars.first, plays, below)
        return bars, below

    def charts(self, number: int, finding: Finding) -> str:
        """The chart that belongs to a finding: pedals under its bars, keys to scale, or who plays when; often none."""
        place, id_ = finding.place, f"chart-{number}"
        part = self.state.score.parts[place.part].id
        bars, hung = self.pedal_rows(finding, self.bars(finding.notes) or Bars((part,), place.measure, place.measure))
        drawn = ""
        if hung is not None:
            mark = Mark("", finding.level, finding.notes)
            title = f"{self.names[place.part]}, {self.bars_words(place.part, bars)}"
            drawn = self.figure(bars, [mark], title, "", rows=hung)
        return drawn + self.keys(finding, id_) + self.rota(finding) + "".join(self.cautions(finding))

    def cautions(self, finding: Finding) -> list[str]:
        """What is said where a figure may hurt somebody."""
        said = [CAUTION] * (finding.rule.id in _OF_HANDS) + [HANDS_DIFFER] * (finding.rule.id in _OF_KEYS)
        return [f'<p class="quiet">{_e(one)}</p>' for one in said]

    def rota(self, finding: Finding) -> str:
        """Who plays what in the group of a finding about players."""
        plan = self.state.plans.get(("players", WHOLE))
        if not finding.rule.id.startswith("players-") or not isinstance(plan, PlayersPlan):
            return ""
        for cast in plan.casts:
            if finding.place.part in cast.group.parts.values():
                return f'<figure class="strip" tabindex="0">{rota(plan, cast, self.state.context())}</figure>'
        return ""

    def outlines(self) -> str:
        """The outlines of all music signs that were drawn so far; they stand once beside the pictures."""
        return (
            '<svg xmlns="http://www.w3.org/2000/svg" class="signs" aria-hidden="true" focusable="false">'
            f"<defs>{sign_shapes(self.signs, SIGNS)}</defs></svg>"
        )

    def keyboard(self, finding: Finding) -> KeyboardPlan | None:
        """The plan of the hands at a keyboard that a finding is about; None for every other finding."""
        if not finding.rule.id.startswith("keyboard-"):
            return None
        plan = self.state.plans.get(("keyboard", finding.place.part))
        return plan if isinstance(plan, KeyboardPlan) and plan.hands is not None else None

    def of_keys(self, finding: Finding, bars: Bars) -> str:
        """What the bars shown ask of the hands at a keyboard."""
        plan = self.keyboard(finding) if finding.rule.id in _OF_KEYS else None
        said = bars_in_words(plan, bars.first, bars.last) if plan is not None else ""
        return f"{capital(said)}." if said else ""

    def keys(self, finding: Finding, name: str) -> str:
        """The keys that are struck where a finding stands, to scale."""
        plan = self.keyboard(finding)
        if plan is None or finding.rule.id not in _OF_KEYS or plan.settings is None:
            return ""
        notes = {(ref.measure, ref.n) for ref in (finding.atoms or (finding,))[0].notes}
        if finding.rule.id == "keyboard-leap":
            struck = of_hand(plan, notes, _SIDES[str(finding.numbers["hand"])])
        else:
            struck = struck_at(plan, notes, _hand_of_chord(finding))
        if not struck:
            return ""
        drawn = keys_picture(struck, plan.settings.limits.keys, f"{name}-")
        return f'<figure><div class="strip" tabindex="0" role="group" aria-label="Keys struck">{drawn}</div></figure>'

    def bars(
        self, notes: Iterable[NoteRef | ChangeRef], edits: Sequence[Edit] = (), most: int = MOST_BARS
    ) -> Bars | None:
        return bars_of(self.state.score, notes, edits, most)

    def bars_words(self, part: int, bars: Bars) -> str:
        first, last = (bar_number(self.state, part, m) for m in (bars.first, bars.last))
        return f"bar {first}" if bars.first == bars.last else f"bars {first} to {last}"

    def left_out(self, finding: Finding, bars: Bars) -> str:
        """Which bars are shown, where the finding has more."""
        measures = {ref.measure for ref in finding.notes}
        if all(bars.first <= m <= bars.last for m in measures):
            return ""
        return f"Shown: {self.bars_words(finding.place.part, bars)}."

    def how_many(self, finding: Finding) -> str:
        """How many notes in all, and in which bars."""
        count = len(finding.notes)
        if count < 2:
            return ""
        bars = list(dict.fromkeys(bar_number(self.state, finding.place.part, ref.measure) for ref in finding.notes))
        if len(bars) == 1:
            return f" It holds for {count} notes of this bar."
        listed = f"{', '.join(bars[:-1])} and {bars[-1]}" if len(bars) <= 12 else f"{bars[0]} to {bars[-1]}"
        among = "" if len(bars) <= 12 else f" in {len(bars)} bars among"
        return f" It holds for {count} notes{among or ' in'} bars {listed}."

    def facts(self, finding: Finding) -> str:
        """The figures behind the finding, each with its source in words: those it names, else all of its rule."""
        instrument = self.instrument_of(finding)
        wanted = [name for name in finding.rule.facts if instrument or not name.startswith("*")]
        found = [facts.find(name.replace("*", instrument.id) if instrument else name) for name in wanted]
        known = [fact for fact in found if fact is not None]
        named = [fact for fact in known if fact.unit == "pitch" and _names(finding.says, pages.value_text(fact))]
        chosen = named or known
        if not chosen:
            return ""
        rows = "".join(f"<li>{_e(_fact_words(fact, instrument))}</li>" for fact in chosen)
        head = f"The figure{'s' * (len(chosen) > 1)} behind it:"
        return f'<p class="quiet">{head}</p><ul class="facts">{rows}</ul>'

    def instrument_of(self, finding: Finding) -> Instrument | None:
        """The instrument that plays the finding's first note; None if it is not known."""
        spans = self.state.spans.get(finding.place.part, ())
        for ref in finding.notes[:1]:
            for span in spans:
                if span.instrument and any((e.measure, e.note.n) == (ref.measure, ref.n) for e in span.events):
                    return span.instrument
        return next((span.instrument for span in spans if span.instrument), None)

    def mend(self, number: int, k: int, finding: Finding, mend: Mend) -> str:
        """A way out: what it does, what becomes of the sound, and the bars before and after."""
        effect = EFFECT_WORDS[mend.effect]
        id_ = f" {finding.id}-{k}" if finding.id and mend.edits and not self.ids else ""
        head = f"<h4>Mend{_e(id_)}: {_e(mend.says)} ({_e(effect)})</h4>"
        changed = [edit.note for edit in mend.edits]
        before = self.bars(changed, most=_MEND_BARS)
        if before is None:
            return f'<section class="mend">{head}{self.proposed(number, k, finding, mend)}</section>'
        after = self.bars(changed, mend.edits, _MEND_BARS)
        assert after is not None
        where = f"{self.names[finding.place.part]}, {self.bars_words(finding.place.part, before)}"
        notes = tuple(dict.fromkeys(ref for ref in changed if isinstance(ref, NoteRef)))
        marks = [Mark("", finding.level, notes, finding.id if self.ids else "")]
        hidden = sum(not before.first <= ref.measure <= before.last for ref in notes)
        verb = "is" if hidden == 1 else "are"
        more = f'<p class="quiet">{plural(hidden, "more note")} further on {verb} changed too.</p>' if hidden else ""
        if self.looks_the_same(before, after):
            more += '<p class="quiet">These bars look the same; what changes is what the file says of their sound.</p>'
        return (
            f'<section class="mend">{head}<div class="sides">'
            f"{self.figure(before, marks, f'{where}, before the mend', 'Before', _MEND_SCALE)}"
            f"{self.figure(after, marks, f'{where}, after the mend: {mend.says}', 'After', _MEND_SCALE)}"
            f"</div>{more}</section>"
        )

    def proposed(self, number: int, k: int, finding: Finding, mend: Mend) -> str:
        """The setting that a mend proposes, drawn; empty where it proposes none."""
        for positions in finding.numbers.get("settings", ()) if of_harp(finding) else ():
            if setting_text(positions) in mend.says:
                return f"<figure>{pedals.diagram(positions, f'finding-{number}-{k}-')}</figure>"
        return ""

    def looks_the_same(self, before: Bars, after: Bars) -> bool:
        """Whether an edit leaves the engraved bars as they were."""
        try:
            return self.desk.engraving(before).body == self.desk.engraving(after).body
        except EngraveError:
            return False

    def figure(
        self, bars: Bars, marks: Sequence[Mark], title: str, caption: str, scale: float = 1.0,
        rows: pedals.Rows | None = None,
    ) -> str:  # fmt: skip
        """Engraved bars with marks, pedals and a caption; where they cannot be engraved, a sentence that says so."""
        self.pictures += 1
        under = f"<figcaption>{_e(caption)}</figcaption>" if caption else ""
        try:
            drawn = self.draw(bars, marks, title, scale, rows)
        except EngraverMissing:
            raise
        except EngraveError as error:
            return f"<figure><p>{_e(capital(str(error)))}</p>{under}</figure>"
        scrolls = f' tabindex="0" role="group" aria-label="{_e(title)}"' if drawn.width > _NARROW_PX else ""
        return f'<figure><div class="strip"{scrolls}>{drawn.svg}</div>{under}</figure>'

    def draw(
        self, bars: Bars, marks: Sequence[Mark], title: str, scale: float, rows: pedals.Rows | None = None
    ) -> Picture:
        engraving = self.desk.engraving(bars)
        self.signs.update(engraving.signs)
        whole = f"{title}. {rows.words}" if rows else title
        below = rows.below if rows else None
        return picture(engraving, marks, whole, f"x{self.pictures}-", SIGNS, scale=scale, below=below)


_OF_PEDALS = frozenset(
    f"harp-{kind}"
    for kind in (
        "cluster", "pedal-too-fast", "pedal-quick", "one-foot-twice", "let-go-early", "ringing", "gliss-end",
        "gliss-setting", "spelling", "no-setting", "printed-setting", "trill-strings",
    )
)  # fmt: skip
_OF_HANDS = frozenset(
    f"harp-{kind}"
    for kind in (
        "chord-hands", "hand-zone", "hand-leap", "string-again", "hand-busy", "harmonic-hands", "harmonic-fast",
        "etouffe-fast", "tremolo-one-string", "xylophonic-hands",
    )
)  # fmt: skip


_OF_KEYS = frozenset(
    ("keyboard-stretch", "keyboard-notes", "keyboard-leap", "keyboard-repeat", "keyboard-restruck", "keyboard-let-go")
)


_SIDES = {"left": "L", "right": "R"}


def _hand_of_chord(finding: Finding) -> str:
    """The hand, L or R, that a finding about a chord gives it to; empty for other findings."""
    if finding.rule.id not in ("keyboard-stretch", "keyboard-notes"):
        return ""
    return _SIDES.get(str(finding.numbers.get("hand", "")), "")


def of_harp(finding: Finding) -> bool:
    """Whether a finding is about a harp."""
    return finding.rule.id.startswith("harp-")


def _names(text: str, value: str) -> bool:
    """Whether a text names a value as a word of its own."""
    return value in text.replace(",", " ").replace(".", " ").replace(":", " ").replace("?", " ").split()


def _fact_words(fact: Fact, instrument: Instrument | None) -> str:
    owner = instrument.name if instrument and instrument.id == fact.owner else fact.owner.replace("-", " ")
    needs = f", with {fact.needs}" if fact.needs else ""
    remarks = "".join(f"; {text}" for text in (fact.note, fact.why) if text)
    return f"{owner}, {fact.key.replace('_', ' ')}: {pages.value_text(fact)}{needs} ({pages.basis_text(fact)}{remarks})"
