"""Taking in a sheet that came back from a market."""
