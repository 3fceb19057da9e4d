"""A real browser for pages: the machine's own Chromium, driven without a window."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
WIDTHS = {"phone": 360, "tablet": 768, "laptop": 1366}

# Everything that runs past the window's right edge without a scroll bar of its own, by tag and class.
OVERFLOWING = """() => [...document.querySelectorAll('body *')].filter(one => {
  for (let box = one.parentElement; box; box = box.parentElement) if (getComputedStyle(box).overflowX === 'auto') return false;
  const r = one.getBoundingClientRect();
  return r.width > 0 && (r.right > document.documentElement.clientWidth + 1 || r.left < -1);
}).map(one => one.tagName + '.' + one.className)"""

# Texts that run out of their own box, or are cut off by it.
CLIPPED = """() => [...document.querySelectorAll('h1, h2, h3, p, li, figcaption, td, th, dd, dt')].filter(one =>
  one.clientWidth > 0 && getComputedStyle(one).display !== 'inline' && one.scrollWidth > one.clientWidth + 1
).map(one => one.tagName + ': ' + one.textContent.trim().slice(0, 40))"""

# (text, colour, ground, size in px, weight) of every element that has text of its own.
TEXTS = """() => [...document.querySelectorAll('body *')].filter(one =>
  [...one.childNodes].some(node => node.nodeType === 3 && node.textContent.trim()) && one.getClientRects().length
).map(one => {
  let ground = 'rgba(0, 0, 0, 0)';
  for (let box = one; box && /^rgba.*, 0\\)$/.test(ground); box = box.parentElement) ground = getComputedStyle(box).backgroundColor;
  const style = getComputedStyle(one);
  return [one.textContent.trim().slice(0, 40), style.color, ground, parseFloat(style.fontSize), parseInt(style.fontWeight)];
})"""


def chromium() -> str:
    """Where it is. Skips the test where there is none, but never where the whole suite is proved (CI)."""
    found = os.environ.get("CHROMIUM") or next(filter(None, map(shutil.which, NAMES)), None)
    if found is None:
        if os.environ.get("CI"):
            pytest.fail("No Chromium on this machine: .ci/run installs it.")
        pytest.skip("There is no Chromium on this machine to open pages in (Debian: apt-get install chromium).")
    return found


@contextmanager
def browser() -> Iterator[Any]:
    """A browser that may reach nothing but files."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=chromium(), args=["--no-sandbox"])
        try:
            yield opened
        finally:
            opened.close()


def opened(within: Any, file: Path, width: int = 1366, **more: Any) -> tuple[Any, list[str]]:
    """The page in a window of that width, and every complaint or request for something outside of the file."""
    page = within.new_page(viewport={"width": width, "height": 900}, **more)
    complaints: list[str] = []
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("request", lambda request: None if request.url.startswith(("file:", "data:")) else complaints.append(request.url))
    page.goto(file.as_uri())
    return page, complaints


def contrast(one: str, other: str) -> float:
    """Of two CSS colours, by WCAG 2.2's definition of relative luminance (W3C Recommendation, "contrast ratio")."""

    def luminance(colour: str) -> float:
        parts = [float(part) for part in colour[colour.index("(") + 1 : -1].split(",")[:3]]
        linear = [part / 255 / 12.92 if part / 255 <= 0.04045 else ((part / 255 + 0.055) / 1.055) ** 2.4 for part in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    high, low = sorted([luminance(one), luminance(other)], reverse=True)
    return (high + 0.05) / (low + 0.05)


def too_faint(texts: list[list[Any]]) -> list[str]:
    """Texts under WCAG 2.2's AA (1.4.3): 4.5 to 1, or 3 to 1 where large (24 px, or bold from 18.66 px)."""
    faint = []
    for words, ink, ground, size, weight in texts:
        large = size >= 24 or (weight >= 700 and size >= 18.66)
        ratio = contrast(ink, ground if "0, 0, 0, 0" not in ground else "rgb(255, 255, 255)")
        if ratio < (3.0 if large else 4.5):
            faint.append(f"{words}: {ratio:.2f}")
    return faint
