"""The words beside a phrase: which leave its meaning alone, which take it away, which phrases need none."""

from __future__ import annotations

from deskproof.words.tokens import word_set

# Kinds whose words are so much their own that unknown company does not matter ("arco flautando").
SURE = word_set(
    """_and-coda pizz arco con-sord senza-sord col-legno sul-pont sul-tasto div non-div unis cuivre flutter
    gliss cresc dim pres-de-la-table bisbigliando let-ring non-arpeggiato"""
)
# Of these, words that are also everyday words and need known company after all.
EVERYDAY = word_set(
    """bow bowed bogen archet mute mutes muted divise zusammen unison divided lv vibrez sord harmon
    plunger flutter flatt cres gest unbroken gedampft divis sourd"""
)

# These take the meaning of what follows, likenesses ("quasi pizz.") that of the next word alone;
# a negation carries on over "and" and "or".
NEGATORS = word_set("non senza ohne sans without no not nicht kein keine ne pas never mai nie")
LIKENESS = word_set("quasi like wie comme come")
AND_OR = word_set("o od oder or nor ni ne ou und e et and")
_FILLERS = word_set(
    """p pp ppp pppp f ff fff ffff mp mf sf sfz fz fp sfp rf rfz sempre molto poco un una uno a al
    pochiss pochissimo piu meno assai ma e ed et und and con mit avec with il lo la le gli i l' d'
    the der die das den dem di de du des in im peu tres plus moins bien sehr etwas ganz wieder immer
    noch nur very more less always only again still simile sim subito sub sim* ten tenuto dolce
    dolciss* dol espr* cant* legg* legato legatiss* stacc* staccatiss* marc* marcatiss* teneramente
    semplice tranq* calmo grazioso grazia sost sosten sostenuto soutenu ben tutta tutto forza
    agitato anima passione fuoco brio spirito moto appass* risoluto maestoso pesante scherz* giocoso
    energico delicato leger legere doux douce douces sonore expressif expressive expr ausdrucksvoll
    zart innig kraftig gradually allmahlich nach poi then puis dann segue toujours encore quasi
    troppo tanto menuetto minuetto menuett menuet minuet men scherzo trio march marcia marsch tema
    aria gavotte bourree polonaise little slightly much over sopra sotto dessus somewhat bit ein
    wenig maggiore minore capo
    replica voce largamente intimo mosso tempo"""
)
_FILLER_STEMS = tuple(word[:-1] for word in _FILLERS if word.endswith("*"))


def is_filler(word: str) -> bool:
    """Whether a word may stand beside a phrase without changing what it says ("poco", "sempre", "f")."""
    return word in _FILLERS or word in NEGATORS or word.startswith(_FILLER_STEMS)
