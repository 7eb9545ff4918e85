"""A player page and its sound in a folder, opened in a browser as a member would open it."""

from __future__ import annotations

import wave
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from math import ceil
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

from playwright.sync_api import Browser, Page

from cuetrack.conform.arrangement import Arrangement
from cuetrack.writers.player import player_page

PHONE, WIDE = {"width": 390, "height": 844}, {"width": 1920, "height": 1080}
# WCAG 2.1, 1.4.10: what stands at 320 pixels needs no sideways scrolling at four times the size either.
SMALL = {"width": 320, "height": 568}
_SOUND_HZ = 8_000
_LOOK_EVERY_S = 0.02


def write_silence(path: Path, seconds: float) -> None:
    """A WAV without a sound in it, 8 bits at 8 kHz: the page follows its time, not what it plays."""
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(1)
        file.setframerate(_SOUND_HZ)
        file.writeframes(b"\x80" * ceil(seconds * _SOUND_HZ))


def write_player(folder: Path, arrangement: Arrangement, *, sound: str = "quay 1.wav") -> Path:
    """The page of an arrangement with as much silence beside it."""
    write_silence(folder / sound, arrangement.frames / arrangement.rate_hz)
    page = folder / "quay.player.html"
    page.write_text(player_page(arrangement, sound=sound), encoding="utf-8")
    return page


@dataclass
class Opened:
    """An open page: what it asked for, what it complained of, and how to use it."""

    page: Page
    requests: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)

    def text(self, name: str) -> str:
        """What stands in the element `name`, as it is seen."""
        return str(self.page.inner_text(f"#{name}"))

    def seconds(self) -> float:
        """Where the sound is."""
        return float(self.page.evaluate("document.getElementById('sound').currentTime"))

    def is_playing(self) -> bool:
        return not self.page.evaluate("document.getElementById('sound').paused")

    def state(self) -> str:
        return str(self.page.evaluate("document.body.dataset.state"))

    def accept(self) -> None:
        """Reads the cautions, starts, and holds at once at the beginning."""
        self.page.click("#go")
        self.until("!document.getElementById('sound').paused")
        self.page.click("#go")
        self.to(0)

    def to(self, seconds: float) -> None:
        """Sets the sound to a time and waits until the page shows it."""
        self.page.evaluate("seconds => { document.getElementById('sound').currentTime = seconds; }", seconds)
        self.settle()

    def until(self, expression: str, within_s: float = 10) -> None:
        """Waits until an expression is true in the page.

        Playwright's own waiting evaluates text in the page, which the page's policy forbids.
        """
        for _ in range(ceil(within_s / _LOOK_EVERY_S)):
            if self.page.evaluate(f"Boolean({expression})"):
                return
            self.page.wait_for_timeout(_LOOK_EVERY_S * 1000)
        raise AssertionError(f"never true within {within_s} s: {expression}")

    def settle(self) -> None:
        """Waits until the sound stands where it was told to, and two pictures have been drawn since."""
        self.until("!document.getElementById('sound').seeking")
        self.page.evaluate("new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")


@contextmanager
def opened(browser: Browser, page_file: Path, *, before: str = "", **options: Any) -> Iterator[Opened]:
    """The page, offline: whatever it asks for beside itself and its sound is noted, and not given.

    `before` is a script that runs before the page's own; `options` are those of a browser's new context.
    """
    context = browser.new_context(**{"viewport": PHONE, "offline": True, **options})
    page = context.new_page()
    found = Opened(page)

    def note(kind: str) -> Any:
        return lambda event: found.complaints.append(f"{kind}: {getattr(event, 'text', event)}")

    page.on("request", lambda request: found.requests.append(request.url))
    page.on("pageerror", note("error"))
    page.on("console", note("console"))
    if before:
        page.add_init_script(before)
    page.goto(page_file.as_uri())
    try:
        yield found
    finally:
        context.close()


def names_of(requests: list[str]) -> set[str]:
    """The files that were asked for; anything that is no file stays a whole address."""
    parts = ((urlsplit(url), url) for url in requests)
    return {unquote(Path(split.path).name) if split.scheme == "file" else url for split, url in parts}
