"""Spanish: the wordings of every phrase; what a wording may contain is told in `language`.

A class is led with nouns and with "we" (empezamos, cambiamos), as on any gym floor from Spain to Chile: so
neither tú nor usted, vosotros nor ustedes has to be chosen, and it fits one person as well as thirty.
"""

from __future__ import annotations

from cuetrack.speech.phrases.language import Language, Side, TimeWords, Unit, Wordings

_DETAILS = ("{stage}", "{option}", "{setup}", "Material: {equipment}")
_MASCULINE = (("veintiuno", "veintiún"), ("uno", "un"))
_FEMININE = (("uno", "una"),)

SPANISH = Language(
    tag="es",
    wordings={
        "as-written": Wordings(full=("{text:verbatim}",), terse=("{text:verbatim}",)),
        "number": Wordings(full=("{n:number}",), terse=("{n:number}",)),
        "go": Wordings(full=(("ya",),), terse=(("ya",),)),
        "rest": Wordings(
            full=(("descanso",), ("descansamos",), ("pausa",), ("a descansar",)),
            terse=(("pausa",),),
        ),
        "finished": Wordings(
            full=(("terminado",), ("hemos terminado",), ("se acabó",)),
            terse=(("fin",),),
        ),
        "halfway": Wordings(
            full=(("vamos por la mitad",), ("ya está la mitad",), ("llevamos la mitad",)),
            terse=(("mitad",),),
        ),
        # "Quedan" and "faltan" would have to agree with the number.
        "time-left": Wordings(
            full=(("{seconds:time}",), ("{seconds:time} más",), ("solo {seconds:time}",)),
            terse=(("{seconds:time}",),),
        ),
        "change-sides": Wordings(
            full=(
                ("cambio de lado", "{side:side}"),
                ("cambiamos de lado", "{side:side}"),
                ("ahora el otro lado", "{side:side}"),
            ),
            terse=(("cambio[, {side:direction}]",),),
        ),
        "stage": Wordings(full=(("{stage}",),), terse=(("{stage}",),)),
        "announce": Wordings(
            full=(
                ("siguiente: {move}[, {side:side}]", *_DETAILS),
                ("a continuación: {move}[, {side:side}]", *_DETAILS),
                ("ahora viene: {move}[, {side:side}]", *_DETAILS),
                ("seguimos con: {move}[, {side:side}]", *_DETAILS),
                ("y ahora: {move}[, {side:side}]", *_DETAILS),
            ),
            terse=(("{move}[, {side:direction}]",),),
        ),
        "announce-first": Wordings(
            full=(
                ("primero: {move}[, {side:side}]", *_DETAILS),
                ("para empezar: {move}[, {side:side}]", *_DETAILS),
                ("empezamos con: {move}[, {side:side}]", *_DETAILS),
            ),
            terse=(("{move}[, {side:direction}]",),),
        ),
        "last-round": Wordings(
            full=(
                ("última ronda", "siguiente: {move}[, {side:side}]", *_DETAILS),
                ("vamos a la última ronda", "ahora viene: {move}[, {side:side}]", *_DETAILS),
                ("una ronda más", "seguimos con: {move}[, {side:side}]", *_DETAILS),
            ),
            terse=(("última ronda[, {move}][, {side:direction}]",),),
        ),
        "well-done": Wordings(
            full=(("bien hecho",), ("buen trabajo",), ("muy bien",), ("así se hace",)),
            terse=(("bien",),),
        ),
        "series-day": Wordings(
            full=(("día {day:number} de {days:number}",),), terse=(("día {day:number}",),)
        ),
        # Called softly within each repetition.
        "tempo-down": Wordings(full=(("abajo",),), terse=(("abajo",),)),
        "tempo-hold": Wordings(full=(("mantener",),), terse=(("mantener",),)),
        "tempo-up": Wordings(full=(("arriba",),), terse=(("arriba",),)),
        "tempo-fast": Wordings(full=(("rápido",),), terse=(("rápido",),)),
        # Only the coach hears these.
        "prompt-part": Wordings(
            full=(("{part}, aún {seconds:time} en total",),), terse=(("aún {seconds:time}",),)
        ),
        "prompt-work": Wordings(full=(("{seconds:time}", "{keywords}"),), terse=(("{seconds:time}",),)),
        "prompt-next": Wordings(
            full=(("después: {move}[, {side:side}]",),), terse=(("{move}[, {side:direction}]",),)
        ),
        "prompt-side": Wordings(full=(("después, {side:side}",),), terse=(("{side:direction}",),)),
        "prompt-last": Wordings(full=(("es el último ejercicio",),), terse=(("último",),)),
        "prompt-talk": Wordings(
            full=(("{seconds:time} para hablar", "{keywords}"),), terse=(("{seconds:time}",),)
        ),
        "prompt-left": Wordings(full=(("aún {seconds:time} para hablar",),), terse=(("{seconds:time}",),)),
    },
    sides={"left": Side("lado izquierdo", "izquierda"), "right": Side("lado derecho", "derecha")},
    time=TimeWords(
        hour=Unit("una hora", "{} horas", _FEMININE),
        minute=Unit("un minuto", "{} minutos", _MASCULINE),
        second=Unit("un segundo", "{} segundos", _MASCULINE),
        joint=" y ",
        half_second="medio segundo",
        one_and_a_half="un segundo y medio",
        and_a_half="{} segundos y medio",
        tenths="{} coma {} segundos",
    ),
)
