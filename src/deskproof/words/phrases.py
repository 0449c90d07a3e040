"""The phrases of a score in English, Italian, German and French, by what they say. Basis: common practice.

In a phrase | separates phrases; # is a number (2, due, deux, zwei ...); abc* any ending; "abc." only with
its dot. Case, accents and other dots do not matter. A kind that starts with "_" is used inside this
package only and never handed out. Tempo headings are in ``tempo_words``, the settings of drums and harps
in ``tunings`` and ``pedals``.
"""

from __future__ import annotations

PHRASES: dict[tuple[str, str], str] = {
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
    ("attacca", ""): """
        attacca | attacca subito | attacca il seguente | attacca la seguente | attacca segue | segue attacca |
        segue subito | subito segue | attaca | attaquez | enchaînez | enchaîner | enchaîner sans interruption |
        sofort weiter | gleich weiter | ohne Pause weiter | sogleich weiter | go straight on | straight on""",
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
        naturel | ordinary | ordinaire | jeu ord""",
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
        Verschiebung | Versch | petite pédale | pédale douce | pédale sourde | soft pedal | soft ped |
        una sola corda | eine Saite | mit einer Saite | auf einer Saite | left pedal | linkes Pedal |
        con una corda | 1 c. | 1c""",
    ("una-corda", "half"): """
        due corde | 2 corde | a due corde | a 2 corde | deux cordes | à deux cordes | zwei Saiten |
        mit zwei Saiten | nach und nach mehrere Saiten | mehrere Saiten""",
    ("_both-pedals", ""): """
        les deux pédales | les 2 péd* | les deux péd | avec les deux pédales | avec les 2 péd* |
        due pedali | con due pedali | con i due pedali | con 2 ped* | mit beiden Pedalen | beide Pedale |
        both pedals | with both pedals | mit 2 Ped* | mit zwei Ped* | zwei Pedale | due ped |
        deux péd* | beide Ped""",
    ("tre-corde", ""): """
        tre corde | 3 corde | a tre corde | t. c. | tutte le corde | a tutte le corde |
        ohne Verschiebung | ohne Versch | toutes les cordes | trois cordes | à trois cordes |
        without soft pedal | a 3 corde | due e poi tre corde | due ed allora tre corde | due poi tre corde |
        due e poi tutte le corde | tutte corde | alle Saiten | mit allen Saiten | drei Saiten | mit drei Saiten |
        all strings | tutto il cembalo | senza una corda | sans péd* douce | sans la pédale douce |
        sans petite pédale | soft pedal off | no soft ped* | without soft ped* | ohne linkes Pedal | 3 c. | 3c |
        tre c.""",
    ("pedal", ""): """
        ped | pedal | pedale | pédale | right pedal | rechtes Pedal""",
    ("pedal", "half"): """
        1/2 ped* | ½ ped* | half ped* | halbes Ped* | mezzo ped* | demi péd* | con mezzo ped* | mit halbem Ped* |
        con ½ ped* | with half ped*""",
    ("pedal", "free"): """
        con ped* | col ped* | col pedale | con il pedale | c. ped* | mit Pedal* | mit Ped | m. Ped | avec péd* |
        avec la pédale | with ped | with pedal | ped simile | ped sim | senza smorz* | without dampers |
        ohne Dämpfung | mit vielem Pedal | con molto pedale | con molto ped | with much ped* | much ped* |
        sempre ped* | ped* sempre | ped* simile | ped* sim | poco ped* | poco pedale | ped* ad lib* |
        ped* a piacere | immer Ped* | toujours péd* | beaucoup de péd* | peu de péd*""",
    ("no-pedal", ""): """
        senza ped* | s. ped* | senza il pedale | ohne Pedal* | ohne Ped | o. Ped | sans péd* |
        sans la pédale | without ped* | no pedal | no ped | con smorz* | with dampers | ped off | pedal off |
        lift ped* | release ped*""",
    ("sostenuto-pedal", ""): """
        sost ped | sosten ped | sos ped | sostenuto ped* | ped* sost | ped* sosten | pedale sostenuto |
        mit Tonhaltepedal | Tonhaltepedal | pédale tonale | pedale tonale | middle ped* | 3 ped | III ped |
        mittleres Ped* | pédale du milieu | pédale de tenue | con ped* sost* | con sost* ped* |
        mit sost* ped* | with sost* ped*""",
    ("sostenuto-pedal", "off"): """
        senza sost* ped* | senza ped* sost* | senza ped* tonale | sost* ped* off | ohne sost* ped* |
        ohne Tonhaltepedal | sans pédale tonale | without sost* ped* | sans ped* sost* | middle ped* off |
        no sost* ped* | release sost* ped*""",
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
    # percussion
    ("sec", ""): """
        sec | secs | sèche | sèches | secco | secca | secchi | secche | trocken | dry | damped | abgedämpft |
        choke | choked | stoppato | stoppati | soffocato | soffocati""",
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
    ("xylophonic", ""): """
        xylophonic* | xylophonic sound* | xylophone sound* | son* xylophon* | suon* xilofon* | suon* silofon* |
        xilofonico | xilofonici | silofonico | xylophonique* | Xylophonklang | Xylophonklänge | xylophonartig |
        wie ein Xylophon | like a xylophone | comme un xylophone | come uno xilofono""",
    ("thunder", ""): """
        thunder | thunder effect | tonnerre | effet de tonnerre | tuono | effetto di tuono | quasi tuono |
        Donner | Donnereffekt""",
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
