"""The page of a rule and the page of an instrument, made from the records themselves."""

from __future__ import annotations

import difflib

from deskproof import facts, instruments
from deskproof.errors import DeskproofError
from deskproof.facts import Fact
from deskproof.families import rules
from deskproof.findings import Rule


def rule_named(name: str) -> Rule:
    """The rule of this id.

    Raises
    ------
    DeskproofError
        If there is none; the message names the nearest.
    """
    known = {rule.id: rule for rule in rules()}
    if name not in known:
        near = difflib.get_close_matches(name, known, 3, 0.0)
        raise DeskproofError(f"no rule {name!r}. Did you mean {', '.join(near)}?")
    return known[name]


def rule_text(name: str) -> str:
    """The page of a rule as plain text."""
    rule = rule_named(name)
    rows = [
        f"{rule.id} ({', '.join(rule.levels)}): {rule.title}",
        "",
        rule.why,
        f"Silent when {rule.silent_when}." if rule.silent_when else "",
    ]
    if rule.facts:
        rows += ["Rests on these figures (* stands for the instrument; see `deskproof facts INSTRUMENT`):"]
        rows += [f"  {fact}" for fact in rule.facts]
    return "\n".join(row for i, row in enumerate(rows) if row or i == 1)


def facts_text(name: str) -> str:
    """The figures known of an instrument, each with its basis and source.

    Raises
    ------
    DeskproofError
        If no instrument has this name; the message names the nearest.
    """
    found = instruments.by_name(name)
    if found is None:
        raise DeskproofError(f"no instrument {name!r}. Did you mean {', '.join(instruments.nearest(name)[:3])}?")
    known = facts.of(found.id)
    if not known:
        return f"{found.name}: no figures; it has no compass of its own, and gets the general checks."
    rows = [found.name]
    for fact in known:
        rows.append(f"  {_said(fact)}")
        rows += [f"      not in use: {_said(other, short=True)}" for other in fact.others]
    return "\n".join(rows)


def value_text(fact: Fact) -> str:
    """A figure with its unit as it is read: ``Bb1`` as ``B♭1``, lists with commas."""
    value = fact.value
    values = [str(v) for v in (value if isinstance(value, tuple) else (value,))]
    if fact.unit == "pitch":
        values = [v.replace("b", "♭").replace("#", "♯") for v in values]
    unit = "" if fact.unit in ("", "pitch", "clef", "clefs") else f" {fact.unit}"
    return ", ".join(values) + unit


def basis_text(fact: Fact) -> str:
    """Where a figure comes from, in words."""
    if not fact.source:
        return fact.basis.replace("-", " ")
    key, _, place = fact.source.partition(",")
    source = facts.sources().get(key.strip())
    title = source.title if source else key
    return f"{fact.basis}: {title}{',' + place if place else ''}"


def _said(fact: Fact, short: bool = False) -> str:
    key = fact.id.partition(".")[2].replace("_", " ")
    needs = f", with {fact.needs}" if fact.needs else ""
    note = f"; {fact.note}" if fact.note and not short else ""
    why = f"; in use because {fact.why}" if fact.why and not short else ""
    head = "" if short else f"{key}: "
    return f"{head}{value_text(fact)}{needs} ({basis_text(fact)}{note}{why})"
