"""Names of the files of a render → NAME.index.html, the page that links them all."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from cuetrack.conform.arrangement import Arrangement
from cuetrack.timebase import frame_clock_text
from cuetrack.writers.html_page import html_page, url_beside
from cuetrack.writers.page_words import cautions, page_words


def index_page(
    arrangement: Arrangement, groups: Mapping[str, Sequence[str]], picture: str | None = None
) -> str:
    """The page.

    Args:
        arrangement: of the session.
        groups: names of files beside the page, by the key of their heading in `page_words`.
        picture: the name of a picture of the session among them, which is shown.
    """
    session, words = arrangement.timeline.session, page_words(arrangement.timeline.session.language)
    return html_page(
        "index.html",
        styles=["sheet.css", "index.css"],
        images="'self' file: data:",
        language=session.language or "en",
        title=session.session,
        length=frame_clock_text(arrangement.frames, arrangement.rate_hz),
        words=words,
        groups={words[key]: [(name, url_beside(name)) for name in names] for key, names in groups.items()},
        picture=None if picture is None else url_beside(picture),
        cautions=cautions(words),
    )
