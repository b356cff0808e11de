"""The page holds everything it needs, says the answer first, and escapes what plants write."""

import re
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pumplife.report.answer import count_rules, headline, list_stops, write_action, write_band
from pumplife.report.cautions import CAUTIONS, write_cautions
from pumplife.report.gather import gather_figures
from pumplife.report.page import write_page
from pumplife.report.svg import write_svg
from pumplife.report.words import name_units

UNITS = name_units("hours", "EUR")
VOID = {"meta", "br", "img", "link", "hr", "input"}


class Reader(HTMLParser):
    """Collects ids, links and text, and whether every element is closed in order."""

    def __init__(self) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.links: list[str] = []
        self.words: list[str] = []
        self.open: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.ids += [str(given["id"])] if "id" in given else []
        self.links += [str(given["href"])] if tag == "a" else []
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def page_of(study: Any) -> str:
    return write_page(study, [(figure, write_svg(figure.axes)) for figure in gather_figures(study)])


@pytest.fixture
def page(study: SimpleNamespace) -> str:
    return page_of(study)


def read(page: str) -> Reader:
    reader = Reader()
    reader.feed(page)
    assert not reader.open
    return reader


def test_page_asks_the_network_for_nothing(page: str) -> None:
    addresses = set(re.findall(r'https?://[^"\s<)]*', page))
    assert addresses <= {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}
    assert not re.search(r"<(link|img|iframe)\b|@import|\bsrc=|\bfetch\(", page)


def test_ids_are_unique_and_links_arrive(page: str) -> None:
    reader = read(page)
    assert len(set(reader.ids)) == len(reader.ids)
    assert {link[1:] for link in reader.links} <= set(reader.ids)
    assert all(link.startswith("#") for link in reader.links)


def test_answer_comes_before_evidence(page: str) -> None:
    places = [page.index(f'id="{name}"') for name in ("do", "due", "orders", "budget", "groups")]
    assert places == sorted(places)
    do = page[places[0] : places[1]]
    assert "Rebuild every 3,180 h (about 41 weeks)" in do
    assert "8,120 (2,100 to 14,000)" in do
    assert "No advice: withheld" in do


def test_cautions_stand_beside_the_advice_and_the_due_list(page: str) -> None:
    text = "".join(read(page).words)
    for caution in CAUTIONS:
        assert text.count(caution) == 2
    assert write_cautions().count("\n") == len(CAUTIONS)


def test_what_plants_write_is_escaped(page: str) -> None:
    assert "<b>no kit</b>" not in page
    assert "&lt;b&gt;no kit&lt;/b&gt; &amp; no part" in page


def test_invented_data_are_marked(study: SimpleNamespace) -> None:
    words = "Invented example data: no pump, price or failure on this page is real."
    assert words in page_of(study)
    study.records.plant.raw = {}
    study.records.plant.name = "North works"
    assert words not in page_of(study)


def test_figures_have_words_for_those_who_cannot_see_them(page: str) -> None:
    drawings = re.findall(r"<svg [^>]*>", page)
    assert len(drawings) == 12
    assert all('role="img"' in drawing and 'aria-label="' in drawing for drawing in drawings)


def test_headline_by_hand(study: SimpleNamespace) -> None:
    groups, saving, due, orders, year = headline(study)
    assert (groups.value, groups.note) == ("1 of 3", "1 run to failure, 1 withheld")
    assert saving.value == "8,120 EUR"
    overdue = int((study.tables["due"]["overdue_by"] > 0).sum())
    assert due.value == str(overdue)
    assert (orders.value, orders.note) == ("1", "4 pieces in all")
    assert year.value == "122,000 EUR"
    assert year.note == "P80 140,000, P90 152,000; as today 152,000 at P50"


def test_what_is_withheld_comes_with_its_remedy(
    study_maker: Callable[..., Any], tmp_path: Path
) -> None:
    audit = pd.DataFrame(
        {
            "severity": ["stop"], "table": ["plant.toml"], "row": [np.nan], "pump_id": [""],
            "rule": ["no_costs"], "what": ["[costs] is missing"],
            "consequence": ["intervals, stock and budget are withheld"],
            "remedy": ["write [costs]"],
        }
    )  # fmt: skip
    study = study_maker(
        tmp_path, fits=None, advice=None, stock=None, duty=None, lives=None, tables={}
    )
    study.tables = {"audit": audit}
    page = page_of(study)
    assert "Withheld until this is mended" in page
    assert "No interval could be advised" in page
    assert list_stops(study) == [
        {
            "what": "[costs] is missing",
            "consequence": "Intervals, stock and budget are withheld",
            "remedy": "Write [costs]",
        }
    ]
    assert headline(study) == []
    assert 'id="due"' not in page
    assert {link[1:] for link in read(page).links} <= set(read(page).ids)


def test_actions_and_bands_in_words() -> None:
    row: dict[str, Any] = {
        "policy": "planned kit", "interval": 900.0, "interval_weeks": np.nan,
        "near_best_low": 700.0, "near_best_high": np.nan,
    }  # fmt: skip
    assert write_action(row, UNITS) == "Rebuild every 900 h"
    assert write_band(row, UNITS) == "700 h and more, or run to failure"
    alone = {"interval": np.nan, "policy": "run to failure, failed part only"}
    assert write_action(row | alone, UNITS) == "Run to failure, failed part only"
    assert write_action(row | {"policy": ""}, UNITS) == "No advice: withheld"
    assert write_band(row | {"policy": ""}, UNITS) == "–"


def test_rules_are_counted_gravest_first(study: SimpleNamespace) -> None:
    rules = count_rules(study.tables["audit"])
    assert rules["severity"].tolist() == ["caution", "caution", "note", "note"]
    assert rules["rows"].tolist() == [7, 1, 120, 1]
    assert rules["rule"].tolist()[0] == "unknown pump"
