"""Proof: invented fleets of known laws through the whole chain, scored against their truth."""

from dutylife.prove.run import Proof, prove

__all__ = ["Proof", "prove"]
