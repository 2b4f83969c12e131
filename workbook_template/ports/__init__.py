"""Ways to reach a workbook: the closed file here; a running program in the live modules."""
