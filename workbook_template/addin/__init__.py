"""The registry of worksheet functions as an extension of LibreOffice, with Refresh in its menu."""
