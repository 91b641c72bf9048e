"""Clocks of the whole fleet at once: readings in order, paths of hours, use rates, seasons."""
