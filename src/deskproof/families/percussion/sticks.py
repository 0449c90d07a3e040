"""Which sticks a part asks for, in English, Italian, German and French. Basis of the table: common practice."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import NamedTuple

from deskproof.words.tokens import folded

ANY = "sticks"  # sticks are asked for, and not which
_LONGEST = 8  # words; a longer text is a sentence


class Sticks(NamedTuple):
    """What a text asks for: ``kind`` ("soft", "wood", "brushes" ...; empty if only how many), ``mallets`` 0 if unsaid.

    ``ordinary`` says that it goes back to what is usual.
    """

    kind: str = ""
    mallets: int = 0
    ordinary: bool = False


# The thing itself, as the beginning of a word or, in German, its end.
_STICK = re.compile(
    r"^(?:stick|mallet|beater|drumstick|schlagel|schlegel|kloppel|stock|bacchett|mazz|mazzuol|baguett|batte$|battes$|"
    r"mailloche)|(?:schlagel|schlageln|schlegel|schlegeln|kloppel|kloppeln|stocke|stocken|stabchen)$"
)
# What it is made of or whose it is; the first that fits each word counts, and all are put together.
_OF = (
    ("medium", r"medium|mittel|^medi[aeo]?$|^moyen|^mi$"),
    ("soft", r"^soft|^weich|^morbid|^moll[ei]|^molle|^dou(?:x|ce)|^mou$"),
    ("hard", r"^hard|^hart|^dur[aeio]?s?$"),
    ("sponge", r"^spong|^schwamm|^spugna|eponge"),
    ("felt", r"^felt|^filz|^feltro|^feutre"),
    ("wood", r"^wood|^holz|^legno|^bois"),
    ("metal", r"^metal|^brass|^iron|^eisen|^ferr[oi]|^fer$|^ottone|^messing|^laiton|^cuivre"),
    ("rubber", r"^rubber|^gummi|^gomma|^caoutchouc"),
    ("yarn", r"^yarn|^cord|^wool|^garn|^woll|^filo|^laine"),
    ("plastic", r"^plastic|^plastik|^kunststoff|^plastica|^plastique"),
    ("timpani", r"^timp|^pauk|^timbale"),
    ("snare drum", r"^snare|^side$|^trommel|^tamburo|^tambour$|^caisse|^drumstick"),
    ("bass drum", r"^bass$|^cassa|^mailloche|^mazz|^grosse"),
    ("triangle", r"^triang"),
    ("xylophone", r"^xylo|^xil|^silo"),
    ("vibraphone", r"^vibra"),
    ("marimba", r"^marimba"),
    ("glockenspiel", r"^glocken|^campanell"),
)
# What is no stick.
_ELSE = (
    ("brushes", r"^brush|^besen|^jazzbesen|^stahlbesen|^spazzol|^balais?$"),
    ("rods", r"^rods?$|^rute|^verg[ahe]"),
    ("bow", r"^bow(?:ed)?$|^bogen|^arco$|^archet|^gestrichen"),
    ("hands", r"^hands?$|^hande?n?$|^man[oi]$|^mains?$"),
    ("fingers", r"^fingers?$|^fingern?$|^dit[ao]$|^doigts?$|^thumb$|^daumen$|^pollice$|^pouce$"),
    ("coin", r"^coin$|^munze|^moneta"),
)
_LITTLE = re.compile(
    r"with|w|the|an?|mit|der|den|dem|einer|einem|con|col|coll[ae]?|la|le|gli|avec|les|des|d|de|du|l|al?|alla|en|di|da|"
    r"wire|only|soli|change|to|take|nimm|nehmen|prendre|prendete|bare|by"
)
_COUNT = {"2": 2, "two": 2, "due": 2, "zwei": 2, "deux": 2, "4": 4, "four": 4, "quattro": 4, "vier": 4, "quatre": 4,
          "6": 6, "six": 6, "sei": 6, "sechs": 6}  # fmt: skip
_ORDINARY = re.compile(r"^(?:ord|ordinario|ordinary|naturale|normale?|gewohnlich|usual|habituel(?:le)?s?)$")


@lru_cache(maxsize=2048)
def sticks_in(text: str) -> Sticks | None:
    """What a text says about sticks; None where it says nothing, or is a sentence.

    Parameters
    ----------
    text : str
        Words as they stand over the staff.

    Examples
    --------
    >>> sticks_in("soft sticks").kind, sticks_in("Holzschlägel").kind, sticks_in("bacchette di legno").kind
    ('soft', 'wood', 'wood')
    >>> sticks_in("with brushes").kind, sticks_in("baguettes d'éponge").kind, sticks_in("4 mallets").mallets
    ('brushes', 'sponge', 4)
    >>> sticks_in("Triangle") is None, sticks_in("soft") is None
    (True, True)
    """
    words = [folded(word) for word in re.findall(r"[^\W_]+", text)]
    if not words or len(words) > _LONGEST:
        return None
    if any(_STICK.search(word) for word in words):
        kinds = [kind for kind, wanted in _OF if any(re.search(wanted, word) for word in words)]
        count = next((_COUNT[word] for word in words if word in _COUNT), 0)
        usual = any(_ORDINARY.search(word) for word in words)
        return Sticks(" ".join(kinds) or ("" if count or usual else ANY), count, usual)
    rest = [word for word in words if not _LITTLE.fullmatch(word)]
    if len(rest) != 1:
        return None
    for kind, wanted in _ELSE:
        if re.search(wanted, rest[0]):
            return Sticks(kind)
    return Sticks(ordinary=True) if _ORDINARY.search(rest[0]) else None


def without_sticks(text: str) -> str:
    """A text without its words about sticks, so that no instrument is read out of "triangle beater".

    >>> without_sticks("Susp. cym. soft mallets"), without_sticks("snare drum sticks"), without_sticks("Kl. Tr.")
    ('Susp cym', '', 'Kl. Tr.')
    """
    words = re.findall(r"[^\W_]+", text)
    plain = [folded(word) for word in words]
    if not any(_STICK.search(word) for word in plain):
        return "" if sticks_in(text) else text
    kept = list(range(len(words)))
    for i, word in enumerate(plain):
        if not _STICK.search(word):
            continue
        before = i
        while before and (_about(plain[before - 1]) or _LITTLE.fullmatch(plain[before - 1])):
            before -= 1
        after = i + 1
        while after < len(words) and (_about(plain[after]) or _LITTLE.fullmatch(plain[after])):
            after += 1
        kept = [k for k in kept if not before <= k < after]
    return " ".join(words[k] for k in kept)


def _about(word: str) -> bool:
    """Whether a word can belong to the name of a stick."""
    return word == "drum" or word in _COUNT or any(re.search(wanted, word) for _, wanted in _OF)
