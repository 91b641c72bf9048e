"""Sections of the stock page."""
