"""Sheets that are faced with paper, lifted and set: parted along joints, numbered, drawn."""
