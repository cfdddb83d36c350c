"""The Help page."""

from __future__ import annotations

from flask import render_template


def show() -> str:
    """Show how to read a verdict, and the cautions."""
    return render_template("help.html")
