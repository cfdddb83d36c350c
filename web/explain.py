"""The page that says how one verdict's forecast came about."""

from __future__ import annotations

from flask import render_template, request

from sourcing.explain import explain
from web.forms import read_query
from web.state import store


def show() -> str:
    """Explain the item named in the address; nothing is recorded."""
    found = explain(store(), read_query(request.args))
    parts, left = [], 0.0
    for place, source in enumerate(found.sources):
        parts.append((f"s{place}", 340 * left, 340 * source.share, source))
        left += source.share
    return render_template("explain/show.html", found=found, parts=parts)
