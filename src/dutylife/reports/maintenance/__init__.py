"""Sections of the maintenance page, and the wall cards."""
