"""Pages of proofs and of the back-test."""
