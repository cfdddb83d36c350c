"""axe-core on a page as it stands, in both themes: what the browser tests hold every page to."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from playwright.sync_api import Page

AXE = Path(__file__).parent / "vendor" / "axe.min.js"
ALL = ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa", "best-practice"]
# What a change of theme can change: the rest of a page is the same in both, and is looked at once.
OF_COLOUR = {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}


def violations(page: Page, *, at_foot: bool = True) -> list[tuple[str, str, str]]:
    """Return (theme, rule, element) of what axe finds: by every rule in the theme at hand, by colour in the other.

    The bar at the foot of the screen lies over a page that goes on beneath it, and axe takes what is half covered for a
    small target. At the foot of the page it covers nothing, so that is where it is looked at; where it stood is where
    it is left. Without ``at_foot`` the page is looked at where it stands.
    """
    page.wait_for_load_state()
    before = page.evaluate("scrollY")
    if at_foot:
        page.evaluate("scrollTo(0, document.documentElement.scrollHeight)")
    page.evaluate(f"window.axe === undefined && (() => {{{AXE.read_text()}}})()")
    dark = page.evaluate("matchMedia('(prefers-color-scheme: dark)').matches")
    theme, other = ("dark", "light") if dark else ("light", "dark")
    found = _found(page, theme, ALL)
    page.emulate_media(color_scheme=other)  # type: ignore[arg-type]
    found += _found(page, other, OF_COLOUR)
    page.emulate_media(color_scheme=theme)  # type: ignore[arg-type]
    if at_foot:
        page.evaluate("y => scrollTo(0, y)", before)
    return found


def _found(page: Page, theme: str, rules: Any) -> list[tuple[str, str, str]]:
    found = page.evaluate("(rules) => axe.run(document, {runOnly: rules, resultTypes: ['violations']})", rules)
    return [(theme, one["id"], one["nodes"][0]["html"]) for one in found["violations"]]
