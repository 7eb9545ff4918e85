"""Arrangement → NAME.player.html: one file that shows a member, offline, what to do now and what comes next.

The page asks the playing sound for its time and shows the scene that these frames lie in; it has no clock
of its own. The texts of a session reach it as data, and are only ever set as text.
"""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from hashlib import sha256
from itertools import chain
from typing import Any

from cuetrack.conform.arrangement import Arrangement
from cuetrack.timebase import frame_clock_text
from cuetrack.writers.html_page import html_page, json_in_html, json_text, url_beside
from cuetrack.writers.page_words import cautions, page_words
from cuetrack.writers.player_data import player_data
from cuetrack.writers.scenes import scenes_of

# The words that the script puts on the page; the template has the others.
_SCRIPT_WORDS = (
    *("lead-in", "rest", "change", "talk", "end", "left", "right", "round", "next", "setup", "equipment"),
    *("easier", "harder", "seconds-left", "minutes-left"),
    *("player-accept", "player-start", "player-continue", "player-pause", "player-again"),
    *("player-held", "player-of", "player-no-sound", "player-bad-sound", "player-other-sound"),
)


@dataclass(frozen=True, slots=True)
class SoundInside:
    """A sound file that is carried in the page: its bytes, and its media type such as `audio/mpeg`."""

    data: bytes
    media_type: str


def player_page(arrangement: Arrangement, *, sound: str | SoundInside) -> str:
    """The page for one rendered mix, in the session's language (English where that has no words).

    Args:
        arrangement: what lies where in the sound.
        sound: the name of the sound file beside the page, or the file itself, to be carried inside.
    """
    session, words = arrangement.timeline.session, page_words(arrangement.timeline.session.language)
    beside, inside = (None, sound) if isinstance(sound, SoundInside) else (sound, None)
    return html_page(
        "player.html",
        styles=["player.css"],
        scripts=["player_score.js", "player.js"],
        media="blob:" if inside else "'self' file:",
        language=session.language or "en",
        title=session.session,
        length=frame_clock_text(arrangement.frames, arrangement.rate_hz),
        frames=arrangement.frames,
        rate_hz=arrangement.rate_hz,
        equipment=tuple(_all_equipment(arrangement)),
        words=words,
        cautions=cautions(words),
        session=json_in_html(_page_data(arrangement, words, beside)),
        source=None if beside is None else url_beside(beside),
        inside=None if inside is None else b64encode(inside.data).decode("ascii"),
        media_type=None if inside is None else inside.media_type,
    )


def _page_data(arrangement: Arrangement, words: Mapping[str, str], beside: str | None) -> dict[str, Any]:
    """What the script knows; a member's place is kept under `key`, which changes with the session."""
    data, title = player_data(arrangement), arrangement.timeline.session.session
    return {
        "title": title,
        "sound": beside,
        "key": f"cuetrack-player-{sha256(json_text([title, data]).encode()).hexdigest()[:16]}",
        "words": {key: words[key] for key in _SCRIPT_WORDS},
        **data,
    }


def _all_equipment(arrangement: Arrangement) -> Iterator[str]:
    """What has to lie ready: what the session names, then what only its moves do; nothing twice."""
    scenes = scenes_of(arrangement)
    named = (arrangement.timeline.session.equipment or ()), *(scene.equipment for scene in scenes)
    yield from dict.fromkeys(chain.from_iterable(named))
