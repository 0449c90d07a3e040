"""Keys and transpositions of the other parts, which tell whether a part is written for its player."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from deskproof.families.base import Context
from deskproof.page import Layout
from deskproof.score import Transpose


class Around:
    """Keys and transpositions of the other parts, looked up when asked for."""

    def __init__(self, index: int, context: Context) -> None:
        self.index, self.context = index, context
        self._pairs: frozenset[tuple[int, int]] | None = None
        self._transposed: bool | None = None

    @property
    def alone(self) -> bool:
        """Whether no other part has a note."""
        return not any(
            note.pitch is not None
            for i, part in enumerate(self.context.score.parts)
            if i != self.index
            for measure in part.measures
            for note in measure.notes
        )

    @property
    def transposed(self) -> bool:
        """Whether another part is transposed by something else than octaves."""
        if self._transposed is None:
            self._transposed = any(
                transpose.semitones % 12
                for i, layout in enumerate(self.context.layouts)
                if i != self.index
                for transpose in _transposes(layout)
            )
        return self._transposed

    def pairs(self) -> frozenset[tuple[int, int]]:
        """The part's own key and that of the parts at sounding pitch, in fifths, wherever one of them changes."""
        if self._pairs is None:
            layouts = self.context.layouts
            own = layouts[self.index].signatures
            others = [
                layout.signatures
                for i, layout in enumerate(layouts)
                if i != self.index and not any(t.semitones % 12 for t in _transposes(layout))
            ]
            found = set()
            for m in sorted({m for rows in (own, *others) for m, _ in rows}) if others else ():
                most = Counter(key_at(rows, m) for rows in others).most_common(1)[0][0]
                found.add((key_at(own, m), most))
            self._pairs = frozenset(found)
        return self._pairs

    def sounding_key(self, measure: int) -> int | None:
        """The key in a measure of most other parts at sounding pitch, in fifths; None where there is none."""
        keys = [
            key_at(layout.signatures, measure)
            for i, layout in enumerate(self.context.layouts)
            if i != self.index and not any(t.semitones % 12 for t in _transposes(layout))
        ]
        return Counter(keys).most_common(1)[0][0] if keys else None

    def same_key(self) -> bool:
        """Whether the part has the key of those at sounding pitch, and it has accidentals somewhere."""
        pairs = self.pairs()
        return any(own for own, _ in pairs) and all(own == other for own, other in pairs)

    def key_of(self, semitones: int) -> bool:
        """Whether the part has the key signature of one transposed so, and it has accidentals somewhere."""
        fifths = -7 * semitones % 12
        pairs = self.pairs()
        return bool(
            fifths and any(own for own, _ in pairs) and all((own - other - fifths) % 12 == 0 for own, other in pairs)
        )

    def shifted_keys(self) -> bool:
        """Whether some other part has the key signature of a transposed part."""
        for i, layout in enumerate(self.context.layouts):
            if i != self.index and any(t.semitones % 12 for t in _transposes(layout)):
                around = Around(i, self.context)
                if any(around.key_of(int(t.semitones)) for t in _transposes(layout) if t.semitones % 12):
                    return True
        return False


def key_at(rows: Sequence[tuple[int, int]], measure: int) -> int:
    """The key signature of a part in a measure, from its rows; in fifths."""
    return next(fifths for m, fifths in reversed(rows) if m <= measure)


def _transposes(layout: Layout) -> set[Transpose]:
    only = layout.transpose_only
    if only is not None:
        return {only}
    return {transpose for rows in layout.transposes for _, _, transpose in rows}
