"""Titles are shortened on the command line as pages shorten them."""

from __future__ import annotations

import pytest
from jinja2 import Environment

from sourcing.shortened import MOST, shortened


@pytest.mark.parametrize("most", [60, MOST])
@pytest.mark.parametrize(
    "text", ["", "a mug", "unbroken" * 1_250, "trail runner " * 40, "x" * MOST, "y" * (MOST + 5), "z" * (MOST + 6)]
)
def test_it_cuts_where_jinja_does(text: str, most: int) -> None:
    """The filter of the template engine is the judge."""
    assert shortened(text, most) == Environment(autoescape=True).from_string("{{ t|truncate(m) }}").render(
        t=text, m=most
    )
