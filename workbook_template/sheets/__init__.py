"""The sheets that are more than a table."""
