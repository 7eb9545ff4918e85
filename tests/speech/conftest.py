"""The voices and one kept set of clips for all tests of the room, so that a phrase is spoken once."""

from __future__ import annotations

import pytest

from cuetrack.speech.cache import ClipCache
from cuetrack.speech.installed import missing_for
from cuetrack.speech.voices import Voice, load_voice


@pytest.fixture(scope="session")
def system() -> Voice:
    return load_voice("system")


@pytest.fixture(scope="session")
def clear() -> Voice:
    voice = load_voice("clear")
    if missing_for(voice) is not None:
        pytest.skip("the natural voice is not installed")
    return voice


@pytest.fixture(scope="session")
def cache(tmp_path_factory: pytest.TempPathFactory) -> ClipCache:
    return ClipCache(tmp_path_factory.mktemp("clips"))
