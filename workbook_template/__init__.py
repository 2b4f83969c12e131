"""The only code that knows spreadsheets: it draws the workbook, reads it, and writes the results back."""
