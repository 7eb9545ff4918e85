"""German: the wordings of every phrase; what a wording may contain is told in `language`.

A class is led with nouns, infinitives and "wir" (Seite wechseln, wir beginnen), as in any gym hall: so
neither du nor Sie nor ihr has to be chosen, and it fits one person as well as thirty.
"""

from __future__ import annotations

from cuetrack.speech.phrases.language import Language, Side, TimeWords, Unit, Wordings

_DETAILS = ("{stage}", "{option}", "{setup}", "Material: {equipment}")

GERMAN = Language(
    tag="de",
    wordings={
        "as-written": Wordings(full=("{text:verbatim}",), terse=("{text:verbatim}",)),
        "number": Wordings(full=("{n:number}",), terse=("{n:number}",)),
        "go": Wordings(full=(("los",),), terse=(("los",),)),
        "rest": Wordings(
            full=(("Pause",), ("Pause machen",), ("kurze Pause",), ("locker lassen",)),
            terse=(("Pause",),),
        ),
        "finished": Wordings(
            full=(("fertig",), ("geschafft",), ("das war's",)),
            terse=(("fertig",),),
        ),
        "halfway": Wordings(
            full=(("Halbzeit",), ("Hälfte geschafft",), ("das war die Hälfte",)),
            terse=(("Halbzeit",),),
        ),
        "time-left": Wordings(
            full=(("noch {seconds:time}",), ("nur noch {seconds:time}",), ("{seconds:time} noch",)),
            terse=(("{seconds:time}",),),
        ),
        "change-sides": Wordings(
            full=(
                ("Seite wechseln", "{side:side}"),
                ("Seitenwechsel", "{side:side}"),
                ("jetzt die andere Seite", "{side:side}"),
            ),
            terse=(("Wechsel[, {side:direction}]",),),
        ),
        "stage": Wordings(full=(("{stage}",),), terse=(("{stage}",),)),
        "announce": Wordings(
            full=(
                ("als Nächstes: {move}[, {side:side}]", *_DETAILS),
                ("gleich kommt: {move}[, {side:side}]", *_DETAILS),
                ("weiter mit: {move}[, {side:side}]", *_DETAILS),
                ("es folgt: {move}[, {side:side}]", *_DETAILS),
                ("und nun: {move}[, {side:side}]", *_DETAILS),
            ),
            terse=(("{move}[, {side:direction}]",),),
        ),
        "announce-first": Wordings(
            full=(
                ("zuerst: {move}[, {side:side}]", *_DETAILS),
                ("zum Anfang: {move}[, {side:side}]", *_DETAILS),
                ("wir beginnen mit: {move}[, {side:side}]", *_DETAILS),
            ),
            terse=(("{move}[, {side:direction}]",),),
        ),
        "last-round": Wordings(
            full=(
                ("letzte Runde", "als Nächstes: {move}[, {side:side}]", *_DETAILS),
                ("jetzt die letzte Runde", "weiter mit: {move}[, {side:side}]", *_DETAILS),
                ("noch eine Runde", "gleich kommt: {move}[, {side:side}]", *_DETAILS),
            ),
            terse=(("letzte Runde[, {move}][, {side:direction}]",),),
        ),
        "well-done": Wordings(
            full=(("gut gemacht",), ("sehr gut",), ("starke Leistung",), ("schön gearbeitet",)),
            terse=(("gut",),),
        ),
        "series-day": Wordings(
            full=(("Tag {day:number} von {days:number}",),), terse=(("Tag {day:number}",),)
        ),
        # Called softly within each repetition.
        "tempo-down": Wordings(full=(("runter",),), terse=(("runter",),)),
        "tempo-hold": Wordings(full=(("halten",),), terse=(("halten",),)),
        "tempo-up": Wordings(full=(("hoch",),), terse=(("hoch",),)),
        "tempo-fast": Wordings(full=(("schnell",),), terse=(("schnell",),)),
        # Only the coach hears these.
        "prompt-part": Wordings(
            full=(("{part}, insgesamt noch {seconds:time}",),), terse=(("noch {seconds:time}",),)
        ),
        "prompt-work": Wordings(full=(("{seconds:time}", "{keywords}"),), terse=(("{seconds:time}",),)),
        "prompt-next": Wordings(
            full=(("danach: {move}[, {side:side}]",),), terse=(("{move}[, {side:direction}]",),)
        ),
        "prompt-side": Wordings(full=(("danach {side:side}",),), terse=(("{side:direction}",),)),
        "prompt-last": Wordings(full=(("das ist die letzte Übung",),), terse=(("letzte Übung",),)),
        "prompt-talk": Wordings(
            full=(("{seconds:time} zum Reden", "{keywords}"),), terse=(("{seconds:time}",),)
        ),
        "prompt-left": Wordings(full=(("noch {seconds:time} zum Reden",),), terse=(("{seconds:time}",),)),
    },
    sides={"left": Side("linke Seite", "links"), "right": Side("rechte Seite", "rechts")},
    time=TimeWords(
        hour=Unit("eine Stunde", "{} Stunden"),
        minute=Unit("eine Minute", "{} Minuten"),
        second=Unit("eine Sekunde", "{} Sekunden"),
        joint=" und ",
        half_second="eine halbe Sekunde",
        one_and_a_half="eineinhalb Sekunden",
        and_a_half="{}einhalb Sekunden",
        tenths="{} Komma {} Sekunden",
    ),
)
