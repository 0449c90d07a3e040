"""Parts for the harp or the piano: "Piano (or Harp)", "Klavier oder Harfe"."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import replace
from functools import lru_cache

from deskproof import instruments
from deskproof.findings import Finding
from deskproof.spans import Span

HARP, PIANO = "harp", "piano"
ON_THE_HARP = "on the harp, "
_OR = re.compile(r"\b(or|oder|od|ou|o|ossia|ad lib)\b|[(/]", re.IGNORECASE)


@lru_cache(maxsize=512)
def for_either(name: str) -> bool:
    """Whether a part's name offers harp and piano for it, the one or the other.

    >>> [for_either(n) for n in ("Piano (or Harp)", "Harfe oder Klavier", "Harp", "Harp and Piano", "Organ or Harp")]
    [True, True, False, False, False]
    """
    kinds = {instrument.kind for instrument in instruments.all_in_name(name)} if _OR.search(name) else set()
    return {HARP, PIANO} <= kinds


def on_harp(spans: Iterable[Span], name: str) -> tuple[Span, ...]:
    """The spans of a part that a harp plays, or may play."""
    kinds = (HARP, PIANO) if for_either(name) else (HARP,)
    return tuple(span for span in spans if span.instrument is not None and span.instrument.kind in kinds)


def as_alternative(found: Iterable[Finding]) -> Iterator[Finding]:
    """What is said of a harp that another instrument can stand in for: what is hard for it, and no printed pedals."""
    for one in found:
        if one.level in ("impossible", "hard"):
            yield replace(one, level="hard", numbers={**one.numbers, "on": ON_THE_HARP})
