"""axe-core on a page as it stands: what the browser tests hold every page to."""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import Page

AXE = Path(__file__).parent / "vendor" / "axe.min.js"
TAGS = ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa", "best-practice"]


def violations(page: Page, *, at_foot: bool = True) -> list[tuple[str, str]]:
    """Return (rule, element) of what axe finds.

    The bar at the foot of the screen lies over a page that goes on beneath it, and axe takes what is half covered for a
    small target. At the foot of the page it covers nothing, so that is where it is looked at; where it stood is where
    it is left. Without ``at_foot`` the page is looked at where it stands.
    """
    before = page.evaluate("scrollY")
    if at_foot:
        page.evaluate("scrollTo(0, document.documentElement.scrollHeight)")
    page.evaluate(AXE.read_text())
    found = page.evaluate(f"axe.run(document, {{runOnly: {TAGS}}})")["violations"]
    if at_foot:
        page.evaluate("y => scrollTo(0, y)", before)
    return [(one["id"], one["nodes"][0]["html"]) for one in found]
