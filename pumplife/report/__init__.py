"""What people see: figures, tables, the page, the workbook and the output folder."""
