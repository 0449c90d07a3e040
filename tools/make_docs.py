"""Writes the generated pages: docs/findings/ (one page a rule), docs/facts.md (every figure with its source), and the
output of the demo in the README.

Run by ``make docs``; a test holds that the pages are current.
"""

from __future__ import annotations

import sys
from pathlib import Path

import deskproof.report.as_text as as_text
from deskproof import document, facts, instruments
from deskproof.check import check
from deskproof.demo import SCORE
from deskproof.families import rules
from deskproof.pages import basis_text, value_text

DOCS = Path(__file__).parents[1] / "docs"


def pages() -> dict[Path, str]:
    """Path -> text of every generated page."""
    found = {
        DOCS / "facts.md": facts_page(),
        DOCS / "findings" / "README.md": index_page(),
        DOCS.parent / "README.md": readme(),
    }
    for rule in rules():
        found[DOCS / "findings" / f"{rule.id}.md"] = rule_page(rule.id)
    return found


WIDTH = 100  # of the demo's output in the README


def readme() -> str:
    """The README with the real output of the demo in it."""
    text = (DOCS.parent / "README.md").read_text("utf-8")
    head, _, rest = text.partition(BEGIN)
    _, _, tail = rest.partition(END)
    report = check(document.read(SCORE).score)
    name = SCORE.name
    rows = [as_text.header(report.state, name), as_text.findings_text(report.state, report.findings, name, WIDTH)]
    shown = "\n".join([*rows, as_text.summary(report.findings)])
    return f"{head}{BEGIN}\n```text\n{shown}\n```\n{END}{tail}"


BEGIN, END = "<!-- demo: begin -->", "<!-- demo: end -->"


def rule_page(rule_id: str) -> str:
    """The page of one rule."""
    rule = next(r for r in rules() if r.id == rule_id)
    rows = [f"# {rule.id}", "", f"{rule.title[0].upper()}{rule.title[1:]}.", ""]
    rows += [f"- Level: {', '.join(f'`{level}`' for level in rule.levels)}."]
    rows += [f"- Why it matters: {rule.why}"]
    rows += [f"- Says: {rule.says}"]
    if rule.silent_when:
        rows += [f"- Silent when {rule.silent_when}."]
    if rule.facts:
        rows += ["- Rests on: " + ", ".join(f"`{fact}`" for fact in rule.facts) + " (`*` stands for the instrument)."]
    return "\n".join(rows) + "\n"


def index_page() -> str:
    """The list of all rules."""
    rows = ["# What Deskproof finds", "", "| rule | level | what |", "| --- | --- | --- |"]
    rows += [f"| [{r.id}]({r.id}.md) | {', '.join(r.levels)} | {r.title} |" for r in rules()]
    return "\n".join(rows) + "\n"


def facts_page() -> str:
    """Every figure with its basis and source."""
    names = {one.id: one.name for one in instruments.all_instruments()}
    rows = [
        "# Facts",
        "",
        "Every figure about an instrument or a player that a finding may rest on. Pitches sound; middle C is C4.",
        "A line that begins with *not in use* is a source that disagrees.",
    ]
    owner = ""
    for fact in facts.all_facts():
        own, _, key = fact.id.rpartition(".")
        if own != owner:
            owner = own
            rows += [
                "",
                f"## {names.get(own, own)}",
                "",
                "| figure | value | basis | note |",
                "| --- | --- | --- | --- |",
            ]
        note = "; ".join(text for text in (fact.needs and f"with {fact.needs}", fact.note, fact.why) if text)
        rows.append(f"| `{key}` | {value_text(fact)} | {basis_text(fact)} | {note} |")
        for other in fact.others:
            rows.append(f"| *not in use* | {value_text(other)} | {basis_text(other)} | {other.note} |")
    return "\n".join(rows) + "\n"


def main() -> None:
    """Write the pages; with ``--check`` only say which are not current."""
    wanted = pages()
    if "--check" in sys.argv:
        stale = [str(path) for path, text in wanted.items() if not path.exists() or path.read_text("utf-8") != text]
        if stale:
            sys.exit("not current, run make docs: " + ", ".join(stale))
        return
    for path, text in wanted.items():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, "utf-8")
    for path in (DOCS / "findings").glob("*.md"):
        if path not in wanted:
            path.unlink()


if __name__ == "__main__":
    main()
