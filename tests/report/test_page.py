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

from pumplife.report.answer import (
    advise_groups,
    count_rules,
    list_stops,
    show_findings,
    warn_of_tickets,
    write_action,
    write_band,
    write_followed,
)
from pumplife.report.evidence import fits_behind
from pumplife.report.gather import gather_figures
from pumplife.report.headline import headline
from pumplife.report.layout import lay_out_tables, split_budget
from pumplife.report.links import name_rows
from pumplife.report.monday import brief, say_ready, split_running
from pumplife.report.page import write_page
from pumplife.report.svg import write_svg
from pumplife.report.words import name_units
from pumplife.ticket.cautions import CAUTIONS, write_cautions

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


def inner(reader: Reader) -> set[str]:
    """Places on the page that its links lead to."""
    return {link[1:] for link in reader.links if link.startswith("#")}


def test_page_asks_the_network_for_nothing(page: str) -> None:
    addresses = set(re.findall(r'https?://[^"\s<)]*', page))
    assert addresses <= {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}
    assert not re.search(r"<(link|img|iframe)\b|@import|\bsrc=|\bfetch\(", page)


def test_ids_are_unique_and_links_arrive(page: str) -> None:
    reader = read(page)
    assert len(set(reader.ids)) == len(reader.ids)
    assert inner(reader) <= set(reader.ids)
    beside = [link for link in reader.links if not link.startswith("#")]
    assert all(re.fullmatch(r"(tables|figures|tickets)/[\w%.-]+|study\.xlsx", b) for b in beside)


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


def test_the_summary_says_what_is_to_be_done_ordered_and_looked_at(study: SimpleNamespace) -> None:
    study.tables["pumps"] = pd.DataFrame(
        {
            "pump_id": [f"P-{n:03d}" for n in range(12)],
            "service": "glaze slip",
            "breakdowns_12m": 1.0,
            "standing": "",
            "cost_12m": [float(100 * n) for n in range(12)],
            "expected_cost": 250.0,
        }
    )
    rebuilds, orders, dearest = brief(study)
    soon = study.tables["due"]["do_on"] <= pd.Timestamp("2025-06-30") + pd.Timedelta(weeks=6)
    assert rebuilds.said.startswith(f"{soon.sum()} rebuilds to do by ")
    assert orders.said == "1 order to place by 2025-06-30."
    first = study.tables["orders"]
    later = first.assign(order_by=pd.to_datetime(first["order_by"]) + pd.Timedelta(days=9))
    study.tables["orders"] = pd.concat([first, later], ignore_index=True)
    assert brief(study)[1].said == "2 orders to place, 1 of them by 2025-06-30."
    assert dearest.said.startswith("10 pumps of 12 made 98 % of the cost")  # 6,500 of 6,600
    assert [row[0].text for row in dearest.rows.rows] == [f"P-{n:03d}" for n in range(11, 1, -1)]
    assert say_ready(pd.Series(["on_shelf", "order by 2025-07-01", "order by 2025-08-01", ""])) == (
        "Kits: 1 on the shelf, 2 to order."
    )
    running, withheld = split_running(advise_groups(study))
    assert (len(running), len(withheld)) == (1, 1)


def test_numbers_lead_to_their_rows(study: SimpleNamespace) -> None:
    assert name_rows([]) == ""
    assert name_rows([0]) == "row 2 of "  # row 1 of the file is its headings
    assert name_rows([1, 5, 7]) == "rows 3, 7 and 9 of "
    page = page_of(study)
    first = page[page.index('id="group-1"') : page.index('id="group-2"')]
    assert 'row 2 of <a href="tables/intervals.csv">' in first
    assert "63 failures and 40 suspensions" in first
    assert "Lives behind it: 120 failures and 160 suspensions of parts." in page


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
    assert len(drawings) == 11
    assert all('role="img"' in drawing and 'aria-label="' in drawing for drawing in drawings)


def test_headline_by_hand(study: SimpleNamespace) -> None:
    groups, saving, due, orders, year = headline(study)
    assert (groups.value, groups.note) == ("1 of 3", "1 run to failure; 1 without advice")
    assert saving.value == "8,120 EUR"
    assert saving.note.endswith("without 1 group that has no advice")
    overdue = int((study.tables["due"]["overdue_by"] > 0).sum())
    assert due.value == str(overdue)
    assert (orders.value, orders.note) == ("1", "4 pieces in all")
    assert year.value == "122,000 EUR"
    assert year.note == (
        "P80 140,000, P90 152,000; as today 152,000 at P50; without 1 group that has no advice"
    )


def test_no_order_is_no_good_news_where_no_level_is_known(study: SimpleNamespace) -> None:
    study.tables["orders"] = study.tables["orders"].head(0)
    verdicts = ["no level: it has no lead time", "no level: it has no lead time", "enough"]
    study.tables["stock"] = pd.DataFrame({"verdict": verdicts})
    orders = headline(study)[3]
    assert orders.value == "0"
    assert orders.note == "0 pieces in all; without 2 items that no level is known for"


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
    assert inner(read(page)) <= set(read(page).ids)


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


def test_rules_are_counted_gravest_first_without_accounts(study: SimpleNamespace) -> None:
    rules = count_rules(study.tables["audit"])
    assert rules["severity"].tolist() == ["caution", "caution", "note"]
    assert rules["rows"].tolist() == [7, 1, 1]
    assert rules["rule"].tolist()[0] == "unknown pump"
    shown = show_findings(study.tables["audit"])
    assert "account" not in set(shown["rule"])
    assert len(shown) == 9


def adopt(study: SimpleNamespace) -> SimpleNamespace:
    """The plant keeps 3,000 h in the first group and runs the second beyond a limit."""
    study.tables["intervals"] = study.tables["intervals"].assign(
        adopted_interval=[3000.0, np.nan, np.nan],
        cost_of_keeping=[123.4, 1000.0, np.nan],
        review=["keep", "review: it goes beyond a limit", ""],
    )
    return study


def test_what_the_plant_follows_stands_beside_the_advice(study: SimpleNamespace) -> None:
    assert [row.follows for row in advise_groups(study)] == ["", "", ""]
    assert "The plant follows" not in page_of(study)
    rows = advise_groups(adopt(study))
    assert [row.follows for row in rows] == [
        "Every 3,000 h: keep", "Run to failure: review: it goes beyond a limit", "–",
    ]  # fmt: skip
    assert [row.breaks for row in rows] == [False, True, False]
    page = page_of(study)
    assert page.count('<tr class="breaks">') == 1
    assert "The plant follows</button>" in page
    assert write_followed({"review": "", "policy": "planned kit"}, UNITS) == "As advised"


def test_headline_says_what_the_plant_follows(study: SimpleNamespace) -> None:
    groups, saving, due, *_ = headline(adopt(study))
    assert groups.note.endswith("the plant follows its own choice in 2, 1 of them to review")
    assert saving.value == "7,000 EUR"  # 8,123.4 less what keeping costs
    assert saving.words == "expected saving a year by what the plant follows"
    assert saving.note.startswith("8,120 as advised; ")
    assert due.note.endswith("; by the intervals the plant follows")


@pytest.mark.parametrize(
    ("longest", "failures", "beyond"),
    [
        ([4000.0, 3500.0], [9.0, 0.0], False),
        ([3000.0, 2500.0], [9.0, 0.0], True),  # none of the parts was seen to 3,180 h
        ([4000.0, 3000.0], [9.0, 0.0], True),  # the part that never failed was not
        ([4000.0, 3000.0], [9.0, 2.0], False),
        ([np.nan, np.nan], [9.0, 0.0], False),
    ],
)
def test_intervals_beyond_the_longest_life_are_marked(
    study: SimpleNamespace, longest: list[float], failures: list[float], beyond: bool
) -> None:
    fits = study.tables["fits"].head(3).assign(part=["diaphragm", "seat", "ball"])
    fits["longest_life"] = [*longest, 9e9]  # the ball is not in this kit
    fits["failures"] = [*failures, 5.0]
    study.tables["fits"] = fits
    study.advice.groups[0].fit_rows = np.array([0, 1])
    marks = [row.marks for row in advise_groups(study)]
    assert marks == [("beyond the longest life seen",) if beyond else (), (), ()]


def test_the_evidence_of_a_group_is_that_of_its_own_kit(study: SimpleNamespace) -> None:
    assert list(fits_behind(study, 0)["material"]) == ["NBR"]  # not the TPV of the same service
    assert fits_behind(study, 2).empty
    (drawn, *_) = [one for one in gather_figures(study) if one.row == 0]
    words = [text.get_text() for text in drawn.axes.figure.texts]
    assert any("63 failures and 40 suspensions of parts" in text for text in words)


def test_many_tickets_set_aside_are_a_warning(study: SimpleNamespace) -> None:
    assert warn_of_tickets(study) == ""
    account = study.tables["account"]
    lost = (account["kind"] == "ticket") & (account["status"] == "set aside")
    study.tables["account"] = account.assign(count=account["count"].mask(lost, 49))
    words = warn_of_tickets(study).replace("\u202f", " ")
    assert words.startswith("49 of 169 ticket rows (29 %) were set aside")
    page = page_of(study)
    assert page.index("49 of 169 ticket rows") < page.index('id="do"')


def test_a_plant_without_name_and_currency_reads_well(study: SimpleNamespace) -> None:
    study.records.plant.name, study.records.plant.currency = " ", ""
    page = page_of(study)
    assert "<h1>This plant: when to rebuild" in page
    assert "Usage in h; plant.toml names no currency." in page
    assert headline(study)[1].value == "8,120"


def test_the_due_list_shows_what_is_due(study: SimpleNamespace) -> None:
    due = study.tables["due"]
    due.loc[[4, 9], "do_on"] = pd.NaT  # these run to failure
    due.loc[0, "kit_ready"] = "on_shelf"
    table = lay_out_tables(study)["due"]
    assert len(table.rows) == 38
    assert "on the shelf" in [cell.text for cell in table.rows[0]]
    assert len(set(table.headings)) == len(table.headings)
    assert "2 sides run to failure; their chance of failure in 13 weeks" in page_of(study)


def test_rows_of_the_only_site_and_of_nothing_are_left_out(study: SimpleNamespace) -> None:
    budget = study.tables["budget"]
    none = budget[budget["quantity"] == "kits"].assign(
        quantity="parts", p50=0.0, p80=0.0, p90=0.0, mean=0.0
    )
    money, pieces = split_budget(pd.concat([budget, none], ignore_index=True))
    assert set(money["site"]) == {"all sites"}
    assert set(pieces["quantity"]) == {"kits"}
    south = budget[budget["site"] == "north"].assign(site="south")
    money, _ = split_budget(pd.concat([budget, south], ignore_index=True))
    assert set(money["site"]) == {"all sites", "north", "south"}
    assert "Site" not in lay_out_tables(study)["budget"].headings


def test_bands_stand_in_the_cell_of_their_number(study: SimpleNamespace) -> None:
    table = lay_out_tables(study)["fits"]
    row = dict(zip(table.headings, table.rows[0], strict=True))
    assert row["Scale [h]"].text == "6,500 (5,200 to 7,800)"
    assert float(row["Scale [h]"].sort) == 6500.0


def test_effects_that_could_be_told_stand_in_the_annex(study: SimpleNamespace) -> None:
    assert "What stretches or shortens a life" not in page_of(study)
    words = ["material TPV against CR", "material PTFE against CR"]
    study.tables["duty_effects"] = pd.DataFrame(
        {
            "side": "fluid",
            "part": "diaphragm",
            "effect": words,
            "life_ratio": [1.6, np.nan],
            "ratio_low": [1.3, np.nan],
            "ratio_high": [2.0, np.nan],
            "failures": [30.0, 8.0],
            "pumps": [20, 9],
            "note": ["", "confounded: always goes with wash"],
        }
    )
    page = page_of(study)
    assert page.index('id="annex"') < page.index("material TPV against CR")
    assert "1.60 (1.30 to 2.00)" in page
    assert "material PTFE against CR" not in page


def test_a_release_bound_is_shown_where_there_is_one(study: SimpleNamespace) -> None:
    words = "Chance of release within one interval (95 % bound)"
    assert words not in page_of(study)
    study.tables["intervals"]["release_prob"] = [0.04, np.nan, np.nan]
    assert page_of(study).count(words) == 1


def test_dates_are_kept_whole_and_words_escaped(study: SimpleNamespace) -> None:
    study.tables["orders"]["why"] = "<i>since</i> 2025-01-31"
    assert '&lt;i&gt;since&lt;/i&gt; <span class="d">2025-01-31</span>' in page_of(study)


def coverage_rows() -> pd.DataFrame:
    """One part that kits cover, one that is needed loose, one of which nothing is known."""
    return pd.DataFrame(
        {
            "store": "north",
            "part_no": ["BALL-50", "PLATE-50", "ROD-50"],
            "part": ["ball", "outer plate", "rod"],
            "services": "glaze",
            "kits": ["KF-50-NBR", "", ""],
            "failed_per_year": [3.0, 0.0, np.nan],
            "demand_per_year": [40.0, 2.0, np.nan],
            "kit_supplied_per_year": [40.0, 0.0, 0.0],
            "uncovered_per_year": [0.0, 2.0, np.nan],
            "surplus_per_year": [0.0, 0.0, np.nan],
            "surplus_value": [0.0, 0.0, np.nan],
            "why": ["", "", "no finding and no issue"],
        }
    )


def test_what_kits_dont_cover_stands_on_the_page(study_maker: Any, tmp_path: Path) -> None:
    study = study_maker(tmp_path, tables={"coverage": coverage_rows()})
    laid = lay_out_tables(study)["coverage"]
    assert len(laid.rows) == 2
    page = page_of(study)
    assert "PLATE-50" in page
    assert "BALL-50" not in page
    assert "What kits cover, and what they don" in page
    assert "no finding and no issue" in page
    assert "What kits cover" not in page_of(study_maker(tmp_path))
