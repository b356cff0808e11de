"""The page in a real browser: quiet, offline, readable by all, sortable, printable, harmless."""

import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pandas as pd
import pytest

from pumplife.report.gather import gather_figures
from pumplife.report.page import write_page
from pumplife.report.svg import write_svg

from .conftest import make_study

playwright = pytest.importorskip("playwright.sync_api", reason="needs playwright")
axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="needs axe")

BROWSER = shutil.which("chromium") or shutil.which("google-chrome")
PDF_WORDS = shutil.which("pdftotext")
NASTY = '"><img src=x onerror="window.ran=1"><script>window.ran=1</script>'
pytestmark = pytest.mark.skipif(BROWSER is None, reason="needs chromium on the path")


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with playwright.sync_playwright() as started:
        opened = started.chromium.launch(
            executable_path=BROWSER, args=["--no-sandbox", "--disable-dev-shm-usage"]
        )
        yield opened
        opened.close()


def nasty_study(folder: Path) -> SimpleNamespace:
    """A plant whose every word is an attack, with more rows due than one sheet of paper holds."""
    study = make_study(folder)
    study.records.plant.name = NASTY
    due = pd.concat([study.tables["due"]] * 4, ignore_index=True)
    study.tables["due"] = due.assign(
        pump_id=[f"{NASTY}{n}" for n in range(len(due))], kit="KF'\"-50", location=NASTY
    )
    study.tables["intervals"] = study.tables["intervals"].assign(kit=NASTY, verdict=NASTY)
    study.tables["orders"] = study.tables["orders"].assign(item="a'b\"c", why=NASTY)
    study.tables["stock"] = study.tables["stock"].assign(item=NASTY)
    return study


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("page")
    study = nasty_study(folder)
    drawn = [(figure, write_svg(figure.axes)) for figure in gather_figures(study)]
    path = folder / "report.html"
    path.write_text(write_page(study, drawn), encoding="utf-8")
    return path


def open_page(browser: Any, path: Path, **settings: Any) -> Any:
    """Open a file; whatever it logs, throws or asks for beside itself is noted."""
    page = browser.new_page(**settings)
    page.noted = []
    page.on("console", lambda message: page.noted.append(message.text))
    page.on("pageerror", lambda error: page.noted.append(str(error)))
    page.on("request", lambda asked: page.noted.append(asked.url))
    page.goto(path.as_uri())
    assert page.noted == [path.as_uri()]
    return page


def find_grave(page: Any) -> list[tuple[str, str]]:
    found = axe.Axe().run(page).response["violations"]
    return [(one["id"], one["impact"]) for one in found if one["impact"] in ("serious", "critical")]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_page_is_quiet_offline_and_open_to_all(browser: Any, report: Path, scheme: str) -> None:
    page = open_page(browser, report, color_scheme=scheme)
    assert page.evaluate("window.ran") is None
    assert page.locator("img, script[src], link").count() == 0
    page.click("#unfold")
    boxes = page.evaluate(
        "Array.from(document.querySelectorAll('figure svg'))"
        ".map(drawn => { const box = drawn.getBoundingClientRect();"
        " return Math.min(box.width, box.height) })"
    )
    assert len(boxes) == 11
    assert min(boxes) > 100
    assert find_grave(page) == []
    page.set_viewport_size({"width": 360, "height": 740})
    assert page.evaluate("document.documentElement.scrollWidth") == 360
    assert len(page.noted) == 1
    page.close()


def test_tables_sort_by_mouse_and_by_keyboard(browser: Any, report: Path) -> None:
    page = open_page(browser, report)
    table = page.locator("#due table.sortable")
    heading = table.locator("thead button", has_text="Chance of failure")
    number = heading.evaluate("button => button.closest('th').cellIndex")
    keys = (
        "(table, number) => Array.from(table.tBodies[0].rows)"
        ".map(row => Number(row.cells[number].dataset.sort))"
    )
    heading.click()
    rising = table.evaluate(keys, number)
    assert rising == sorted(rising)
    assert heading.evaluate("button => button.closest('th').ariaSort") == "ascending"
    heading.focus()
    page.keyboard.press("Enter")
    falling = table.evaluate(keys, number)
    assert falling == rising[::-1]
    assert len(set(falling)) > 10
    assert heading.evaluate("button => button.closest('th').ariaSort") == "descending"
    page.close()


def test_a_link_into_a_fold_opens_it(browser: Any, report: Path) -> None:
    page = open_page(browser, report)
    place = "folded"
    page.evaluate("place => { document.querySelector('details dl').id = place }", place)
    page.evaluate("place => { location.hash = place }", place)
    page.wait_for_function(
        "place => document.getElementById(place).closest('details').open", arg=place
    )
    page.close()


@pytest.mark.skipif(PDF_WORDS is None, reason="needs pdftotext of poppler-utils")
def test_headings_of_a_long_table_are_on_every_sheet(
    browser: Any, report: Path, tmp_path: Path
) -> None:
    page = open_page(browser, report)
    page.pdf(path=str(tmp_path / "page.pdf"), prefer_css_page_size=True)
    page.close()
    words = subprocess.run(
        [str(PDF_WORDS), str(tmp_path / "page.pdf"), "-"],
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    sheets = [sheet for sheet in words.split("\f") if sheet.count("KF'\"-50") > 12]
    assert len(sheets) > 1
    assert all("Service" in sheet for sheet in sheets)
