"""The proof: one HTML page to read or print, with the engraved bars of every finding and every mend.

The page stands by itself: no script, no font, no picture from elsewhere, and a content policy that allows none.
Whatever comes from the score is text, never markup.
"""

from __future__ import annotations

import base64
import hashlib
import html
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from importlib import resources
from pathlib import Path

from deskproof import facts, pages
from deskproof.check import Report
from deskproof.document import Document
from deskproof.draw import pedals
from deskproof.draw.hand_rows import hand_rows
from deskproof.draw.keys import keys_picture, of_hand, struck_at
from deskproof.draw.rota import rota, rota_words
from deskproof.edits import ChangeRef, Edit
from deskproof.engrave.marks import Mark, Picture, picture, ring_alone
from deskproof.engrave.render import EngraveError, EngraverMissing, sign_shapes
from deskproof.engrave.slice import MOST_BARS, Bars, Desk, bars_of
from deskproof.facts import Fact
from deskproof.families.harp.either import for_either
from deskproof.families.harp.planning import HarpPlan
from deskproof.families.harp.setting_checks import setting_text
from deskproof.families.keyboard.planning import KeyboardPlan
from deskproof.families.keyboard.summary import bars_in_words
from deskproof.families.percussion.planning import PercussionPlan
from deskproof.families.percussion.setup import in_words, set_up
from deskproof.findings import LEVELS, Finding, Mend
from deskproof.instruments import Instrument
from deskproof.places import bar_number, spot_of
from deskproof.report import as_text
from deskproof.report.hall import how_many_players, not_everywhere, other_ways, players_of, worth_a_look
from deskproof.report.harpist import CAUTION, for_harpist
from deskproof.score import UNCHECKED, NoteRef
from deskproof.state import State

LEVEL_WORDS = {
    "impossible": "no player can do it on this instrument, and no other way of playing it was found.",
    "hard": "some players or some instruments can do it, or only at the limit.",
    "notation": "it can be played, but the player would misread it or lacks a mark.",
    "advice": "it would sound or lie better otherwise.",
}
_SIGNS = "sign-"  # before the names of the outlines of music signs, which stand once on the page
HANDS_DIFFER = (
    "Hands differ; long stretches, fast octaves and repeated notes at the limit can hurt a player: the player and "
    "their teacher or doctor decide, not a program."
)
_MEND_BARS = 2  # so that before and after stand side by side
_MEND_SCALE = 0.85
_NARROW_PX = 340  # what is not wider fits the narrowest page and needs no scrolling


def proof_html(document: Document, report: Report, findings: Sequence[Finding] | None = None, file: str = "") -> str:
    """The whole page.

    Parameters
    ----------
    document : Document
        The score that was checked.
    report : Report
        What the check gave.
    findings : sequence of Finding, optional
        Those to print, in the order in which they are numbered; all of the report if None.
    file : str
        The name to print for the score; by default that of the document.

    Raises
    ------
    EngraverMissing
        If the engraver is not installed.
    """
    chosen = list(report.findings if findings is None else findings)
    return _Page(document, report.state, chosen, file or Path(document.name).name).html()


@cache
def style() -> str:
    """The style sheet of every page."""
    return resources.files("deskproof.report").joinpath("proof.css").read_text(encoding="utf-8")


def policy(style: str) -> str:
    """Nothing may be loaded or run; the one style sheet of the page is named by its digest."""
    digest = base64.b64encode(hashlib.sha256(style.encode("utf-8")).digest()).decode("ascii")
    return f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"


def _e(text: object) -> str:
    return html.escape(str(text))


def _plural(count: int, one: str) -> str:
    return f"{count} {one}{'s' * (count != 1)}"


@dataclass
class _Page:
    """Writes the page from top to bottom, and keeps the outlines that its pictures need."""

    document: Document
    state: State
    findings: list[Finding]
    file: str
    signs: dict[str, str] = field(default_factory=dict)
    pictures: int = 0

    def __post_init__(self) -> None:
        self.desk = Desk(self.document)
        names = Counter(part.name or part.id for part in self.state.score.parts)
        self.names = [
            name if names[name := part.name or part.id] == 1 else f"{name} (line {i} of the score)"
            for i, part in enumerate(self.state.score.parts, 1)
        ]

    def html(self) -> str:
        title = self.state.score.title
        head = f"Proof of “{title}”" if title else f"Proof of {self.file}"
        sheet = style()
        body = [
            f"<h1>{_e(head)}</h1>",
            *(f"<p>{_e(row)}</p>" for row in as_text.header(self.state, self.file).split("\n")),
            f"<p>{_e(as_text.summary(self.findings))}</p>",
            self.key(),
            self.who(),
            *self.who_plays(),
            *self.set_ups(),
            *self.by_part(),
            *self.for_players(),
        ]
        outlines = (
            '<svg xmlns="http://www.w3.org/2000/svg" class="signs" aria-hidden="true" focusable="false">'
            f"<defs>{sign_shapes(self.signs, _SIGNS)}</defs></svg>"
        )
        return "\n".join(
            [
                "<!DOCTYPE html>",
                '<html lang="en">',
                "<head>",
                '<meta charset="utf-8">',
                f'<meta http-equiv="Content-Security-Policy" content="{_e(policy(sheet))}">',
                '<meta name="viewport" content="width=device-width, initial-scale=1">',
                f"<title>{_e(head)}</title>",
                f"<style>{sheet}</style>",
                "</head>",
                "<body>",
                outlines,
                "<main>",
                *body,
                "</main>",
                "</body>",
                "</html>",
                "",
            ]
        )

    def key(self) -> str:
        """What the rings say; only the levels that occur."""
        present = {finding.level for finding in self.findings}
        if not present:
            return ""
        rows = [
            f"<dt>{ring_alone('1', level)}<span class=\"level\">{level}</span></dt><dd>{_e(LEVEL_WORDS[level])}</dd>"
            for level in LEVELS
            if level in present
        ]
        return (
            "<h2>How to read the marks</h2>"
            "<p>A ring in the margin carries the number of a finding, its outline the level; the bracket stands under "
            "the notes concerned. In the pictures of a mend the bracket stands under the notes that it changes.</p>"
            f'<dl class="levels">{"".join(rows)}</dl>'
        )

    def who(self) -> str:
        """The parts, what each was read as, how many notes it has, and where its findings are."""
        rows = []
        for i, part in enumerate(self.state.score.parts):
            notes = sum(1 for m in part.measures for n in m.notes if n.kind != "rest" and not n.flags & UNCHECKED)
            links = ", ".join(
                f'<a href="#finding-{k}" aria-label="finding {k}">{k}</a>'
                for k, finding in enumerate(self.findings, 1)
                if finding.place.part == i
            )
            rows.append(
                f'<tr><th scope="row">{_e(part.name or part.id)}</th><td>{_e(self.read_as(i))}</td>'
                f'<td class="count">{notes}</td><td>{links or "none"}</td></tr>'
            )
        return (
            "<h2>Who is in the score</h2><table><thead><tr>"
            '<th scope="col">Part</th><th scope="col">Read as</th><th scope="col" class="count">Notes</th>'
            f'<th scope="col">Findings</th></tr></thead><tbody>{"".join(rows)}</tbody></table>'
        )

    def who_plays(self) -> Iterable[str]:
        """The rota of each group, and what not every hall has."""
        plan = players_of(self.state)
        context = self.state.context()
        wanted = not_everywhere(self.state, self.findings)
        names = [part.name or part.id for part in self.state.score.parts]
        casts = [cast for cast in plan.casts if worth_a_look(cast)] if plan is not None else []
        if plan is not None and casts:
            yield "<h2>Who plays what</h2>"
            for cast in casts:
                yield f"<h3>{_e(_capital(cast.group.name))}</h3><p>{_e(how_many_players(cast))}</p>"
                yield f'<figure class="strip" tabindex="0">{rota(plan, cast, context)}'
                yield f"<figcaption>{_e(rota_words(cast, names))}.</figcaption></figure>"
                others = other_ways(cast, self.state)
                if others:
                    rows = "".join(f"<li>{_e(_capital(one))}.</li>" for one in others)
                    yield f"<p>The next best ways, the better first:</p><ol>{rows}</ol>"
        if wanted:
            rows = "".join(f"<li>{_e(one.words)}</li>" for one in wanted)
            yield f"<h2>Not in every hall</h2><ul>{rows}</ul>"

    def set_ups(self) -> Iterable[str]:
        """What stands before each percussionist, and with which sticks."""
        rows = []
        for i, title in enumerate(self.names):
            plan = self.state.plans.get(("percussion", i))
            if isinstance(plan, PercussionPlan) and plan.reading is not None:
                one = set_up(plan.reading, self.state.context())
                items = "".join(f"<li>{_e(in_words(item))}</li>" for item in one.items)
                many = f", {_plural(one.players, 'player')}" if one.players else ""
                rows.append(f"<h3>{_e(title)}{many}</h3><ul>{items}</ul>")
        if rows:
            yield "<h2>Percussion set-up</h2>"
            yield from rows

    def read_as(self, part: int) -> str:
        """The instruments of a part, in the order in which they come."""
        spans = self.state.spans.get(part, ())
        names = [span.instrument.name for span in spans if span.instrument]
        first = self.state.lines[part].first
        if not names and first:
            names = [first.name]
        return ", then ".join(dict.fromkeys(names)) or "not known as an instrument"

    def by_part(self) -> Iterable[str]:
        shown = None
        harps = [part for part in range(len(self.names)) if self.harp(part)]
        for number, finding in enumerate(self.findings, 1):
            if finding.place.part != shown:
                shown = finding.place.part
                while harps and harps[0] < shown:
                    yield self.section(harps.pop(0))
                harps = [part for part in harps if part != shown]
                yield self.section(shown)
            yield self.finding(number, finding)
        yield from map(self.section, harps)

    def section(self, part: int) -> str:
        """The head of a part; of a harp's also the pedals before its first note, and how often they move."""
        head = f"<h2>{_e(self.names[part])}</h2>"
        plan = self.harp(part)
        if plan is None or plan.pedals is None:
            return head
        setting = plan.pedals.initial
        explained = ""
        if any(_of_harp(finding) and finding.place.part == part for finding in self.findings):
            explained = (
                '<p class="quiet">Under the bars of a finding stands which hand takes which string, in bold where the '
                "page has another name for the note. Where pedals matter each has a line: up is flat, level natural, "
                "down sharp. It slopes, and is thicker, while the foot moves; beside it stands the time that the foot "
                "has to spare.</p>"
            )
        return (
            f"{head}<figure>{pedals.diagram(setting, f'pedals-{part}-')}<figcaption>Before the first note: "
            f"{_e(setting_text(setting))}. A stroke above the line is flat, across it natural, below it "
            f"sharp.</figcaption></figure><p>Pedals: {_e(pedals.plan_words(plan.pedals))}. "
            f"{_e(pedals.faster_words(plan.pedals))}</p>{explained}"
        )

    def for_players(self) -> Iterable[str]:
        """The pages that go to the stands: one for each harp."""
        for part, title in enumerate(self.names):
            plan = self.harp(part)
            if plan is not None and plan.reading is not None and not for_either(title):
                yield for_harpist(plan, self.state.context(), title, f"stand-{part}-")

    def harp(self, part: int) -> HarpPlan | None:
        """The plan of a harp's pedals; None for every other part."""
        plan = self.state.plans.get(("harp", part))
        return plan if isinstance(plan, HarpPlan) and plan.pedals is not None else None

    def pedal_rows(self, finding: Finding, bars: Bars) -> tuple[Bars, pedals.Rows | None]:
        """The bars of a finding about a harp, and under them hands and pedals.

        The bars begin where a pedal moves for the finding; pedals stand where they move or the finding is about them.
        """
        plan = self.harp(finding.place.part)
        if plan is None or plan.pedals is None or plan.settings is None or not _of_harp(finding):
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
        if finding.rule.id in _OF_HANDS:
            text.append(f'<p class="quiet">{CAUTION}</p>')
        if finding.rule.id in _OF_KEYS:
            text.append(f'<p class="quiet">{HANDS_DIFFER}</p>')
        if not finding.mends:
            text.append('<p class="quiet">No mend is offered.</p>')
        return (
            f'<article class="finding" id="{name}" aria-labelledby="{name}-place">'
            f'<h3 id="{name}-place">{_e(_capital(where))}<span class="aside">, finding {number}, '
            f'{_e(finding.level)}</span></h3>{marked}<div class="footnote">{"".join(text)}</div></article>'
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
        return f"{_capital(said)}." if said else ""

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
        return f'<figure><div class="strip">{drawn}</div></figure>'

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
        effect = as_text.EFFECT_WORDS[mend.effect.value]
        id_ = f" {finding.id}-{k}" if finding.id and mend.edits else ""
        head = f"<h4>Mend{_e(id_)}: {_e(mend.says)} ({_e(effect)})</h4>"
        changed = [edit.note for edit in mend.edits]
        before = self.bars(changed, most=_MEND_BARS)
        if before is None:
            return f'<section class="mend">{head}{self.proposed(number, k, finding, mend)}</section>'
        after = self.bars(changed, mend.edits, _MEND_BARS)
        assert after is not None
        where = f"{self.names[finding.place.part]}, {self.bars_words(finding.place.part, before)}"
        notes = tuple(dict.fromkeys(ref for ref in changed if isinstance(ref, NoteRef)))
        marks = [Mark("", finding.level, notes)]
        hidden = sum(not before.first <= ref.measure <= before.last for ref in notes)
        verb = "is" if hidden == 1 else "are"
        more = f'<p class="quiet">{_plural(hidden, "more note")} further on {verb} changed too.</p>' if hidden else ""
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
        for positions in finding.numbers.get("settings", ()) if _of_harp(finding) else ():
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
            return f"<figure><p>{_e(_capital(str(error)))}</p>{under}</figure>"
        scrolls = f' tabindex="0" role="group" aria-label="{_e(title)}"' if drawn.width > _NARROW_PX else ""
        return f'<figure><div class="strip"{scrolls}>{drawn.svg}</div>{under}</figure>'

    def draw(
        self, bars: Bars, marks: Sequence[Mark], title: str, scale: float, rows: pedals.Rows | None = None
    ) -> Picture:
        engraving = self.desk.engraving(bars)
        self.signs.update(engraving.signs)
        whole = f"{title}. {rows.words}" if rows else title
        below = rows.below if rows else None
        return picture(engraving, marks, whole, f"x{self.pictures}-", _SIGNS, scale=scale, below=below)


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


def _of_harp(finding: Finding) -> bool:
    return finding.rule.id.startswith("harp-")


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _names(text: str, value: str) -> bool:
    """Whether a text names a value as a word of its own."""
    return value in text.replace(",", " ").replace(".", " ").replace(":", " ").replace("?", " ").split()


def _fact_words(fact: Fact, instrument: Instrument | None) -> str:
    owner = instrument.name if instrument and instrument.id == fact.owner else fact.owner.replace("-", " ")
    needs = f", with {fact.needs}" if fact.needs else ""
    remarks = "".join(f"; {text}" for text in (fact.note, fact.why) if text)
    return f"{owner}, {fact.key.replace('_', ' ')}: {pages.value_text(fact)}{needs} ({pages.basis_text(fact)}{remarks})"
