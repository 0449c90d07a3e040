"""What stands over the staff, what is struck, and with what."""

from __future__ import annotations

import pytest
from music21 import instrument as m21
from music21.midi.percussion import MIDIPercussionException, PercussionMapper
from music21.pitch import Pitch

from corpus import shared
from deskproof.document import from_bytes, read
from deskproof.families.percussion import naming
from deskproof.families.percussion.naming import FILE, KEY, NAME, TEXT, WORDS, names_in
from deskproof.families.percussion.sticks import sticks_in
from percussion_scores import part_xml, planned, played
from schema import complaints

# Names as printed scores have them.
NAMES = {
    "Triangle": "triangle", "Triangolo": "triangle", "Triangel": "triangle", "Kl. Tr.": "snare-drum",
    "Kleine Trommel": "snare-drum", "Caisse claire": "snare-drum", "Tamburo militare": "snare-drum",
    "S.D.": "snare-drum", "Becken": "cymbals", "piatti": "cymbals", "Cymbales": "cymbals",
    "Crash cymbals (l.v.)": "cymbals", "2 Becken": "cymbals", "Becken hängend": "suspended-cymbal",
    "Susp. cym., soft mallets": "suspended-cymbal", "Sus. Cym.": "suspended-cymbal",
    "Cymbale suspendue": "suspended-cymbal", "Gr. Tr.": "bass-drum", "Gran Cassa": "bass-drum",
    "Grosse Caisse": "bass-drum", "B.D.": "bass-drum", "Gr. Tr. mit Paukenschlägeln": "bass-drum",
    "Tambour de Basque": "tambourine", "Tamburino": "tambourine", "Castagnettes": "castanets", "Rute": None,
    "Holzblock": "wood-block", "Tam-tam": "tam-tam", "Glsp.": "glockenspiel", "Campanelli": "glockenspiel",
    "Xylophon": "xylophone", "to Xylophone": "xylophone", "muta in Piatti": "cymbals", "Vib.": "vibraphone",
    "cloches": "tubular-bells", "Röhrenglocken": "tubular-bells", "Peitsche": "whip", "frusta": "whip",
    "small triangle": "triangle", "Snare drum (snares off)": "snare-drum", "Side Drum with brushes": "snare-drum",
}  # fmt: skip
NO_NAMES = [
    "like a drum", "avec baguettes de timbales", "triangle beater", "snare drum sticks", "cresc.", "a tempo", "Solo",
    "on the bell", "bell", "with the oboe", "Viol. I", "l.v.", "motor off", "rim", "dim.", "2 players",
]  # fmt: skip
STICKS = {
    "soft sticks": "soft", "hard mallets": "hard", "with brushes": "brushes", "mit Besen": "brushes",
    "spazzole": "brushes", "balais": "brushes", "bacchette di legno": "wood", "Holzschlägel": "wood",
    "mit Holzschlägeln": "wood", "baguettes en bois": "wood", "wooden sticks": "wood", "Schwammschlägel": "sponge",
    "baguette d'éponges": "sponge", "bacchette di spugna": "sponge", "mit Paukenschlägeln": "timpani",
    "baguettes de timbales": "timpani", "bacchette da timpani": "timpani", "weiche Schlägel": "soft",
    "baguettes dures": "hard", "medium hard mallets": "medium hard", "con la mano": "hands", "arco": "bow",
    "con le bacchette": "sticks", "triangle beater": "triangle",
}  # fmt: skip


@pytest.mark.parametrize("text", NAMES)
def test_a_name_over_the_staff_is_the_instrument(text):
    wanted = NAMES[text]
    assert [one.id for one in names_in(text)] == ([wanted] if wanted else [])


@pytest.mark.parametrize("text", NO_NAMES)
def test_other_words_name_nothing(text):
    assert names_in(text) == ()


@pytest.mark.parametrize("text", STICKS)
def test_words_for_sticks(text):
    found = sticks_in(text)
    assert found is not None and found.kind == STICKS[text]


@pytest.mark.parametrize("text", ["Triangle", "soft", "dolce", "cresc.", "a 2", "Trommel", "hard to hear", "Solo"])
def test_words_that_are_no_sticks(text):
    assert sticks_in(text) is None


def test_how_many_mallets():
    assert [sticks_in(text).mallets for text in ("4 mallets", "mit vier Schlägeln", "2 mallets", "hard mallets")] == [
        4, 4, 2, 0,
    ]  # fmt: skip


# music21's classes for the keys of General MIDI, and our ids for them; others have no class of their own there.
_CLASSES = {
    m21.BassDrum: {"bass-drum"}, m21.SnareDrum: {"snare-drum"}, m21.TomTom: {"tom-tom"}, m21.HiHatCymbal: {"hi-hat"},
    m21.CrashCymbals: {"cymbals"}, m21.RideCymbals: {"suspended-cymbal"}, m21.SplashCymbals: {"suspended-cymbal"},
    m21.Tambourine: {"tambourine"}, m21.Cowbell: {"cowbell"}, m21.Vibraslap: {"vibraslap"}, m21.BongoDrums: {"bongos"},
    m21.CongaDrum: {"congas"}, m21.Timbales: {"timbales"}, m21.Agogo: {"agogo"}, m21.Maracas: {"maracas"},
    m21.Whistle: {"whistle"}, m21.Woodblock: {"wood-block"}, m21.Triangle: {"triangle"},
    m21.SizzleCymbal: {"suspended-cymbal"}, m21.SuspendedCymbal: {"suspended-cymbal"}, m21.Ratchet: {"ratchet"},
}  # fmt: skip


def test_the_keys_of_general_midi_agree_with_music21():
    mapper, compared = PercussionMapper(), 0
    for key in range(35, 82):
        try:
            theirs = mapper.midiPitchToInstrument(Pitch(midi=key))
        except MIDIPercussionException:
            continue
        wanted = _CLASSES.get(type(theirs))
        if wanted is None:
            continue
        raw = part_xml(["xE4@I/4 R/4 R/2"], "Percussion", instruments={"I": ("Sound", "", key + 1)})
        reading = naming.read(from_bytes(raw).score.parts[0])
        ((_, one),) = reading.items()
        assert {one.named.instrument} == wanted, (key, theirs)
        assert one.named.by == KEY
        compared += 1
    assert compared > 25


def test_the_parts_are_valid_musicxml():
    raw = part_xml(['"Becken" xE4+xC5/4(t3) R/4 xE4/8 xE4/8(trill) G5/4(arp)'], "Percussion", clef="treble")
    assert complaints(raw) == []


def names(bars, name, **how):
    raw = part_xml(bars, name, **how)
    return [(one.named.instrument, one.named.by) for one in naming.read(from_bytes(raw).score.parts[0]).values()]


def test_the_name_of_the_part_holds_until_words_say_else():
    bars = ["xE4/4 R/4 R/2", '"Tamburino" xE4/4 xE4/4 R/2', '"Triangel" xE4/4 R/4 R/2']
    assert names(bars, "Triangle") == [
        ("triangle", NAME), ("tambourine", WORDS), ("tambourine", WORDS), ("triangle", WORDS),
    ]  # fmt: skip


def test_a_word_holds_for_its_line():
    bars = ['"Cym." xC5/4 R/4 "B.D." xF4/4 R/4', "xC5/4 xF4/4 xC5+xF4/4 R/4"]
    found = [one for one, _ in names(bars, "Percussion")]
    assert found == ["cymbals", "bass-drum", "cymbals", "bass-drum", "cymbals", "bass-drum"]


def test_names_over_a_chord_go_to_its_lines_from_the_top():
    assert names(['"Becken u. Gr. Tr." xF4+xC5/4 R/4 R/2'], "Schlagzeug") == [("cymbals", WORDS), ("bass-drum", WORDS)]


def test_names_of_the_part_go_to_its_lines_from_the_top():
    assert names(["xF4/4 xC5/4 R/2"], "Cymbals, Bass Drum") == [("bass-drum", NAME), ("cymbals", NAME)]


def test_one_name_over_blocks_of_several_sizes_holds_for_all_lines():
    bars = ['"Temple blocks" xE4/4 xG4/4 xB4/4 xD5/4']
    assert names(bars, "Percussion 1") == [("temple-blocks", WORDS)] * 4


def test_the_page_comes_before_the_sounds_of_the_file():
    """A staff called Cymbal on which the file sounds a triangle is a cymbal's, as in the shared Boulanger."""
    assert names(["xE4@I/4 R/4 R/2"], "Cymbal", instruments={"I": ("Instrument 82", "", 82)}) == [("cymbals", NAME)]


def test_names_and_sounds_of_the_file_are_known_but_not_read():
    rows = {"I": ("Tamb.", "", None), "J": ("", "metal.triangle", None), "K": ("Sound", "", 77)}
    assert names(["xE4@I/4 xG4@J/4 xB4@K/4 R/4"], "Percussion", instruments=rows) == [
        ("tambourine", FILE), ("triangle", FILE), ("wood-block", KEY),
    ]  # fmt: skip


def test_a_name_that_nobody_here_knows_is_a_name():
    assert names(["xE4/4 R/4 R/2"], "Waterphone") == [("", TEXT)]
    assert names(['"Brake drum of a lorry" xE4/4 xE4/4 R/2'], "Percussion") == [("", TEXT), ("", TEXT)]


def test_sticks_hold_for_their_instrument():
    bars = ['"Susp. cym." "soft mallets" xE4/4 xE4/4 "wooden sticks" xE4/4 R/4', '"Triangle" xE4/4 R/4 R/2']
    raw = part_xml(bars, "Percussion 1")
    found = [one.sticks for one in naming.read(from_bytes(raw).score.parts[0]).values()]
    assert found == ["soft", "soft", "wood", ""]


def test_pitched_notes_under_the_name_of_a_keyboard_have_bars():
    plan, _, _ = played(['"Xylophone" C5/4 E5/4 "Triangle" B4/4 R/4'], "Percussion 1", clef="treble")
    strokes = [stroke for row in plan.reading.onsets for stroke in row]
    assert [(one.instrument, one.key) for one in strokes] == [("xylophone", 72), ("xylophone", 76), ("triangle", None)]


def test_a_knock_on_a_violin_is_no_percussion():
    with pytest.raises(AssertionError, match="no part of the score is percussion"):
        played(["xE4/4 R/4 R/2"], "Violin")


@pytest.mark.parametrize(
    ("name", "bar", "players"),
    [
        ("Percussion 1", "xE4/4 R/4 R/2", 1),
        ("Schlagzeug II", "xE4/4 R/4 R/2", 1),
        ("Percussion 1-2", "xE4/4 R/4 R/2", 2),
        ("3 Percussion", "xE4/4 R/4 R/2", 3),
        ("Percussion", "xE4/4 R/4 R/2", None),
        ("Percussion", '"2 players" xE4/4 R/4 R/2', 2),
        ("Schlagzeug", '"ein Spieler" xE4/4 R/4 R/2', 1),
        ("Triangle", "xE4/4 R/4 R/2", 1),
        ("Becken u. Gr. Trommel", "xE4/4 xC5/4 R/2", None),
    ],
)
def test_how_many_players(name, bar, players):
    assert played([bar], name)[0].reading.players == players


def test_the_shared_parts_are_what_the_page_says():
    parts = read(shared("boulanger-matin-bars-1-100.mxl")).score.parts
    found = {part.name: {one.named for one in naming.read(part).values()} for part in parts}
    assert {one.instrument for one in found["Cymbal"]} == {"cymbals"}
    assert {one.instrument for one in found["Triangle"]} == {"triangle"}
    assert {(one.instrument, one.others) for one in found["Tambourine"]} == {("tambourine", ("castanets",))}
    score = read(shared("beach-gaelic-symphony-2.mxl")).score
    plan, _, _ = planned(score)
    assert plan.reading.instruments == ("triangle",) and plan.reading.players == 1
