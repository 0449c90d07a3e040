"""A change of instrument: "muta in Corno inglese", "Fl. 2 to Picc.", "Englischhorn nehmen"."""

from __future__ import annotations

import re

from deskproof.words.meaning import Meaning
from deskproof.words.tokens import Token, one_of, word_set

INSTRUMENT = """
    picc* pikk* ottav* fl fls flut* flaut* flot* fife blockfl* ob oboe* oboi hautb* htb cor corno
    corni cors inglese ingl anglais angl engl english* englisch* heckel* cl clar* klar* basset* bassklar* bcl
    sax* fag* basson* bassoon* bsn cfg contraf* kontraf* contrabass* hn horn* tr tpt trp tromb*
    tromp* trump* cornet* kornett* flug* flicorn* bugle* tbn pos posaun* tuba* euph* cel celest* pf
    piano* klavier harp* harf* arpa arpe org organ* orgel harmonium cembalo clavecin timp* pauk*
    glock* campan* xyl* vib vibr* marimb* triang* tamb* cymb* drum* gong* tam bells crot* castan*
    kastag* caisse becken trommel* piatti cassa perc* schlagzeug* schlagwerk* rec recorder* vl vln
    vla vlc vc cb violin* viola viole violo* bratsch* geige* alto altflot* cell* kontrab* guit*
    mandol* banjo* cimbal*"""
_BESIDE_INSTRUMENT = r"""
    \d \d?(?:st|nd|rd|th|o|a|°|er|e|te|re|ma|mo|da) i{1,3} iv [a-h] bb eb ab db es as des do ut re
    mi fa sol la si in en the le les l' il lo die der das den dem d' de di amor amore amour kleine
    kleinen kl gross grosse grossen gr petite petites pte ptes grande grandes gde gdes piccolo
    piccoli bass basse basso bassi alt alti alto tenor* sopran* contralto contra kontra small large
    flat flats sharp bemol* and e et und steel side snare player spieler nat"""
_EQUIPMENT = re.compile(
    r"stick|mallet|beater|brush|mute|sord|sourd|dampf|schlagel|bacchett|baguett|^bow|bogen|archet|arco|reed|"
    r"pizz|hand|finger|position|tempo|time|breath|coda|fine|segno|^end$|solo|tutti|^bars?$|measure|page|^key$"
)
_SURE_VERB = re.compile(
    r"(?<!\S)(?:(?:muta|mutano|mutare|cambia|cambiano)\s+in|chang(?:e|es|ing)\s+to|"
    r"chang(?:ez|e|er|ent)\s+en|wechsel(?:t|n|)\s+(?:zu[rm]?|nach|in|auf))\b"
)
_LOOSE_VERB = re.compile(
    r"(?<!\S)(?:to|takes?|nimmt|nehmen|prend|prennent|prenez|prendre|prende|prendono|prendere|switch(?:es)?\s+to)\b"
)
_ARTICLES = word_set("the la le les l' il lo die der das den")


def new_instrument(stretch: str, tokens: list[Token]) -> Meaning | None:
    """A change of instrument; the value is the instrument's words as they stand."""
    words = [t.word for t in tokens]
    line = " ".join(words)
    if words[-1] in ("nehmen", "prendre") and len(words) > 1 and _names_one(words[:-1]):
        return Meaning("instrument", _as_written(stretch, tokens, 0, len(words) - 1))
    match = _verb(line, _SURE_VERB)
    sure = match is not None
    match = match or _verb(line, _LOOSE_VERB)
    if match is None:
        return None
    first = line[: match.end()].count(" ") + 1
    while first < len(words) - 1 and words[first] in _ARTICLES:
        first += 1
    rest = words[first:]
    if not rest or len(rest) > 5 or any(_EQUIPMENT.search(word) for word in rest):
        return None
    if not _names_one(rest) and not (sure and len(rest) <= 3):
        return None
    return Meaning("instrument", _as_written(stretch, tokens, first, len(words)))


def _verb(line: str, verb: re.Pattern[str]) -> re.Match[str] | None:
    """The verb, if only players' names and numbers stand before it ("Fl. 2 to Picc.")."""
    match = verb.search(line)
    before = line[: match.start()].split() if match else []
    if all(one_of(INSTRUMENT, word) or one_of(_BESIDE_INSTRUMENT, word) for word in before):
        return match
    return None


def _names_one(words: list[str]) -> bool:
    return any(one_of(INSTRUMENT, word) for word in words) and all(
        one_of(INSTRUMENT, word) or one_of(_BESIDE_INSTRUMENT, word) for word in words
    )


def _as_written(stretch: str, tokens: list[Token], first: int, last: int) -> str:
    end = tokens[last].start if last < len(tokens) else len(stretch)
    return " ".join(stretch[tokens[first].start : end].split()).rstrip(" .")
