"""Sections of the evidence page, and the pages of lives and of the data slip."""
