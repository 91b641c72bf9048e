"""The demand forecast against an oracle of true laws and ages, in four worlds."""
