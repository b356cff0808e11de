"""The mapping proposed for a plant's own export: what it says, and that a study runs from it."""

import re
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
import xlsxwriter

from pumplife.cli import DONE, STOPPED, WRONG_CALL, main
from pumplife.errors import FolderError
from pumplife.records.likeness import fold, score_headings, score_table_name
from pumplife.records.proposal import propose_folder
from pumplife.records.read import read_records
from pumplife.records.signs import daily_gain, read_signs, share_growing, share_known
from pumplife.records.words import read_words
from pumplife.study import run_study
from tests.plants import SETTINGS, small_plant, small_tables

from .test_formats import messy_plant

DEMO = Path(__file__).parents[2] / "data" / "demo"


def _settings(folder: Path) -> dict[str, Any]:
    return tomllib.loads((folder / "plant.toml").read_text(encoding="utf-8"))


def _marks(folder: Path) -> list[str]:
    lines = (folder / "plant.toml").read_text(encoding="utf-8").splitlines()
    return [line for line in lines[4:] if "please" in line]


def _window(folder: Path) -> None:
    """Fill the few lines that only the plant knows: window and costs."""
    file = folder / "plant.toml"
    text = file.read_text(encoding="utf-8")
    known = tomllib.loads(SETTINGS)
    for name in ("records_from", "records_to"):
        text = re.sub(rf"{name} = \S+", f"{name} = {known['plant'][name]}", text)
    file.write_text(text, encoding="utf-8")


def test_a_messy_export_is_mapped_and_studied_without_another_line(tmp_path: Path) -> None:
    export = messy_plant(tmp_path / "export")
    (export / "plant.toml").unlink()
    before = {path.name: path.read_bytes() for path in export.iterdir()}
    made = propose_folder(tmp_path / "plant", export)
    assert made.strange == []
    assert made.fills == 0
    assert made.checks == len(_marks(tmp_path / "plant")) == 7
    _window(tmp_path / "plant")
    clean = run_study(small_plant(tmp_path / "clean"), results=()).tables
    study = run_study(tmp_path / "plant", results=()).tables
    pd.testing.assert_frame_equal(study["fits"], clean["fits"], rtol=1e-9)
    assert {path.name: path.read_bytes() for path in export.iterdir()} == before


def test_the_lines_say_how_sure_they_are_and_why(tmp_path: Path) -> None:
    export = messy_plant(tmp_path / "export")
    propose_folder(tmp_path / "plant", export)
    text = (tmp_path / "plant" / "plant.toml").read_text(encoding="utf-8")
    for line in (
        '"Nennweite" = "size_mm"   # sure: named so, 100% numbers',
        '"Betrieb seit" = "commissioned_on"   # please check: named like "in betrieb seit", 100%',
        '"am" = "read_on"   # please check: the only dates',
        '"Störung" = "breakdown"   # sure: 5 rows, in words.csv',
        '"ohne" = "none"   # please check: 1 row, "ohne" says none',
        'usage_unit = "hours"   # please check: meters gain 10 a day',
        'rebuilds = ["Export.xlsx#Aufträge", "Meldungen alt.csv"]   # sure: named so',
        "please check: ball in 2 rows, diaphragm in 2 rows, seat in 1 row",
    ):
        assert line in text, line
    assert "Deckblatt" not in text  # hidden


def test_the_demo_is_recognised_with_the_meanings_that_its_people_gave(tmp_path: Path) -> None:
    """An oracle of another hand: the demo's own plant.toml."""
    made = propose_folder(tmp_path / "plant", DEMO)
    known, found = _settings(DEMO), _settings(tmp_path / "plant")
    assert made.strange == []
    assert found["columns"]["issued"] == known["columns"]["issued"]
    for column, codes in known["codes"]["rebuilds"].items():
        wanted = {word: ours for word, ours in codes.items() if word.casefold() != ours}
        told = {k.casefold(): v for k, v in found["codes"]["rebuilds"][column].items()}
        assert {word.casefold(): ours for word, ours in wanted.items()} == told
    assert {guess.table for guess in made.guesses} == {
        "pumps", "rebuilds", "findings", "issued", "readings", "parts", "kits", "kit_contents",
        "on_hand", "on_order", "moves", "compatibility", "plan", "spend", "trials",
        "trial_pumps",
    }  # fmt: skip
    assert found["plant"]["usage_unit"] == known["plant"]["usage_unit"]


def _one_file(folder: Path, **more: Any) -> Path:
    """An export of one file: no register, no parts, English notes."""
    rng = np.random.default_rng(3)
    notes = ["Diaphragm burst, LH side", "dia torn again", "ball stuck", "no fault found", "PM, ok"]
    day = pd.Timestamp("2021-01-01") + pd.to_timedelta(rng.integers(0, 1200, 200), unit="D")
    pump = rng.integers(0, 10, 200)
    note = rng.integers(0, 5, 200)
    rows = {
        "WO Number": np.arange(4000, 4200),
        "Asset": [f"Pump {100 + one}" for one in pump],
        "Dept": "Building 7",
        "Fluid": np.where(pump < 5, "slip", "glaze"),
        "Date Created": day.strftime("%m/%d/%Y"),
        "WO Type": np.where(note < 4, "Corrective", "Preventive"),
        "Kit Used": "KIT-50",
        "Short Text": np.array(notes)[note],
        **more,
    }
    folder.mkdir()
    pd.DataFrame(rows).to_csv(folder / "wo export.csv", index=False)
    return folder / "wo export.csv"


def test_one_file_without_a_register_gets_one_made_and_is_studied(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    export = _one_file(tmp_path / "export")
    assert main(["new", str(tmp_path / "plant"), "--from", str(export)]) == DONE
    said = capsys.readouterr().out
    assert "wo export.csv is taken for rebuilds, 6 columns." in said
    assert re.search(r"in its plant.toml \d lines to check and 0 lines to fill", said)
    pumps = pd.read_csv(tmp_path / "plant" / "pumps.csv", keep_default_na=False)
    assert list(pumps["pump_id"]) == [f"Pump {number}" for number in range(100, 110)]
    assert set(pumps["site"]) == {"Building 7"}
    assert list(pumps["service"]) == ["slip"] * 5 + ["glaze"] * 5
    text = (tmp_path / "plant" / "plant.toml").read_text(encoding="utf-8")
    assert 'pumps = "pumps.csv"   # please check: made from the 10 pumps in wo export.csv' in text
    assert 'usage_unit = "days"   # please check: no meter found' in text
    out = tmp_path / "out"
    assert main(["study", str(tmp_path / "plant"), "--out", str(out)]) == DONE
    fits = pd.read_csv(out / "tables" / "fits.csv")
    assert fits.loc[fits["part"].eq("diaphragm"), "failures"].sum() > 0


def test_what_the_export_does_not_say_is_left_blank_and_marked(tmp_path: Path) -> None:
    export = _one_file(tmp_path / "export", Dept="", Fluid="")
    propose_folder(tmp_path / "plant", export)
    text = (tmp_path / "plant" / "plant.toml").read_text(encoding="utf-8")
    assert 'pumps = "pumps.csv"   # please fill service in it' in text
    pumps = pd.read_csv(tmp_path / "plant" / "pumps.csv", keep_default_na=False)
    assert set(pumps["site"]) == set(pumps["service"]) == {""}


def test_reasons_may_come_from_the_text_alone(tmp_path: Path) -> None:
    export = _one_file(tmp_path / "export")
    rows = pd.read_csv(export).drop(columns="WO Type")
    rows["Short Text"] = np.where(rows.index % 2, "Breakdown: dia burst", "preventive, kit fitted")
    rows.to_csv(export, index=False)
    propose_folder(tmp_path / "plant", export)
    assert _settings(tmp_path / "plant")["text"]["rebuilds"] == {
        "note": ["failed_part", "failure_mode", "reason"]
    }
    records = read_records(tmp_path / "plant")
    assert not records.fatal
    assert records.table("rebuilds")["reason"].value_counts().to_dict() == {
        "breakdown": 100,
        "planned": 100,
    }


def test_dates_that_can_be_read_both_ways_are_to_be_filled(tmp_path: Path) -> None:
    export = _one_file(tmp_path / "export", **{"Date Created": "03/04/2021"})
    propose_folder(tmp_path / "plant", export)
    text = (tmp_path / "plant" / "plant.toml").read_text(encoding="utf-8")
    assert '# order = "day-first"   # please fill, or "month-first": both fit wo export' in text
    assert read_records(tmp_path / "plant").fatal


@pytest.mark.parametrize(
    ("name", "data", "code", "words"),
    [
        ("gone.csv", None, WRONG_CALL, "There is no file or folder"),
        ("a.pdf", b"%PDF", STOPPED, "neither a text file nor an .xlsx"),
        ("a.csv", b"", STOPPED, "Nothing in a.csv looks like a table"),
        ("a.csv", b"milk,eggs\n1,2\n", STOPPED, "a.csv (milk, eggs)"),
        ("a.csv", b"\0\1\2" * 99, STOPPED, "isn't text"),
        ("a.xlsx", b"PK\x03\x04", STOPPED, "isn't a workbook that can be read"),
    ],
)
def test_an_export_that_is_none(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    *,
    name: str,
    data: Any,
    code: int,
    words: str,
) -> None:
    export = tmp_path / name
    if data is not None:
        export.write_bytes(data)
    assert main(["new", str(tmp_path / "plant"), "--from", str(export)]) == code
    said, complained = capsys.readouterr()
    assert words in complained
    assert said == ""
    assert not (tmp_path / "plant").exists()


def test_a_folder_that_is_not_empty_is_left_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    export, mine = _one_file(tmp_path / "export"), tmp_path / "mine"
    mine.mkdir()
    (mine / "thesis.txt").write_text("years of work")
    assert main(["new", str(mine), "--from", str(export)]) == WRONG_CALL
    assert "isn't empty" in capsys.readouterr().err
    assert [path.name for path in mine.iterdir()] == ["thesis.txt"]


def test_an_export_with_nothing_of_ours_names_its_headings(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("x,y\n1,2\n")
    with pytest.raises(FolderError, match=r"a\.csv \(x, y\)"):
        propose_folder(tmp_path / "plant", tmp_path / "a.csv")


# ---- likeness and signs --------------------------------------------------------------------------


def test_headings_are_alike_in_several_languages() -> None:
    def best(word: str, table: str) -> str:
        found = score_headings([word])
        found = found[found["table"].eq(table)]
        return str(found["column"].iloc[0]) if len(found) else ""

    assert fold("Größe [mm]") == "grosse"
    for word, column in {
        "Auftragsnummer": "rebuild_id",
        "N° ordre": "rebuild_id",
        "Order-No.": "rebuild_id",
        "fecha apertura": "opened_on",
        "Data apertura": "opened_on",
        "ouvert le": "opened_on",
        "storingsdatum": "happened_on",
        "Arbeitsstunden": "labour_h",
        "Stood (h)": "downtime_h",
        "Colour": "",
    }.items():
        assert best(word, "rebuilds") == column, word
    assert best("In use since", "pumps") == "commissioned_on"
    assert best("Port (mm)", "pumps") == "size_mm"
    assert best("Price each", "kits") == "unit_cost"
    assert score_table_name("Zählerstände 2024")["readings"] == 100.0
    assert score_table_name("shopping")["rebuilds"] < 84.0


def test_a_kit_list_is_known_and_a_code_of_orders_is_no_word(tmp_path: Path) -> None:
    export = _one_file(tmp_path / "export", **{"WO Type": ["PM01", "PM02"] * 100})
    kits = "Rep.-Satz;Bezeichnung;Preis EUR;Lieferzeit Tage\nRS-40;Satz 40;385,00;28\n"
    (export.parent / "Sätze.csv").write_text(kits, encoding="utf-8")
    propose_folder(tmp_path / "plant", export.parent)
    text = (tmp_path / "plant" / "plant.toml").read_text(encoding="utf-8")
    found = "named so, 3 of its columns found, needed and not there: side"
    assert f'kits = "Sätze.csv"   # please check: {found}' in text
    assert '"Preis EUR" = "unit_cost"   # sure' in text
    assert '# "PM01" = ""   # please fill: 100 rows; breakdown / planned' in text


def test_a_meter_is_told_by_its_growth() -> None:
    pump = pd.Series(["a", "a", "a", "a", "b", "b"])
    day = pd.Series(
        pd.to_datetime(["2021-01-01", "2021-01-11", "2021-01-21", "2021-01-31"] * 2)[:6]
    )
    shown = pd.Series([5.0, 105.0, 205.0, 305.0, 0.0, 200.0])
    assert share_growing(pump, day, shown) == 1.0
    assert daily_gain(pump, day, shown) == pytest.approx(10.0)
    assert share_growing(pump, day, shown[::-1].reset_index(drop=True)) < 0.5
    assert np.isnan(daily_gain(pump[:1], day[:1], shown[:1]))


def test_signs_of_columns() -> None:
    words = read_words()
    pumps = {row["pump_id"].casefold() for row in small_tables()["pumps"]}
    dates = read_signs(pd.Series(["01.02.2021", "2021-02-03", ""]), words, exact=False)
    assert (dates.written, dates.is_dates, dates.undecided) == (2, True, True)
    assert share_known(pd.Series(["P-1", "p-2", "P-9", ""]), pumps) == pytest.approx(2 / 3)
    empty = read_signs(pd.Series(["", ""]), words, exact=False)
    assert empty.suits("date")
    assert not dates.suits("code")
    assert (read_signs(pd.Series(["PM", "Störung"]), words, exact=False).reasons) == 1.0


def _german_book(folder: Path) -> Path:
    """Invented: title rows, pumps known by their place, meters with thousands points as text."""
    folder.mkdir()
    book = xlsxwriter.Workbook(str(folder / "Auszug.xlsx"))
    orders = book.add_worksheet("Auftragsliste")
    orders.write_row(0, 0, ["Instandhaltung, Werk Nord (erfunden)"])
    heading = ["Auftrag Nr.", "Techn. Platz", "Eröffnet am", "Satz", "Betriebsstunden"]
    orders.write_row(2, 0, [*heading, "Arbeitszeit (h)", "Beschreibung"])
    for at in range(24):
        day = f"{13 + at % 12}.{1 + at % 9:02}.{2020 + at // 6}"
        said = "Membran gerissen" if at % 3 else "Wartung"
        meter = f"{1 + at // 6}.{200 + 30 * (at // 6)}"
        row = [f"A{at}", f"M-{at % 6}", day, "FK", meter, ("2,5", "3")[at % 2], said]
        orders.write_row(3 + at, 0, row)
    pumps = book.add_worksheet("Pumpen")
    pumps.write_row(0, 0, ["Pumpenliste"])
    pumps.write_row(2, 0, ["Techn. Platz", "Medium", "Größe", "Einbau am", "Std/Woche"])
    for at in range(6):
        pumps.write_row(3 + at, 0, [f"M-{at}", "Lauge", "DN 25", f"{20 + at}.02.2018", 60])
    book.close()
    return folder / "Auszug.xlsx"


def test_a_plant_that_counts_its_pumps_by_place(tmp_path: Path) -> None:
    made = propose_folder(tmp_path / "plant", _german_book(tmp_path / "export"))
    assert [guess.table for guess in made.guesses] == ["rebuilds", "pumps"]
    text = (tmp_path / "plant" / "plant.toml").read_text(encoding="utf-8")
    place = '"Techn. Platz" = "pump_id"   # please check: 100% are in the register of pumps'
    assert place in text
    assert not (tmp_path / "plant" / "pumps.csv").exists()  # the book's own register will do
    assert "please fill" not in text.partition("[numbers]")[2].partition("[costs]")[0]
    assert re.search(r'usage_unit = "hours" .* meters gain \d(\.\d+)? a day', text)
    records = read_records(tmp_path / "plant")
    assert not records.fatal
    assert records.pumps["size_mm"].eq(25.0).all()  # written as DN 25
    assert records.pumps["site"].eq(records.plant.name).all()  # it names none
    rebuilds = records.table("rebuilds")
    assert set(rebuilds["pump"]) == set(range(6))
    assert rebuilds["meter"].min() == 1200.0
    assert set(rebuilds["labour_h"]) == {2.5, 3.0}
