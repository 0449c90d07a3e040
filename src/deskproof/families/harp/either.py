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
_OR = re.compile(r"\b(?:or|oder|od|ou|o|ossia)\b|\(\s*[^\W\d_]+\s*\)", re.IGNORECASE)  # or a name alone in brackets


@lru_cache(maxsize=512)
def for_either(name: str) -> bool:
    """Whether a part's name offers harp and piano for it, the one or the other.

    >>> names = "Piano (or Harp)", "Harfe (Klavier)", "Harp and Piano", "Piano/Harp", "Harp (cues: Piano)"
    >>> [for_either(name) for name in names]
    [True, True, False, False, False]
    """
    kinds = {instrument.kind for instrument in instruments.all_in_name(name)} if _OR.search(name) else set()
    return {HARP, PIANO} <= kinds


def on_harp(spans: Iterable[Span], name: str) -> tuple[Span, ...]:
    """The spans of a part that a harp plays, or may play."""
    kinds = (HARP, PIANO) if for_either(name) else (HARP,)
    return tuple(span for span in spans if span.instrument is not None and span.instrument.kind in kinds)


def as_alternative(found: Iterable[Finding], declared: bool) -> Iterator[Finding]:
    """What is said of a harp that a piano can stand in for: nothing is impossible.

    Of how it is written only where the file has ``declared`` it a harp's part; else it is a pianist's page.
    """
    for one in found:
        if one.level not in ("impossible", "hard"):
            if declared:
                yield one
        else:
            yield replace(one, level="hard", numbers={**one.numbers, "on": ON_THE_HARP})
