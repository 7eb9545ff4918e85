"""A real browser: Chromium of the machine's own packages, driven by Playwright, which downloads nothing.

Where there is none these tests are skipped with the reason; under CI that would hide what they show, so
there it is a failure.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, sync_playwright

_NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
# Sound plays without a gesture and unheard; as root, as in many a container, there is no sandbox.
ARGUMENTS = ("--autoplay-policy=no-user-gesture-required", "--mute-audio", "--no-sandbox")


def chromium_path() -> str | None:
    """The browser of this machine: what CUETRACK_CHROMIUM names, or the first on the path."""
    named = os.environ.get("CUETRACK_CHROMIUM")
    return named or next((found for name in _NAMES if (found := shutil.which(name))), None)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    path = chromium_path()
    if path is None:
        reason = "there is no Chromium on this machine: install the package `chromium`"
        if os.environ.get("CI"):
            pytest.fail(reason)
        pytest.skip(reason)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield browser
        browser.close()
