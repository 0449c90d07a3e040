"""What the terminal shows."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Collection, Sequence

from deskproof.findings import EFFECT_WORDS, LEVELS, Finding
from deskproof.instruments import by_id
from deskproof.movements import Before
from deskproof.places import bar_number, spot_of
from deskproof.report.as_json import Since
from deskproof.state import State
from deskproof.tempo import DEFAULT, HIDDEN, MARKED, WORDS, Tempo


def header(state: State, file: str) -> str:
    """One paragraph: which score, how long, at which tempo, which parts; what was not understood."""
    frame = state.timeline.frame
    seconds = frame.clock.ceil_us(frame.length) // 1_000_000
    length = f"{seconds // 60} min {seconds % 60} s" if seconds >= 60 else f"{seconds} s"
    title = f" “{state.score.title}”," if state.score.title else ""
    bars, parts = len(frame.lengths), len(state.score.parts)
    rows = [
        f"{file}:{title} {bars} bar{'s' * (bars != 1)}, {length}, {_tempo(frame.clock.tempos[0], frame.tempo_marked)}; "
        f"{parts} part{'s' * (parts != 1)}."
    ]
    unknown = [line.part.name or line.part.id for line in state.lines if not line.first]
    if unknown:
        rows.append(f"Not known as an instrument, so only the general checks: {', '.join(unknown)}.")
    idle = nothing_to_play(state)
    if idle:
        rows.append(f"Nothing to play in this score: {', '.join(idle)}.")
    if frame.order.remark:
        rows.append(f"{file}: {frame.order.remark}")
    if not state.score.prints_accidentals and state.score.source == "musicxml":
        rows.append(f"{file}: the file carries no accidentals as printed; they were not checked.")
    rows.extend(state.score.remarks)
    return "\n".join(rows)


def nothing_to_play(state: State) -> list[str]:
    """The players of the forces none of whose instruments the score has, with the file and line that name them."""
    if len(state.spans) < len(state.score.parts):
        return []
    used = {span.instrument.kind for spans in state.spans.values() for span in spans if span.instrument}
    found = []
    for player in state.forces.players:
        kinds = {by_id(name).kind for name in player.plays}
        if kinds and not kinds & used and not any(by_id(name).group for name in player.plays):
            found.append(f"{player.name} ({player.where})")
    return found


_NOTE = {"quarter": "♩", "eighth": "♪"}


def _tempo(tempo: Tempo, marked: bool) -> str:
    if tempo.basis == MARKED and not tempo.text:
        return "at its own times as played"
    if tempo.basis == MARKED:
        unit, _, figure = tempo.text.partition(" = ")
        name = unit.rstrip(".")
        said = f"{_NOTE.get(name, name)}{unit[len(name) :]} = {figure}"
        return f"{said} as printed" if marked else f"{said} as printed at first, then guessed"
    said = {
        HIDDEN: "known only from the file's playback data",
        WORDS: f"guessed from “{tempo.text}”",
        DEFAULT: "assumed, since the file names no tempo",
    }[tempo.basis]
    return f"♩ = {float(tempo.qpm):g} ({said})"


def findings_text(
    state: State, findings: Sequence[Finding], file: str, width: int = 0, new: Collection[str] = ()
) -> str:
    """The findings one after the other: a line that names file, part, bar and beat, then the mends.

    ``width`` 0 leaves lines as long as they are; the findings whose ids are ``new`` are said to be.
    """
    blocks = []
    for finding in findings:
        part = state.score.parts[finding.place.part]
        head = f"{file}: {part.name or part.id}, {spot_of(state, finding).words}: {finding.level}: "
        head += "new since the older export: " if finding.id in new else ""
        lines = [_wrap(head + finding.says + _more(state, finding), width, "    ")]
        for k, mend in enumerate(finding.mends, 1):
            said = f"  mend {finding.id}-{k}: {mend.says} ({EFFECT_WORDS[mend.effect]})"
            lines.append(_wrap(said, width, "      "))
        blocks.append("\n".join(lines))
    return "\n".join(blocks)


def _more(state: State, finding: Finding) -> str:
    """How many notes in all, and up to which bar."""
    count = finding.numbers.get("count", 1)
    if count < 2:
        return ""
    bars = list(dict.fromkeys(bar_number(state, finding.place.part, ref.measure) for ref in finding.notes))
    if len(bars) == 1:
        return f" ({count} notes in this bar)"
    if len(bars) <= 4:
        return f" ({count} notes in bars {', '.join(bars[:-1])} and {bars[-1]})"
    return f" ({count} notes in {len(bars)} bars, the last in bar {bars[-1]})"


def before_it(state: State, before: Before) -> str:
    """What the players do between the movement before and this one; empty where nobody has anything to do."""
    parts = state.score.parts
    rows = [f"  {parts[one.part].name or parts[one.part].id}: {one.says}" for one in before.carried]
    if not rows:
        return "It follows at once (attacca)." if before.attacca else ""
    return "\n".join(["Before it, and there is no pause (attacca):" if before.attacca else "Before it:", *rows])


def since(compared: Since) -> str:
    """What is new, gone and still there, and where what has gone was."""
    rows = [
        f"Since {compared.file}: {len(compared.new)} new, {len(compared.gone)} gone, {len(compared.still)} still there."
    ]
    rows += [f"  gone: bar {one['bar']}: {one['says']}" for one in compared.gone]
    return "\n".join(rows)


def summary(findings: Sequence[Finding]) -> str:
    """How many findings of each level, and how many of them have a mend that keeps the sound."""
    if not findings:
        return "Nothing found."
    counts = Counter(finding.level for finding in findings)
    said = ", ".join(f"{counts[level]} {level}" for level in LEVELS if counts[level])
    keeping = sum(any(m.effect.value == "keeps-sound" for m in f.mends) for f in findings)
    rest = f" {keeping} can be mended without changing the sound." if keeping else ""
    return f"{len(findings)} finding{'s' * (len(findings) != 1)}: {said}.{rest}"


def _wrap(text: str, width: int, indent: str) -> str:
    if not width:
        return text
    return textwrap.fill(text, width, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False)
