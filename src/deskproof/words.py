"""What a word means: the words of a score in English, Italian, German and French, one table.

``meanings`` reads a text as a player would and says nothing where it is not sure: a word inside a
sentence, a negated word ("senza cresc.") and a word of unknown company have no meaning. Where a mark
means one thing to one player and another to the next ("S.P.", "una corda", "I."), it is given as each
of them would take it, and the family that asks looks only at its own kinds. Basis of the table: common
practice.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from functools import lru_cache
from typing import NamedTuple

__all__ = ["TEMPO_WORDS", "Meaning", "bare_name", "meanings"]


class Meaning(NamedTuple):
    """One thing a text says.

    ``kind`` is the table's word for it, ``value`` tells variants apart (``al-fine``; the tempo word; the
    instrument as written), ``figure`` is a number the text itself gives ("div. a 3", "a 2", "1.").
    """

    kind: str
    value: str = ""
    figure: float | None = None


def _set(words: str) -> frozenset[str]:
    return frozenset(words.split())


# In a phrase: | separates phrases; # is a number (2, due, deux, zwei ...); abc* any ending; "abc." only
# with its dot. Case, accents and other dots do not matter. A kind that starts with "_" is used here only
# and never handed out.
_PHRASES: dict[tuple[str, str], str] = {
    # tempo and its changes
    ("a-tempo", ""): """
        a tempo | in tempo | tempo subito | im Tempo | wieder im Tempo | im Zeitmaß | wieder im Zeitmaß |
        au mouv* | au mouvt | au mvt | a mouvement | revenez au mouv* | reprenez le mouv*""",
    ("a-tempo", "first"): """
        tempo I | tempo 1 | tempo primo | tempo 1mo | tempo Imo | tempo 1° | tempo I° | a tempo primo |
        a tempo I | a tempo 1 | primo tempo | 1° tempo | I° tempo | 1 tempo | Ier mouv* | Ier mvt |
        1er mouv* | 1er mvt | premier mouv* | au Ier mouv* | au Ier mvt | au 1er mouv* | au 1er mvt |
        au premier mouv* | mouv* du début | mvt du début | au mouv* du début | erstes Zeitmaß |
        erstes Tempo | im ersten Zeitmaß | im ersten Tempo | Zeitmaß I | Hauptzeitmaß | Haupttempo |
        im Hauptzeitmaß | Tempo wie zu Anfang | wie zu Anfang | wie am Anfang | Tempo wie am Anfang |
        come prima tempo | first tempo | original tempo | tempo come prima""",
    ("tempo-change", "rit"): """
        rit | ritard* | riten* | rall* | slargando | slarg | allarg* | slentando | lentando | largando |
        zurückhalten* | zurückgehalten | verlangsam* | langsamer werden* | breiter werden* |
        immer langsamer | immer breiter | zögernd | nachgeben* | cédez | en cédant | retenez | retenu |
        en retenant | ralent* | en ralentissant | élargissez | en élargissant | getting slower |
        gradually slower | slowing | slowing down | slow down | slowing up | hold back | holding back |
        slower and slower | broadening""",
    ("tempo-change", "accel"): """
        accel* | affrett* | string. | stringendo | string. il tempo | stringendo il tempo | incalzando |
        beschleunig* | schneller werden* | immer schneller | immer geschwinder | immer lebhafter |
        eilend | eilen | vorwärts | drängend | treibend | pressez | en pressant | serrez | en serrant |
        animez | en animant | accélérez | en accélérant | getting faster | gradually faster | hurrying |
        speeding up | speed up | faster and faster""",
    ("tempo-change", "more"): """
        doppio movimento | doppelt so schnell | noch einmal so schnell | le double plus vite |
        twice as fast | schneller | bewegter | lebhafter | rascher | belebter | geschwinder | fließender |
        faster | quicker | livelier | weniger langsam | nicht so langsam""",
    ("tempo-change", "less"): """
        langsamer | ruhiger | breiter | mäßiger | gemäßigter | slower | weniger schnell | weniger bewegt |
        weniger lebhaft | nicht so schnell | not so fast | half tempo | twice as slow |
        half as fast | halb so schnell""",
    ("unfixed", "ad-lib"): """
        ad lib* | a piacere | a piacimento | a bene placito | à volonté | libre | librement | libero |
        liberamente | nach Belieben | frei | ganz frei | frei im Vortrag | frei im Takt | frei im Tempo |
        frei im Zeitmaß | frei vorgetragen | freely | free | in free time | free time | at will |
        at pleasure""",
    ("unfixed", "rubato"): "rubato | tempo rubato",
    ("unfixed", "colla-parte"): """
        colla parte | col canto | colla voce | col solo | col solista | seguite il canto |
        segui il canto | suivez | suivez le chant | suivez la voix | suivez le solo | suivez le soliste |
        suivez le chanteur | der Stimme folgen | dem Gesang folgen | der Singstimme folgen |
        mit der Singstimme | follow the voice | follow the solo* | follow the singer | with the voice""",
    ("unfixed", "senza-misura"): """
        senza misura | senza tempo | senza battuta | senza rigore | senza rigore di tempo |
        senza rigor di tempo | sans mesure | non mesuré | sans rigueur | mesure libre | tempo libero |
        ohne Takt | ohne Taktmaß | ohne Zeitmaß | freies Zeitmaß | in freiem Zeitmaß | im freien Zeitmaß |
        without measure | unmeasured | unmetered | out of time""",
    ("unfixed", "cadenza"): "cadenza | in modo di cadenza | Kadenz | cadence | cadenza ad lib*",
    ("unfixed", "recitative"): """
        recit | recitativo | recitativ | recitative | Rezitativ | récitatif | in modo di recitativo |
        rezitativisch""",
    # jumps
    ("da-capo", ""): """
        d. c. | dc | da capo | m. d. c. | vom Anfang | von Anfang | von vorn | von vorne |
        depuis le commencement | from the beginning | dacapo""",
    ("dal-segno", ""): """
        d. s. | ds | dal segno | da capo dal segno | d. c. dal segno | dal s. | da segno |
        dalsegno | vom Zeichen | von Zeichen |
        depuis le signe | from the sign | dal signo""",
    ("fine", ""): "fine",
    ("coda", ""): "coda",
    ("segno", ""): "segno",
    ("to-coda", ""): """
        to coda | to the coda | al coda | alla coda | zur coda | à la coda | aller à la coda |
        go to coda | jump to coda""",
    ("_al-fine", ""): """
        al fine | sin al fine | sin' al fine | sino al fine | fino al fine | sino alla fine |
        fino alla fine | alla fine | bis fine | bis zum fine | to fine | jusqu' à fine |
        jusqu' au mot fine""",
    ("_and-coda", ""): """
        poi coda | e poi coda | poi la coda | e poi la coda | poi segue la coda | e coda | e la coda |
        poi segue coda | poi alla coda | e poi alla coda | indi la coda | dann coda | dann zur coda |
        puis coda | puis la coda | puis à la coda | then coda | then to coda | then the coda | and coda |
        then to the coda | und coda""",
    ("_al-segno", ""): """
        al segno | sin al segno | sino al segno | fino al segno | fin al segno | bis zum Zeichen |
        jusqu' au signe | to the sign | alsegno""",
    # timpani and harp settings are read by _retuned and _pedal_letters
    # strings
    ("pizz", ""): "pizz | pizzicato | pizzicati | pizzic | gezupft",
    ("arco", ""): """
        arco | col arco | coll' arco | con l' arco | mit Bogen | mit dem Bogen | Bogen | Bogen nehmen |
        gestrichen | archet | avec l' archet | avec archet | with bow | with the bow | bow | bowed""",
    ("con-sord", ""): """
        con sord* | c. sord* | colla sordina | colle sordine | coi sordini | sordini | sordino | sordina |
        sord | mettere sord* | mettere il sord* | mettere i sord* | mettere la sord* | mettete sord* |
        mit Dämpfer* | mit Dpf | gedämpft | Dämpfer auf | Dämpfer aufsetzen | Dämpfer nehmen |
        nimmt Dämpfer* | nehmen Dämpfer* | avec sourd* | avec la sourd* | avec les sourd* | sourdine |
        sourdines | sourd | mettez sourd* | mettez la sourd* | mettez les sourd* | mettre sourd* |
        mettre la sourd* | mettre les sourd* | prenez la sourd* | prenez les sourd* | with mute |
        with mutes | mute | mutes | muted | mutes on | mute on | put on mute* | put mute* on | take mute |
        take mutes | add mute*""",
    ("con-sord", "straight"): "straight mute | st mute | con sord* straight",
    ("con-sord", "cup"): "cup mute",
    ("con-sord", "harmon"): "harmon mute | harmon",
    ("con-sord", "plunger"): "plunger | plunger mute",
    ("con-sord", "bucket"): "bucket mute",
    ("con-sord", "practice"): "practice mute",
    ("senza-sord", ""): """
        senza sord* | s. sord* | via sord* | via la sord* | via le sord* | via i sord* | sord* via |
        sordini levati | levare sord* | levare i sord* | levare il sord* | levare la sord* |
        levare le sord* | si levano i sord* | togliere sord* | togliere i sord* | togliere il sord* |
        togliere la sord* | togliere le sord* | ohne Dämpfer* | ohne Dpf | Dämpfer ab | Dämpfer weg |
        Dämpfer absetzen | Dämpfer fort | sord* ab | sord* weg | nicht gedämpft | sans sourd* |
        sans la sourd* | sans les sourd* | ôtez sourd* | ôtez la sourd* | ôtez les sourd* | ôter sourd* |
        ôter la sourd* | ôter les sourd* | enlevez sourd* | enlevez la sourd* | enlevez les sourd* |
        enlever la sourd* | enlever les sourd* | mutes off | mute off | without mute* | no mute* |
        unmuted | remove mute* | take off mute* | take mute* off | mute out | mutes out""",
    ("col-legno", ""): """
        col legno | col legno batt* | col legno tratto | col l | c. l. | c. l. batt* | mit Holz |
        mit dem Holz | mit der Bogenstange | avec le bois | avec le bois de l' archet | with the wood |
        with wood""",
    ("sul-pont", ""): """
        sul pont* | sul p. | am Steg | nahe am Steg | sur le chevalet | au chevalet | près du chevalet |
        at the bridge | near the bridge | on the bridge | al pont*""",
    ("_sp", ""): "s. p.",
    ("sul-tasto", ""): """
        sul tast* | sulla tast* | s. t. | alla tastiera | am Griffbrett | auf dem Griffbrett |
        sur la touche | on the fingerboard | over the fingerboard | over fingerboard""",
    ("ordinary", ""): """
        ord | ordin | ordinario | in modo ord* | modo ord* | naturale | nat | gewöhnlich | gew |
        wieder gewöhnlich | position ordinaire | position naturelle | position normale | pos ord |
        pos nat | pos norm | jeu ordinaire | jeu normal | mode ordinaire | normale | normal | norm |
        naturel | ordinary""",
    ("div", ""): """
        div | div a # | div in # | div à # | div en # | divisi | divisi a # | divisi in # | divise |
        divisés | divisées | divisés en # | divisés à # | divisées en # | get. in # | geth. in # |
        divis | geteilt | get. | geth. |
        getheilt | # geteilt | # getheilt | in # geteilt | in # getheilt | geteilt in # | # div |
        à # div | divided | divided in #""",
    ("non-div", ""): """
        non div* | nicht geteilt | nicht get* | ungeteilt | undivided | not divided | sans diviser""",
    ("unis", ""): """
        unis | unisono | unisoni | unison | all' unisono | à l' unisson | unisson | zusammen | zus |
        all' unis | in unison""",
    ("solo", ""): """
        solo | seul | seule | un seul | une seule | un solo | una sola | allein | ein solo | # soli |
        solo #""",
    ("tutti", ""): "tutti | tutte | tous | toutes | alle | tutti quanti",
    # keyboards
    ("una-corda", ""): """
        una corda | u. c. | 1 corda | à une corde | une corde | mit Verschiebung | mit Versch |
        Verschiebung | Versch | petite pédale | pédale douce | pédale sourde | soft pedal | soft ped""",
    ("_both-pedals", ""): """
        les deux pédales | les 2 péd* | les deux péd | avec les deux pédales | avec les 2 péd* |
        due pedali | con due pedali | con i due pedali | con 2 ped* | mit beiden Pedalen | beide Pedale |
        both pedals | with both pedals""",
    ("tre-corde", ""): """
        tre corde | 3 corde | a tre corde | t. c. | tutte le corde | a tutte le corde |
        ohne Verschiebung | ohne Versch | toutes les cordes | trois cordes | à trois cordes |
        without soft pedal""",
    ("pedal", ""): """
        ped | pedal | pedale | pédale | con ped* | col ped* | col pedale | con il pedale | c. ped* |
        mit Pedal* | mit Ped | m. Ped | avec péd* | avec la pédale | with ped | with pedal | ped simile |
        senza smorz* | without dampers | ohne Dämpfung | mit vielem Pedal | con molto pedale""",
    ("no-pedal", ""): """
        senza ped* | s. ped* | senza il pedale | ohne Pedal* | ohne Ped | o. Ped | sans péd* |
        sans la pédale | without ped* | no pedal | no ped | con smorz* | with dampers""",
    ("sostenuto-pedal", ""): """
        sost ped | sosten ped | sos ped | sostenuto ped* | ped* sost | ped* sosten | pedale sostenuto |
        mit Tonhaltepedal | Tonhaltepedal | pédale tonale | pedale tonale | middle pedal""",
    ("left-hand", ""): """
        m. s. | m. g. | l. h. | lh | sinistra | mano sinistra | m. sin* | colla sinistra |
        con la sinistra | main gauche | de la main gauche | à la main gauche | left hand | left h |
        with left hand | with the left hand | linke Hand | linke H | mit der linken Hand |
        mit der linken | l. Hand | links""",
    ("right-hand", ""): """
        m. d. | r. h. | rh | destra | mano destra | m. des* | m. dr | colla destra | con la destra |
        main droite | de la main droite | à la main droite | right hand | right h | with right hand |
        with the right hand | rechte Hand | rechte H | mit der rechten Hand | mit der rechten | r. Hand |
        rechts""",
    # harp
    ("pres-de-la-table", ""): """
        près de la table | p. d. l. t. | pdlt | près table | près de table | près d. l. table |
        sons près de la table | sul tavolo | sulla tavola | presso la tavola | vicino alla tavola |
        presso la tavola armonica | vicino alla tavola armonica | alla tavola | near the soundboard |
        near soundboard | close to the soundboard | at the soundboard | near the table |
        am Resonanzboden | nahe am Resonanzboden | am Schallboden | nahe dem Resonanzboden""",
    ("bisbigliando", ""): "bisb | bisbigl | bisbigliando | bisbigliato",
    ("etouffe", ""): """
        étouffé | étouffés | étouffée | étouffées | étouf | sons étouffés | sons étouf | sons ét""",
    ("let-ring", ""): """
        l. v. | lv | laissez vibr* | laisser vibr* | laiss vibr* | lasciar vibr* | lasciare vibr* |
        lascia vibr* | lasc vibr* | lassen klingen | klingen lassen | ausklingen lassen |
        nachklingen lassen | nachklingen | weiterklingen lassen | let ring | let vibrate | let it ring |
        vibrez | allow to ring""",
    ("damp", ""): """
        damp | damp all | damp strings | damp the strings | étouffez | étouffer | étouffez tout |
        étouffez les cordes | étouffez le son | dämpfen | abdämpfen | alles abdämpfen |
        nicht klingen lassen | nicht nachklingen lassen | nicht ausklingen lassen |
        ne pas laisser vibrer | ne laissez pas vibrer | sans laisser vibrer | non lasciar vibrare |
        do not let ring | muffle""",
    ("gliss", ""): "gliss | glissando | glissandi | glissez | glissato",
    ("harmonic", ""): """
        harmonic | harmonics | harm | harms | son harm* | sons harm* | en sons harm* | flageolet | flag |
        flageolett | flageolettöne | flageolets | armonico | armonici | suoni armonici | suoni arm |
        suono armonico | harmonique | harmoniques""",
    ("nail", ""): """
        with nail | with nails | with the nail | with the nails | with fingernail* |
        with the fingernail* | mit Nagel | mit dem Nagel | mit Nägeln | mit den Nägeln |
        mit dem Fingernagel | coll' unghia | con l' unghia | colle unghie | con le unghie | coll' unghie |
        unghia | avec l' ongle | avec les ongles | avec ongles | avec ongle | avec des ongles |
        fingernails | fingernail""",
    ("non-arpeggiato", ""): """
        non arp* | non arpeg* | senza arp* | nicht arpegg* | nicht gebrochen | ohne Arpegg* |
        ungebrochen | sec non arpégé | non arpégé | non arpégés | sans arpège* | sans arpéger |
        ne pas arpéger | pas arpégé | plaqué | plaqués | not arpeggiated | do not arpeggiate |
        do not roll | don' t roll | don't roll | do not spread | unbroken | no arp*""",
    ("arpeggiato", ""): """
        arp | arpegg | arpeggio | arpeggiato | arpeggiando | arpeggiare | arpégé | arpégés | arpégez |
        arpeggiert | arpeggieren | gebrochen | arpeggiated | rolled""",
    # octave
    ("octave", "8va"): """
        8va | 8va alta | 8va sopra | ottava | ottava alta | all' ottava | ottava sopra | all' 8va""",
    ("octave", "8vb"): """
        8vb | 8ba | 8va bassa | 8va b | 8va sotto | 8va basso | ottava bassa | ottava sotto | 8 bassa |
        all' ottava bassa""",
    ("octave", "15ma"): "15ma | 15va | quindicesima | 15ma alta",
    ("octave", "15mb"): "15mb | 15ma bassa | 15ba",
    ("octave", "loco"): "loco | in loco | al loco | at pitch",
    ("octave", "coll'8"): """
        coll' 8 | coll' 8va | coll' ottava | col 8 | col 8va | con 8 | con 8va | con ottava | c. 8 |
        c. 8va | coll' 8va alta""",
    ("octave", "coll'8vb"): """
        coll' 8va bassa | coll' ottava bassa | con 8va bassa | con ottava bassa | coll' 8 bassa |
        col 8va bassa | coll' 8vb | con 8vb""",
    # winds and brass
    ("tacet", ""): "tacet | tace | tacent",
    ("open", ""): "open | aperto | aperti | ouvert | ouverts | offen | nicht gestopft | sons ouverts",
    ("stopped", ""): """
        stopped | hand stopped | bouché | bouchés | sons bouchés | bouchez | gestopft | gest | chiuso |
        chiusi""",
    ("cuivre", ""): "cuivré | cuivrés | cuivrez | cuivrer | schmetternd | brassy",
    ("flutter", ""): """
        Flatterzunge | Flatterz | mit Flatterzunge | flttz | flz | fltz | Flzg | Flttzg | flutter |
        fluttertong* | fluttertongue | flutter tongue | flutter tongu* | frullato | frullati | frull |
        flatt""",
    # dynamics
    ("cresc", ""): """
        cresc | cres | crescendo | cresc* | en augmentant | augmentez | anschwellend | anwachsend |
        cre scen do""",
    ("dim", ""): """
        dim | dimin | diminuendo | decresc* | en diminuant | diminuez | abschwellend | abnehmend |
        di mi nu en do""",
    # said, but nothing that the kinds above hold
    ("_nothing", ""): """
        sul una corda | sul # corda | im Tempo di | in tempo di | a tempo di | tempo ordinario |
        tempo giusto | l' istesso tempo |
        lo stesso tempo | istesso tempo | même mouv* | a tempo giusto | a tempo ordinario | più tosto |
        sons réels | suono reale | loco sord | in tempo giusto | con sordini di | mezza voce |
        sotto voce | senza replica | senza repliche | senza repetizione | senza ripetizione |
        senza ritornello | senza rep | senza replicarlo | de plus en plus | de moins en moins |
        little by little | nach und nach | peu à peu | poco a poco | ohne Wiederholung* | sans reprise* |
        without repeat* | no repeat*""",
}

# Kinds whose words are so much their own that unknown company does not matter ("arco flautando").
_SURE = _set(
    """_and-coda pizz arco con-sord senza-sord col-legno sul-pont sul-tasto div non-div unis cuivre flutter
    gliss cresc dim pres-de-la-table bisbigliando let-ring non-arpeggiato"""
)
# Of these, words that are also everyday words and need known company after all.
_NOT_SO_SURE = _set(
    """bow bowed bogen archet mute mutes muted divise zusammen unison divided lv vibrez sord harmon
    plunger flutter flatt cres gest unbroken gedampft divis sourd"""
)
_JUMPS = frozenset({"da-capo", "dal-segno", "fine", "coda", "segno", "to-coda"})
_WITH_ONE_PLAYER = _set(
    """solo con-sord senza-sord stopped open flutter cuivre pizz arco cresc dim unfixed a-tempo
    tempo-change"""
)

_NUMBERS = {
    word: number
    for number, words in {
        2: "2 due deux zwei zweit zweifach 2fach two",
        3: "3 tre trois drei dritt dreifach 3fach three",
        4: "4 quattro quatre vier viert vierfach 4fach four",
        5: "5 five",
        6: "6 six",
        8: "8",
    }.items()
    for word in words.split()
}
_NEGATORS = _set("non senza ohne sans without no not nicht kein keine ne pas never mai nie")
_LIKENESS = _set("quasi like wie comme come")
_OR = _set("o od oder or nor ni ne ou und e et and")
_FILLERS = _set(
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

# ---------------------------------------------------------------- tempo words

# word -> (language, the facts table's name, +1 quick or -1 slow, how much company it bears)
# "any": a heading whatever follows; "known": only with known company; "heading": the same, and written
# with a capital, for words that in small letters are as often a manner of playing.
_SPEED: dict[str, tuple[str, str, int, str]] = {}
for _language, _company, _sign, _names in (
    ("it", "any", -1, "larghissimo grave:known largo larghetto lento adagio adagietto andante andantino"),
    ("it", "any", 1, "moderato allegretto allegro vivo:known vivace vivacissimo presto prestissimo"),
    ("it", "heading", 1, "mosso maestoso animato"),
    ("fr", "known", -1, "lent lentement=lent modere moderement=modere"),
    ("fr", "known", 1, "anime:heading vif vivement=vif vite rapide rapidement=rapide mouvemente"),
    ("fr", "heading", -1, "large largement=large calme allant"),
    ("de", "known", -1, "langsam massig maessig=massig gemassigt=massig gemachlich"),
    ("de", "heading", -1, "getragen breit ruhig"),
    ("de", "known", 1, "bewegt lebhaft schnell geschwind rasch munter:heading frisch:heading"),
    ("de", "heading", -1, "gehend fliessend"),
    ("en", "known", -1, "slow slowly=slow moderate moderately=moderate"),
    ("en", "known", 1, "fast lively quick quickly=quick brisk briskly=brisk"),
    ("en", "heading", -1, "broad broadly=broad flowing"),
):  # fmt: skip
    for _item in _names.split():
        _word, _, _own = _item.partition(":")
        _word, _, _name = _word.partition("=")
        _SPEED[_word] = (_language, _name or _word, _sign, _own or _company)
_SPEED["lentamente"] = ("it", "lento", -1, "any")
_SPEED["allo"] = _SPEED["all°"] = _SPEED["allegro"]
_SPEED["andte"] = _SPEED["andante"]

_COMPOUNDS = _set(
    """molto-lento molto-adagio molto-allegro molto-vivace adagio-non-troppo allegro-non-troppo
    presto-non-troppo andante-moderato andante-con-moto allegro-moderato allegro-con-brio
    allegro-vivace tres-lent tres-modere tres-anime tres-vif tres-vite assez-lent assez-anime
    assez-vif assez-vite pas-trop-lent pas-trop-vite sehr-langsam sehr-bewegt sehr-lebhaft
    sehr-rasch sehr-schnell ziemlich-langsam ziemlich-schnell nicht-zu-langsam nicht-zu-schnell
    nicht-schnell massig-langsam massig-bewegt massig-schnell very-slow very-quick very-fast
    not-too-slow not-too-fast moderately-slow moderately-fast"""
)
_DANCES = {
    "tempo-di-marcia": """
        alla marcia | tempo di marcia | in tempo di marcia | tempo alla marcia | a la marcia |
        Marschtempo | im Marschtempo | marschmäßig | Marschmäßig | mouv* de marche | tempo de marche |
        march tempo | in march time""",
    "tempo-di-minuetto": """
        tempo di minuetto | tempo di menuetto | in tempo di menuetto | tempo minuetto | tempo di minuet |
        mouv* de menuet | Menuett Tempo | minuetto | menuetto | menuet | minuet | menuett""",
    "tempo-di-valse": """
        tempo di valse | tempo di valzer | tempo di walzer | tempo de valse | mouv* de valse |
        Walzertempo | im Walzertempo | waltz tempo | in waltz time | tempo di waltz""",
    "tempo-di-gavotta": "tempo di gavotta | tempo di gavotte | mouv* de gavotte",
    "tempo-di-polacca": "alla polacca | tempo di polacca | tempo di polonaise | tempo di polonese",
    "tempo-di-mazurka": "tempo di mazurka | tempo di mazurca | mouv* de mazurka",
    "alla-siciliana": "alla siciliana | alla siciliano",
}
TEMPO_WORDS = frozenset({"con-moto", *_COMPOUNDS, *_DANCES, *(name for _, name, _, _ in _SPEED.values())})
"""Every value that a meaning of kind ``tempo`` can have; each has its figure in facts/tempo.toml."""

_VERY = _set("molto assai tres sehr very")
_RATHER = _set("assez ziemlich")
_LEAD = _set(
    """molto assai poco un in di quasi ma non troppo tanto tres assez peu trop pas bien sehr ziemlich
    etwas nicht zu recht ganz very rather fairly not too a little finale trio rondo introduzione
    introduction introduktion scherzo intermezzo il massig massige moderately e und et and kraftig
    sturmisch leicht zart innig feierlich heiter ein wenig"""
)
_MORE, _LESS = _set("piu plus more"), _set("meno moins less weniger")
_RELATIVE = {word: sign for word, (_, _, sign, _) in _SPEED.items()}
for _word in _set("grave moderato moderate moderately modere moderement maestoso"):
    del _RELATIVE[_word]
_RELATIVE |= {"moto": 1, "stretto": 1, "animated": 1, "tranquillo": -1, "retenu": -1}
_BY_AND_BY = [
    tuple(words.split())
    for words in (
        "poco a poco", "peu a peu", "nach und nach", "de plus en", "de moins en", "little by little",
        "immer", "allmahlich", "gradually", "sempre", "toujours",
    )
]  # fmt: skip
_CONNECTORS = _set("und et e ed and con mit avec with ma mais aber but")
_TECHNIQUE = re.compile(
    r"vib|trem|gliss|bow|strok|trill|roll|arp|bend|slide|release|attack|decay|dim|cresc|breath|motion|time|"
    r"pulse|hand"
)


class _Token(NamedTuple):
    """A word of the text: folded for comparing, with its dot, and where it stands in the text."""

    word: str
    dot: bool
    start: int
    end: int
    raw: str


class _Hit(NamedTuple):
    kind: str
    value: str
    figure: float | None
    start: int  # token ordinals
    end: int


class _Read(NamedTuple):
    hits: list[_Hit]
    understood: bool


_TOKEN = re.compile(r"([^\W_]+°?)(['\u02bc`\u00b4]?)(\.?)")
_BREAK = re.compile(r"[,;:()\[\]{}<>/|*!?…\u2014\t\u2022]|\s[-_]+|[-_]{2,}|-\s|_|-$")
_METRONOME = re.compile(
    r"(?:[\u2669-\u266f\ue1d0-\ue1ef\U0001d15d-\U0001d164]|\b[whqe]|M\.?\ ?M\.?)[.\s]*="
    r"\s*(?:c(?:a|irca)?\.?\s*)?\d+(?:\s*[-\u2013]\s*\d+)?\.?"
)
_SIGNS = str.maketrans(
    {
        "\U0001d10b": " segno ", "\ue047": " segno ", "\U0001d10c": " coda ", "\ue048": " coda ",
        "\U0001d109": " D.S. ", "\ue045": " D.S. ", "\U0001d10a": " D.C. ", "\ue046": " D.C. ",
        "\ue260": "♭", "\ue261": "♮", "\ue262": "♯", "\u2019": "'",
        "\u00a0": " ", "\u202f": " ", "\u2007": " ", "\u2009": " ", "\r": "\n", "\u2028": "\n",
        "\u2011": "-", "\u2013": "\u2014", "\u00ad": "", "\u200b": "", "\ufeff": "",
    }
)  # fmt: skip


def _folded(word: str) -> str:
    """A word without case and accents: "Mäßig" -> "massig", "Ô" -> "o"."""
    plain = unicodedata.normalize("NFKD", word.casefold().replace("œ", "oe").replace("æ", "ae"))
    return "".join(char for char in plain if not unicodedata.combining(char))


def _tokens(text: str) -> list[_Token]:
    found = []
    for match in _TOKEN.finditer(text):
        word = match[1].replace("º", "°")
        if word.casefold() == "récit":  # the swell manual of a French organ, not a recitative
            continue
        apostrophe = "'" if match[2] else ""
        found.append(_Token(_folded(word) + apostrophe, bool(match[3]), match.start(), match.end(), word))
    return found


def _phrase_tokens(phrase: str) -> tuple[str, ...]:
    parts = []
    for part in phrase.split():
        mark = part[-1] if part[-1] in "*." and len(part) > 1 else ""
        parts.append(_folded(part[: len(part) - len(mark)]) + mark)
    return tuple(parts)


@lru_cache(maxsize=1)
def _table() -> dict[str, list[tuple[tuple[str, ...], str, str]]]:
    """Phrases by the first letter of their first word, longest first."""
    rows: list[tuple[tuple[str, ...], str, str]] = []
    for (kind, value), phrases in _PHRASES.items():
        rows += [(_phrase_tokens(phrase), kind, value) for phrase in phrases.split("|")]
    for value, phrases in _DANCES.items():
        rows += [(_phrase_tokens(phrase), "tempo", value) for phrase in phrases.split("|")]
    rows.sort(key=lambda row: (-len(row[0]), -sum(map(len, row[0]))))
    table: dict[str, list[tuple[tuple[str, ...], str, str]]] = {}
    for row in rows:
        table.setdefault(row[0][0][0], []).append(row)
    return table


def _fits(want: str, token: _Token) -> bool:
    if want == "#":
        return token.word in _NUMBERS
    if want[-1] == "*":
        return token.word.startswith(want[:-1])
    if want[-1] == ".":
        return token.dot and token.word == want[:-1]
    return token.word == want


def _phrase_at(tokens: list[_Token], i: int) -> _Hit | None:
    """The longest phrase of the table that begins at token ``i``."""
    table = _table()
    first = tokens[i].word
    for wanted, kind, value in (*table.get(first[0], ()), *(table.get("#", ()) if first in _NUMBERS else ())):
        n = len(wanted)
        if i + n <= len(tokens) and all(_fits(w, t) for w, t in zip(wanted, tokens[i : i + n], strict=True)):
            figures = [float(_NUMBERS[t.word]) for w, t in zip(wanted, tokens[i:], strict=False) if w == "#"]
            return _Hit(kind, value, figures[0] if figures else None, i, i + n)
    return None


_ORDINAL = re.compile(r"(?:([1-8])(°|o|er|re|st|nd|rd|th|mo|ma|a)?|(iv|i{1,3})(°)?)$")
_ROMAN = {"i": 1, "ii": 2, "iii": 3, "iv": 4}


def _number_at(tokens: list[_Token], i: int) -> _Hit | None:
    """One player of a stave ("1.", "II.", "1°"), or that many together ("a 2", "à 2", "zu 2")."""
    token = tokens[i]
    match = re.fullmatch(r"a([2-8])", token.word)
    if match:
        return _Hit("a2", "", float(match[1]), i, i + 1)
    if token.word in ("a", "zu") and i + 1 < len(tokens) and tokens[i + 1].word in _NUMBERS:
        return _Hit("a2", "", float(_NUMBERS[tokens[i + 1].word]), i, i + 2)
    match = _ORDINAL.match(token.word)
    if match and (match[1] or token.raw[0] == "I") and (token.dot or match[2] or match[4]):
        return _Hit("_player", "", float(match[1] or _ROMAN[match[3]]), i, i + 1)
    return None


def _tempo_in(tokens: list[_Token], after: list[str]) -> _Hit | None:
    """The tempo heading that a stretch of text begins with; "slow gliss." and "fast vibrato" are none."""
    words = [t.word for t in tokens]
    if words in (["con", "moto"], ["molto", "con", "moto"]) and tokens[0].raw[0].isupper():
        return _Hit("tempo", "con-moto", None, 0, len(words))
    i = 0
    while i < len(words) and words[i] not in _SPEED and (words[i] in _LEAD or _numbered(tokens[i])):
        i += 1
    pair = "-".join(words[i : i + 2])
    if pair in _COMPOUNDS and words[i] in ("massig", "moderately") and not _unknown(words[i + 2 :]):
        return _Hit("tempo", pair, None, 0, len(words))
    if i == len(words) or words[i] not in _SPEED:
        return None
    language, name, _, company = _SPEED[words[i]]
    lead, rest = words[:i], words[i + 1 :]
    if company == "heading" and not tokens[0].raw[0].isupper():
        return None
    if _TECHNIQUE.search(" ".join(rest + after)) or len(rest) > 8 or (company != "any" and _unknown(rest)):
        return None
    if company == "any" and (tokens[i].raw.islower() and _unknown(rest) and _unknown(rest[:1])):
        return None  # a tempo word in the middle of someone's sentence
    return _Hit("tempo", _compound(language, name, lead, rest), None, 0, len(words))


def _numbered(token: _Token) -> bool:
    return token.dot and _ORDINAL.match(token.word) is not None


def _unknown(rest: list[str]) -> bool:
    """Whether the words after a tempo word are more than known company, or "und ..." with up to three."""
    for k, word in enumerate(rest):
        if word in _CONNECTORS and 0 < len(rest) - k - 1 <= 3:
            return False
        if word not in _LEAD and word not in _SPEED and not _is_filler(word):
            return True
    return False


def _compound(language: str, name: str, lead: list[str], rest: list[str]) -> str:
    """The compound that the facts have a figure for ("molto-allegro"), else the plain word."""
    said = lead + rest[:3]
    negated = {"non", "pas", "nicht", "not"} & set(said)
    tries = []
    if negated and {"troppo", "tanto", "trop", "zu", "too", "molto"} & set(said):
        tries = [f"{name}-non-troppo", f"pas-trop-{name}", f"nicht-zu-{name}", f"not-too-{name}"]
    elif "nicht" in lead:
        tries = [f"nicht-{name}"]
    elif rest[:2] in (["con", "moto"], ["con", "brio"]):
        tries = [f"{name}-con-{rest[1]}"]
    elif rest[:3] == ["molto", "con", "brio"]:
        tries = [f"{name}-con-brio"]
    elif rest[:1] and f"{name}-{rest[0]}" in _COMPOUNDS:
        tries = [f"{name}-{rest[0]}"]
    elif _VERY & set(lead) or _VERY & set(rest[:1]) or rest[:2] == ["di", "molto"]:
        tries = [f"{very}-{name}" for very in ("molto", "tres", "sehr", "very")]
    elif _RATHER & set(lead):
        tries = [f"{rather}-{name}" for rather in _RATHER]
    return next((word for word in tries if word in _COMPOUNDS), name)


def _relative_in(tokens: list[_Token]) -> _Hit | None:
    """The change that "più mosso", "un peu plus vite", "poco a poco meno allegro" ask for."""
    words = [t.word for t in tokens]
    known = {"by", "en", "ancora", *_LEAD, *_RELATIVE, *_SPEED}
    sign = 0
    for k, word in enumerate(words):
        if word in _MORE | _LESS and k + 1 < len(words) and words[k + 1] in _RELATIVE and not sign:
            sign = _RELATIVE[words[k + 1]] * (1 if word in _MORE else -1)
        elif word not in known and not _is_filler(word):
            return None
    if not sign or (set(words) & _NEGATORS and not {"troppo", "trop"} & set(words)):
        return None
    gradual, sudden = ("accel", "more") if sign > 0 else ("rit", "less")
    return _Hit("tempo-change", gradual if _by_and_by(tokens) else sudden, None, 0, len(words))


def _is_filler(word: str) -> bool:
    return word in _FILLERS or word in _NEGATORS or word.startswith(_FILLER_STEMS)


_FILLER_STEMS = tuple(word[:-1] for word in _FILLERS if word.endswith("*"))


def _read(tokens: list[_Token]) -> _Read:
    """All that one stretch of text between commas, brackets and dashes says."""
    hits: list[_Hit] = []
    known = [False] * len(tokens)
    negated = False
    i = 0
    while i < len(tokens):
        hit = _phrase_at(tokens, i) or _number_at(tokens, i)
        if hit is None:
            word = tokens[i].word
            known[i] = _is_filler(word) or word in _LIKENESS
            negated = word in _NEGATORS or (negated and word in _OR)
            i += 1
            continue
        before = tokens[i - 1].word if i else ""
        likeness = before in _LIKENESS and hit.kind not in ("tempo", "unfixed")
        elided = before in ("d'", "l'") and hit.kind == "arco"
        stray = hit.value == "" and tokens[hit.start].word in ("dc", "ds") and hit.start > 0
        if not (negated or likeness or elided or stray or hit.kind == "_nothing"):
            hits.append(_gradual(hit, tokens))
        for k in range(hit.start, hit.end):
            known[k] = True
        i = hit.end
        negated = negated and i < len(tokens) and tokens[i].word in _OR
    if not any(hit.kind == "tempo" for hit in hits):
        lead = _before_other(tokens, hits)
        tempo = _relative_in(lead) or _tempo_in(lead, [t.word for t in tokens[len(lead) :]])
        if tempo:
            hits.insert(0, tempo)
            for k in range(tempo.start, tempo.end):
                known[k] = True
    understood = all(known)
    if not understood:
        hits = [hit for hit in hits if _stands_alone(hit, tokens)]
    return _Read(_without_doubt(hits), understood)


def _by_and_by(tokens: list[_Token]) -> bool:
    words = tuple(t.word for t in tokens)
    return any(words[k : k + len(row)] == row for row in _BY_AND_BY for k in range(len(words)))


def _gradual(hit: _Hit, tokens: list[_Token]) -> _Hit:
    """A gradual change for "nach und nach schneller", a new tempo for "schneller"."""
    if hit.kind == "tempo-change" and hit.value in ("more", "less") and _by_and_by(tokens[: hit.start]):
        return hit._replace(value="accel" if hit.value == "more" else "rit")
    return hit


def _before_other(tokens: list[_Token], hits: list[_Hit]) -> list[_Token]:
    """The tokens before the first hit that is no part of a tempo heading ("Allegro | rit.")."""
    return tokens[: min((hit.start for hit in hits if hit.kind != "_player"), default=len(tokens))]


def _stands_alone(hit: _Hit, tokens: list[_Token]) -> bool:
    if hit.kind == "tempo":
        return hit.start == 0 and hit.value not in _DANCES
    first = tokens[hit.start]
    if hit.kind == "tempo-change":  # "rit." and "accel." in any company; "eilen" and "string." only alone
        return first.dot and first.word != "string"
    everyday = hit.end - hit.start == 1 and first.word in _NOT_SO_SURE
    return hit.kind in _SURE and not everyday


def _without_doubt(hits: list[_Hit]) -> list[_Hit]:
    """What is left to the player's choice ("8va ad lib.") says nothing for sure, and frees no tempo."""
    if len(hits) > 1 and any(hit.value == "ad-lib" for hit in hits):
        others = {hit.kind for hit in hits if hit.value != "ad-lib"}
        if not others <= {"tempo", "tempo-change", "unfixed", "solo", "a-tempo", "_player"}:
            unsure = ("octave", "tacet", "harmonic")
            return [hit for hit in hits if hit.value != "ad-lib" and hit.kind not in unsure]
    return hits


# ---------------------------------------------------------------- a change of instrument, a new tuning


def _any_of(words: str) -> re.Pattern[str]:
    """A pattern for one whole word of a list; abc* stands for any ending."""
    return re.compile("(?:" + "|".join(word.replace("*", "\\w*") for word in words.split()) + ")$")


_INSTRUMENT = _any_of(
    """picc* pikk* ottav* fl fls flut* flaut* flot* fife blockfl* ob oboe* oboi hautb* htb cor corno
    corni cors inglese ingl anglais angl engl english* englisch* heckel* cl clar* klar* basset* bassklar* bcl
    sax* fag* basson* bassoon* bsn cfg contraf* kontraf* contrabass* hn horn* tr tpt trp tromb*
    tromp* trump* cornet* kornett* flug* flicorn* bugle* tbn pos posaun* tuba* euph* cel celest* pf
    piano* klavier harp* harf* arpa arpe org organ* orgel harmonium cembalo clavecin timp* pauk*
    glock* campan* xyl* vib vibr* marimb* triang* tamb* cymb* drum* gong* tam bells crot* castan*
    kastag* caisse becken trommel* piatti cassa perc* schlagzeug* schlagwerk* rec recorder* vl vln
    vla vlc vc cb violin* viola viole violo* bratsch* geige* alto altflot* cell* kontrab* guit*
    mandol* banjo* cimbal*"""
)
_BESIDE_INSTRUMENT = _any_of(
    r"""\d \d?(?:st|nd|rd|th|o|a|°|er|e|te|re|ma|mo|da) i{1,3} iv [a-h] bb eb ab db es as des do ut re
    mi fa sol la si in en the le les l' il lo die der das den dem d' de di amor amore amour kleine
    kleinen kl gross grosse grossen gr petite petites pte ptes grande grandes gde gdes piccolo
    piccoli bass basse basso bassi alt alti alto tenor* sopran* contralto contra kontra small large
    flat flats sharp bemol* and e et und steel side snare player spieler nat"""
)
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
_ARTICLES = _set("the la le les l' il lo die der das den")
_SIGN = r"(?:♭|♯|♮|\#|b\b|flat\b|sharp\b|b[eé]m(?:ol(?:le)?)?\b\.?|di[eèé]sis\b|di[eè]se\b)"
_KEY = r"(?:[A-H](?:es|is|s)?|[Dd]o|[Uu]t|[Rr][eé]|[Mm]i|[Ff]a|[Ss]ol|[Ll]a|[Ss]i)" + rf"(?:\s?{_SIGN})?"
_LETTER = re.compile(r"([A-H])(es|is|s)?(?:[\s-]?(♭|♯|♮|#|b|flat|sharp))?$")
_SOLFEGE = re.compile(r"(do|ut|re|mi|fa|sol|la|si)(?:\s?(♭|♯|♮|#|b|flat|sharp|bem\w*\.?|dies\w*))?$")
_LATIN = {"do": "C", "ut": "C", "re": "D", "mi": "E", "fa": "F", "sol": "G", "la": "A", "si": "B"}
_PAIR = re.compile(
    rf"(?<![^\W_])({_KEY})\s*(\bin\b|\bto\b|\binto\b|\ben\b|\bnach\b|\bzu\b|\bauf\b|→|->)\s*({_KEY})"
    r"(?![^\W_]|[♭♯#])"
)
_TUNING_VERB = _any_of(
    """muta mutano mutare change changez changer retune tune tuning stimm* umst* accordez accorder
    accorda accordare cambia cambiare lower raise baissez baisser montez monter mettez"""
)
_TUNING_COMPANY = _set(
    """timp timpani timpano timpane pauken pauke timbale timbales drum harp arpa harfe harpe e et und and poi
    il le the das um"""
)
_NEW_TUNING = re.compile(
    r"\s*(?:muta|mutano|mutare|change|changez)\s+(?:in|to|en)\s+"
    rf"({_KEY}(?:(?:\s*(?:,|-|\u2014|/|\be\b|\bet\b|\band\b|\bund\b)\s*|\s+){_KEY})+)\s*\.?\s*$"
)


def _instrument(stretch: str, tokens: list[_Token]) -> Meaning | None:
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
    if all(_INSTRUMENT.match(word) or _BESIDE_INSTRUMENT.match(word) for word in before):
        return match
    return None


def _names_one(words: list[str]) -> bool:
    return any(_INSTRUMENT.match(word) for word in words) and all(
        _INSTRUMENT.match(word) or _BESIDE_INSTRUMENT.match(word) for word in words
    )


def _as_written(stretch: str, tokens: list[_Token], first: int, last: int) -> str:
    end = tokens[last].start if last < len(tokens) else len(stretch)
    return " ".join(stretch[tokens[first].start : end].split()).rstrip(" .")


def _note(text: str, german: bool | None) -> str | None:
    """A note's English name ("Bb", "F#", "G"), or None where a bare B or the language leaves it open.

    ``german`` None: not known whether B is B flat.
    """
    match = _LETTER.match(text)
    if match:
        letter, ending, sign = match.groups()
        if ending and sign:
            return None
        if letter == "H":
            return "B" if not ending and not sign else {"is": "B#", "es": "Bb"}.get(ending or "")
        if ending == "s" and letter not in "EA":
            return None
        if letter == "B" and not sign:
            return None if german is None or ending else ("Bb" if german else "B")
        return letter + ({"is": "#"}.get(ending, "b") if ending else _accidental(sign))
    match = _SOLFEGE.match(_folded(text))
    return _LATIN[match[1]] + _accidental(match[2]) if match else None


def _accidental(sign: str | None) -> str:
    if not sign or sign == "♮":
        return ""
    return "#" if sign[0] in "♯#sd" else "b"


def _retuned(stretch: str) -> list[Meaning]:
    """One meaning a drum for "G in A", "muta Sol in Fa", "H nach C umstimmen"; none beside other words."""
    pairs = list(_PAIR.finditer(stretch))
    if not pairs:
        return []
    beside = [t.word for t in _tokens(_PAIR.sub(" ", stretch))]
    if not all(_TUNING_VERB.match(word) or word in _TUNING_COMPANY for word in beside):
        return []
    spoken = any(_TUNING_VERB.match(word) for word in beside)
    found = []
    for pair in pairs:
        before, by, after = pair.groups()
        if not spoken and not (before[0].isupper() and after[0].isupper()):
            return []
        german = _is_german(stretch, by)
        names = _note(before, german), _note(after, german)
        found.append(Meaning("retune", ">".join(n for n in names if n) if all(names) else ""))
    return found


def _is_german(stretch: str, by: str) -> bool | None:
    if by in ("nach", "zu", "auf") or re.search(r"\bH\b|\b[A-H](?:es|is)\b|\b[EA]s\b|stimm", stretch):
        return True
    return False if by in ("to", "into", "→", "->") else None


def _new_tuning(text: str) -> tuple[Meaning, ...]:
    """The drums' new notes where the old ones are not told: "muta in Sol e Re" is ">G", ">D"."""
    match = _NEW_TUNING.match(text)
    if not match:
        return ()
    german = _is_german(text, "in")
    names = [_note(name[0], german) for name in re.finditer(_KEY, match[1])]
    return tuple(Meaning("retune", f">{name}" if name else "") for name in names)


# ---------------------------------------------------------------- harp pedals

_PEDAL_ORDER = "DCBEFGA"
_PEDAL = re.compile(
    r"""(?P<name>(?:do|ut|r[eé]|mi|fa|sol|la|si)(?:(?![^\W_])|(?=b(?![^\W_])))|(?-i:[A-G]))
    (?:\s?(?P<sign>[♭♯♮\#]|(?-i:b)(?![^\W_])|flat\b|sharp\b|natural\b|nat\b\.?|b[eé]m(?:ol(?:le)?)?\b\.?|
    di[eèé]s(?:e|is)?\b\.?|b[eé]c(?:arre)?\b\.?))?
    (?P<gap>[\s,;/|·.]*)""",
    re.IGNORECASE | re.VERBOSE,
)
_DIAGRAM = re.compile("[\ue680-\ue682\ue683\\s]+")
_GERMAN_FLATS = {"ces": "C-", "des": "D-", "es": "E-", "fes": "F-", "ges": "G-", "as": "A-", "b": "B-"}
_GERMAN_SHARPS = {f"{letter.lower()}is": f"{letter}+" for letter in "CDEFGA"} | {"his": "B+", "h": "B="}


def _pedal_letters(text: str) -> Meaning | None:
    """A harp's pedal letters, if the whole text is nothing else: - flat, = natural, + sharp, in pedal order.

    A bare letter counts as natural only where all seven stand.
    """
    glyphs = [char for char in text if "\ue680" <= char <= "\ue682"]
    if len(glyphs) == 7 and _DIAGRAM.fullmatch(text):
        signs = ["-=+"[ord(glyph) - 0xE680] for glyph in glyphs]
        return Meaning("pedals", " ".join(map("".join, zip(_PEDAL_ORDER, signs, strict=True))))
    body = text.strip(" \n()[].,:")
    found: list[str] = []
    end = 0
    while end < len(body):
        match = _PEDAL.match(body, end)
        if not match:
            return _german_pedals(body)
        if not match["gap"] and match.end() < len(body) and (match["sign"] or "none") not in "♭♯♮#":
            return _german_pedals(body)
        name = _folded(match["name"])
        if len(name) == 1 and not match["name"].isupper():
            return None
        sign = _accidental_sign(match["sign"])
        found.append((_LATIN[name] if len(name) > 1 else name.upper()) + sign)
        end = match.end()
    letters = [row[0] for row in found]
    if not found or len(set(letters)) < len(letters):
        return None
    if any(len(row) == 1 for row in found):
        if len(found) < 7:
            return _german_pedals(body)
        found = [row if len(row) == 2 else f"{row}=" for row in found]
    if len(found) == 1:
        return Meaning("pedal-letter", found[0])
    return Meaning("pedals", " ".join(sorted(found, key=lambda row: _PEDAL_ORDER.index(row[0]))))


def _accidental_sign(sign: str | None) -> str:
    if not sign:
        return ""
    sign = _folded(sign)
    if sign[0] in "♮n" or sign.startswith("bec"):
        return "="
    return "+" if sign[0] in "♯#sd" else "-"


def _german_pedals(body: str) -> Meaning | None:
    """Harp pedals by German names ("Es As Des"): two or more, capitals, one of them unmistakable."""
    words = re.split(r"[\s,;/|·]+", body)
    if len(words) < 2 or not all(word and word == word.capitalize() for word in words):
        return None
    named = [(_GERMAN_FLATS | _GERMAN_SHARPS).get(word.lower()) for word in words]
    if not all(named) or not any(len(word) >= 3 for word in words):
        return None
    found = [name for name in named if name]
    if len({name[0] for name in found}) < len(found):
        return None
    return Meaning("pedals", " ".join(sorted(found, key=lambda row: _PEDAL_ORDER.index(row[0]))))


# ---------------------------------------------------------------- the whole text


def bare_name(text: str) -> str:
    """The text as a name to be looked up: no brackets, dots, quotation marks, line breaks or spare spaces.

    >>> bare_name("(Fl. picc.)")
    'Fl picc'
    """
    plain = unicodedata.normalize("NFC", text).translate(_SIGNS)
    return " ".join(re.sub(r"[()\[\]{}.,:;\"“”„«»*]", " ", plain).split())


@lru_cache(maxsize=4096)
def meanings(text: str) -> tuple[Meaning, ...]:
    """What a text in the score says, in the order in which it says it; empty where nothing is sure.

    Parameters
    ----------
    text : str
        The words as they stand, line breaks included.

    Examples
    --------
    >>> [(m.kind, m.value) for m in meanings("Allegro (con sord.), a2")]
    [('tempo', 'allegro'), ('con-sord', ''), ('a2', '')]
    >>> meanings("fine and soft")
    ()
    """
    plain = unicodedata.normalize("NFC", text).translate(_SIGNS)
    if plain.strip(" ()[].\n") == "+":
        return (Meaning("stopped"),)
    setting = _pedal_letters(plain)
    if setting:
        return (setting,)
    tuning = _new_tuning(plain)
    if tuning:
        return tuning
    plain = _METRONOME.sub(" , ", plain)
    found: list[Meaning] = []
    hits: list[tuple[_Hit, list[_Token]]] = []
    understood = True
    for stretch in _stretches(plain):
        tokens = _tokens(stretch)
        if not tokens:
            continue
        retuned = _retuned(stretch)
        if retuned:
            found += retuned
            continue
        read = _read(tokens)
        if not any(hit.kind != "_player" for hit in read.hits):
            change = _instrument(stretch, tokens)
            if change:
                found.append(change)
                continue
        understood &= read.understood
        hits += [(hit, tokens) for hit in read.hits]
    return (*found, *_settled(hits, understood and not found))


def _stretches(text: str) -> Iterator[str]:
    """Cut at commas, brackets, dashes and full stops; at a line break only where the whole makes no sense."""
    for piece in _BREAK.split(text):
        for sentence in _sentences(piece):
            if "\n" in sentence.strip() and not _read(_tokens(sentence)).understood:
                yield from sentence.split("\n")
            else:
                yield sentence


def _sentences(piece: str) -> Iterator[str]:
    """Cut at a dot after a word too long for an abbreviation, before a capital ("Animez. Plus vite")."""
    start = 0
    for match in re.finditer(r"([^\W\d_]{5,})\.\s+(?=[^\W\d_])", piece):
        if piece[match.end()].isupper() and not _INSTRUMENT.match(_folded(match[1])):
            yield piece[start : match.end()]
            start = match.end()
    yield piece[start:]


def _settled(hits: list[tuple[_Hit, list[_Token]]], understood: bool) -> Iterator[Meaning]:
    """Put together what belongs together (D.C. and al Fine), and drop what the rest of the text rules out."""
    kinds = [hit.kind for hit, _ in hits]
    jump = next((kind for kind in kinds if kind in ("da-capo", "dal-segno")), None)
    where = ""
    if jump:
        if "_and-coda" in kinds or "to-coda" in kinds or "coda" in kinds:
            where = "al-coda"
        elif "_al-segno" in kinds:
            jump = "_none"  # until the sign: an old use that leaves open where to go from there
        elif "_al-fine" in kinds or "fine" in kinds:
            where = "al-fine"
    players = [int(hit.figure or 0) for hit, _ in hits if hit.kind == "_player"]
    others = {kind for kind in kinds if kind not in ("_player", "_nothing")}
    if players and (not understood or not others <= _WITH_ONE_PLAYER):
        players = []
    tempo_said = jump is not None
    for hit, tokens in hits:
        kind = hit.kind
        if kind in ("da-capo", "dal-segno"):
            if kind == jump:
                yield Meaning(kind, where)
                jump = "_none"
        elif kind in _JUMPS:
            alone = hit.end - hit.start == len(tokens)  # "Fine", but not "the fine"
            if alone and understood and jump is None:
                yield Meaning(kind)
        elif kind == "tempo":
            if not tempo_said:
                yield Meaning(kind, hit.value)
            tempo_said = True
        elif kind == "_player":
            if len(players) == 1:
                yield Meaning("one", "", float(players[0]))
            elif players:
                yield Meaning("players", " ".join(map(str, players)))
            players = []
        elif kind == "_both-pedals":
            yield Meaning("una-corda")
            yield Meaning("pedal")
        elif kind == "_sp":
            if tokens[hit.start].raw.isupper():
                yield Meaning("sostenuto-pedal")
            yield Meaning("sul-pont")
        elif kind == "tacet":
            if understood:
                yield Meaning(kind)
        elif not kind.startswith("_"):
            yield Meaning(kind, hit.value, hit.figure)
