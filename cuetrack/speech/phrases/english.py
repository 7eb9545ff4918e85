"""English: the wordings of every phrase; what a wording may contain is told in `language`."""

from __future__ import annotations

from cuetrack.speech.phrases.language import Language, Side, TimeWords, Unit, Wordings

_DETAILS = ("{stage}", "{option}", "{setup}", "Equipment: {equipment}")

ENGLISH = Language(
    tag="en",
    wordings={
        "as-written": Wordings(full=("{text:verbatim}",), terse=("{text:verbatim}",)),
        "number": Wordings(full=("{n:number}",), terse=("{n:number}",)),
        "go": Wordings(full=(("go",),), terse=(("go",),)),
        # Said on the boundary itself, so each begins on a stressed syllable.
        "rest": Wordings(
            full=(("rest",), ("ease off",), ("rest now",), ("time to rest",)),
            terse=(("rest",),),
        ),
        "finished": Wordings(
            full=(("finished",), ("all done",), ("that is all",)),
            terse=(("done",),),
        ),
        "halfway": Wordings(
            full=(("halfway",), ("halfway there",), ("half of it done",)),
            terse=(("halfway",),),
        ),
        "time-left": Wordings(
            full=(("{seconds:time}",), ("{seconds:time} left",), ("{seconds:time} to go",)),
            terse=(("{seconds:time}",),),
        ),
        "change-sides": Wordings(
            full=(
                ("change sides", "{side:side}"),
                ("switch sides", "{side:side}"),
                ("now the other side", "{side:side}"),
            ),
            terse=(("sides[, {side:direction}]",), ("switch[, {side:direction}]",)),
        ),
        "stage": Wordings(full=(("{stage}",),), terse=(("{stage}",),)),
        "announce": Wordings(
            full=(
                ("next: {move}[, {side:side}]", *_DETAILS),
                ("coming up: {move}[, {side:side}]", *_DETAILS),
                ("now for {move}[, {side:side}]", *_DETAILS),
                ("up next: {move}[, {side:side}]", *_DETAILS),
                ("and now: {move}[, {side:side}]", *_DETAILS),
            ),
            terse=(("{move}[, {side:direction}]",),),
        ),
        "announce-first": Wordings(
            full=(
                ("first: {move}[, {side:side}]", *_DETAILS),
                ("to begin: {move}[, {side:side}]", *_DETAILS),
                ("we start with: {move}[, {side:side}]", *_DETAILS),
            ),
            terse=(("{move}[, {side:direction}]",),),
        ),
        "last-round": Wordings(
            full=(
                ("last round", "next: {move}[, {side:side}]", *_DETAILS),
                ("final round", "coming up: {move}[, {side:side}]", *_DETAILS),
                ("one more round", "now for {move}[, {side:side}]", *_DETAILS),
            ),
            terse=(("last round[, {move}][, {side:direction}]",),),
        ),
        "well-done": Wordings(
            full=(("well done",), ("good work",), ("nicely done",), ("great effort",)),
            terse=(("good",),),
        ),
        "series-day": Wordings(
            full=(("day {day:number} of {days:number}",),), terse=(("day {day:number}",),)
        ),
        # Called softly within each repetition.
        "tempo-down": Wordings(full=(("down",),), terse=(("down",),)),
        "tempo-hold": Wordings(full=(("hold",),), terse=(("hold",),)),
        "tempo-up": Wordings(full=(("up",),), terse=(("up",),)),
        "tempo-fast": Wordings(full=(("fast",),), terse=(("fast",),)),
        # Only the coach hears these.
        "prompt-part": Wordings(
            full=(("{part}, {seconds:time} left in all",),), terse=(("{seconds:time} left",),)
        ),
        "prompt-work": Wordings(full=(("{seconds:time}", "{keywords}"),), terse=(("{seconds:time}",),)),
        "prompt-next": Wordings(
            full=(("then {move}[, {side:side}]",),), terse=(("{move}[, {side:direction}]",),)
        ),
        "prompt-side": Wordings(full=(("then the {side:side}",),), terse=(("{side:direction}",),)),
        "prompt-last": Wordings(full=(("this is the last one",),), terse=(("last",),)),
        "prompt-talk": Wordings(
            full=(("talk for {seconds:time}", "{keywords}"),), terse=(("{seconds:time}",),)
        ),
        "prompt-left": Wordings(full=(("{seconds:time} to talk",),), terse=(("{seconds:time}",),)),
    },
    sides={"left": Side("left side", "left"), "right": Side("right side", "right")},
    time=TimeWords(
        hour=Unit("one hour", "{} hours"),
        minute=Unit("one minute", "{} minutes"),
        second=Unit("one second", "{} seconds"),
        joint=" and ",
        half_second="half a second",
        one_and_a_half="one and a half seconds",
        and_a_half="{} and a half seconds",
        tenths="{} point {} seconds",
    ),
)
