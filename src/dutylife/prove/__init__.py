"""Proof: invented fleets of known laws through the whole chain, scored against their truth."""

from dutylife.prove.demand_alone.truth import DemandProof, prove_demand
from dutylife.prove.lives_alone.truth import LivesProof, prove_lives
from dutylife.prove.models_alone.truth import ModelsProof, prove_models
from dutylife.prove.money_alone.truth import MoneyProof, prove_money
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
