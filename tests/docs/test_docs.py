"""The documentation: built without a warning, whole, offline, and true to the code it names."""

import ast
import json
import re
import subprocess
import sys
import tomllib
from html.parser import HTMLParser
from pathlib import Path

import pandas as pd
import pytest

import pumplife
from pumplife.records.tables import TABLES
from pumplife.report.rulebook import list_rules
from pumplife.report.titles import TABLES as OUTPUT

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
METHODS = sorted((DOCS / "methods").glob("*.md"))
PACKAGE_FILES = {path.relative_to(ROOT / "pumplife") for path in ROOT.glob("pumplife/*/**/*.py")}


class Page(HTMLParser):
    """What one page shows, names and points to."""

    def __init__(self, text: str):
        super().__init__()
        self.ids: set[str] = set()
        self.links: list[str] = []
        self.loads: list[str] = []
        self.words: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = {name: value or "" for name, value in attrs}
        self.ids.add(told.get("id", ""))
        if tag == "a":
            self.links.append(told.get("href", ""))
        elif tag == "link":
            self.loads.append(told.get("href", ""))
        self.loads.append(told.get("src", ""))

    def handle_data(self, data: str) -> None:
        self.words.append(data)


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[Path, Page]:
    """Every page, built as `make docs` builds it: a warning of Sphinx ends it with an error."""
    out = tmp_path_factory.mktemp("docs") / "pages"
    built = subprocess.run(
        [sys.executable, str(DOCS / "build.py"), "--out", str(out)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert built.returncode == 0, built.stderr[-3000:]
    return {
        path.relative_to(out): Page(path.read_text(encoding="utf-8"))
        for path in sorted(out.rglob("*.html"))
    }


def words_of(pages: dict[Path, Page], name: str) -> str:
    return "".join(pages[Path(name)].words)


def test_links_lead_somewhere_and_nothing_is_loaded_from_elsewhere(pages):
    assert len(pages) > 20
    for here, page in pages.items():
        assert not [load for load in page.loads if re.match(r"(https?:)?//", load)], here
        for link in page.links:
            if re.match(r"https?://|mailto:", link) or not link:
                continue
            name, _, anchor = link.partition("#")
            there = Path(*_resolve(here, name)) if name else here
            if there.suffix == ".html":
                assert there in pages, f"{here} links to {link}"
                assert not anchor or anchor in pages[there].ids, f"{here} links to {link}"


def _resolve(here: Path, link: str) -> list[str]:
    parts = list(here.parent.parts)
    for step in link.split("/"):
        if step == "..":
            parts.pop()
        elif step != ".":
            parts.append(step)
    return parts


def test_no_page_names_a_place_on_a_machine(pages):
    for here, page in pages.items():
        assert not re.search(r"(?<![\w.])/(tmp|home|root|work|Users|var)/", "".join(page.words)), (
            here
        )


def test_every_public_name_is_explained(pages):
    ids = pages[Path("reference/python.html")].ids
    assert {f"pumplife.{name}" for name in pumplife.__all__} <= ids


def test_every_input_table_column_and_check_stands_in_the_reference(pages):
    told = words_of(pages, "reference/input.html")
    for table in TABLES.values():
        assert table.name in told
        assert all(column.name in told for column in table.columns), table.name
    checks = words_of(pages, "reference/checks.html")
    assert all(rule.name in checks and rule.remedy in checks for rule in list_rules())


def test_every_output_table_stands_in_the_reference_with_words_and_units(pages):
    page = pages[Path("reference/output.html")]
    told = "".join(page.words)
    for name, (title, _) in OUTPUT.items():
        anchor = name.replace("_", "-")
        assert f"{anchor}-table" in page.ids
        assert title in told
    for words in ("near_best_low", "Near-best from", "money per rate unit", "rewind_years"):
        assert words in told


def test_every_command_and_section_of_settings_stands_in_the_reference(pages):
    commands = words_of(pages, "reference/command_line.html")
    for job in ("study", "audit", "new", "rewind", "challenge", "ticket"):
        assert f"usage: pumplife {job}" in commands
    settings = words_of(pages, "reference/settings.html")
    template = (ROOT / "pumplife" / "records" / "plant_template.toml").read_text(encoding="utf-8")
    for key in re.findall(r"^# (\w+) = ", template, re.MULTILINE):
        assert key in settings, key


def test_the_tutorial_ends_with_an_interval(pages):
    told = words_of(pages, "tutorial.html")
    assert "Done: open results/report.html" in told
    assert re.search(r"Interval \[h\]\s+[\d,]{5}", told)
    assert "Renew the whole side every" in told


def test_rows_and_settings_of_the_how_to_are_such_as_a_plant_folder_takes():
    text = (DOCS / "howto.md").read_text(encoding="utf-8")
    rows = re.findall(r"^(?:```text\n|\n)(\w+(?:,\w+){2,})\n(\S.*)", text, re.MULTILINE)
    assert len(rows) == 4
    for heading, row in rows:
        names = heading.split(",")
        assert any(set(names) <= set(table.headings) for table in TABLES.values()), heading
        assert len(row.split(",")) == len(names), row
    template = (ROOT / "pumplife" / "records" / "plant_template.toml").read_text(encoding="utf-8")
    blocks = re.findall(r"```toml\n(.*?)```", text, re.DOTALL)
    assert blocks
    for block in blocks:
        for section, settings in tomllib.loads(block).items():
            assert f"[{section}]" in template
            for key in set(settings) - {"site", "between", "service"}:
                assert re.search(rf"^# {key} = ", template, re.MULTILINE), key


@pytest.mark.parametrize("path", METHODS, ids=lambda path: path.stem)
def test_files_and_topics_that_the_methods_name_are_there(path):
    text = path.read_text(encoding="utf-8")
    named = re.findall(r"`([\w/]+\.(?:py|json|csv|toml))`", text)
    assert named
    for name in named:
        known = Path(name) in PACKAGE_FILES or (ROOT / name).exists()
        short = any(name == file.name for file in PACKAGE_FILES if "/" not in name)
        assert known or short or name == "plant.toml", name
    results = pd.read_csv(ROOT / "tests" / "prove" / "results.csv")
    for named in re.findall(r"topics? (\w+)(?: and (\w+))?", text):
        assert set(filter(None, named)) <= set(results["topic"]), named


@pytest.mark.parametrize("path", METHODS, ids=lambda path: path.stem)
def test_each_method_says_what_it_assumes_and_where_it_is_checked(path):
    for section in path.read_text(encoding="utf-8").split("\n## ")[1:]:
        for word in ("**Assumes**", "**In code**", "**Checked**"):
            assert word in section, section[:40]


def test_the_picture_of_the_report_is_said_in_the_same_words_everywhere():
    picture = re.compile(r"!\[(.+)\]\(data/demo/report\.png\)")
    told = [
        picture.findall(path.read_text("utf-8")) for path in (ROOT / "README.md", DOCS / "index.md")
    ]
    assert told[0] == told[1]
    assert len(told[0]) == 1
    (after,) = re.findall(r':start-after: "(.+)"', (DOCS / "readme.md").read_text("utf-8"))
    assert after in (ROOT / "README.md").read_text("utf-8")


def said_to_people():
    """Every text that people see: pages, tickets, settings, notebooks, sentences in the code."""
    for name in ("README.md", "pumplife/ticket/words.csv", "pumplife/records/plant_template.toml"):
        yield name, (ROOT / name).read_text(encoding="utf-8")
    for path in [*DOCS.rglob("*.md"), *(ROOT / "pumplife").rglob("*.html")]:
        yield path.name, path.read_text(encoding="utf-8")
    for path in (ROOT / "notebooks").glob("*.ipynb"):
        cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
        yield path.name, "\n".join("".join(cell["source"]) for cell in cells)
    for path in (ROOT / "pumplife").rglob("*.py"):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        told = [node.value for node in ast.walk(tree) if isinstance(node, ast.Constant)]
        sentences = [text for text in told if isinstance(text, str) and " " in text]
        yield path.name, "\n".join(sentences)


def test_the_same_word_means_the_same_thing_everywhere():
    words = pd.read_csv(DOCS / "words.csv", keep_default_na=False)
    assert words["word"].is_unique
    others = [other.strip() for cell in words["not"] for other in cell.split(";") if other]
    pattern = re.compile(rf"\b({'|'.join(map(re.escape, others))})s?\b", re.IGNORECASE)
    found = [(name, hit[0]) for name, text in said_to_people() for hit in pattern.finditer(text)]
    cited = {"Lifetime", "preventive maintenance"}  # in titles of sources
    assert [hit for hit in found if hit[1] not in cited] == []
