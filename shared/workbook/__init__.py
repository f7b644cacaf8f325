"""A team's whole state as one workbook: XLSX, a zip or folder of CSVs, in and out."""
