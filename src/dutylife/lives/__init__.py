"""Maintenance events and machines to lives of parts: the failure-event table."""
