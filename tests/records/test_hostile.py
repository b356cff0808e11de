"""Files that no plant would send on purpose: a sentence and exit code 1, never a traceback."""

import contextlib
import io
import re
import struct
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import xlsxwriter

from pumplife.cli import STOPPED, main
from pumplife.records import books
from pumplife.records.read import read_records
from tests.plants import rebuild_rows, small_plant

HEADING = list(rebuild_rows()[0])
ROWS = [HEADING, *(list(row.values()) for row in rebuild_rows())]
GOOD = "\n".join(",".join(row) for row in ROWS) + "\n"
NOISE = np.random.default_rng(7).bytes(50_000)


def _book(path: Path, rows: list[list[Any]], formulas: bool = False) -> bytes:
    book = xlsxwriter.Workbook(str(path))
    sheet = book.add_worksheet("rebuilds")
    for at, row in enumerate(rows):
        for place, cell in enumerate(row):
            if formulas and at and not place:
                sheet.write_formula(at, place, f'="R-"&{at}', value=f"R-{at}")
            else:
                sheet.write(at, place, cell)
    book.close()
    return path.read_bytes()


def _edit(data: bytes, change: Any, part: str = "sheet1.xml") -> bytes:
    """Repack a workbook with one part changed."""
    target = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(data)) as old,
        zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for entry in old.infolist():
            text = old.read(entry)
            new.writestr(entry.filename, change(text) if part in entry.filename else text)
    return target.getvalue()


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    return _book(tmp_path_factory.mktemp("book") / "good.xlsx", ROWS)


@pytest.fixture
def stops(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Any:
    """Give a function that audits the small plant with a spoilt table of orders."""

    def audit(data: bytes, name: str = "rebuilds.csv", code: int = STOPPED) -> str:
        folder = small_plant(tmp_path / "plant", rebuilds=None)
        (folder / name).write_bytes(data)
        assert main(["audit", str(folder)]) == code
        said = "".join(capsys.readouterr())
        assert "Traceback" not in said
        assert max(map(len, said.splitlines())) < 2000
        return said

    return audit


# ---- text ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "rebuilds.csv has no rows; there is nothing in it"),
        (NOISE, "isn't text"),
        (bytes(range(1, 256)) * 100, "isn't text"),
        (GOOD.encode() * 500 + b"x\0y", "isn't text"),
        (b"x" * 10_000_000, "a cell in its column 1 holds 10000000 letters"),
        (b"x" * 900_000, "has no rows; there is only its headings: xxxx"),
        (b"," * 10_000_000, "no table has more than 2000"),
        (GOOD.encode() + b"R-9,P-1," + b"2" * 10_000_000 + b",x,,\n", "holds 10000000 letters"),
        (GOOD.replace("R-3", '"R-3', 1).encode(), "quotation mark that is opened and never closed"),
        (",".join(HEADING).encode(), "has no rows; there is only its headings: rebuild_id"),
        (
            b",".join(b"c%d" % n for n in range(10_000)) + b"\n" + b"1," * 9_999 + b"1\n",
            "has 10000 cells",
        ),
        (GOOD.partition("\n")[0].encode() + b"\n" + b"a,b,c,d,e,f,g,h\n" * 50_000, "more cells"),
        (b"PK\x03\x04 rest", "rename it to .xlsx"),
    ],
    ids=lambda value: value[:12].decode("latin1") if isinstance(value, bytes) else None,
)
def test_text_that_is_no_table(stops: Any, data: bytes, words: str) -> None:
    assert words in stops(data)


def test_two_stray_quotation_marks_are_pointed_out(stops: Any) -> None:
    text = GOOD.replace("R-1", '"R-1', 1).replace("R-4", '"R-4', 1)
    said = stops(text.encode(), code=0)
    assert "has a cell with 3 line breaks near row 2" in said
    assert "quotation marks that don't belong together" in said


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be", "utf-8-sig", "cp1252"])
def test_every_usual_encoding_with_and_without_its_mark(stops: Any, encoding: str) -> None:
    said = stops(GOOD.replace("R-1", "R-é").encode(encoding), code=0)
    assert "rebuilds was read from rebuilds.csv: 5 rows" in said
    assert "5 tickets used" in said


# ---- workbooks -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "is empty (0 bytes)"),
        (NOISE, "isn't a workbook that can be read"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(5000), "has a password"),
    ],
)
def test_no_workbook(stops: Any, data: bytes, words: str) -> None:
    assert words in stops(data, "rebuilds.xlsx")


def test_a_workbook_cut_off(stops: Any, book: bytes) -> None:
    assert "isn't a workbook that can be read" in stops(book[: len(book) // 2], "rebuilds.xlsx")


def test_a_sheet_cut_off(stops: Any, book: bytes) -> None:
    half = _edit(book, lambda text: text[: len(text) // 2])
    assert "isn't a workbook that can be read" in stops(half, "rebuilds.xlsx")


def test_a_zip_that_is_something_else(stops: Any) -> None:
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w") as other:
        other.writestr("word/document.xml", "<x/>")
    assert "isn't a workbook that can be read" in stops(target.getvalue(), "rebuilds.xlsx")


@pytest.fixture(scope="module")
def bomb(book: bytes) -> bytes:
    """A workbook of 200 kB with a sheet of 150 MB."""
    blanks = b" " * (150 * 2**20)
    return _edit(book, lambda text: text.replace(b"</sheetData>", blanks + b"</sheetData>"))


def test_a_workbook_that_would_swell_is_not_opened(stops: Any, bomb: bytes) -> None:
    assert len(bomb) < 250_000
    assert "it would unpack to 150 MB" in stops(bomb, "rebuilds.xlsx")


def test_a_workbook_that_lies_about_its_size_is_not_opened(stops: Any, bomb: bytes) -> None:
    data, at = bytearray(bomb), -1
    while (at := data.find(b"PK\x01\x02", at + 1)) >= 0:
        length = struct.unpack("<H", data[at + 28 : at + 30])[0]
        if b"sheet1" in data[at + 46 : at + 46 + length]:
            data[at + 24 : at + 28] = struct.pack("<I", 5000)
    assert "isn't a workbook that can be read" in stops(bytes(data), "rebuilds.xlsx")


@pytest.mark.parametrize(("far", "columns"), [("XFD1048576", 16384), ("ZZ1048576", 702)])
def test_cells_that_lie_far_apart(stops: Any, book: bytes, far: str, columns: int) -> None:
    row = f'<row r="1048576"><c r="{far}"><v>1</v></c></row></sheetData>'.encode()
    said = stops(_edit(book, lambda text: text.replace(b"</sheetData>", row)), "rebuilds.xlsx")
    assert f"its cells reach over 1048576 rows and {columns} columns" in said


def test_ten_thousand_columns(stops: Any, tmp_path: Path) -> None:
    wide = _book(tmp_path / "wide.xlsx", [[f"c{n}" for n in range(10_000)], [1] * 10_000])
    assert "over 2 rows and 10000 columns" in stops(wide, "rebuilds.xlsx")


def _forget(text: bytes) -> bytes:
    return re.sub(rb"</f><v>[^<]*</v>", rb"</f><v></v>", text)


def test_formulas_without_a_stored_value(stops: Any, tmp_path: Path) -> None:
    data = _edit(_book(tmp_path / "formulas.xlsx", ROWS, formulas=True), _forget)
    said = stops(data, "rebuilds.xlsx")
    assert "rebuilds.xlsx#rebuilds has 5 formulas without a stored value, the first in A2" in said
    assert "save it, so that values are stored" in said


def test_stored_values_of_formulas_are_read(stops: Any, tmp_path: Path) -> None:
    data = _book(tmp_path / "formulas.xlsx", ROWS, formulas=True)
    said = stops(data, "rebuilds.xlsx", code=0)
    assert "5 formulas that may be out of date" in said
    assert "5 tickets used" in said
    calculated = _edit(data, lambda text: text.replace(b' fullCalcOnLoad="1"', b""), "workbook.xml")
    assert "formula" not in stops(calculated, "rebuilds.xlsx", code=0)


def test_a_sheet_is_measured_the_same_in_any_pieces(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = _edit(_book(tmp_path / "f.xlsx", ROWS * 20, formulas=True), _forget)
    whole, _ = books._measure(data, tmp_path / "f.xlsx")
    monkeypatch.setattr(books, "_CHUNK", 300)
    parts, _ = books._measure(data, tmp_path / "f.xlsx")
    for extent in (whole["rebuilds"], parts["rebuilds"]):
        assert (extent.rows, extent.columns, extent.formulas) == (120, 6, 119)
        assert len(extent.uncached) == 119


@pytest.mark.parametrize("seed", range(40))
def test_a_spoilt_byte_never_gives_a_traceback(tmp_path: Path, book: bytes, seed: int) -> None:
    """A workbook with a few random bytes changed: read, or refused in a sentence."""
    from pumplife.errors import PumplifeError

    rng = np.random.default_rng(seed)
    if seed % 2:
        data = bytearray(book)
        data[:] = _spoil(data, rng)
    else:
        data = bytearray(_edit(book, lambda text: bytes(_spoil(bytearray(text), rng)), "xl/"))
    folder = small_plant(tmp_path / "plant", rebuilds=None)
    (folder / "rebuilds.xlsx").write_bytes(bytes(data))
    with contextlib.suppress(PumplifeError):
        records = read_records(folder)
        assert records.fatal or len(records.table("rebuilds"))


def _spoil(data: bytearray, rng: np.random.Generator) -> bytearray:
    for place in rng.integers(0, len(data), rng.integers(1, 6)):
        data[place] = rng.integers(0, 256)
    return data
