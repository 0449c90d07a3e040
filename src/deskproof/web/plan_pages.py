"""The HTML of a plan's page: the sheet, then every passage as a form, then the figures. All that is given is text."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from shlex import quote as quoted
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from deskproof.draw.planning_sheet import sheet
from deskproof.draw.sheet_cells import silent_words
from deskproof.draw.sheet_hatching import hatching
from deskproof.footnotes import capital
from deskproof.planning_notes import (
    CAUTIONS,
    bullets,
    forces_words,
    loudness_table,
    passage_words,
    players_table,
    why_words,
)
from deskproof.scoring.plan_form import WEIGHTS
from deskproof.scoring.records import Line, Passage, PlannedPassage
from deskproof.scoring.said import bars_words, kind_of, listed, scoring_words, status_words
from deskproof.web.pages import e, page
from deskproof.web.plan_refusals import Wrong
from deskproof.web.plan_typed import DYNAMIC, FIXED, LONGEST, SILENT, WEIGHT, WHO, typed_who

if TYPE_CHECKING:
    from deskproof.web.plan_desk import Laid

_ORDINALS = ("second", "third", "fourth", "fifth", "sixth")
_HOW = (
    "Write players as your forces call them, with commas between: oboe 1, violin 1 8va, cello pizz. An empty line is "
    "the planner’s to fill, “nobody” leaves the strand out. What you write is a wish, which the planner weighs; what "
    "you keep as it is, it does not touch. Only passages that you have changed are planned anew."
)


def shell(pieces: Mapping[str, Any], name: str, root: str) -> str:
    """The whole page of a plan, around what ``Plans.pieces`` gives."""
    body = f"""
<header><h1 id="title">{e(pieces["title"])}</h1><p><a href="{e(root)}/">All scores of the folder</a></p></header>
<main id="plan" tabindex="-1" data-revision="{e(pieces["revision"])}">{pieces["html"]}</main>
<section id="changed" aria-labelledby="changed-head" hidden><h2 id="changed-head" tabindex="-1">The plan has been
changed elsewhere</h2><p>The plan or its sketch is another on the disk than the one that this page shows. Nothing was
written, and what you typed is still here.</p>
<p class="moves"><button type="button" id="put-in">Show the plan as it is now, with what I typed in it</button>
<button type="button" id="as-it-is">Show the plan as it is now, without what I typed</button></p></section>
<p id="said" role="status" aria-live="polite"></p>
"""
    return page(pieces["title"], body, root, name, script="plan.js")


def refused(name: str, root: str, why: str) -> str:
    """The page of a plan that cannot be shown."""
    rows = "".join(f"<p class=\"error\">{e(capital(row))}</p>" for row in why.splitlines())
    body = f'<main><h1>Plan {e(name)}</h1>{rows}<p><a href="{e(root)}/">All scores of the folder</a></p></main>'
    return page(f"Plan {name}", body, root, script="")


def inside(laid: Laid, notes: Sequence[Wrong] = ()) -> str:
    """What stands under the title. ``notes`` are told beside their passages."""
    plan, passages, hall = laid.plan, laid.passages, laid.hall
    systems = sheet(plan, passages, hall, laid.sketch)
    rows = [
        *(f"<p>{e(one)}</p>" for one in (forces_words(hall), status_words(plan), *_open(laid))),
        "<h2>The sheet</h2>",
        *(f'<figure class="strip sheets" tabindex="0">{one}</figure>' for one in systems),
        '<p class="quiet">A strip of hatching says which kind of strand a player has; strips of neighbours on one kind '
        "meet. Octaves are counted from the sketch: 8va above, 8vb below.</p>",
        '<form class="plan"><h2>Who plays what, passage by passage</h2>',
        f'<p>{e(_HOW)}</p>',
        "<noscript><p>To change it here, scripts must be allowed; the text of the plan may be changed in any editor."
        "</p></noscript>",
        _again("top"),
        *(
            _passage(k, planned, passage, [one for one in notes if one.passage == k])
            for k, (planned, passage) in enumerate(zip(plan.passages, passages, strict=True))
        ),
        "</form>",
        *([f"<p>{e(silent_words(plan, hall))}</p>"] if silent_words(plan, hall) else []),
        "<h2>How strong each strand is</h2>",
        *loudness_table(plan, passages, hall),
        "<h2>Players and dynamics</h2>",
        *players_table(plan, passages, hall),
        "<h2>Write the full score</h2><p>Where the sketch lies, type:</p>",
        f'<pre class="command">{e(command(laid.file, laid.name))}</pre>',
        f'<p><a href="score?name={quote(laid.file, safe="")}">Go through the sketch itself</a></p>',
        *bullets("To keep in mind", CAUTIONS),
    ]  # fmt: skip
    return "\n".join(rows)


def _open(laid: Laid) -> Iterator[str]:
    if laid.open:
        bars = listed([bars_words(laid.plan.passages[k].bars) for k in sorted(laid.open)])
        yield f"Not planned yet as the sketch and the lines stand now: {bars}."


def command(sketch: str, plan: str) -> str:
    """What writes the full score, to be typed where the sketch lies.

    >>> command("a/lamps.mxl", "a/lamps.plan.toml")
    'deskproof orchestrate lamps.mxl lamps.plan.toml -o lamps-full.musicxml'
    """
    names = (Path(sketch).name, Path(plan).name, f"{Path(sketch).stem}-full.musicxml")
    one, other, full = (quoted(f"./{name}" if name.startswith("-") else name) for name in names)
    return f"deskproof orchestrate {one} {other} -o {full}"


def _again(where: object) -> str:
    return f'<p class="moves"><button type="submit" id="again-{where}">Plan again</button></p>'


def _passage(k: int, planned: PlannedPassage, passage: Passage, notes: Sequence[Wrong]) -> str:
    there = {line.strand for line in planned.lines}
    lines = [*planned.lines, *(Line(one.id) for one in passage.strands if one.id not in there)]
    told = "".join(f'<p class="note">{e(capital(one.words))}</p>' for one in notes)
    return (
        f'<section class="passage" data-passage="{k}" data-bars="{e(planned.bars)}" aria-labelledby="passage-{k}">'
        f'<h3 id="passage-{k}" tabindex="-1">{e(capital(_named(planned)))}</h3>'
        f'<p class="error" id="wrong-{k}" tabindex="-1" hidden></p>{told}'
        f'<p class="weight"><label>Weight {_weights(k, planned.weight or passage.weight)}</label></p>'
        f'{"".join(_line(k, j, line, kind_of(line.strand, passage)) for j, line in enumerate(lines))}'
        f'{"".join(_silent(k, planned))}{_others(k, planned)}{_again(k)}</section>'
    )


def _named(planned: PlannedPassage) -> str:
    words = passage_words(planned).removesuffix(f", {planned.weight}") if planned.weight else passage_words(planned)
    return f"Letter {words}" if planned.mark else words


def _weights(k: int, weight: str) -> str:
    rows = "".join(f"<option{' selected' if one == weight else ''}>{one}</option>" for one in WEIGHTS)
    return f'<select id="weight-{k}" data-key="{WEIGHT}" data-row="">{rows}</select>'


def _line(k: int, j: int, line: Line, kind: str) -> str:
    row = f'data-row="{e(line.strand)}"'
    ticked = " checked" if line.fixed else ""
    return (
        f'<div class="line" role="group" aria-labelledby="strand-{k}-{j} passage-{k}">'
        f'<span class="strand" id="strand-{k}-{j}">{_hatched(kind)} {e(line.strand)}</span>'
        f'<label class="who">played by <input type="text" id="who-{k}-{j}" data-key="{WHO}" {row} '
        f'value="{e(typed_who(line))}" {_TEXT}></label>'
        f'<label class="loud">dynamic <input type="text" id="loud-{k}-{j}" data-key="{DYNAMIC}" {row} '
        f'value="{e(line.dynamic)}" {_TEXT}></label>'
        f'<label class="keep"><input type="checkbox" id="keep-{k}-{j}" data-key="{FIXED}" {row}{ticked}> '
        f"keep as it is</label>"
        f'<span class="why quiet">{e(_why(line))}</span></div>'
    )


def _hatched(kind: str) -> str:
    """The strip of hatching that a kind of strand has on the sheet."""
    drawn = hatching(kind, 0, 0, _STRIP, _STRIP)
    return f'<svg class="hatched" width="{_STRIP:g}" height="{_STRIP:g}" aria-hidden="true">{drawn}</svg>'


_STRIP = 14.0  # px
_TEXT = f'maxlength="{LONGEST}" autocomplete="off" autocapitalize="off" spellcheck="false"'


def _why(line: Line) -> str:
    """Why, and who chose it."""
    if not line.who and not line.why:
        return "Left to the planner."
    why = capital(f"{why_words(line)}. " if line.why else "")
    return f"{why}Chosen by the {line.by}."


def _silent(k: int, planned: PlannedPassage) -> Iterator[str]:
    for j, one in enumerate(planned.tacet):
        because = f'<span class="why quiet">{e(capital(one.why))}.</span>' if one.why else ""
        yield _silent_field(k, str(j), ", ".join(one.who), because)
    yield _silent_field(k, "new", "", "", "also silent" if planned.tacet else "silent")


def _silent_field(k: int, row: str, who: str, because: str, label: str = "silent") -> str:
    return (
        f'<p class="silent"><label><span class="strand">{label}</span> <input type="text" id="silent-{k}-{row}" '
        f'data-key="{SILENT}" data-row="{row}" value="{e(who)}" {_TEXT}></label>{because}</p>'
    )


def _others(k: int, planned: PlannedPassage) -> str:
    """The next best scorings, each to be taken."""
    rows = []
    for j, (ordinal, (cost, lines)) in enumerate(zip(_ORDINALS, planned.scorings, strict=False)):
        said = f"{capital(ordinal)}: {scoring_words(planned, cost, lines)}."
        rows.append(
            f'<li>{e(said)} <button type="button" id="take-{k}-{j}" data-take="{j}" aria-label="Take this one: '
            f'{e(bars_words(planned.bars))}, {ordinal}">Take this one</button></li>'
        )
    return f'<h4>The next best scorings</h4><ul class="others">{"".join(rows)}</ul>' if rows else ""
