"""The calculations of Boltbook: pure functions and tables, no file, no spreadsheet, no clock, no print."""
