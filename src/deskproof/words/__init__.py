"""What a word means: the words of a score in English, Italian, German and French, one table.

``meanings`` reads a text as a player would and says nothing where it is not sure: a word inside a
sentence, a negated word ("senza cresc.") and a word of unknown company have no meaning. Where a mark
means one thing to one player and another to the next ("S.P.", "una corda", "I."), it is given as each
of them would take it, and the family that asks looks only at its own kinds. Basis of the table: common
practice.

The kinds of a meaning, with their values in brackets:

- tempo: ``tempo`` (one of ``TEMPO_WORDS``), ``a-tempo`` (``first`` for tempo primo), ``tempo-change``
  (``rit`` and ``accel`` by and by, ``less`` and ``more`` at once), ``unfixed`` (``ad-lib``, ``rubato``,
  ``colla-parte``, ``senza-misura``, ``cadenza``, ``recitative``);
- jumps: ``da-capo`` and ``dal-segno`` (``al-fine``, ``al-coda`` or none), ``fine``, ``coda``, ``segno``,
  ``to-coda``, ``attacca``;
- who plays: ``one`` (the figure says which player), ``players`` (their numbers), ``a2`` and ``div`` (the
  figure says how many), ``non-div``, ``unis``, ``solo``, ``tutti``, ``tacet``, ``instrument`` (the new
  instrument's words as written);
- strings: ``pizz``, ``arco``, ``con-sord`` and ``senza-sord``, also of brass (``straight``, ``cup``,
  ``harmon``, ``plunger``, ``bucket``, ``practice``), ``col-legno``, ``sul-pont``, ``sul-tasto``, ``ordinary``,
  ``harmonic``, ``gliss``;
- winds and brass: ``open``, ``stopped``, ``cuivre``, ``flutter``;
- keyboards: ``una-corda``, ``tre-corde``, ``pedal``, ``no-pedal``, ``sostenuto-pedal``, ``left-hand``,
  ``right-hand``;
- harp: ``pedals`` ("D- C= ...", in pedal order) and ``pedal-letter`` for a single one: - flat, = natural,
  + sharp; ``pres-de-la-table``, ``bisbigliando``, ``etouffe``, ``let-ring``, ``damp``, ``nail``,
  ``xylophonic``, ``thunder``, ``arpeggiato``, ``non-arpeggiato``;
- percussion: ``sec`` (short and damped), and of the harp's words ``let-ring``, ``etouffe``, ``damp``;
- timpani: ``retune`` ("G>A"; ">G" where the old note is not told; empty where the notes are not sure);
- octaves: ``octave`` (``8va``, ``8vb``, ``15ma``, ``15mb``, ``loco``, ``coll'8``, ``coll'8vb``);
- dynamics: ``cresc``, ``dim``.
"""

from __future__ import annotations

from deskproof.words.how_many import how_many
from deskproof.words.meaning import Meaning
from deskproof.words.tempo_words import TEMPO_WORDS
from deskproof.words.text import bare_name, meanings, names_company

__all__ = ["TEMPO_WORDS", "Meaning", "bare_name", "how_many", "meanings", "names_company"]
