"""The page answers "what if prices change" as a new study would, in a real browser."""

import json
import re
import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from jinja2 import Environment, PackageLoader

from pumplife.policy.decide import FAILED_PART, PLANNED, RUN_TO_FAILURE, Decision
from pumplife.policy.doubt.price_curves import PRICES, lay_price_curves
from pumplife.policy.evidence import KEEP_TODAYS, Evidence
from pumplife.policy.groups import SideGroup
from pumplife.policy.other_prices import redecide
from pumplife.policy.simulate import PlannedAges
from pumplife.report.page import write_page
from pumplife.report.what_if_page import lay_out_what_if
from pumplife.study import Study, run_study
from tests.plants import SETTINGS, part_rows, small_plant, small_tables
from tests.policy.doubt.groups import decided, plain_costs, small_group

CHROMIUM = shutil.which("chromium")
needs_browser = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium to open the page in")
TARGET = 0.05
SETS = (
    (100, 100, 100, 100, 100),
    (200, 100, 100, 100, 100),
    (60, 130, 250, 100, 100),
    (400, 25, 25, 400, 25),
    (25, 400, 400, 25, 400),
    (145, 90, 70, 310, 185),
    (330, 260, 45, 100, 160),
)  # percent of today's prices
MOVE = """percents => {
  percents.forEach((one, k) => { document.getElementById('what-if-' + k).value = one; });
  document.getElementById('what-if-0').dispatchEvent(new Event('input', {bubbles: true}));
  return Object.fromEntries([...document.querySelectorAll('#what-if-groups tbody tr')]
    .map(row => [row.querySelector('a').hash.slice(1), {...row.dataset}]));
}"""
Found = dict[str, dict[str, str]]


def kinds() -> dict[str, SideGroup]:
    """Groups of every kind: by cost, held by limits, kept for few failures, part alone."""
    plain = small_group(Path())
    cheap = plain_costs(300.0, np.full(3, 420.0), np.array([60.0, 40.0, 40.0]))
    every = PlannedAges(ages=np.array([2500.0]), weights=np.array([1.0]))
    few = Evidence(enough=False)
    nearer = np.array([np.inf, 2000.0, 3000.0])
    lives = plain.lives
    early = replace(lives, early_share=lives.early_share + 0.04, early_scale=lives.scale * 0.02)
    changes: dict[str, dict[str, Any]] = {
        "cost": {},
        "early": {"lives": early},
        "maker": {"own_limit": np.full(3, 1500.0), "maximum": 1500.0},
        "far maker": {"own_limit": np.full(3, 9000.0), "maximum": 9000.0},
        "own": {"own_limit": nearer},
        "release": {"hazard": "hazardous"},
        "few": {"evidence": few, "planned": every},
        "few, no plan": {"evidence": few},
        "no failure": {"failures": 0.0, "evidence": Evidence(enough=True)},
        "alone": {"costs": cheap},
        "flat": {"lives": replace(lives, shape=0.3 * lives.shape)},
    }
    return {
        name: replace(plain, service=name, **change)
        for name, change in changes.items()
    }  # fmt: skip


def study_of(groups: list[SideGroup], decisions: list[Decision]) -> Any:
    """What the report reads of a study with these groups."""
    rows = [
        {
            "service": group.service,
            "size_mm": group.size_mm,
            "side": group.side,
            "kit": group.kit,
            "hazard": group.hazard,
            "pumps": group.pumps.size,
            "policy": decision.policy,
            "interval": decision.interval if np.isfinite(decision.interval) else np.nan,
            "interval_weeks": decision.interval / (7.0 * float(np.median(group.rate))),
            "near_best_low": np.nan,
            "near_best_high": np.nan,
            "prob_better": 0.9,
            "usage_per_year": float(group.usage_per_year.sum()),
            "saving_per_year": usage_of(group) * saving_of(decision),
            "saving_low": np.nan,
            "saving_high": np.nan,
            "saving_vs_run_to_failure": 0.0,
            "binding_limit": "",
            "loss_if_wrong": 0.0,
            "verdict": "",
        }
        for group, decision in zip(groups, decisions, strict=True)
    ]
    pairs = zip(groups, decisions, strict=True)
    doubts = [SimpleNamespace(prices=lay_price_curves(*pair)) for pair in pairs]
    plant = SimpleNamespace(usage_unit="hours", currency="EUR")
    return SimpleNamespace(
        records=SimpleNamespace(plant=plant),
        tables={"intervals": pd.DataFrame(rows)},
        advice=SimpleNamespace(doubts=doubts),
    )


def usage_of(group: SideGroup) -> float:
    return float(group.usage_per_year.sum())


def saving_of(decision: Decision) -> float:
    return float((decision.today.money - decision.advised.money).mean())


def section_of(study: Any) -> str:
    """The section alone, on a page of its own with an article for each group."""
    made = Environment(loader=PackageLoader("pumplife.report", "."), autoescape=True)
    what_if = lay_out_what_if(study)
    inside = made.get_template("what_if.html").render(what_if=what_if)
    articles = "".join(
        f'<article id="{group["anchor"]}"><figure>A curve</figure></article>'
        for group in what_if["groups"]
    )
    style = made.get_template("page.css").render()
    head = f"<!doctype html><html lang=en><title>t</title><style>{style}</style>"
    return f'{head}<nav><ol><li><a href="#do">Do</a></li></ol></nav>{inside}{articles}'


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    api = pytest.importorskip("playwright.sync_api")
    with api.sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield opened
        opened.close()


@pytest.fixture(scope="module")
def show(browser: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[..., Any]]:
    """Open a page that may ask the network for nothing and must say no error."""
    said: list[str] = []
    folder = tmp_path_factory.mktemp("pages")

    def opened(words: str, **settings: Any) -> Any:
        path = folder / f"{len(list(folder.iterdir()))}.html"
        path.write_text(words, encoding="utf-8")
        page = browser.new_page(**settings)
        page.on("pageerror", lambda error: said.append(str(error)))
        page.on("console", lambda line: said.append(line.text))
        page.on("request", lambda one: said.extend([one.url] * (one.url != path.as_uri())))
        page.goto(path.as_uri())
        return page

    yield opened
    assert not said


@pytest.fixture(scope="module")
def decisions() -> tuple[list[SideGroup], list[Decision]]:
    groups = list(kinds().values())
    return groups, [decided(group) for group in groups]


@pytest.fixture(scope="module")
def words(decisions: Any) -> str:
    return section_of(study_of(*decisions))


@pytest.fixture(scope="module")
def page(show: Callable[..., Any], words: str) -> Any:
    return show(words)


def agrees(found: dict[str, str], asked: Decision, usage: float) -> None:
    """Policy the same, money within a billionth of the cost, interval as far as it is sharp."""
    assert found["policy"] == asked.policy
    cost, saving = float(asked.advised.money.mean()), saving_of(asked)
    assert float(found["rate"]) == pytest.approx(cost, rel=1e-9)
    assert float(found["cost"]) == pytest.approx(usage * cost, rel=1e-9)
    assert float(found["today"]) == pytest.approx(float(asked.today.money.mean()), rel=1e-9)
    assert float(found["saving"]) == pytest.approx(
        usage * saving, rel=1e-9, abs=1e-9 * usage * cost
    )
    if np.isfinite(asked.interval):
        assert float(found["interval"]) == pytest.approx(asked.interval, rel=1e-5)
    else:
        assert found["interval"] == "Infinity"


def test_the_groups_are_of_every_kind(decisions: Any) -> None:
    policies = {group.service: one.policy for group, one in zip(*decisions, strict=True)}
    assert set(policies.values()) == {PLANNED, RUN_TO_FAILURE, FAILED_PART, KEEP_TODAYS}
    assert policies["alone"] == policies["flat"] == FAILED_PART
    assert policies["no failure"] == RUN_TO_FAILURE
    by_limit = [one.advice.binding_limit != "cost" for one in decisions[1]]
    assert sum(by_limit) >= 3


LOOK_AT_FIRST = """() => {
  const group = document.getElementById("group-1");
  group.scrollIntoView();  // again and again, since what lies above is laid out as it is passed
  return group.querySelector(".tried svg path") !== null;
}"""


@needs_browser
@pytest.mark.parametrize("percents", SETS, ids=str)
def test_every_kind_of_group_is_decided_as_the_study_decides(
    page: Any, decisions: Any, percents: tuple[int, ...]
) -> None:
    found = page.evaluate(MOVE, percents)
    factors = {name: one / 100 for name, one in zip(PRICES, percents, strict=True)}
    for place, (group, decision) in enumerate(zip(*decisions, strict=True)):
        asked = redecide(group, decision, factors, release_target=TARGET)
        agrees(found[f"group-{place + 1}"], asked, usage_of(group))


@needs_browser
def test_prices_of_one_group_leave_the_others_as_they_are(page: Any, decisions: Any) -> None:
    before = page.evaluate(MOVE, SETS[0])
    page.select_option("#what-if-scope", index=1)
    chosen = page.evaluate("Number(document.getElementById('what-if-scope').value)")
    after = page.evaluate(MOVE, SETS[2])
    changed = [name for name in before if before[name] != after[name]]
    anchors = page.evaluate(
        "JSON.parse(document.getElementById('what-if-data').textContent).groups.map(g => g.anchor)"
    )
    assert changed == [anchors[chosen]]
    page.click("#what-if button[type=reset]")
    page.wait_for_function("document.getElementById('what-if-scope').value === '-1'")
    page.wait_for_function("!document.getElementById('what-if').classList.contains('changed')")


@needs_browser
def test_the_near_best_band_is_that_of_the_study(page: Any, decisions: Any) -> None:
    """Between the same crossings of the curve, where the study goes by a spline, to 1 %."""
    page.evaluate(MOVE, SETS[0])
    page.select_option("#what-if-scope", label="Cost, 50 mm, fluid side, FK")
    words = page.inner_text("#what-if-curve p")
    low, high = re.findall(r"from ([\d,]+) to ([\d,]+) h", words)[0]
    advice = decisions[1][0].advice
    assert float(low.replace(",", "")) == pytest.approx(advice.near_best_low, rel=0.01)
    assert float(high.replace(",", "")) == pytest.approx(advice.near_best_high, rel=0.01)
    page.select_option("#what-if-scope", index=0)


@needs_browser
def test_keys_alone_move_a_price_and_bring_it_back(show: Callable[..., Any], words: str) -> None:
    page = show(words)
    page.focus("#what-if-2")
    page.keyboard.press("ArrowRight")
    assert page.input_value("#what-if-2") == "105"
    assert page.inner_text("output[for=what-if-2]").startswith("105 %")
    page.wait_for_function("document.getElementById('what-if-says').textContent.includes('year')")
    assert page.inner_text("#what-if-says").startswith("Tried: lost production 105 % of today's.")
    page.wait_for_function(LOOK_AT_FIRST)
    page.focus("#what-if button[type=reset]")
    page.keyboard.press("Enter")
    page.wait_for_function("document.querySelectorAll('article .tried').length === 0")
    assert page.input_value("#what-if-2") == "100"
    page.wait_for_function(  # said a moment later, so that a voice isn't cut off at each step
        "document.getElementById('what-if-says').textContent.startsWith('Today\\'s prices')"
    )


@needs_browser
def test_the_largest_change_comes_first_and_its_curve_is_drawn(page: Any) -> None:
    page.evaluate(MOVE, SETS[2])
    sizes = page.evaluate(
        """[...document.querySelectorAll('#what-if-groups tbody tr')].map(row =>
        Math.abs(Number(row.cells[5].textContent.replace('−', '-').replace(/[,+]/g, ''))) || 0)"""
    )
    assert sizes == sorted(sizes, reverse=True)
    first = page.inner_text("#what-if-groups tbody tr a")
    assert first in page.inner_text("#what-if-curve p")
    label = page.get_attribute("#what-if-curve svg", "aria-label")
    assert first in str(label)
    texts = page.locator("#what-if-curve svg text").all_text_contents()
    assert {"Rebuild interval [h]", "Cost rate [EUR per 1,000 h]"} <= set(texts)


@needs_browser
def test_advice_that_rests_on_a_chance_is_left_to_the_study(
    show: Callable[..., Any], decisions: Any
) -> None:
    """Planned work that costs less but was not advised: another test than cost decided."""
    groups, ones = decisions
    turned = replace(ones[0], policy=RUN_TO_FAILURE, interval=np.inf)
    page = show(section_of(study_of(groups, [turned, *ones[1:]])))
    page.evaluate(MOVE, SETS[2])
    asked = page.locator("#what-if-groups tr", has_text="Ask the study")
    assert asked.count() == 1
    assert asked.locator("a").get_attribute("href") == "#group-1"
    assert asked.locator("td").nth(4).inner_text() == "–"


@needs_browser
def test_a_phone_scrolls_no_wider_and_print_leaves_the_controls_out(
    show: Callable[..., Any], words: str
) -> None:
    page = show(words, viewport={"width": 360, "height": 800})
    page.evaluate(MOVE, SETS[1])
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    page.emulate_media(media="print")
    assert not page.is_visible("#what-if form")
    assert page.is_visible("#what-if-groups")
    page.evaluate(MOVE, SETS[0])
    assert not page.is_visible("#what-if")


@needs_browser
def test_without_javascript_nothing_is_offered(browser: Any, words: str, tmp_path: Path) -> None:
    path = tmp_path / "page.html"
    path.write_text(words, encoding="utf-8")
    page = browser.new_page(java_script_enabled=False)
    page.goto(path.as_uri())
    assert not page.is_visible("#what-if")


@needs_browser
def test_the_section_has_no_serious_fault_of_access(show: Callable[..., Any], words: str) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    for scheme in ("light", "dark"):
        page = show(words, color_scheme=scheme)
        page.evaluate(MOVE, SETS[2])
        page.wait_for_timeout(200)
        found = axe.Axe().run(page, context="#what-if").response["violations"]
        assert [one["id"] for one in found if one["impact"] in ("serious", "critical")] == []


def test_names_of_the_plant_are_no_markup(decisions: Any) -> None:
    groups, decided_ones = decisions
    evil = "</script><img src=x onerror=alert(1)>"
    named = [replace(groups[0], service=evil, kit='K"1'), *groups[1:]]
    page = section_of(study_of(named, decided_ones))
    assert "<img" not in page.lower()
    text = re.search(r'(?s)<script type="application/json"[^>]*>(.*?)</script>', page)
    assert text is not None
    titles = [group["title"] for group in json.loads(text[1])["groups"]]
    assert any(evil.lower() in title.lower() for title in titles)


def test_a_study_without_advice_offers_nothing(study: SimpleNamespace) -> None:
    assert "what-if" not in write_page(study, [])


# ---- a whole study, and one of the same folder with other prices ----


def prices_changed(folder: Path, percents: tuple[int, ...]) -> Path:
    """The small plant with every price so many percent of what it was."""
    kits, labour, idle, clean_up, call_out = (one / 100 for one in percents)
    text = SETTINGS
    for name, value, factor in (
        ("labour_per_h", 50.0, labour),
        ("downtime_per_h", 100.0, idle),
        ("spill", 200.0, clean_up),
        ("call_out", 100.0, call_out),
    ):
        assert f"{name} = {value}" in text
        text = text.replace(f"{name} = {value}", f"{name} = {value * factor!r}")
    tables = {
        name: [row | {"unit_cost": row["unit_cost"] * kits} for row in rows]
        for name, rows in (("kits", small_tables()["kits"]), ("parts", part_rows()))
    }
    return small_plant(folder, plant_toml=text, **tables)


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Study:
    return run_study(small_plant(tmp_path_factory.mktemp("now")), results=())


@needs_browser
def test_the_page_of_a_study_says_what_a_study_of_changed_prices_says(
    whole: Study, show: Callable[..., Any], tmp_path: Path
) -> None:
    percents = (130, 90, 40, 150, 60)
    found: Found = show(write_page(whole, [])).evaluate(MOVE, percents)
    asked = run_study(prices_changed(tmp_path / "then", percents), results=())
    assert whole.advice is not None
    assert asked.advice is not None
    (decision,), (group,) = asked.advice.decisions, asked.advice.groups
    assert decision is not None
    agrees(found["group-1"], decision, usage_of(group))
    before = whole.advice.decisions[0]
    assert before is not None
    assert abs(decision.interval / before.interval - 1.0) > 0.01
    row = asked.tables["intervals"].iloc[0]
    assert float(found["group-1"]["saving"]) == pytest.approx(row["saving_per_year"], rel=1e-9)
