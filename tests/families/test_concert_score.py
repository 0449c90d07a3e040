"""A score that says it stands at sounding pitch (MusicXML 4.0, element concert-score) has no transposition to miss."""

from lxml import etree

from deskproof.check import check
from deskproof.demo import SCORE
from deskproof.musicxml.reader import parser, read_tree
from deskproof.pitch import spelled

BELOW = {-2: (1, 2), -7: (4, 7)}  # letters and semitones by which a B flat clarinet or trumpet, a horn in F sound lower


def at_sounding_pitch(flagged, crooks=(-2, -7)):
    """The demo with parts of these transpositions written as they sound, the transposition taken out."""
    root = etree.fromstring(SCORE.read_bytes(), parser())
    for part in root.iterfind("part"):
        transpose = part.find("measure/attributes/transpose")
        chromatic = int(transpose.findtext("chromatic")) if transpose is not None else 0
        if chromatic not in crooks:
            continue
        for element in part.findall("measure/attributes/transpose"):
            element.getparent().remove(element)
        letters, semitones = BELOW[chromatic]
        for key in part.iter("fifths"):
            key.text = str(int(key.text) - {-2: 2, -7: 1}[chromatic])
        for pitch in part.iter("pitch"):
            _lower(pitch, letters, semitones)
    if flagged:
        defaults = root.find("defaults")
        if defaults is None:
            defaults = etree.Element("defaults")
            root.find("part-list").addprevious(defaults)
        defaults.append(etree.Element("concert-score"))
    return root


def _lower(pitch, letters, semitones):
    step, octave = pitch.findtext("step"), int(pitch.findtext("octave"))
    alter = int(pitch.findtext("alter") or 0)
    line = 7 * octave + "CDEFGAB".index(step) - letters
    new_octave, i = divmod(line, 7)
    natural = spelled("CDEFGAB"[i], 0, new_octave).midi
    new_alter = spelled(step, alter, octave).midi - semitones - natural
    for child in list(pitch):
        pitch.remove(child)
    etree.SubElement(pitch, "step").text = "CDEFGAB"[i]
    if new_alter:
        etree.SubElement(pitch, "alter").text = str(new_alter)
    etree.SubElement(pitch, "octave").text = str(new_octave)


def manners(root):
    return [f.rule.id for f in check(read_tree(root)).findings if f.rule.id.startswith("manners-")]


def test_the_flag_is_read():
    assert read_tree(at_sounding_pitch(True)).at_sounding_pitch
    assert not read_tree(at_sounding_pitch(False)).at_sounding_pitch


def test_nothing_is_missed_in_a_score_at_sounding_pitch():
    assert manners(at_sounding_pitch(True)) == []


def test_without_the_flag_a_part_at_sounding_pitch_among_transposed_ones_is_asked_about():
    assert manners(at_sounding_pitch(False, crooks=(-2,)))
    assert manners(at_sounding_pitch(True, crooks=(-2,))) == []
