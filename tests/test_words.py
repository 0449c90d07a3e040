"""What the words of a score mean.

Basis of the phrases and of what is expected of them: common practice, as the words stand in printed parts and
in the glossaries of orchestration and rudiments books. Beside that, three outside witnesses: the playback
marks (``<sound>``) that stand beside words in music21's corpus and in the shared scores, music21's own table
of repeat words, and its table of tempo words.
"""

from __future__ import annotations

import tomllib
import zipfile
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import music21
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree
from music21 import repeat

import deskproof
from deskproof.words import TEMPO_WORDS, Meaning, bare_name, meanings

SHARED = Path(__file__).resolve().parents[2] / "shared" / "scores"
CORPUS = Path(music21.__file__).parent / "corpus"

# text | what it says: kind, kind:value, kind#figure
PHRASES = """
Allegro | tempo:allegro
ALLEGRO | tempo:allegro
Allegro molto | tempo:molto-allegro
Allegro assai. | tempo:molto-allegro
Allegro ma non troppo | tempo:allegro-non-troppo
Allegro moderato | tempo:allegro-moderato
Allegro con fuoco | tempo:allegro
Allegro con brio | tempo:allegro-con-brio
Allegro, ma non presto | tempo:allegro
Un poco allegretto e grazioso | tempo:allegretto
Andante | tempo:andante
Andante con moto | tempo:andante-con-moto
Andantino quasi allegretto | tempo:andantino
Molto adagio | tempo:molto-adagio
Adagio ma non tanto | tempo:adagio-non-troppo
Largo | tempo:largo
Larghetto | tempo:larghetto
Grave | tempo:grave
Lento assai | tempo:molto-lento
Presto | tempo:presto
Prestissimo | tempo:prestissimo
Vivace | tempo:vivace
Finale. Presto | tempo:presto
1. Allegro | tempo:allegro
Allegro (♩ = 132) | tempo:allegro
Andante – Allegro | tempo:andante
Maestoso | tempo:maestoso
Con moto | tempo:con-moto
Alla marcia | tempo:tempo-di-marcia
Tempo di marcia | tempo:tempo-di-marcia
Tempo di Valse | tempo:tempo-di-valse
Tempo di Menuetto | tempo:tempo-di-minuetto
Im Tempo di Menuetto | tempo:tempo-di-minuetto
Alla Siciliana | tempo:alla-siciliana
Lent | tempo:lent
Très lent | tempo:tres-lent
Vif | tempo:vif
Assez vif | tempo:assez-vif
Très vif | tempo:tres-vif
Modéré | tempo:modere
Très modéré | tempo:tres-modere
Animé | tempo:anime
Pas trop vite | tempo:pas-trop-vite
Lent et grave | tempo:lent
Mouvement de Valse | tempo:tempo-di-valse
Langsam | tempo:langsam
Sehr langsam | tempo:sehr-langsam
Mäßig | tempo:massig
Mässig | tempo:massig
Mäßig bewegt | tempo:massig-bewegt
Lebhaft | tempo:lebhaft
Sehr lebhaft | tempo:sehr-lebhaft
Schnell | tempo:schnell
Nicht zu schnell | tempo:nicht-zu-schnell
Nicht schnell | tempo:nicht-schnell
Bewegt | tempo:bewegt
Geschwind | tempo:geschwind
Rasch | tempo:rasch
Ruhig | tempo:ruhig
Langsam und sehnsuchtsvoll | tempo:langsam
Marschmäßig | tempo:tempo-di-marcia
Im Walzertempo | tempo:tempo-di-valse
Slow | tempo:slow
Very slow | tempo:very-slow
Fast | tempo:fast
Not too fast | tempo:not-too-fast
Lively | tempo:lively
Moderately fast | tempo:moderately-fast
Slow ♩ = 60 | tempo:slow
rit. | tempo-change:rit
molto rit. | tempo-change:rit
ritardando | tempo-change:rit
rallentando | tempo-change:rit
poco rall. | tempo-change:rit
allargando | tempo-change:rit
cédez | tempo-change:rit
en retenant | tempo-change:rit
(retenez de plus en plus) | tempo-change:rit
zurückhaltend | tempo-change:rit
immer langsamer | tempo-change:rit
poco a poco meno mosso | tempo-change:rit
gradually slower | tempo-change:rit
accel. | tempo-change:accel
stringendo | tempo-change:accel
string. | tempo-change:accel
affrettando | tempo-change:accel
pressez | tempo-change:accel
en animant | tempo-change:accel
de plus en plus vite | tempo-change:accel
beschleunigend | tempo-change:accel
nach und nach schneller | tempo-change:accel
getting faster | tempo-change:accel
più mosso | tempo-change:more
poco più mosso | tempo-change:more
Più allegro | tempo-change:more
meno lento | tempo-change:more
un peu plus vite | tempo-change:more
etwas schneller | tempo-change:more
a little faster | tempo-change:more
doppio movimento | tempo-change:more
meno mosso | tempo-change:less
più lento | tempo-change:less
moins vite | tempo-change:less
plus lent | tempo-change:less
langsamer | tempo-change:less
slower | tempo-change:less
not so fast | tempo-change:less
rit. - - - a tempo | tempo-change:rit a-tempo
a tempo | a-tempo
A tempo. | a-tempo
Tempo I | a-tempo:first
Tempo Iº | a-tempo:first
Tempo primo | a-tempo:first
im Zeitmaß | a-tempo
im Tempo | a-tempo
erstes Zeitmaß | a-tempo:first
au mouvement | a-tempo
au Mouvt | a-tempo
Ier mouvement | a-tempo:first
1er Mouvt | a-tempo:first
ad lib. | unfixed:ad-lib
ad libitum | unfixed:ad-lib
a piacere | unfixed:ad-lib
à volonté | unfixed:ad-lib
liberamente | unfixed:ad-lib
frei | unfixed:ad-lib
freely | unfixed:ad-lib
rubato | unfixed:rubato
colla parte | unfixed:colla-parte
suivez | unfixed:colla-parte
senza misura | unfixed:senza-misura
sans mesure | unfixed:senza-misura
Cadenza | unfixed:cadenza
Kadenz | unfixed:cadenza
Recitativo | unfixed:recitative
Recit. | unfixed:recitative
D.C. | da-capo
D. C. al Fine | da-capo:al-fine
D.C. (al Fine) | da-capo:al-fine
Da Capo | da-capo
Da capo al Coda | da-capo:al-coda
Da Capo al Fine e poi la Coda | da-capo:al-coda
Menuetto D.C. | da-capo
Menuetto da capo senza ripetizione | da-capo
Von Anfang bis Fine | da-capo:al-fine
D.S. | dal-segno
Dal Segno | dal-segno
D.S. al Fine | dal-segno:al-fine
D.S. al Coda | dal-segno:al-coda
D.S. al 𝄌 | dal-segno:al-coda
dal 𝄋 | dal-segno
Da capo dal segno al Fine | dal-segno:al-fine
Fine | fine
(FINE) | fine
al Coda | to-coda
To Coda | to-coda
To 𝄌 | to-coda
zur Coda | to-coda
Coda | coda
𝄋 | segno
to Celesta | instrument:Celesta
(to Picc.) | instrument:Picc
Fl. 2 to Picc. | instrument:Picc
take piccolo | instrument:piccolo
takes bass clarinet | instrument:bass clarinet
change to alto flute | instrument:alto flute
muta in Flauto piccolo | instrument:Flauto piccolo
muta in Fl. picc. | instrument:Fl. picc
Muta in Corno inglese | instrument:Corno inglese
muta in A | instrument:A
muta in B | instrument:B
mutano in Mi♭ | instrument:Mi♭
cambia in Ottavino | instrument:Ottavino
nimmt kleine Flöte | instrument:kleine Flöte
3. Fl. nimmt Picc. | instrument:Picc
Picc. nehmen | instrument:Picc
Engl. Horn nehmen | instrument:Engl. Horn
wechselt zu Bassklarinette | instrument:Bassklarinette
prend la petite flûte | instrument:petite flûte
prenez le cor anglais | instrument:cor anglais
changez en Si♭ | instrument:Si♭
G to F | retune:G>F
Sol in Fa | retune:G>F
muta G in F | retune:G>F
muta Sol in La | retune:G>A
Timp. muta F in E♭ | retune:F>Eb
G in A, C in D | retune:G>A retune:C>D
changez Ré en Mi♭ | retune:D>Eb
H nach C | retune:B>C
B nach A umstimmen | retune:Bb>A
Es nach D | retune:Eb>D
B to A | retune:B>A
B♭ → A | retune:Bb>A
muta B in A | retune
muta in Sol e Re | retune:>G retune:>D
muta in E A | retune:>E retune:>A
pizz. | pizz
pizzicato | pizz
[arco] | arco
col arco | arco
coll'arco | arco
mit Bogen | arco
avec l'archet | arco
con sord. | con-sord
con sordino | con-sord
mit Dämpfer | con-sord
mit Dämpfern | con-sord
gedämpft | con-sord
avec sourdine | con-sord
mettez la sourdine | con-sord
sourdines | con-sord
with mute | con-sord
muted | con-sord
cup mute | con-sord:cup
senza sord. | senza-sord
via sordini | senza-sord
ohne Dämpfer | senza-sord
Dämpfer ab | senza-sord
sans sourdine | senza-sord
ôtez les sourdines | senza-sord
mutes off | senza-sord
col legno | col-legno
c. l. | col-legno
mit dem Holz | col-legno
avec le bois | col-legno
sul pont. | sul-pont
am Steg | sul-pont
sur le chevalet | sul-pont
sul tasto | sul-tasto
am Griffbrett | sul-tasto
sur la touche | sul-tasto
ord. | ordinary
naturale | ordinary
gewöhnlich | ordinary
position ordinaire | ordinary
pos. nat. | ordinary
div. | div
div. a 3 | div#3
divisi | div
geteilt | div
dreifach geteilt | div#3
geteilt in 4 | div#4
divisés | div
Div. en 2 | div#2
non div. | non-div
nicht geteilt | non-div
unis. | unis
unisono | unis
zusammen | unis
Solo | solo
1. Solo | one#1 solo
2 Soli | solo#2
Tutti | tutti
alle | tutti
a 2 | a2#2
a2 | a2#2
à 2 | a2#2
zu 2 | a2#2
a due | a2#2
1. | one#1
I. | one#1
1° | one#1
II. | one#2
1.2. | players:1 2
una corda | una-corda
u.c. | una-corda
mit Verschiebung | una-corda
petite pédale | una-corda
les deux pédales | una-corda pedal
tre corde | tre-corde
tutte le corde | tre-corde
ohne Verschiebung | tre-corde
toutes les cordes | tre-corde
sopra una corda | una-corda
una sola corda | una-corda
mit einer Saite | una-corda
due corde | una-corda:half
a due corde | una-corda:half
Nach und nach mehrere Saiten | una-corda:half
a 3 corde | tre-corde
due e poi tre corde | tre-corde
poco a poco due ed allora tre corde | tre-corde
poi a poi tutte le corde | tre-corde
alle Saiten | tre-corde
tutto il cembalo | tre-corde
sans péd. douce | tre-corde
soft pedal off | tre-corde
mit 2 Pedalen | una-corda pedal
con ped. | pedal:free
Ped. | pedal
col pedale | pedal:free
mit Pedal | pedal:free
avec pédale | pedal:free
sempre ped. | pedal:free
Ped. simile | pedal:free
Ped. ad lib. | pedal:free
½ Ped. | pedal:half
half pedal | pedal:half
senza ped. | no-pedal
ohne Pedal | no-pedal
sans pédale | no-pedal
sost. ped. | sostenuto-pedal
pedale sostenuto | sostenuto-pedal
III Ped. | sostenuto-pedal
middle ped. | sostenuto-pedal
Tonhaltepedal | sostenuto-pedal
senza sost. ped. | sostenuto-pedal:off
ohne Tonhaltepedal | sostenuto-pedal:off
ped. off | no-pedal
m.s. | left-hand
M.G. | left-hand
l.H. | left-hand
sinistra | left-hand
main gauche | left-hand
linke Hand | left-hand
m.d. | right-hand
m.d. sopra | right-hand
R.H. | right-hand
destra | right-hand
main droite | right-hand
rechte Hand | right-hand
près de la table | pres-de-la-table
p.d.l.t. | pres-de-la-table
sul tavolo | pres-de-la-table
near the soundboard | pres-de-la-table
am Resonanzboden | pres-de-la-table
bisbigl. | bisbigliando
sons étouffés | etouffe
étouffé | etouffe
étouffez | damp
sec | sec
Secco. | sec
Becken (trocken) | sec
molto secco | sec
abdämpfen | damp
damp | damp
l.v. | let-ring
laissez vibrer | let-ring
lasciar vibrare | let-ring
klingen lassen | let-ring
let ring | let-ring
nicht klingen lassen | damp
gliss. | gliss
glissando | gliss
sons harm. | harmonic
Flageolet | harmonic
armonici | harmonic
harmonics | harmonic
with the nail | nail
mit dem Nagel | nail
coll'unghia | nail
avec l’ongle | nail
xylophonic sounds | xylophonic
sons xylophoniques | xylophonic
suoni xilofonici | xylophonic
Xylophonklang | xylophonic
effet de tonnerre | thunder
ordinaire | ordinary
non arp. | non-arpeggiato
senza arp. | non-arpeggiato
nicht arpeggieren | non-arpeggiato
sec, non arpégé | sec non-arpeggiato
arpeggiato | arpeggiato
D♭ C♯ B♭ E F♭ G A♯ | pedals:D- C+ B- E= F- G= A+
D♭C♯B♭ / E♮F♭G♮A♯ | pedals:D- C+ B- E= F- G= A+
F# G# | pedals:F+ G+
E♭ D♭ | pedals:D- E-
Mi♭ La♭ | pedals:E- A-
Es As Des | pedals:D- E- A-
Eb | pedal-letter:E-
F sharp | pedal-letter:F+
Si bémol | pedal-letter:B-
8va | octave:8va
8va bassa | octave:8vb
8vb | octave:8vb
15ma | octave:15ma
loco | octave:loco
coll'8va | octave:coll'8
tacet | tacet
open | open
aperto | open
ouvert | open
offen | open
stopped | stopped
bouché | stopped
gestopft | stopped
+ | stopped
cuivré | cuivre
Flatterzunge | flutter
flutter-tongue | flutter
frullato | flutter
cresc. | cresc
crescendo molto | cresc
dim. | dim
decresc. | dim
diminuendo | dim
Allegro (con sord.), a2 | tempo:allegro con-sord a2#2
pizz. con sord. | pizz con-sord
div. pizz. | div pizz
arco, senza sord. | arco senza-sord
rit. e dim. | tempo-change:rit dim
Animez. Plus expressif | tempo-change:accel
"""

# Phrases that say none of the things the table holds: words of expression, sentences, verse, negations.
NOTHING = """
sempre legato
espressivo
dolce
fine and soft
a fine, dark tone
the fine
as fine
to be played
to the end
to the front of the stage
in time
gut im Takt
sostenuto
Sostenuto e cantabile
senza cresc.
non dim.
senza rit.
sans presser
sans ralentir
col punto d'arco
quasi pizz.
sul G
sul una corda
L'istesso tempo
Tempo ordinario
mezza voce
sotto voce
slow vibrato
slow march tempo of the guard
tacet (1st time)
solo voice
open strings
mute strings with hand
the band plays
Nicht eilen
senza cresc. né accel.
Im Tempo des ersten Stückes
to Player 2
Schlägel nehmen
prenez les baguettes
2nd string
string quartet
to Coda and fine
Fine dell'atto
take time
take a breath
take your time
change bow
change to soft sticks
nimmt sich Zeit
il più presto possibile
La seconda volta si prende il Tempo più Allegro
sino al Fine
D.C. al Segno
8va ad lib.
Var. 1.
No. 2.
Soli
la moitié
do
la
re
io
fin
A
B
G A
Ab in den Graben
Es war einmal
E♭ E♮
Swing
"""


def _rows() -> list[tuple[str, list[Meaning]]]:
    rows = []
    for line in PHRASES.strip().splitlines():
        text, _, said = line.partition(" | ")
        expected = []
        for item in _items(said):
            item, _, figure = item.partition("#")
            kind, _, value = item.partition(":")
            # A sign of the harp's letters (F+) is no figure; only what stands after # is.
            expected.append(Meaning(kind, value, float(figure) if figure else None))
        rows.append((text, expected))
    return rows


_KINDS_IN_ONE_WORD = ("instrument:", "pedals:", "players:")


def _items(said: str) -> list[str]:
    return [said] if said.startswith(_KINDS_IN_ONE_WORD) else said.split()


ROWS = _rows()


def test_the_table_of_phrases_is_long_enough() -> None:
    assert len(ROWS) >= 150
    assert len({text for text, _ in ROWS}) == len(ROWS)


@pytest.mark.parametrize(("text", "expected"), ROWS, ids=[text for text, _ in ROWS])
def test_phrase(text: str, expected: list[Meaning]) -> None:
    assert list(meanings(text)) == expected


@pytest.mark.parametrize("text", NOTHING.strip().splitlines())
def test_says_nothing_of_the_kind(text: str) -> None:
    assert meanings(text) == ()


# Written with capitals these are headings, notes or signs; in small letters they need not be.
_LETTERS_MATTER = ("one", "players", "retune", "pedals", "pedal-letter", "instrument", "tempo")


@pytest.mark.parametrize(
    ("text", "expected"), [row for row in ROWS if not {m.kind for m in row[1]} & set(_LETTERS_MATTER)]
)
def test_case_spaces_dots_and_brackets_do_not_matter(text: str, expected: list[Meaning]) -> None:
    wanted = list(expected)
    for form in (
        text.upper(),
        text.lower(),
        f"  {text} ",
        f"({text})",
        f"[{text}]",
        text.replace(" ", "\u00a0"),
    ):
        assert [(m.kind, m.figure) for m in meanings(form)] == [(m.kind, m.figure) for m in wanted], form
    if len(text) > 4 and text[-1].isalpha():
        assert list(meanings(text + ".")) == wanted


@pytest.mark.parametrize(
    "text", ["con\nsord.", "D.C.\nal Fine", "D.C. al \nFine", "près de\nla table", "Tempo\ndi Valse"]
)
def test_a_line_break_is_a_space(text: str) -> None:
    assert meanings(text)
    assert meanings(text) == meanings(" ".join(text.split()))


def test_two_lines_may_say_two_things() -> None:
    assert [m.kind for m in meanings("Solo\nmuch brighter now\ncon sord.")] == ["solo", "con-sord"]


def test_accents_may_be_missing_or_decomposed() -> None:
    assert meanings("pres de la table") == meanings("près de la table")
    assert meanings("pre\u0300s de la table") == meanings("près de la table")
    assert meanings("Mäßig") == meanings("MASSIG") == meanings("Ma\u0308ßig")


def test_a_mark_that_two_players_read_differently_is_given_to_both() -> None:
    assert {m.kind for m in meanings("S.P.")} == {"sostenuto-pedal", "sul-pont"}
    assert {m.kind for m in meanings("s.p.")} == {"sul-pont"}


def test_harp_diagram_of_the_smufl_standard() -> None:
    # SMuFL 1.4, Harp techniques: U+E680 raised (flat), E681 centred (natural), E682 lowered (sharp),
    # E683 divider.
    diagram = "\ue680\ue682\ue680\ue683\ue681\ue680\ue681\ue682"
    assert meanings(diagram) == (Meaning("pedals", "D- C+ B- E= F- G= A+"),)


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("(Celesta)", "Celesta"),
        ("Fl. picc.", "Fl picc"),
        ("[Cor\u00a0anglais]", "Cor anglais"),
        ("Engl.\nHorn:", "Engl Horn"),
        ("", ""),
    ],
)
def test_bare_name(text: str, name: str) -> None:
    assert bare_name(text) == name


@pytest.mark.parametrize("text", ["Celesta", "Piccolo", "Cor anglais", "Fl. picc.", "Clarinet in A", "Horn in F"])
def test_a_name_alone_is_left_to_the_caller(text: str) -> None:
    assert meanings(text) == ()


@given(st.text(max_size=60))
def test_any_text_can_be_read(text: str) -> None:
    for meaning in meanings(text):
        assert meaning.kind
        assert not meaning.kind.startswith("_")


_VERSE = [
    "wind",
    "moon",
    "over",
    "water",
    "softly",
    "as",
    "the",
    "night",
    "came",
    "down",
    "to",
    "us",
    "all",
    "fine",
]


@given(st.lists(st.sampled_from(_VERSE), min_size=2, max_size=12))
def test_verse_has_no_jump_and_no_instrument(words: list[str]) -> None:
    assert not {m.kind for m in meanings(" ".join(words))} & {
        "da-capo", "dal-segno", "fine", "coda", "segno", "to-coda", "instrument", "retune", "pedals",
    }  # fmt: skip


# ---------------------------------------------------------------- the facts beside the words


def _tempo_facts() -> dict[str, dict[str, object]]:
    path = Path(deskproof.__file__).parent / "facts" / "tempo.toml"
    tables: dict[str, dict[str, object]] = tomllib.loads(path.read_text(encoding="utf-8"))
    return dict(tables)


def test_every_tempo_word_has_a_figure_and_every_figure_a_word() -> None:
    assert set(_tempo_facts()) == TEMPO_WORDS


def test_tempo_figures_are_honest_about_their_basis() -> None:
    for name, table in _tempo_facts().items():
        assert table["unit"] == "beats a minute", name
        assert table["basis"] in ("common-practice", "from-memory"), name
        assert table["source"] == "", name


ORDER_RTOL = 0.125  # words nearer to each other than this in music21's table may stand either way round here


def test_tempo_figures_keep_the_order_of_music21s_table() -> None:
    facts = _tempo_facts()
    ours = []
    for word, theirs in music21.tempo.defaultTempoValues.items():
        said = [m.value for m in meanings(word.capitalize()) if m.kind == "tempo"]
        if said:
            ours.append((word, theirs, float(str(facts[said[0]]["value"]))))
    assert len(ours) >= 24
    for slow, theirs_slow, ours_slow in ours:
        for quick, theirs_quick, ours_quick in ours:
            if theirs_slow * (1 + ORDER_RTOL) < theirs_quick:
                assert ours_slow < ours_quick, (slow, quick)


# ---------------------------------------------------------------- outside witnesses


_MUSIC21_KINDS = {
    "Coda": {"coda", "to-coda"}, "Segno": {"segno"}, "Fine": {"fine"},
    "DaCapo": {"da-capo"}, "DalSegno": {"dal-segno"},
    "DaCapoAlFine": {"da-capo:al-fine"}, "DaCapoAlCoda": {"da-capo:al-coda"},
    "DalSegnoAlFine": {"dal-segno:al-fine"}, "DalSegnoAlCoda": {"dal-segno:al-coda"},
}  # fmt: skip


def test_repeat_words_are_read_as_music21_reads_them() -> None:
    seen = 0
    for expression in repeat.repeatExpressionReference:
        wanted = _MUSIC21_KINDS.get(type(expression).__name__)
        if wanted is None:  # "al Segno" by itself: no jump of ours
            continue
        for text in expression._textAlternatives:
            said = {m.kind + (f":{m.value}" if m.value else "") for m in meanings(text)}
            assert said, text
            assert said <= wanted, text
            seen += 1
    assert seen >= 15


def _score_bytes(path: Path) -> bytes:
    if path.suffix != ".mxl":
        return path.read_bytes()
    with zipfile.ZipFile(path) as packed:
        inner = [n for n in packed.namelist() if n.endswith((".xml", ".musicxml")) and "META-INF" not in n]
        return packed.read(inner[0])


@cache
def _directions(folder: Path) -> tuple[tuple[str, tuple[tuple[str, str], ...]], ...]:
    """The words of every direction of every score of a folder, with the playback marks beside them."""
    return tuple(_read_directions(folder))


def _read_directions(folder: Path) -> Iterator[tuple[str, tuple[tuple[str, str], ...]]]:
    parser = etree.XMLParser(load_dtd=False, no_network=True, resolve_entities=False, huge_tree=True)
    for path in sorted(folder.rglob("*")):
        if path.suffix not in (".mxl", ".xml", ".musicxml"):
            continue
        raw = _score_bytes(path)
        if b"<words" not in raw:
            continue
        for direction in etree.fromstring(raw, parser).iter("direction"):
            words = [element.text or "" for element in direction.iter("words")]
            if words:
                sound = direction.find("sound")
                marks = sound.attrib.items() if sound is not None else ()
                yield " ".join(words), tuple((str(name), str(value)) for name, value in marks)


NEEDS_SHARED = pytest.mark.skipif(not SHARED.is_dir(), reason="the shared scores are not beside the repository")
FOLDERS = [
    pytest.param(CORPUS, id="music21 corpus"),
    pytest.param(SHARED, id="shared scores", marks=NEEDS_SHARED),
]
_SOUND_KINDS = {
    ("pizzicato", "yes"): "pizz", ("pizzicato", "no"): "arco",
    ("dacapo", "yes"): "da-capo", ("fine", "yes"): "fine",
}  # fmt: skip


@pytest.mark.parametrize("folder", FOLDERS)
def test_words_agree_with_the_playback_marks_beside_them(folder: Path) -> None:
    seen = 0
    for text, sound in _directions(folder):
        kinds = {m.kind for m in meanings(text)}
        for name, value in sound:
            wanted = "dal-segno" if name == "dalsegno" else _SOUND_KINDS.get((name, value))
            if wanted and text.strip():
                assert wanted in kinds, text
                seen += 1
    assert seen >= 10


@pytest.mark.parametrize("folder", FOLDERS)
def test_jumps_are_found_only_where_their_words_stand(folder: Path) -> None:
    """No jump without one of its own words, and no change of instrument in scores that have none.

    Neither folder holds a part that changes instrument by words (looked through by eye).
    """
    seen = 0
    for text, _ in _directions(folder):
        seen += 1
        kinds = {m.kind for m in meanings(text)}
        letters = "".join(char for char in text.casefold() if char.isalpha())
        assert not kinds & {"instrument", "retune", "pedals"}, text
        if "da-capo" in kinds:
            assert "dc" in letters or "dacapo" in letters, text
        if "fine" in kinds:
            assert letters == "fine", text
        if kinds & {"coda", "to-coda"}:
            assert letters in ("coda", "tocoda", "alcoda"), text
    assert seen > 100


def test_the_same_text_is_read_once() -> None:
    meanings.cache_clear()
    meanings("pizz.")
    meanings("pizz.")
    assert meanings.cache_info().hits == 1
