"""How much a page, a calendar or the packs hold, so that a large fleet's can still be opened."""

from dutylife.wording import count

MOST_CARDS = 1000  # machines; a card takes 11 kB
MOST_ENTRIES = 5000  # visits of a calendar; an entry takes 0.9 kB
MOST_PACKS = 100  # customers, where none is named; a pack takes 0.7 MB and about a second
MOST_LIVES = 500  # of a component in a duty, on the page of lives


def first_of(n: int, most: int, noun: str, nouns: str = "") -> str:
    """Say that only the first are shown; empty where all are.

    Examples
    --------
    >>> first_of(1200, 1000, "card"), first_of(3, 1000, "card")
    ('the first 1 000 of 1 200 cards', '')
    """
    return f"the first {most:,} of {count(n, noun, nouns)}".replace(",", " ") if n > most else ""
