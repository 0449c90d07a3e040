"""The generated pages are current, and every rule has one."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

from deskproof import facts
from deskproof.families import rules
from deskproof.scoring.turning_rules import RULES

ROOT = Path(__file__).parents[1]


def test_generated_pages_are_current():
    done = subprocess.run(
        [sys.executable, "tools/make_docs.py", "--check"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr


def test_every_rule_has_a_page():
    assert rules()
    for rule in rules():
        assert rule.title in (ROOT / "docs" / "findings" / f"{rule.id}.md").read_text("utf-8").lower().replace(
            "\n", " "
        )


def test_changelog_and_version_agree():
    import deskproof

    assert f"## {deskproof.__version__}" in (ROOT / "CHANGELOG.md").read_text("utf-8")


def test_no_page_names_a_path_of_one_machine():
    own = Path(__file__)
    for path in [
        *ROOT.glob("*.md"),
        *ROOT.glob("docs/**/*.md"),
        *ROOT.glob("src/**/*.py"),
        *ROOT.glob("tests/**/*.py"),
    ]:
        if path != own:
            text = path.read_text("utf-8")
            assert not re.search(r"/(?:root|tmp)/", text), path


def scoring_page() -> str:
    return " ".join((ROOT / "docs" / "scoring-rules.md").read_text("utf-8").split())


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.name)
def test_the_page_of_the_scoring_has_each_rule_in_its_words(rule):
    assert f"### {rule.name} {rule.says} *When*: {rule.when}" in scoring_page()


def test_the_page_of_the_scoring_has_the_costs_as_they_are():
    """Each cost that is one figure stands in a row of its own; the rows of strength are those of the facts."""
    page = scoring_page()
    costs = {
        fact.key: fact.value
        for fact in facts.of("scoring")
        if (fact.unit or "").startswith("cost") and isinstance(fact.value, int)
    }
    assert len(costs) > 15
    rows = {key: int(cost) for cost, key in re.findall(r"\| (\d+) \| [^|]+ \| `(\w+)` \|", page)}
    assert rows == costs
    assert f"{facts.get('scoring.tutti').value} % of the seats" in page
    for kind, by_level in facts.get("scoring.window").value.items():
        cells = " | ".join(f"{low} to {high}" for low, high in by_level.values())
        assert f"| {kind} | {cells} |" in page
    soft, loud = (facts.get(f"scoring.rimsky_{name}").value for name in ("piano", "forte"))
    said = {
        "flute, oboe, clarinet, bassoon and relatives": "woodwind", "horn": "horn", "trumpet, trombone, tuba": "tuba",
        "a whole section of strings": "section",
    }  # fmt: skip
    for words, key in said.items():
        low = soft.get(key, soft["brass"])
        assert f"| {words} | {low} | {loud[key]} |" in page

