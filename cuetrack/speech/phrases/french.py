"""French: the wordings of every phrase; what a wording may contain is told in `language`.

A class is led with nouns and with "on" (on change de côté), as on any gym floor: so neither tu nor vous
has to be chosen, and it fits one person as well as thirty.
"""

from __future__ import annotations

from cuetrack.speech.phrases.language import Language, Side, TimeWords, Unit, Wordings

_DETAILS = ("{stage}", "{option}", "{setup}", "Matériel : {equipment}")
_FEMININE = (("un", "une"),)

FRENCH = Language(
    tag="fr",
    wordings={
        "as-written": Wordings(full=("{text:verbatim}",), terse=("{text:verbatim}",)),
        "number": Wordings(full=("{n:number}",), terse=("{n:number}",)),
        # The word that French gym floors use, and one syllable, which "partez" is not.
        "go": Wordings(full=(("go",),), terse=(("go",),)),
        "rest": Wordings(
            full=(("repos",), ("pause",), ("récupération",), ("on récupère",)),
            terse=(("pause",),),
        ),
        "finished": Wordings(
            full=(("terminé",), ("c'est terminé",), ("c'est fini",)),
            terse=(("fini",),),
        ),
        "halfway": Wordings(
            full=(("à mi-chemin",), ("on est à la moitié",), ("déjà la moitié",)),
            terse=(("moitié",),),
        ),
        "time-left": Wordings(
            full=(("encore {seconds:time}",), ("il reste {seconds:time}",), ("{seconds:time} à tenir",)),
            terse=(("{seconds:time}",),),
        ),
        "change-sides": Wordings(
            full=(
                ("on change de côté", "{side:side}"),
                ("changement de côté", "{side:side}"),
                ("maintenant l'autre côté", "{side:side}"),
            ),
            terse=(("on change[, {side:direction}]",),),
        ),
        "stage": Wordings(full=(("{stage}",),), terse=(("{stage}",),)),
        "announce": Wordings(
            full=(
                ("ensuite : {move}[, {side:side}]", *_DETAILS),
                ("à suivre : {move}[, {side:side}]", *_DETAILS),
                ("maintenant : {move}[, {side:side}]", *_DETAILS),
                ("on enchaîne : {move}[, {side:side}]", *_DETAILS),
                ("on passe à : {move}[, {side:side}]", *_DETAILS),
            ),
            terse=(("{move}[, {side:direction}]",),),
        ),
        "announce-first": Wordings(
            full=(
                ("d'abord : {move}[, {side:side}]", *_DETAILS),
                ("pour commencer : {move}[, {side:side}]", *_DETAILS),
                ("on commence par : {move}[, {side:side}]", *_DETAILS),
            ),
            terse=(("{move}[, {side:direction}]",),),
        ),
        "last-round": Wordings(
            full=(
                ("dernier tour", "ensuite : {move}[, {side:side}]", *_DETAILS),
                ("c'est le dernier tour", "à suivre : {move}[, {side:side}]", *_DETAILS),
                ("encore un tour", "on enchaîne : {move}[, {side:side}]", *_DETAILS),
            ),
            terse=(("dernier tour[, {move}][, {side:direction}]",),),
        ),
        "well-done": Wordings(
            full=(("bien joué",), ("beau travail",), ("très bien",), ("bel effort",)),
            terse=(("bravo",),),
        ),
        "series-day": Wordings(
            full=(("jour {day:number} sur {days:number}",),), terse=(("jour {day:number}",),)
        ),
        # Called softly within each repetition.
        "tempo-down": Wordings(full=(("descente",),), terse=(("descente",),)),
        "tempo-hold": Wordings(full=(("tenir",),), terse=(("tenir",),)),
        "tempo-up": Wordings(full=(("montée",),), terse=(("montée",),)),
        "tempo-fast": Wordings(full=(("vite",),), terse=(("vite",),)),
        # Only the coach hears these.
        "prompt-part": Wordings(
            full=(("{part}, encore {seconds:time} en tout",),), terse=(("encore {seconds:time}",),)
        ),
        "prompt-work": Wordings(full=(("{seconds:time}", "{keywords}"),), terse=(("{seconds:time}",),)),
        "prompt-next": Wordings(
            full=(("ensuite : {move}[, {side:side}]",),), terse=(("{move}[, {side:direction}]",),)
        ),
        "prompt-side": Wordings(full=(("ensuite, {side:side}",),), terse=(("{side:direction}",),)),
        "prompt-last": Wordings(full=(("c'est le dernier exercice",),), terse=(("dernier",),)),
        "prompt-talk": Wordings(
            full=(("{seconds:time} pour parler", "{keywords}"),), terse=(("{seconds:time}",),)
        ),
        "prompt-left": Wordings(full=(("encore {seconds:time} pour parler",),), terse=(("{seconds:time}",),)),
    },
    sides={"left": Side("côté gauche", "à gauche"), "right": Side("côté droit", "à droite")},
    time=TimeWords(
        hour=Unit("une heure", "{} heures", _FEMININE),
        minute=Unit("une minute", "{} minutes", _FEMININE),
        second=Unit("une seconde", "{} secondes", _FEMININE),
        joint=" et ",
        half_second="une demi-seconde",
        one_and_a_half="une seconde et demie",
        and_a_half="{} secondes et demie",
        tenths="{} virgule {} secondes",
    ),
)
