"""The page that says how a verdict came about."""

from __future__ import annotations

import shutil
from pathlib import Path

import lxml.html
import pytest
from flask.testing import FlaskClient


def test_the_verdict_leads_to_a_page_with_bar_and_table(client: FlaskClient, samples: Path, tmp_path: Path) -> None:
    shutil.copy(samples, tmp_path / "comps.db")  # before the first request opens it
    asked = client.post("/check", data={"code": "WE804-175", "price": "16.99", "size": "S", "discount": "20"})
    verdict = lxml.html.fromstring(client.get(asked.headers["Location"]).text)
    (link,) = [one for one in verdict.xpath("//details//a/@href") if one.startswith("/explain")]
    assert "size=S" in link
    answer = client.get(link)
    assert answer.status_code == 200
    page = lxml.html.fromstring(answer.text)
    (bar,) = page.xpath("//svg")
    assert bar.get("aria-label")
    widths = [float(one.get("width")) for one in bar.xpath(".//rect")]
    assert sum(widths) == pytest.approx(340, abs=0.5)
    named = [one.text_content() for one in page.xpath("//section[1]//tbody//th")]
    assert named == ["A: own comps", "B: title", "C: brand", "D: category"]
    assert len(page.xpath("//section[h2='What one more sale would change']//tbody/tr")) == 3


def test_without_a_fit_it_says_so_and_a_wrong_code_is_refused(client: FlaskClient) -> None:
    answer = client.get("/explain?code=WE804-175")
    assert answer.status_code == 200
    assert "No forecast yet" in answer.text
    assert "<svg" not in answer.text
    assert client.get("/explain?code=9521234567890").status_code == 400
    assert client.get("/explain").status_code == 400
