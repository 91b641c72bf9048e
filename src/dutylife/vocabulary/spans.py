"""How many days a month and a year have, on average; said here alone."""

DAYS_PER_YEAR = 365.25
DAYS_PER_MONTH = 30.436875  # a twelfth of the calendar's own year of 365.2425 days
