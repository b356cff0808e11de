"""The same plant in any format, order and number of files gives the same lives and fits."""

import random
import tempfile
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
import xlsxwriter
from hypothesis import given, settings
from hypothesis import strategies as st

from pumplife.lives.build import build_lives
from pumplife.records.audit import AuditLog
from pumplife.records.columns import type_table
from pumplife.records.duty import build_duty
from pumplife.records.grids import read_source
from pumplife.records.read import read_records
from pumplife.records.sources import Source
from pumplife.records.tables import TABLES
from pumplife.records.usage import build_clock
from pumplife.study import run_study
from tests.plants import SETTINGS, small_plant, small_tables

BULKY = ("pumps", "rebuilds", "readings")


def _lives(folder: Path) -> pd.DataFrame:
    records = read_records(folder)
    assert not records.fatal, records.log.frame().query("severity == 'stop'")["what"].tolist()
    duty = build_duty(records)
    table = build_lives(records, duty, build_clock(records, duty)).table
    keys = ["pump_id", "part", "position", "start_on", "end_on", "outcome"]
    numbers = ["entry", "lower", "upper"]
    return table[[*keys, *numbers]].sort_values(keys, ignore_index=True, kind="stable")


@pytest.fixture(scope="module")
def clean(tmp_path_factory: pytest.TempPathFactory) -> pd.DataFrame:
    return _lives(small_plant(tmp_path_factory.mktemp("clean") / "plant"))


class Hand:
    """How someone writes a table down."""

    def __init__(self, choices: dict[str, Any]) -> None:
        self.mark = choices["mark"]
        self.decimal = choices["decimal"]
        self.dates = choices["dates"]
        self.thousands = choices["thousands"]
        self.encoding = choices["encoding"]
        self.title = choices["title"]
        self.ending = choices["ending"]

    def cell(self, value: Any) -> str:
        if isinstance(value, float | int):
            group = {" ": "\u202f", "'": "’", "": ""}[self.thousands]
            whole = f"{value:,.2f}".replace(",", group)
            return whole.replace(".", self.decimal)
        word = str(value)
        if len(word) == 10 and word[4] == word[7] == "-":
            return pd.Timestamp(word).strftime(self.dates)
        return f'"{word}"' if self.mark in word else word

    def write(self, file: Path, rows: list[dict[str, Any]], numbers: set[str]) -> None:
        heading = list(dict.fromkeys(name for row in rows for name in row))
        lines = [self.mark.join(heading)]
        for row in rows:
            cells = [row.get(name, "") for name in heading]
            typed = zip(heading, cells, strict=True)
            words = [self._quoted(self.cell(c) if n in numbers or isinstance(c, str) else str(c))
                     for n, c in typed]  # fmt: skip
            lines.append(self.mark.join(words))
        text = self.title + self.ending.join(lines) + self.ending
        file.write_bytes(text.encode(self.encoding))

    def _quoted(self, word: str) -> str:
        return f'"{word}"' if self.mark in word and not word.startswith('"') else word


HANDS = st.fixed_dictionaries(
    {
        "mark": st.sampled_from([",", ";", "\t", "|"]),
        "decimal": st.sampled_from([",", "."]),
        "dates": st.sampled_from(["%Y-%m-%d", "%d.%m.%Y", "%d/%m/%y", "%d-%b-%Y", "%Y%m%d"]),
        "thousands": st.sampled_from(["", " ", "'"]),
        "encoding": st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le"]),
        "title": st.sampled_from(["", "Records of the works\n\n", "\n"]),
        "ending": st.sampled_from(["\n", "\r\n", "\r"]),
    }
)
DAYS_FIRST = SETTINGS + '\n[dates]\norder = "day-first"\n'


@given(HANDS, st.integers(0, 2**31))
@settings(max_examples=8, deadline=None)
def test_any_hand_and_any_order_of_rows_give_the_same_lives(
    clean: pd.DataFrame, choices: dict[str, Any], seed: int
) -> None:
    hand, rng = Hand(choices), random.Random(seed)
    with tempfile.TemporaryDirectory() as place:
        folder = small_plant(Path(place), plant_toml=DAYS_FIRST, **dict.fromkeys(BULKY))
        for name in BULKY:
            rows = [dict(row) for row in small_tables()[name]]
            rng.shuffle(rows)
            hand.write(folder / f"{name}.csv", rows, {"reading", "use_per_week"})
        pd.testing.assert_frame_equal(_lives(folder), clean, rtol=1e-12)


@given(st.integers(0, 5), st.integers(0, 5), st.integers(0, 30), st.booleans())
@settings(max_examples=6, deadline=None)
def test_any_split_into_two_exports_gives_the_same_lives(
    clean: pd.DataFrame, first: int, overlap: int, cut: int, swapped: bool
) -> None:
    """Orders and readings in two files each, with some orders and readings in both."""
    files = ["a.csv", "b.csv"], ["c.csv", "d.csv"]
    order = [names[::-1] if swapped else names for names in files]
    lines = f"\n[files]\nrebuilds = {order[0]}\nreadings = {order[1]}\n"
    with tempfile.TemporaryDirectory() as place:
        folder = small_plant(Path(place), plant_toml=SETTINGS + lines, rebuilds=None, readings=None)
        rebuilds = pd.DataFrame(small_tables()["rebuilds"])
        readings = pd.DataFrame(small_tables()["readings"])
        for file, rows in zip(
            [*files[0], *files[1]],
            [
                rebuilds.iloc[: first + overlap],
                rebuilds.iloc[first:],
                readings.iloc[: cut + overlap],
                readings.iloc[cut:],
            ],
            strict=True,
        ):
            rows.to_csv(folder / file, index=False)
        pd.testing.assert_frame_equal(_lives(folder), clean, rtol=1e-12)


REASONS = {"breakdown": "Störung", "planned": "Wartung"}
PARTS = {"diaphragm": "Membrane gerissen", "ball": "ball stuck", "seat": "Kugelsitz ausgewaschen"}
MESSY = (
    SETTINGS.replace("[costs]", '[dates]\norder = "day-first"\n[costs]')
    + """
[files]
pumps = "Export.xlsx#Stammdaten"
rebuilds = ["Export.xlsx#Aufträge", "Meldungen alt.csv"]
readings = "Zähler.csv"
[columns.pumps]
"Pumpe Nr" = "pump_id"
"Pumpe Werk" = "site"
"Medium" = "service"
"Nennweite" = "size_mm"
"Kit nass" = "fluid_kit"
"h/Woche" = "use_per_week"
"Gefahr" = "hazard"
"Betrieb seit" = "commissioned_on"
[columns.rebuilds]
"Auftrag Nr" = "rebuild_id"
"Auftrag Datum" = "opened_on"
"Auftrag Grund" = "reason"
"Anlage" = "pump_id"
"Satz" = "kit"
"AuftragsNr" = "rebuild_id"
"Datum" = "opened_on"
"Art" = "reason"
"Gerät" = "pump_id"
[codes.rebuilds.reason]
"Störung" = "breakdown"
"Wartung" = "planned"
[codes.rebuilds.kit]
"ohne" = "none"
[text.rebuilds]
"Kurztext" = ["failed_part"]
[columns.readings]
"Pumpe" = "pump_id"
"am" = "read_on"
"Stand" = "reading"
"""
)


def _messy_order(row: dict[str, Any]) -> list[str]:
    text = PARTS.get(row["failed_part"], "kein Defekt, Wartung nach Plan")
    day = pd.Timestamp(row["opened_on"]).strftime("%d.%m.%Y")
    kit = row["kit"].replace("none", "ohne")
    return [row["rebuild_id"], day, REASONS[row["reason"]], row["pump_id"], kit, text]


def messy_plant(folder: Path) -> Path:
    """The small plant as its people export it; every number and name is the same."""
    small_plant(folder, plant_toml=MESSY, **dict.fromkeys(BULKY))
    tables = {name: [dict(row) for row in rows] for name, rows in small_tables().items()}
    random.Random(4).shuffle(tables["rebuilds"])
    orders = [_messy_order(row) for row in tables["rebuilds"]]
    book = xlsxwriter.Workbook(str(folder / "Export.xlsx"))
    plain = book.add_format()
    cover = book.add_worksheet("Deckblatt")
    cover.write(0, 0, "Auszug, intern")
    cover.hide()
    pumps = book.add_worksheet("Stammdaten")
    pumps.merge_range("A1:B1", "Pumpe", plain)
    pumps.write_row(0, 2, ["Medium", "Nennweite", "Kit nass", "h/Woche", "Gefahr", "Betrieb seit"])
    pumps.write_row(1, 0, ["Nr", "Werk"])
    names = ("pump_id", "site", "service", "size_mm", "fluid_kit", "use_per_week", "hazard")
    for at, row in enumerate(tables["pumps"], start=2):
        pumps.write_row(at, 0, [row[name] for name in names])
        serial = (pd.Timestamp(row["commissioned_on"]) - pd.Timestamp("1899-12-30")).days
        pumps.write(at, 7, serial)
    sheet = book.add_worksheet("Aufträge")
    sheet.merge_range("A1:F1", "Instandhaltung 2021", plain)
    sheet.merge_range("A3:C3", "Auftrag", plain)
    sheet.write_row(2, 3, ["Anlage", "Satz", "Kurztext"])
    sheet.write_row(3, 0, ["Nr", "Datum", "Grund"])
    for at, cells in enumerate(orders[:3], start=4):
        sheet.write_row(at, 0, cells)
    book.close()
    old = ["Meldungen;;;;;", "AuftragsNr;Datum;Art;Gerät;Satz;Kurztext", *map(";".join, orders[2:])]
    (folder / "Meldungen alt.csv").write_bytes("\r\n".join(old).encode("cp1252"))
    meter = ["Pumpe;am;Stand"]
    for row in tables["readings"]:
        shown = f"{row['reading']:,}".replace(",", ".")
        meter.append(f"{row['pump_id']};{pd.Timestamp(row['read_on']):%d.%m.%Y};{shown},0")
    (folder / "Zähler.csv").write_bytes("\n".join(meter).encode("cp1252"))
    return folder


def test_a_messy_export_gives_the_same_fits_as_clean_files(tmp_path: Path) -> None:
    clean, messy = (
        run_study(folder, results=["stock"])
        for folder in (small_plant(tmp_path / "clean"), messy_plant(tmp_path / "messy"))
    )
    pd.testing.assert_frame_equal(messy.tables["fits"], clean.tables["fits"], rtol=1e-9, atol=0.0)
    audit = messy.tables["audit"]
    assert set(audit.loc[audit["rule"].eq("repeated_row"), "severity"]) == {"note"}
    assert audit["rule"].eq("read_from_text").sum() >= 3
    for name in ("intervals", "stock", "orders"):
        pd.testing.assert_frame_equal(messy.tables[name], clean.tables[name], rtol=1e-9)


@pytest.mark.parametrize(
    ("text", "read", "told"),
    [("3,5", 3.5, False), ("1.250,5", 1250.5, False), ("7.281", 7.281, True)],
)
def test_numbers_of_a_workbook_do_not_say_how_its_texts_are_read(tmp_path, text, read, told):
    """One writes 4.25 as a number, another 3,5 as text."""
    path = tmp_path / "book.xlsx"
    with xlsxwriter.Workbook(str(path)) as book:
        sheet = book.add_worksheet("readings")
        for place, heading in enumerate(("pump_id", "read_on", "reading", "unit")):
            sheet.write_string(0, place, heading)
        for row, value in enumerate((4.25, text), start=1):
            sheet.write_row(row, 0, ["P-1", f"2024-01-0{row}", value, "hours"])
    log = AuditLog()
    raw = read_source(Source(table="readings", path=path, sheet="readings"))
    frame = type_table(raw, TABLES["readings"], {}, None, log)
    assert frame is not None
    assert frame["reading"].to_list() == [4.25, read]
    assert ("decimal_mark" in set(log.frame()["rule"])) is told
