"""The workbook: every output table on a sheet of its own, the first sheet explains them."""

from pathlib import Path

import pandas as pd
import xlsxwriter

from pumplife.report.face import ReadableStudy, is_invented, study_name, study_units, study_window
from pumplife.report.first_sheet import FIRST, name_sheet, sort_sheets, write_first_sheet
from pumplife.report.sheet_formats import DATE, Formats
from pumplife.report.sheets import write_sheet

OPTIONS = {
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "strings_to_numbers": False,
    "nan_inf_to_errors": False,
    "constant_memory": False,
    "default_date_format": DATE,
}


def write_workbook(study: ReadableStudy, path: Path, *, tickets: int = 0) -> None:
    """Write every output table into one workbook.

    Parameters
    ----------
    study : ReadableStudy
        Finished.
    path : Path
        The file to make.
    tickets : int
        Rebuild tickets that were written beside it.
    """
    with xlsxwriter.Workbook(str(path), OPTIONS) as book:
        # a fixed date, so that the same study makes the same file
        last = study.records.plant.records_to  # not the clock: same input, same bytes
        made = (pd.Timestamp(0) if pd.isna(last) else last).to_pydatetime()
        book.set_properties({"title": f"{study_name(study)}: study", "created": made})
        formats, header, footer = Formats(book), _header(study), _footer(study)
        first = book.add_worksheet(FIRST)
        write_first_sheet(first, study, formats, tickets=tickets)
        sheets = [first]
        for name in sort_sheets(study.tables):
            sheets.append(book.add_worksheet(name_sheet(name)))
            write_sheet(sheets[-1], name, study.tables[name], study_units(study), formats)
        for sheet in sheets:
            sheet.set_header(header)
            sheet.set_footer(footer)


def _header(study: ReadableStudy) -> str:
    """What is printed above each page; a plant's own & is doubled, else it is a command."""
    banner = "Invented example data" if is_invented(study) else ""
    plant = study_name(study)[:100].replace("&", "&&")
    return f"&L{plant}&C&B{banner}&R&A"


def _footer(study: ReadableStudy) -> str:
    return f"&L{study_window(study)}&RPage &P of &N"
