"""`python -m tests.browser.screenshots`: what a render of a sample looks like, as pictures in `samples/`.

The player plays while its pictures are taken, so that what is seen is what a member sees. The sheet is as
the browser prints it, the picture of the session is the program's own.
"""

from __future__ import annotations

import shutil
from pathlib import Path
from tempfile import TemporaryDirectory

from playwright.sync_api import Browser, sync_playwright

from cuetrack import build
from cuetrack.build_papers import chosen_papers
from tests.browser.conftest import ARGUMENTS, chromium_path
from tests.browser.opened import PHONE, WIDE, opened, write_player
from tests.helpers.likely import SAMPLES, TOP, likely

_PICTURES = {
    # A side, both options, and a change of sides ahead.
    "player-phone.png": (PHONE, "light", 493.2),
    # A move in stages, its last one in sight, and a rest before the next move.
    "player-wide.png": (WIDE, "dark", 411.2),
}
# A4 at 96 dots an inch, the size of CSS pixels.
_PAPER = {"width": 794, "height": 1123}
# A printer leaves them; on the screen the sheet has none of its own.
_MARGIN = "12mm"
_PLAN = next(path for path in SAMPLES if path.stem == "quay-circuit")


def take_player(browser: Browser, folder: Path) -> None:
    """Writes the pictures of the player into a folder."""
    arrangement = likely(_PLAN)
    with TemporaryDirectory() as place:
        page = write_player(Path(place), arrangement)
        for name, (viewport, scheme, seconds) in _PICTURES.items():
            with opened(browser, page, viewport=viewport, color_scheme=scheme) as player:
                player.accept()
                player.to(seconds)
                player.page.click("#go")
                player.until("document.body.dataset.state === 'playing'")
                player.page.evaluate("document.activeElement.blur()")
                player.page.screenshot(path=folder / name)


def take_papers(browser: Browser, folder: Path) -> None:
    """Writes the pictures of the sheet and of the session into a folder."""
    with TemporaryDirectory() as place:
        track = Path(place) / "session.wav"
        build.render(_PLAN, track, papers=chosen_papers(("sheet", "picture")))
        shutil.copy(track.with_suffix(".picture.png"), folder / "session-picture.png")
        # What the page allows to itself has no room for the margins.
        page = browser.new_page(viewport=_PAPER, bypass_csp=True)
        page.emulate_media(media="print")
        page.goto(track.with_suffix(".sheet.html").as_uri())
        page.add_style_tag(content=f"html {{ padding: {_MARGIN} }}")
        page.screenshot(path=folder / "session-sheet.png")
        page.close()


def main() -> None:
    """Takes the pictures with this machine's browser."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path(), args=ARGUMENTS)
        take_player(browser, TOP / "samples")
        take_papers(browser, TOP / "samples")


if __name__ == "__main__":
    main()
