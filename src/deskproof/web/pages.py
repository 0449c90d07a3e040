"""The HTML of the served pages. Whatever comes from a score is text, never markup; nothing is styled or run inline."""

from __future__ import annotations

import html
from collections.abc import Sequence
from urllib.parse import quote

from deskproof.engrave.marks import ring_alone
from deskproof.findings import EFFECT_WORDS, LEVELS, Effect
from deskproof.footnotes import Footnotes, capital, plural
from deskproof.places import bar_number
from deskproof.state import State
from deskproof.web.folder import PLAN
from deskproof.web.systems import EVERYTHING, INVOLVED, System
from deskproof.web.view import Asked, LetStand, View

FEW = 4  # parts that are named in the heading of a system
MANY = 12  # parts; with more of them a system is as high as the window


def e(text: object) -> str:
    """A text as HTML."""
    return html.escape(str(text))


def page(title: str, body: str, root: str, name: str = "", script: str = "page.js") -> str:
    """A whole page. ``root`` is the path of the server with its secret; ``name`` the score that the page is about."""
    scripts = f'<script type="module" src="{e(root)}/static/{script}"></script>' if script else ""
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<title>{e(title)}</title><link rel="icon" href="data:,">'
        f'<link rel="stylesheet" href="{e(root)}/static/proof.css">'
        f'<link rel="stylesheet" href="{e(root)}/static/web.css">'
        f'</head><body data-root="{e(root)}" data-name="{e(name)}">{body}{scripts}</body></html>\n'
    )


def listing(names: Sequence[str], plans: Sequence[str], folder: str, root: str) -> str:
    """The page of a folder: its scores and plans."""
    links = [("score", name, name) for name in names]
    links += [("plan", name, f"plan of {name.removesuffix(PLAN)}") for name in plans]
    rows = "".join(
        f'<li><a href="{e(root)}/{kind}?name={quote(name, safe="")}">{e(said)}</a></li>' for kind, name, said in links
    )
    body = f"<main><h1>Scores in {e(folder)}</h1>{f'<ul>{rows}</ul>' if rows else '<p>No score here.</p>'}</main>"
    return page(f"Scores in {folder}", body, root, script="")


def shell(name: str, root: str, several: bool) -> str:
    """The page of a score before it is read: headings, choices, and where everything else will stand."""
    back = f'<p><a href="{e(root)}/">All scores of the folder</a></p>' if several else ""
    return page(
        f"Proof of {name}",
        f"""
<a class="skip" href="#music">To the music</a>
<header><h1 id="title">Proof of {e(name)}</h1>{back}<div id="head"></div>
</header>
<nav aria-label="Findings" id="choices" hidden>
<p class="moves"><button type="button" id="previous">Previous finding</button>
<button type="button" id="next">Next finding</button>
<button type="button" id="keep">Take all mends that keep the sound</button></p>
<fieldset><legend>Show only</legend>
<label>Part <select id="only-part"><option value="">every part</option></select></label>
{_levels()}
<label hidden id="only-new-label"><input type="checkbox" id="only-new"> new since the older export</label></fieldset>
<p><label>Music of <select id="show"><option value="{INVOLVED}">the parts of each finding</option>
<option value="{EVERYTHING}">the full score</option></select></label>
<label id="sampled-label" hidden><input type="checkbox" id="sampled"> hear it with <span id="soundfont"></span></label>
<span class="quiet" id="sound"></span></p></nav>
<section id="lists"></section>
<main id="music" tabindex="-1" aria-label="The music and its findings"></main>
<section id="ends" aria-label="Save and compare" hidden><h2>Save</h2>
<p>The score itself is never written over; copies stand beside it.</p>
<p class="moves"><button type="button" data-save="mended">Save the mended copy</button>
<button type="button" data-save="html">Save the proof as a page</button>
<button type="button" data-save="pdf">Save the proof as PDF</button>
<button type="button" data-save="json">Save the findings as JSON</button></p>
<div id="beside"><h2>Beside an older export</h2>
<p><label>Older export <select id="older"></select></label>
<button type="button" id="compare">What is new and what has gone</button></p><div id="compared"></div></div></section>
<p id="said" role="status" aria-live="polite">The score is being read and checked.</p>
""",
        root,
        name,
    )


def _levels() -> str:
    box = '<input type="checkbox" class="only-level"'
    return "".join(
        f'<label>{box} value="{level}" checked>{ring_alone("", level)} {level}</label>\n' for level in LEVELS
    )


def head(lines: Sequence[str]) -> str:
    """The lines under the title."""
    take = "Take what you like, let stand what you mean; your file is not touched."
    return "".join(f"<p>{e(line)}</p>" for line in (take, *lines))


def lists(view: View) -> str:
    """What was taken so far, and what was let stand."""
    rows = []
    if view.error:
        rows.append(f'<p class="error">{e(capital(view.error))}</p>')
    if view.taken:
        rows.append("<h2 id=\"taken\" tabindex=\"-1\">Taken so far</h2><ol class=\"taken\">")
        for one in view.taken:
            words = f"{capital(one.where)}: {one.says} ({EFFECT_WORDS[one.effect]})"
            rows.append(
                f"<li>{e(words)} <button type=\"button\" data-strike=\"{one.number}\" "
                f'aria-label="Take back: {e(words)}">Take back</button></li>'
            )
        rows.append("</ol>")
    if view.let_stand:
        rows.append("<h2>Let stand</h2><ul class=\"stand-list\">")
        rows += [_stands(one) for one in view.let_stand]
        rows.append("</ul>")
    return "".join(rows)


def _stands(one: LetStand) -> str:
    words = f"{capital(one.where)}: {one.finding.says}"
    return (
        f"<li>{e(words)} <em>{e(one.reason)}</em> "
        f'<button type="button" data-again="{e(one.finding.id)}" aria-label="Ask again: {e(words)}">Ask again</button>'
        "</li>"
    )


def music(state: State, rows: Sequence[System], keys: Sequence[str]) -> str:
    """All systems with the findings under them; the engraving comes when it is looked at. ``keys`` tell them apart."""
    return "".join(_system(state, one, key) for one, key in zip(rows, keys, strict=True))


def _system(state: State, one: System, key: str) -> str:
    names = [state.score.parts[i].name or state.score.parts[i].id for i in one.parts]
    bars = bars_words(state, one)
    if not one.parts and not one.begins:
        return f'<section class="system empty"><p class="quiet">{e(bars)}: nothing found.</p></section>'
    said = ", ".join(names) if len(names) <= FEW else f"{len(names)} parts"
    tall = " tall" if len(names) > MANY else ""
    spot = (
        f'<div class="engraved strip{tall}" tabindex="0" role="group" aria-label="{e(bars)}: {e(said)}" '
        f'data-first="{one.first}" data-last="{one.last}" data-key="{e(key)}"></div>'
        f'<p class="hear"><button type="button" data-hear="{one.first}-{one.last}">Hear {e(bars.lower())}</button></p>'
    )
    begins = {asked.finding.id for asked in one.begins}
    on = [asked for asked in one.under if asked.finding.id not in begins]
    links = ", ".join(f'<a href="#finding-{e(a.finding.id)}">{a.number}, {e(a.where)}</a>' for a in on)
    notes = "".join(_footnote(state, asked) for asked in one.begins)
    under = " ".join(asked.finding.id for asked in one.under)
    return (
        f'<section class="system" data-bars="{one.first}-{one.last}" data-under="{e(under)}"><h2>{e(bars)}'
        f'<span class="quiet"> {e(said)}</span></h2>{spot}'
        f"{f'<p class=quiet>Goes on here: {links}.</p>' if links else ''}"
        f'{f"<div class=footnotes>{notes}</div>" if notes else ""}</section>'
    )


def bars_words(state: State, one: System) -> str:
    """The bars of a system, as printed: Bars 5 to 8."""
    first, last = bar_number(state, 0, one.first), bar_number(state, 0, one.last)
    return f"Bar {first}" if one.first == one.last else f"Bars {first} to {last}"


def _footnote(state: State, one: Asked) -> str:
    finding = one.finding
    ways = sum(bool(mend.edits) for mend in finding.mends)
    keeping = sum(mend.effect is Effect.KEEPS_SOUND for mend in finding.mends)
    offers = "Why, and what you could do" if finding.mends else "Why"
    if ways:
        offers = f"Why, and {plural(ways, 'mend')}"
        if keeping:
            offers += ", which keeps the sound" if ways == 1 else f", {keeping} of them keeping the sound"
    part = state.score.parts[finding.place.part].id
    return (
        f'<article class="finding" id="finding-{e(finding.id)}" tabindex="-1" data-id="{e(finding.id)}" '
        f'data-level="{e(finding.level)}" data-part="{e(part)}" aria-labelledby="place-{e(finding.id)}">'
        f'<h3 id="place-{e(finding.id)}">{ring_alone(str(one.number), finding.level)} '
        f'<span class="aside">Finding {one.number}, {e(finding.level)}: </span>{e(capital(one.where))}</h3>'
        f'<p><span class="level">{e(finding.level)}</span>: {e(finding.says)}</p>'
        f'<details data-finding="{e(finding.id)}"><summary>{e(offers)}</summary>'
        f'<div class="inside"></div></details></article>'
    )


def details(notes: Footnotes, one: Asked, stale: bool) -> str:
    """What is behind a finding: its charts, reasons and figures, each mend before and after, and letting it stand."""
    finding = one.finding
    rows = [notes.charts(one.number, finding), f'<p class="quiet">{e(finding.rule.why)}</p>', notes.facts(finding)]
    for k, mend in enumerate(finding.mends, 1):
        rows.append(notes.mend(one.number, k, finding, mend))
        if not mend.edits:
            continue
        take = (
            f'<button type="button" data-take="{e(finding.id)}" data-mend="{k}"{" disabled" if stale else ""} '
            f'aria-label="Take this mend: {e(mend.says)}">Take this mend</button>'
        )
        hear = "".join(
            f'<button type="button" data-hear-mend="{e(finding.id)}" data-mend="{k}" data-after="{after}" '
            f'aria-label="Hear it {word} the mend: {e(mend.says)}">Hear it {word}</button>'
            for word, after in (("before", 0), ("after", 1))
        )
        rows.append(f'<p class="moves">{take} {hear}</p>')
    if not finding.mends:
        rows.append('<p class="quiet">No mend is offered.</p>')
    rows.append(
        f'<form data-stand="{e(finding.id)}"><p><label>Let it stand, because '
        f'<input name="reason" type="text" maxlength="300" required autocomplete="off"></label> '
        '<button type="submit">Let it stand</button></p></form>'
    )
    return "".join(rows) + notes.outlines()


def compared(file: str, new: Sequence[Asked], gone: Sequence[tuple[str, str]], still: int) -> str:
    """What an older export had and has not: words, and lists."""
    rows = [
        f"<p>Since {e(file)}: {len(new)} new, {len(gone)} gone, {still} still there.</p>",
        _list("New", [_linked(one) for one in new]),
        _list("Gone", [e(f"{capital(where)}: {says}") for where, says in gone]),
    ]
    return "".join(rows)


def _list(title: str, rows: Sequence[str]) -> str:
    return f"<h3>{title}</h3><ul>{''.join(f'<li>{row}</li>' for row in rows)}</ul>" if rows else ""


def _linked(one: Asked) -> str:
    return f'<a href="#finding-{e(one.finding.id)}">{e(capital(one.where))}</a>: {e(one.finding.says)}'
