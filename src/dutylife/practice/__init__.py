"""A made-up fleet with known laws, and the messy exports a shop would have of it."""
