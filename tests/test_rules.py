"""Every rule has a firing and a silent case, facts that exist, and a page where there are pages."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

import seeds
from deskproof.families import FAMILIES, rules
from deskproof.findings import LEVELS, Rule

CASES = Path(__file__).parent / "cases"
PAGES = Path(__file__).resolve().parents[1] / "docs" / "findings"


def tables() -> dict[str, dict[str, object]]:
    """Rule id -> its table of cases, with the family's folder under "family"."""
    found: dict[str, dict[str, object]] = {}
    for path in sorted(CASES.glob("*/*.toml")):
        table = tomllib.loads(path.read_text(encoding="utf-8"))
        assert table["rule"] not in found, f"{path.name}: {table['rule']} has two files; keep one"
        found[table["rule"]] = {**table, "family": path.parent.name}
    return found


def test_no_rule_stands_twice_and_no_case_is_left_over():
    ids = [rule.id for rule in rules()]
    assert ids and len(set(ids)) == len(ids)
    assert set(tables()) <= set(ids)


@pytest.mark.parametrize("rule", rules(), ids=lambda rule: rule.id)
def test_a_rule_has_its_cases(rule: Rule):
    table = tables().get(rule.id, {})
    family = next(family.name for family in FAMILIES if rule in family.rules)
    assert rule.id.startswith(f"{family}-")
    assert table.get("fires") and table.get("silent"), f"write tests/cases/{family}/ with both for {rule.id}"
    assert table["family"] == family


@pytest.mark.parametrize("rule", rules(), ids=lambda rule: rule.id)
def test_a_rule_rests_on_facts_that_exist(rule: Rule):
    for fact in rule.facts:
        owner, _, key = fact.rpartition(".")
        having = [name for name, table in seeds.facts().items() if key in table and owner in ("*", name)]
        assert having, f"{rule.id} rests on {fact}, which no table has"
        if owner == "*":
            assert set(having) & set(seeds.instruments()), f"no instrument has {fact}"


@pytest.mark.parametrize("rule", rules(), ids=lambda rule: rule.id)
def test_a_rule_says_what_it_is(rule: Rule):
    assert rule.levels and set(rule.levels) <= set(LEVELS)
    assert rule.title and rule.says and rule.why and rule.silent_when


@pytest.mark.parametrize("rule", rules(), ids=lambda rule: rule.id)
def test_a_rule_has_its_page(rule: Rule):
    if not PAGES.is_dir():
        pytest.skip("no pages are made yet")
    page = PAGES / f"{rule.id}.md"
    assert page.is_file(), f"make docs writes {page.name}"
    text = page.read_text(encoding="utf-8")
    assert rule.id in text and rule.why in text
