"""Replacement ages held alone to the true best ones."""
