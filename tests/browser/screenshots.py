"""`python -m tests.browser.screenshots`: the player page of a sample as `samples/player-*.png`.

It plays while the picture is taken, so that what is seen is what a member sees.
"""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory

from playwright.sync_api import Browser, sync_playwright

from tests.browser.conftest import ARGUMENTS, chromium_path
from tests.browser.opened import PHONE, WIDE, opened, write_player
from tests.helpers.likely import SAMPLES, TOP, likely

_PICTURES = {
    # A side, both options, and a change of sides ahead.
    "player-phone.png": (PHONE, "light", 493.2),
    # A move in stages, its last one in sight, and a rest before the next move.
    "player-wide.png": (WIDE, "dark", 411.2),
}


def take(browser: Browser, folder: Path) -> None:
    """Writes the pictures into a folder."""
    arrangement = likely(next(path for path in SAMPLES if path.stem == "quay-circuit"))
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


def main() -> None:
    """Takes the pictures with this machine's browser."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path(), args=ARGUMENTS)
        take(browser, TOP / "samples")


if __name__ == "__main__":
    main()
