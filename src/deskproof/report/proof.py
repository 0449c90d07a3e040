"""The proof: one HTML page to read or print, with the engraved bars of every finding and every mend.

The page stands by itself: no script, no font, no picture from elsewhere, and a content policy that allows none.
Whatever comes from the score is text, never markup.
"""

from __future__ import annotations

import base64
import hashlib
import html
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path

from deskproof.check import Report
from deskproof.document import Document
from deskproof.draw import pedals
from deskproof.draw.rota import rota, rota_words
from deskproof.engrave.marks import ring_alone
from deskproof.families.harp.either import for_either
from deskproof.families.harp.setting_checks import setting_text
from deskproof.families.percussion.planning import PercussionPlan
from deskproof.families.percussion.setup import in_words, set_up
from deskproof.findings import LEVELS, Finding
from deskproof.footnotes import Footnotes, capital, of_harp, plural
from deskproof.report import as_text
from deskproof.report.hall import how_many_players, not_everywhere, other_ways, players_of, worth_a_look
from deskproof.report.harpist import for_harpist
from deskproof.score import UNCHECKED
from deskproof.state import State

LEVEL_WORDS = {
    "impossible": "no player can do it on this instrument, and no other way of playing it was found.",
    "hard": "some players or some instruments can do it, or only at the limit.",
    "notation": "it can be played, but the player would misread it or lacks a mark.",
    "advice": "it would sound or lie better otherwise.",
}


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


@dataclass
class _Page:
    """Writes the page from top to bottom, and keeps the outlines that its pictures need."""

    document: Document
    state: State
    findings: list[Finding]
    file: str

    def __post_init__(self) -> None:
        self.notes = Footnotes(self.document, self.state)
        self.names = self.notes.names

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
                self.notes.outlines(),
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
                yield f"<h3>{_e(capital(cast.group.name))}</h3><p>{_e(how_many_players(cast))}</p>"
                yield f'<figure class="strip" tabindex="0">{rota(plan, cast, context)}'
                yield f"<figcaption>{_e(rota_words(cast, names))}.</figcaption></figure>"
                others = other_ways(cast, self.state)
                if others:
                    rows = "".join(f"<li>{_e(capital(one))}.</li>" for one in others)
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
                many = f", {plural(one.players, 'player')}" if one.players else ""
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
        harps = [part for part in range(len(self.names)) if self.notes.harp(part)]
        for number, finding in enumerate(self.findings, 1):
            if finding.place.part != shown:
                shown = finding.place.part
                while harps and harps[0] < shown:
                    yield self.section(harps.pop(0))
                harps = [part for part in harps if part != shown]
                yield self.section(shown)
            yield self.notes.finding(number, finding)
        yield from map(self.section, harps)

    def section(self, part: int) -> str:
        """The head of a part; of a harp's also the pedals before its first note, and how often they move."""
        head = f"<h2>{_e(self.names[part])}</h2>"
        plan = self.notes.harp(part)
        if plan is None or plan.pedals is None:
            return head
        setting = plan.pedals.initial
        explained = ""
        if any(of_harp(finding) and finding.place.part == part for finding in self.findings):
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
            plan = self.notes.harp(part)
            if plan is not None and plan.reading is not None and not for_either(title):
                yield for_harpist(plan, self.state.context(), title, f"stand-{part}-")
