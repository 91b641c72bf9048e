"""Proof: invented fleets of known laws through the whole chain, scored against their truth."""

from dutylife.prove.lives_truth import LivesProof, prove_lives
from dutylife.prove.models_truth import ModelsProof, prove_models
from dutylife.prove.run import Proof, prove

__all__ = ["LivesProof", "ModelsProof", "Proof", "prove", "prove_lives", "prove_models"]
