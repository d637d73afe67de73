"""The sun: where it stands, what it does at a window, what it brings in."""
