"""Proof: invented fleets of known laws through the whole chain, scored against their truth."""

from dutylife.prove.demand_truth import DemandProof, prove_demand
from dutylife.prove.lives_truth import LivesProof, prove_lives
from dutylife.prove.models_truth import ModelsProof, prove_models
from dutylife.prove.money_truth import MoneyProof, prove_money
from dutylife.prove.run import Proof, prove

__all__ = [
    "DemandProof",
    "LivesProof",
    "ModelsProof",
    "MoneyProof",
    "Proof",
    "prove",
    "prove_demand",
    "prove_lives",
    "prove_models",
    "prove_money",
]
