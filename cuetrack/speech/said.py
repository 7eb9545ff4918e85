"""Text as written → what an engine is given for it, or why there is nothing that it could say."""

from __future__ import annotations

from collections.abc import Mapping

from cuetrack.errors import SpeechError
from cuetrack.speech.lexicon import spoken_form
from cuetrack.speech.phrases.wording import quoted, text_key

MAX_TEXT_CHARACTERS = 2_000  # about two minutes of talk


def said_for(text: str, language: str, lexicon: Mapping[str, str]) -> str:
    """The words for the engine.

    Raises:
        SpeechError: the text is too long, or marks and pictures are all there is in it.
    """
    written = text_key(text)
    if len(written) > MAX_TEXT_CHARACTERS:
        raise SpeechError(
            f"{quoted(written)} has {len(written):,} characters, allowed are {MAX_TEXT_CHARACTERS:,}; "
            "shorten it"
        )
    said = text_key(spoken_form(written, language, lexicon))
    # Marks and pictures alone: engines read out their names, or make a noise.
    if not any(character.isalnum() for character in said):
        raise SpeechError(f"{quoted(text)} has nothing to say; write it in words")
    return said
